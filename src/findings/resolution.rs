//! What the steps of the converter and the rate of the logger add to the uncertainty.

use crate::sample::{Remark, Track};
use crate::signal::Signal;
use crate::signal::aliasing::{Channel, Order};

/// Samples looked at to learn the step of a converter.
const LOOK: usize = 4000;
/// Noise of this many steps makes the average free of them (dither).
const DITHER: f64 = 0.5;
/// Steps to which readings are rounded, kPa: what a reading that never changes may lie on.
const ROUND_KPA: [f64; 10] = [1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001];

/// Standard uncertainty of the difference from the converters' steps, kPa: `step / sqrt 12` a side,
/// where the signal does not dither it (JCGM 100, F.2.2.1).
///
/// A stretch of one value does not show its step: then the smaller one of the two channels' over the
/// whole log has to do, or the coarsest round one on which both channels lie.
pub fn of_difference(track: &Track, (from, to): (usize, usize)) -> f64 {
    let sides = [&track.vac1_kpa, &track.vac2_kpa].map(|side| side.as_deref().unwrap_or_default());
    let stretches = sides.map(|side| Values::of(&side[from.min(side.len())..to.min(side.len())]));
    let elsewhere = || {
        let learnt = sides.map(Values::of).into_iter().filter(|v| v.sorted.len() > 2);
        let round = || stretches.iter().filter_map(Values::round_step);
        let step = learnt.filter_map(|v| v.step()).reduce(f64::min);
        step.or_else(|| round().reduce(f64::min)).unwrap_or(0.0)
    };
    let undithered = |values: &Values| match values.step() {
        Some(step) if values.sd < DITHER * step => step,
        Some(_) => 0.0,
        None => elsewhere(),
    };
    stretches.iter().map(|v| undithered(v).powi(2) / 12.0).sum::<f64>().sqrt()
}

/// Distinct values of the first readings of a channel, and their scatter.
struct Values {
    sorted: Vec<f64>,
    sd: f64,
}

impl Values {
    fn of(column: &[f64]) -> Self {
        let read = column.iter().copied().filter(|v| v.is_finite());
        let mut sorted: Vec<f64> = read.take(LOOK).collect();
        let sd = variance(&sorted).sqrt();
        sorted.sort_by(f64::total_cmp);
        sorted.dedup_by(|a, b| (*a - *b).abs() <= 1e-9);
        Values { sorted, sd }
    }

    /// Smallest gap between them; none of one value.
    fn step(&self) -> Option<f64> {
        self.sorted.windows(2).map(|pair| pair[1] - pair[0]).reduce(f64::min)
    }

    /// Coarsest round step on which a single value lies.
    fn round_step(&self) -> Option<f64> {
        let value = self.sorted.first()?;
        let on = |step: &f64| (value / step - (value / step).round()).abs() < 1e-6;
        ROUND_KPA.into_iter().find(on)
    }
}

/// Largest amplitude of one order of the ripple that has to be reckoned with where the readings do not
/// show it, kPa: a swing of 20 kPa (common practice, no published source).
const HIDDEN_KPA: f64 = 10.0;

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

/// What a logger in step with the engine does to the mean difference over a range of rows.
///
/// The mean retains the share `R` of each order of the ripple. Where on the wave the readings stand is
/// not known, so that the error `R a cos(angle)` has the arcsine distribution: `u = R a / sqrt 2`
/// (JCGM 101:2008, 6.4.6). The amplitude `a` comes from the scatter of the readings, which shows of it
/// the less the better they keep step; the weaker orders are smaller by their share.
pub fn in_step(signal: &Signal, rows: (usize, usize), cylinders: u32) -> InStep {
    let sides = [&signal.track.vac1_kpa, &signal.track.vac2_kpa];
    let mut both = InStep::default();
    for (column, spoken) in sides.into_iter().zip(&signal.spoken) {
        let spoken = spoken.as_deref();
        let channel = Channel { track: &signal.track, spoken, rows, cylinders };
        let (Some(column), Some(orders)) = (column, channel.orders()) else { continue };
        let side = of_side(&orders, variance(&column[rows.0..rows.1]));
        both.u_kpa = both.u_kpa.hypot(side.u_kpa);
        both.r = both.r.max(side.r);
        both.assumed |= side.assumed;
    }
    both
}

