//! When a channel that is slower than the logger speaks.
//!
//! Such a channel repeats its last value on the rows in between, or leaves them empty. For whether
//! its readings keep step with the engine, its own times count and not those of the rows.

use crate::sample::Column;

/// Changes looked at before a channel counts as no slower than the logger.
const ENOUGH: usize = 2000;
/// Fewest changes that tell.
const LEAST: usize = 12;
/// A converter that toggles between fewer values changes when the signal does, not the channel.
const LEAST_VALUES: usize = 8;
/// Share of the changes that come at the channel's own interval.
const REGULAR_SHARE: f64 = 0.7;
/// Share of them that may come sooner; later ones are readings that happened to repeat.
const EARLY_SHARE: f64 = 0.05;

/// Rows on which a slow channel speaks; `None` for one that speaks on every row, or keeps no
/// interval of its own.
pub fn of_slow_channel(column: &Column) -> Option<Vec<u32>> {
    let mut last = f64::NAN;
    let mut changed = column.iter().enumerate().filter_map(|(row, value)| {
        let new = value.is_finite() && value != last;
        if new {
            last = value;
        }
        new.then_some(row as u32)
    });
    let mut rows: Vec<u32> = changed.by_ref().take(ENOUGH).collect();
    let usual = usual_interval(&rows)?;
    let values = distinct(rows.iter().map(|row| column.at(*row as usize)));
    if usual < 2 || values < LEAST_VALUES {
        return None;
    }
    rows.extend(changed);
    // A steady channel speaks every so many rows or every so many and one.
    let intervals: Vec<u32> = rows.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let number = |held: &dyn Fn(u32) -> bool| intervals.iter().filter(|i| held(**i)).count();
    let shorter = u32::from(number(&|i| i + 1 == usual) > number(&|i| i == usual + 1));
    let least = usual - usual / 4 - shorter;
    let most = usual + usual / 4 + 1;
    let (early, regular) = (number(&|i| i < least), number(&|i| (least..=most).contains(&i)));
    let share = |count: usize| count as f64 / intervals.len() as f64;
    (least >= 2 && share(regular) >= REGULAR_SHARE && share(early) <= EARLY_SHARE).then_some(rows)
}

/// Median rows from one change to the next; none of few changes.
fn usual_interval(rows: &[u32]) -> Option<u32> {
    if rows.len() < LEAST {
        return None;
    }
    let mut intervals: Vec<u32> = rows.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let middle = intervals.len() / 2;
    Some(*intervals.select_nth_unstable(middle).1)
}

/// Number of distinct values, counted up to [`LEAST_VALUES`].
fn distinct(values: impl Iterator<Item = f64>) -> usize {
    let mut seen: Vec<f64> = Vec::with_capacity(LEAST_VALUES);
    for value in values {
        if !seen.contains(&value) {
            seen.push(value);
            if seen.len() == LEAST_VALUES {
                break;
            }
        }
    }
    seen.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wave(k: usize) -> f64 {
        57.0 + 4.0 * (k as f64 * 0.71).sin()
    }

    #[test]
    fn a_channel_that_repeats_itself_or_leaves_rows_empty_speaks_at_its_own_times() {
        // Seven readings over fifty rows: seven or eight rows apart.
        let held: Vec<f64> = (0..1000).map(|row| wave(row * 7 / 50)).collect();
        let rows = of_slow_channel(&held.clone().into()).unwrap();
        assert_eq!(rows.len(), 140);
        assert!(rows.iter().all(|row| *row == 0 || held[*row as usize] != held[*row as usize - 1]));
        let sparse: Vec<f64> =
            (0..1000).map(|row| if row % 5 == 2 { wave(row) } else { f64::NAN }).collect();
        let rows = of_slow_channel(&sparse.into()).unwrap();
        assert!(rows.len() == 200 && rows.iter().all(|row| row % 5 == 2));
    }

    #[test]
    fn a_channel_on_every_row_and_coarse_steps_are_not_slow() {
        let every: Vec<f64> = (0..1000).map(wave).collect();
        assert_eq!(of_slow_channel(&every.into()), None);
        // Two codes in turn: the changes are the signal's.
        let codes: Vec<f64> = (0..1000).map(|row| f64::from(u8::from(row % 14 < 7))).collect();
        assert_eq!(of_slow_channel(&codes.into()), None);
        // A slow wave in steps of 0.5 kPa stands still at its crests.
        let steps: Vec<f64> = (0..1000)
            .map(|row| (2.0 * (57.0 + 8.0 * (row as f64 * 0.05).sin())).round() / 2.0)
            .collect();
        assert_eq!(of_slow_channel(&steps.into()), None);
        assert_eq!(of_slow_channel(&vec![57.0; 500].into()), None);
        assert_eq!(of_slow_channel(&Column::default()), None);
    }
}
