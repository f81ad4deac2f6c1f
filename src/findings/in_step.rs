//! What a logger that keeps step with the engine does to a mean difference.
//!
//! The mean retains the share `R` of each order of the ripple. How large that is, the readings
//! themselves tell as far as their phases are spread: the ripple's orders are fitted to them together
//! with the mean, each starting from the prior knowledge that it is not larger than
//! [`HIDDEN_KPA`] (its cosine and sine normal about zero; JCGM 102:2011, the linear least-squares
//! case). In step nothing is learnt and the prior knowledge stays: then the uncertainty is that of a
//! wave of that amplitude met at an unknown point, `a / sqrt 2` (arcsine distribution, JCGM 101:2008,
//! 6.4.6). What the mean retains of the fitted ripple counts as uncertainty too.

use crate::sample::Remark;
use crate::signal::Signal;
use crate::signal::aliasing::{Channel, ORDERS, Order, Readings};
use crate::statistics::moments::{Gathering, Moments};

/// Largest amplitude of one strong order of a side's ripple that has to be reckoned with where the
/// readings do not show it, kPa: a swing of 10 kPa (common practice, no published source).
const HIDDEN_KPA: f64 = 5.0;
/// Rounds of fitting the ripple and the scatter about it in turn.
const ROUNDS: usize = 3;
/// The readings do not show a ripple of which they leave more than this share of what was reckoned
/// with beforehand.
const UNSEEN: f64 = 0.5;

/// Name of the component in a budget.
pub const COMPONENT: &str = "logger in step with the engine";

/// What a logger in step with the engine does to a mean difference.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct InStep {
    /// Standard uncertainty of the difference, kPa; 0 out of step.
    pub u_kpa: f64,
    /// Largest share of the ripple that gets into the mean.
    pub r: f64,
    /// The readings do not show the ripple's size, and [`HIDDEN_KPA`] stands in for it.
    pub assumed: bool,
}

/// What being in step does to the mean difference over some rows (from, one past the last); `u_mean`
/// is the standard uncertainty of that mean by its scatter, kPa.
pub fn of(signal: &Signal, rows: (usize, usize), u_mean: f64, cylinders: u32) -> InStep {
    let track = &signal.track;
    let (Some(one), Some(two)) = (&track.vac1_kpa, &track.vac2_kpa) else {
        return InStep::default();
    };
    let readings = |spoken: Option<&[u32]>| Channel { track, spoken, rows, cylinders }.readings();
    if let [None, None] = signal.spoken {
        // Both sides are read at once: what they have in common drops out.
        let difference = |row: usize| one.at(row) - two.at(row);
        return readings(None).map_or_else(InStep::default, |r| {
            retained(&r, &difference, u_mean, 2.0 * HIDDEN_KPA.powi(2))
        });
    }
    let mut both = InStep::default();
    for (column, spoken) in [one, two].into_iter().zip(&signal.spoken) {
        let Some(readings) = readings(spoken.as_deref()) else { continue };
        let side = retained(&readings, &|row| column.at(row), u_mean, HIDDEN_KPA.powi(2));
        both.u_kpa = both.u_kpa.hypot(side.u_kpa);
        both.r = both.r.max(side.r);
        both.assumed |= side.assumed;
    }
    both
}

/// The same of the mean of one column over some rows.
pub fn of_column(signal: &Signal, side1: bool, rows: (usize, usize), cylinders: u32) -> InStep {
    let track = &signal.track;
    let column = if side1 { &track.vac1_kpa } else { &track.vac2_kpa };
    let spoken = signal.spoken[usize::from(!side1)].as_deref();
    let readings = Channel { track, spoken, rows, cylinders }.readings();
    let (Some(column), Some(readings)) = (column, readings) else { return InStep::default() };
    retained(&readings, &|row| column.at(row), 0.0, HIDDEN_KPA.powi(2))
}

/// Standard uncertainty that being in step adds to the mean of `value` over some rows, in the unit of
/// the value; one strong order of its ripple is reckoned to be no larger than `hidden`.
pub fn of_value(
    signal: &Signal,
    rows: (usize, usize),
    value: &dyn Fn(usize) -> f64,
    (u_mean, hidden): (f64, f64),
    cylinders: u32,
) -> f64 {
    let readings = Channel { track: &signal.track, spoken: None, rows, cylinders }.readings();
    readings.map_or(0.0, |readings| retained(&readings, value, u_mean, hidden * hidden).u_kpa)
}