fn of_side(orders: &[Order], variance: f64) -> InStep {
    let amplitude = |seen: f64| (variance / seen).sqrt();
    // A weaker order is as large as the strong ones allow, and those have to be seen.
    let strong = orders.iter().filter(|o| o.share == 1.0).map(|o| o.seen).fold(0.5, f64::min);
    let mut worst = InStep::default();
    for order in orders.iter().filter(|order| order.significant) {
        let from = amplitude(if order.share == 1.0 { order.seen } else { strong });
        let assumed = !from.is_finite() || from > HIDDEN_KPA;
        let size = order.share * if assumed { HIDDEN_KPA } else { from };
        let u_kpa = order.r * size / std::f64::consts::SQRT_2;
        if u_kpa > worst.u_kpa {
            worst = InStep { u_kpa, r: order.r * order.share, assumed };
        }
    }
    worst
}

fn variance(column: &[f64]) -> f64 {
    let held = column.iter().filter(|v| v.is_finite());
    let (n, sum) = held.clone().fold((0.0, 0.0), |(n, s), v| (n + 1.0, s + v));
    let mean = sum / n;
    held.map(|v| (v - mean).powi(2)).sum::<f64>() / n
}

/// Name of the component in a budget.
pub const IN_STEP: &str = "logger in step with the engine";

/// What a person has to know of a logger in step, and what cures it.
pub fn remark(worst: &InStep, count: usize, at_s: &[f64]) -> Remark {
    let swing = if worst.assumed {
        format!(
            "the readings do not show how far the vacuum swings, and {:.0} kPa are reckoned with",
            2.0 * HIDDEN_KPA
        )
    } else {
        "the swing that the readings show is reckoned with".into()
    };
    let text = format!(
        "the logger keeps step with the engine: its readings fall at nearly the same points of every cycle (R = {:.2}), where averaging does not help; {swing}; a slightly different engine speed or sampling rate cures it",
        worst.r
    );
    Remark::new("in_step", count, at_s, text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn order(order: usize, r: f64, seen: f64, share: f64) -> Order {
        Order { order, r, seen, share, significant: r > 0.3 }
    }

    #[test]
    fn what_the_readings_show_bounds_the_swing_and_what_they_hide_is_assumed() {
        // Spread evenly but for R = 0.5: an amplitude of sqrt(8 / 0.4).
        let seen = of_side(&[order(1, 0.5, 0.4, 1.0)], 8.0);
        assert!((seen.u_kpa - 0.5 * 20f64.sqrt() / 2f64.sqrt()).abs() < 1e-12 && !seen.assumed);
        let hidden = of_side(&[order(1, 1.0, 0.0, 1.0)], 0.01);
        assert!((hidden.u_kpa - 10.0 / 2f64.sqrt()).abs() < 1e-12 && hidden.assumed);
        let none = of_side(&[order(1, 0.1, 0.5, 1.0)], 8.0);
        assert_eq!(none, InStep::default());
    }

    #[test]
    fn a_high_order_in_step_is_small_beside_the_low_ones_that_are_seen() {
        let orders = [order(1, 0.0, 0.5, 1.0), order(2, 0.0, 0.5, 1.0), order(5, 1.0, 0.0, 0.16)];
        let found = of_side(&orders, 2.0);
        assert!((found.u_kpa - 0.16 * 2.0 / 2f64.sqrt()).abs() < 1e-12 && !found.assumed);
    }

    #[test]
    fn a_reading_that_never_changes_has_the_step_of_the_rest_or_a_round_one() {
        let of = |one: &[f64], two: &[f64], rows| {
            let (vac1_kpa, vac2_kpa) = (Some(one.to_vec()), Some(two.to_vec()));
            let track = Track { vac1_kpa, vac2_kpa, ..Track::default() };
            of_difference(&track, rows) * 12f64.sqrt()
        };
        let close = |found: f64, steps: [f64; 2]| {
            assert!((found - steps[0].hypot(steps[1])).abs() < 1e-9, "{found}");
        };
        close(of(&[55.5; 50], &[54.0; 50], (0, 50)), [0.5, 0.5]);
        close(of(&[55.5; 50], &[54.13; 50], (0, 50)), [0.01, 0.01]);
        // The rest of the log shows steps of 0.1.
        let mut before: Vec<f64> = (0..40).map(|k| 50.0 + 0.1 * f64::from(k % 7)).collect();
        before.extend([55.5; 50]);
        close(of(&before, &before, (40, 90)), [0.1, 0.1]);
        // One reading a step higher shows the step and does not dither it; readings on many do.
        let two: Vec<f64> = (0..50).map(|k| 55.0 + 0.5 * f64::from(u8::from(k == 7))).collect();
        let many: Vec<f64> = (0..50).map(|k| 55.0 + 0.5 * f64::from(k % 5)).collect();
        close(of(&two, &many, (0, 50)), [0.5, 0.0]);
        // Zero with the engine off is no step.
        let mut off = vec![0.0; 10];
        off.extend([55.5; 50]);
        close(of(&off, &off, (10, 60)), [0.5, 0.5]);
    }
}
