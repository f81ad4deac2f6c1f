//! Which rows to keep so that time runs forward.

/// Marks the most rows whose times run forward: strictly, or without a step back where stamps may
/// repeat. Of several such choices the one that keeps earlier rows is taken, so that a row that
/// jumps back is left out and not the rows before it. Patience sorting from the end, O(n log n):
/// C. Schensted, Longest increasing and decreasing subsequences, 1961.
pub(super) fn longest_forward(time_s: &[f64], strict: bool) -> Vec<bool> {
    const NONE: u32 = u32::MAX;
    let mut ends: Vec<u32> = Vec::new();
    let mut next = vec![NONE; time_s.len()];
    for index in (0..time_s.len()).rev() {
        let time = time_s[index];
        // From the end times fall; `ends[k]` is the row at which a run of k + 1 rows starts best,
        // which is the latest.
        let place = ends.partition_point(|end| {
            let other = time_s[*end as usize];
            if strict { other > time } else { other >= time }
        });
        next[index] = if place > 0 { ends[place - 1] } else { NONE };
        match ends.get_mut(place) {
            Some(end) => *end = index as u32,
            None => ends.push(index as u32),
        }
    }
    let mut keep = vec![false; time_s.len()];
    let mut at = ends.last().copied().unwrap_or(NONE);
    while at != NONE {
        keep[at as usize] = true;
        at = next[at as usize];
    }
    keep
}

/// The median step between rows, s, from at most some thousands of them; `None` for fewer than two
/// rows. `time_s` gives the time of a row.
pub(super) fn median_step(rows: usize, mut time_s: impl FnMut(usize) -> f64) -> Option<f64> {
    let every = (rows / 4096).max(1);
    let firsts = (0..rows.saturating_sub(1)).step_by(every);
    let mut steps: Vec<f64> = firsts.map(|at| -time_s(at) + time_s(at + 1)).collect();
    let middle = steps.len() / 2;
    (!steps.is_empty()).then(|| *steps.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn left_out(time_s: &[f64], strict: bool) -> Vec<usize> {
        let keep = longest_forward(time_s, strict);
        (0..time_s.len()).filter(|row| !keep[*row]).collect()
    }

    #[test]
    fn the_row_that_jumps_is_left_out() {
        assert_eq!(left_out(&[0.0, 1.0, 2.0, 1.5, 3.0], true), [3]);
        assert_eq!(left_out(&[0.0, 1.0, 1.0, 2.0], true), [2]);
        assert_eq!(left_out(&[0.0, 1.0, 1.0, 2.0], false), Vec::<usize>::new());
        assert_eq!(left_out(&[0.0, 1.0, 99.0, 2.0, 3.0], true), [2]);
        assert_eq!(left_out(&[5.0, 1.0, 2.0, 3.0], true), [0]);
        assert_eq!(left_out(&[], true), Vec::<usize>::new());
        // A clock that steps back a little: the rows until it has caught up.
        assert_eq!(left_out(&[0.0, 0.1, 0.2, 0.3, 0.15, 0.25, 0.35, 0.45], true), [4, 5]);
    }

    #[test]
    fn the_median_step() {
        let of = |times: &[f64]| median_step(times.len(), |at| times[at]);
        assert_eq!(of(&[0.0, 1.0, 2.0, 100.0]), Some(1.0));
        assert_eq!(of(&[0.0]), None);
    }
}