/// What the mean of `value` over the readings retains of a ripple whose strong orders have an amplitude
/// of at most the root of `square`; `u_mean` is the standard uncertainty of that mean by its scatter.
fn retained(readings: &Readings, value: &dyn Fn(usize) -> f64, u_mean: f64, square: f64) -> InStep {
    let significant = readings.orders.iter().filter(|order| order.significant);
    let Some(r) = significant.map(|order| order.r * order.share).reduce(f64::max) else {
        return InStep::default();
    };
    // Cosine and sine of every order, and what was read.
    let mut gathering = Gathering::<{ 2 * ORDERS + 1 }>::default();
    for (at, row) in readings.rows.iter().enumerate() {
        let value = value(*row);
        if value.is_finite() {
            let mut both = [value; 2 * ORDERS + 1];
            for (pair, (cos, sin)) in both.chunks_exact_mut(2).zip(readings.waves(at)) {
                (pair[0], pair[1]) = (cos, sin);
            }
            gathering.add(&both);
        }
    }
    let Some(moments) = gathering.moments() else { return InStep::default() };
    let limit = |order: &Order| [(0.5 * square).sqrt() * order.share; 2];
    let limits: Vec<f64> = readings.orders.iter().flat_map(limit).collect();
    // What the mean retains of each wave.
    let retained = &moments.means[..2 * ORDERS];
    let before = retained.iter().zip(&limits).map(|(c, u)| (c * u).powi(2)).sum::<f64>().sqrt();
    let u_kpa = fitted(&moments, &limits, retained, u_mean).unwrap_or(before).min(before);
    InStep { u_kpa, r, assumed: u_kpa > UNSEEN * before }
}

/// Root mean square of what the mean retains of the ripple, by a fit to the readings that starts from
/// its limits; none where there is no fit.
fn fitted(moments: &Moments, limits: &[f64], retained: &[f64], u_mean: f64) -> Option<f64> {
    // Slow noise looks like a ripple that drifts past: the scatter of the mean says how much there is.
    let n = moments.rows as f64;
    let slow = (n * u_mean * u_mean).max(f64::MIN_POSITIVE);
    let mut fit = moments.regress(limits, slow)?;
    for _ in 1..ROUNDS {
        fit = moments.regress(limits, slow.max(fit.residual_squares / n))?;
    }
    let bias: f64 = fit.values.iter().zip(retained).map(|(b, c)| b * c).sum();
    let mut variance = 0.0;
    for (row, a) in fit.covariance.iter().zip(retained) {
        variance += row.iter().zip(retained).map(|(cell, b)| a * cell * b).sum::<f64>();
    }
    Some(variance.max(0.0).sqrt().hypot(bias)).filter(|u| u.is_finite())
}

/// What a person has to know of a logger in step, and what cures it.
pub fn remark(worst: &InStep, at_s: &[f64]) -> Remark {
    Remark::of_pressures("in_step", at_s.len(), at_s, |say| {
        let swing = if worst.assumed {
            format!(
                "they do not show how far the vacuum swings, and a swing of {} in each strong order of the ripple is reckoned with",
                say.pressure(2.0 * HIDDEN_KPA, 0)
            )
        } else {
            "what the mean keeps of the swing is reckoned with".into()
        };
        format!(
            "the logger keeps step with the engine: its readings come at nearly the same points of the cycle (R = {:.2}), and averaging does not help; {swing}; a slightly different engine speed or sampling rate cures it",
            worst.r
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::Track;
    use crate::statistics::correlated::mean_interval;
    use std::f64::consts::TAU;

    /// A ripple of 3 kPa on the difference of the sides, read at a rate for half a minute.
    fn found(rate_hz: f64, rpm: f64) -> InStep {
        let n = (30.0 * rate_hz) as usize;
        let noise = |k: usize| ((k * 37 + k * k) % 53) as f64 / 26.0 - 1.0;
        let time_s: Vec<f64> = (0..n).map(|k| k as f64 / rate_hz).collect();
        let wave = |k: usize| 3.0 * (TAU * (rpm / 120.0 * time_s[k] + 0.1)).sin();
        let one: Vec<f64> = (0..n).map(|k| 55.0 + wave(k) + 0.05 * noise(k)).collect();
        let difference: Vec<f64> = one.iter().map(|v| v - 55.0).collect();
        let u_mean = mean_interval(&difference, 0.95).unwrap().u;
        let track = Track {
            rpm: Some((0..n).map(|k| rpm + 0.1 * noise(k)).collect()),
            vac1_kpa: Some(one.into()),
            vac2_kpa: Some(vec![55.0; n].into()),
            time_s: time_s.into(),
            ..Track::default()
        };
        of(&Signal { track, ..Signal::default() }, (0, n), u_mean, 4)
    }

    #[test]
    fn in_step_the_swing_is_assumed_and_beside_it_it_is_measured() {
        let in_step = found(7.0, 840.0);
        assert!(in_step.assumed && in_step.r > 0.99, "{in_step:?}");
        // Four strong orders of 5 kPa on two sides: sqrt(4 * 2) 5 / sqrt 2, hardly touched by the fit.
        assert!((9.5..10.5).contains(&in_step.u_kpa), "{in_step:?}");
        let out_of_step = found(6.3, 840.0);
        assert_eq!(out_of_step, InStep::default());
        // A quarter of a turn of phase over the half minute short of seven: R is known, the ripple too.
        let beside = found(7.04, 840.0);
        assert!(!beside.assumed && beside.u_kpa < 3.0, "{beside:?}");
    }
}
