//! What the steps of the converter add to the uncertainty.

use crate::sample::{Column, Track};
use crate::statistics::summary;

/// Samples looked at to learn the step of a converter.
const LOOK: usize = 4000;
/// Noise of this many steps makes the average free of them (dither).
const DITHER: f64 = 0.5;
/// Values this near are one, kPa.
const SAME_KPA: f64 = 1e-9;
/// Steps to which readings are rounded, kPa: what a reading that never changes may lie on.
const ROUND_KPA: [f64; 10] = [1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001];

/// Standard uncertainty of the difference from the converters' steps, kPa: `step / sqrt 12` a side,
/// where the signal does not dither it (JCGM 100, F.2.2.1).
///
/// A stretch of one value does not show its step: then the smaller one of the two channels' over the
/// whole log has to do, or the coarsest round one on which both channels lie.
pub fn of_difference(track: &Track, rows: (usize, usize)) -> f64 {
    let sides: Vec<&Column> = [&track.vac1_kpa, &track.vac2_kpa].into_iter().flatten().collect();
    of_sum(&sides, rows)
}

/// The same of the mean of one column.
pub fn of_column(column: &Column, rows: (usize, usize)) -> f64 {
    of_sum(&[column], rows)
}

fn of_sum(sides: &[&Column], (from, to): (usize, usize)) -> f64 {
    let part = |side: &&Column| Values::of(side.iter_over(from..to));
    let stretches: Vec<Values> = sides.iter().map(part).collect();
    let elsewhere = || {
        let learnt =
            sides.iter().map(|side| Values::of(side.iter())).filter(|v| v.sorted().len() > 2);
        let round = || stretches.iter().filter_map(Values::round_step);
        let step = learnt.filter_map(|v| v.step()).reduce(f64::min);
        step.or_else(|| round().reduce(f64::min)).unwrap_or(0.0)
    };
    let undithered = |values: &Values| {
        if values.clearly_dithered() {
            return 0.0;
        }
        match values.step() {
            Some(step) if values.sd < DITHER * step => step,
            Some(_) => 0.0,
            None => elsewhere(),
        }
    };
    stretches.iter().map(|v| undithered(v).powi(2) / 12.0).sum::<f64>().sqrt()
}

/// The first readings of a channel, and their scatter.
struct Values {
    read: Vec<f64>,
    sd: f64,
}

impl Values {
    fn of(column: impl Iterator<Item = f64>) -> Self {
        let read = column.filter(|v| v.is_finite());
        let read: Vec<f64> = read.take(LOOK).collect();
        let sd = summary::sd(&read).unwrap_or(0.0);
        Values { read, sd }
    }

    /// Distinct values, rising.
    fn sorted(&self) -> Vec<f64> {
        let mut sorted = self.read.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.dedup_by(|a, b| (*a - *b).abs() <= SAME_KPA);
        sorted
    }

    /// Dithered by what two readings in a row show already: the step is no larger than any gap.
    fn clearly_dithered(&self) -> bool {
        let gaps = self.read.windows(2).map(|pair| (pair[0] - pair[1]).abs());
        let nearest = gaps.filter(|gap| *gap > SAME_KPA).fold(f64::INFINITY, f64::min);
        self.sd >= DITHER * (nearest + SAME_KPA)
    }

    /// Smallest gap between them; none of one value.
    fn step(&self) -> Option<f64> {
        self.sorted().windows(2).map(|pair| pair[1] - pair[0]).reduce(f64::min)
    }

    /// Coarsest round step on which a single value lies.
    fn round_step(&self) -> Option<f64> {
        let sorted = self.sorted();
        let value = sorted.first()?;
        let on = |step: &f64| (value / step - (value / step).round()).abs() < 1e-6;
        ROUND_KPA.into_iter().find(on)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_that_never_changes_has_the_step_of_the_rest_or_a_round_one() {
        let of = |one: &[f64], two: &[f64], rows| {
            let (vac1_kpa, vac2_kpa) = (Some(one.to_vec().into()), Some(two.to_vec().into()));
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
