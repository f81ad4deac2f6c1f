//! How far the vacuum swings within a cycle.

use crate::sample::extent;
use crate::signal::Signal;

/// Peak-to-peak swing within a cycle, kPa: the median over the blocks of a stretch.
pub(super) fn ripple(
    signal: &Signal,
    samples: (usize, usize),
    side_of_sensor1: bool,
) -> Option<f64> {
    let column =
        if side_of_sensor1 { &signal.track.vac1_kpa } else { &signal.track.vac2_kpa }.as_ref()?;
    let starts = &signal.cycles.sample;
    let from = starts.partition_point(|s| (*s as usize) < samples.0);
    let to = starts.partition_point(|s| (*s as usize) < samples.1);
    let mut swings = Vec::new();
    let (mut cursor, mut block) = (column.cursor(), Vec::new());
    for (pair, cycles) in starts.get(from..to)?.windows(2).zip(&signal.cycles.cycles[from..to]) {
        block.clear();
        cursor.copy(pair[0] as usize..pair[1] as usize, &mut block);
        if block.len() as f64 >= LEAST_A_CYCLE * cycles {
            swings.extend(swing(&block));
        }
    }
    let middle = swings.len() / 2;
    (!swings.is_empty()).then(|| *swings.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Greatest less least; none where one of the values is no reading, or there is none.
fn swing(values: &[f64]) -> Option<f64> {
    let (low, high, missing) = extent(values);
    (missing == 0 && low <= high).then_some(high - low)
}

/// A swing needs this many samples a cycle, or it misses the peaks.
const LEAST_A_CYCLE: f64 = 8.0;
