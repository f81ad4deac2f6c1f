//! Running median and the Hampel filter: wild values found against their neighbours.

use super::summary::MAD_TO_SD;
use std::collections::VecDeque;

/// Sorted values of a window that slides by one; each step costs a search and a shift.
struct SortedWindow {
    sorted: Vec<f64>,
}

impl SortedWindow {
    fn insert(&mut self, v: f64) {
        let at = self.sorted.partition_point(|s| s.total_cmp(&v).is_lt());
        self.sorted.insert(at, v);
    }

    fn remove(&mut self, v: f64) {
        let at = self.sorted.partition_point(|s| s.total_cmp(&v).is_lt());
        self.sorted.remove(at);
    }

    fn median(&self) -> f64 {
        let (s, n) = (&self.sorted, self.sorted.len());
        if n % 2 == 1 { s[n / 2] } else { 0.5 * s[n / 2 - 1] + 0.5 * s[n / 2] }
    }

    /// Median absolute deviation from `centre`: the deviations grow outwards from it on both sides,
    /// so the middle one is found by merging the two sides.
    fn mad(&self, centre: f64) -> f64 {
        let (s, n) = (&self.sorted, self.sorted.len());
        let mut right = s.partition_point(|v| *v < centre);
        let mut left = right;
        let (mut last, mut before) = (0.0, 0.0);
        for _ in 0..=n / 2 {
            before = last;
            let below = (left > 0).then(|| centre - s[left - 1]);
            let above = (right < n).then(|| s[right] - centre);
            last = match (below, above) {
                (Some(b), Some(a)) if b <= a => b,
                (Some(b), None) => b,
                (_, Some(a)) => a,
                (None, None) => last,
            };
            if below == Some(last) { left -= 1 } else { right += 1 }
        }
        if n % 2 == 1 { last } else { 0.5 * (before + last) }
    }
}

/// Calls `see(i, window)` for every sample with the sorted window of `half` samples to both sides,
/// shorter at the ends. `None` when empty or when a value is not finite.
fn slide(x: &[f64], half: usize, mut see: impl FnMut(usize, &SortedWindow)) -> Option<()> {
    if x.is_empty() || x.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let half = half.min(x.len());
    let mut window = SortedWindow { sorted: Vec::with_capacity(2 * half + 2) };
    let mut inside: VecDeque<f64> = VecDeque::with_capacity(2 * half + 2);
    let mut next = 0;
    for i in 0..x.len() {
        while next < x.len() && next <= i + half {
            window.insert(x[next]);
            inside.push_back(x[next]);
            next += 1;
        }
        if i > half
            && let Some(gone) = inside.pop_front()
        {
            window.remove(gone);
        }
        see(i, &window);
    }
    Some(())
}

/// Median of each sample and its `half` neighbours on both sides, fewer at the ends. `None` when
/// empty or when a value is not finite.
pub fn running_median(x: &[f64], half: usize) -> Option<Vec<f64>> {
    let mut medians = Vec::with_capacity(x.len());
    slide(x, half, |_, window| medians.push(window.median()))?;
    Some(medians)
}

/// A series with its wild values replaced.
#[derive(Debug, Clone, PartialEq)]
pub struct Hampel {
    /// The series; wild values are the median of their window.
    pub values: Vec<f64>,
    /// Zero-based places of the values replaced, in order.
    pub replaced: Vec<usize>,
}

/// Hampel filter: a value further from the median of its window (`half` neighbours on both sides)
/// than `threshold` scaled median absolute deviations, and than `floor`, becomes that median. The
/// floor, in the unit of the series, decides alone where more than half of the window is equal: a
/// held or coarsely stepped channel has no scatter to measure by. `None` when empty, when a value
/// is not finite, or unless threshold and floor are zero or above.
pub fn hampel(x: &[f64], half: usize, threshold: f64, floor: f64) -> Option<Hampel> {
    if !(threshold >= 0.0 && floor >= 0.0) {
        return None;
    }
    let mut found = Hampel { values: x.to_vec(), replaced: Vec::new() };
    slide(x, half, |i, window| {
        let median = window.median();
        let deviation = (x[i] - median).abs();
        // The window is asked for its deviation only where the answer can matter.
        if deviation > floor && deviation > threshold * MAD_TO_SD * window.mad(median) {
            found.values[i] = median;
            found.replaced.push(i);
        }
    })?;
    Some(found)
}

#[cfg(test)]
mod tests {
    use super::super::summary;
    use super::*;

    #[test]
    fn the_sliding_window_agrees_with_sorting_each_one() {
        let x: Vec<f64> = (0..60i32).map(|i| f64::from((i * i * 7) % 23)).collect();
        for half in [0, 1, 2, 5, 40, 100] {
            let mut checked = 0;
            slide(&x, half, |i, window| {
                let part = &x[i.saturating_sub(half)..(i + half + 1).min(x.len())];
                let median = summary::median(part).unwrap();
                assert_eq!(window.median(), median);
                assert_eq!(window.mad(median), summary::mad(part).unwrap(), "{part:?}");
                checked += 1;
            })
            .unwrap();
            assert_eq!(checked, x.len());
        }
    }

    #[test]
    fn a_held_channel_is_judged_by_the_floor() {
        let mut x = [850.0; 30];
        x[12] = 850.5;
        x[20] = 1700.0;
        assert_eq!(hampel(&x, 3, 3.0, 5.0).unwrap().replaced, [20]);
        assert_eq!(hampel(&x, 3, 3.0, 0.0).unwrap().replaced, [12, 20]);
    }

    #[test]
    fn nonsense_gives_nothing() {
        assert_eq!(running_median(&[], 3), None);
        assert_eq!(running_median(&[1.0, f64::NAN], 3), None);
        assert_eq!(hampel(&[1.0], 3, f64::NAN, 0.0), None);
        assert_eq!(running_median(&[4.0], 9), Some(vec![4.0]));
        assert_eq!(hampel(&[4.0, 4.0], 0, 3.0, 0.0).unwrap().replaced, [0usize; 0]);
    }
}
