//! Whether a stretch of speed is steady: it hardly scatters, and it neither rises nor falls by more
//! than a held throttle allows or than its own noise explains.

use crate::statistics::{correlated, student};

/// A plateau may rise or fall over its length by this share of its level: a foot holds no better.
const LEVEL_SHARE: f64 = 0.02;
/// No idle that hunts and no foot scatters by more than this share of the speed.
const MOST_SCATTER: f64 = 0.06;
/// A rise that noise alone exceeds once in a hundred is laid to the noise.
const NOISE_LEVEL: f64 = 0.99;
/// Whatever the noise explains, a speed that moves by this many times what a held throttle allows
/// is no steady speed.
const MOST_BY_NOISE: f64 = 2.0;
/// In less time than this, s, slow noise and a ramp look alike, and a ramp is a chain of such pieces.
const TELLING_S: f64 = 8.0;
/// Variance of the rise from two halves over that from a least-squares line, both under noise that
/// is white at low frequencies: 16/n against 12/n.
const HALVES_VARIANCE: f64 = 4.0 / 3.0;

/// The speed hardly scatters, and its rise over the whole length stays below the scatter, below
/// what parts two plateaus, or below what the noise explains.
///
/// `values` are in the order of time and evenly spaced over `span_s` seconds; `same` gives the
/// largest difference from a level that does not matter. The slope is the median over pairs half a
/// length apart (Theil's estimator with non-overlapping pairs), so that a little settling at one end
/// does not pass for a slope. `around` are the levels before and after, where there are any: a rise
/// that they carry on is no work of noise.
pub(super) fn is_steady(
    values: &[f64],
    span_s: f64,
    same: impl Fn(f64) -> f64,
    around: [Option<f64>; 2],
) -> bool {
    let half = values.len() / 2;
    if half == 0 {
        return false;
    }
    let last = (values.len() - 1) as f64;
    let rise = median(values.iter().zip(&values[half..]).map(|(a, b)| b - a)) * last / half as f64;
    let level = median(values.iter().copied());
    let line = |k: usize| level + rise * (k as f64 / last - 0.5);
    let scatter = 1.4826 * median(values.iter().enumerate().map(|(k, v)| (v - line(k)).abs()));
    if scatter > MOST_SCATTER * level.abs() {
        return false;
    }
    let held = same(level).max(LEVEL_SHARE * level.abs());
    let size = rise.abs();
    let [before, after] = around.map(|other| other.map(|other| (other - level) * rise));
    let carried_on = around != [None; 2]
        && before.is_none_or(|lower| lower < 0.0)
        && after.is_none_or(|higher| higher > 0.0);
    size <= held.max(2.0 * scatter)
        || (size <= MOST_BY_NOISE * held
            && span_s >= TELLING_S
            && !carried_on
            && noise_explains(values).is_some_and(|largest| size <= largest))
}

/// The largest rise over the whole length that the noise of `values` makes by itself; `None` where
/// the noise cannot be measured.
///
/// Neighbouring cycles are alike, and a line through strongly correlated noise has a slope several
/// times that of white noise of the same scatter. The noise is measured in the lowest frequencies
/// (see [`correlated`]), with the line and its bend taken out: neither a ramp nor the curve of a
/// warming engine widens what is allowed to it. The bend is at right angles to the line and leaves
/// the slope as it is.
fn noise_explains(values: &[f64]) -> Option<f64> {
    let last = (values.len() - 1) as f64;
    let along: Vec<f64> = (0..values.len()).map(|k| k as f64 / last - 0.5).collect();
    let bend: Vec<f64> = along.iter().map(|x| x * x).collect();
    let level = vec![1.0; values.len()];
    let rise = correlated::fit(values, &[&level, &along, &bend]).ok()?.coefficient(1)?;
    Some(student::coverage_factor(NOISE_LEVEL, rise.dof)? * rise.u * HALVES_VARIANCE.sqrt())
}

/// Upper median; 0 of nothing.
pub(super) fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut held: Vec<f64> = values.collect();
    let middle = held.len() / 2;
    if held.is_empty() { 0.0 } else { *held.select_nth_unstable_by(middle, f64::total_cmp).1 }
}
