//! Orders of the vacuum's ripple: how strong it is at once, twice, three times a working cycle.
//!
//! Over a window of a few whole cycles the vacuum is turned into its Fourier coefficients by engine
//! phase, under a Hann window, so that a line does not leak into its neighbours when the samples do
//! not divide the cycle. Only sizes are kept: the phase of a cycle's beginning is arbitrary.

use super::cycles::Cycles;
use crate::sample::{Column, Cursor};
use std::f64::consts::TAU;
use std::ops::Range;

/// Cycles in a window: the Hann window's line is then half an order wide.
const WINDOW_CYCLES: usize = 4;
/// Windows looked at, spread evenly over a longer stretch.
const MOST_WINDOWS: usize = 120;
/// Samples a cycle taken for each order, at the least; a faster log is thinned to them, as a line so
/// far up that it would fold down is not in a vacuum's ripple.
const SAMPLES_AN_ORDER: usize = 16;

/// Power of the vacuum at orders 1 to `count`, one vector a window, over the blocks of `range`; windows
/// with a reading missing, or with blocks of less or more than one cycle, are left out.
///
/// An order counts periods in a working cycle of two turns.
pub fn powers(
    (time_s, column): (&Column, &Column),
    cycles: &Cycles,
    range: Range<usize>,
    count: usize,
) -> Vec<Vec<f64>> {
    let (mut clock, mut readings) = (time_s.cursor(), column.cursor());
    let windows = (range.len() / WINDOW_CYCLES).min(MOST_WINDOWS);
    let stride = range.len().checked_div(windows).unwrap_or(0);
    let window = |number: usize| {
        let first = range.start + number * stride;
        of_window((&mut clock, &mut readings), cycles, first..first + WINDOW_CYCLES, count)
    };
    (0..windows).filter_map(window).collect()
}

/// Power at orders 1 to `count` over a window of consecutive blocks of one cycle each.
fn of_window(
    (clock, readings): (&mut Cursor, &mut Cursor),
    cycles: &Cycles,
    blocks: Range<usize>,
    count: usize,
) -> Option<Vec<f64>> {
    let whole = |k: usize| {
        cycles.cycles[k] == 1.0
            && (k == blocks.start || (cycles.from_s[k] - cycles.to_s[k - 1]).abs() < 1e-9)
    };
    if blocks.end >= cycles.len() || !blocks.clone().all(whole) {
        return None;
    }
    let (mut weights, mut sum) = (0.0, 0.0);
    // Order by order: sums of the weighted wave, and of the weighted wave times the vacuum.
    let mut bare = vec![(0.0, 0.0); count];
    let mut waves = vec![(0.0, 0.0); count];
    let rows = cycles.sample[blocks.start] as usize..cycles.sample[blocks.end] as usize;
    let thin = (rows.len() / (blocks.len() * SAMPLES_AN_ORDER * count)).max(1);
    let mut block = blocks.start;
    // Thinned over the whole window: a step that began anew in every cycle would be a ripple itself.
    for k in rows.step_by(thin) {
        while k >= cycles.sample[block + 1] as usize {
            block += 1;
        }
        let (from_s, to_s) = (cycles.from_s[block], cycles.to_s[block]);
        let phase = (block - blocks.start) as f64 + (clock.at(k) - from_s) / (to_s - from_s);
        let value = readings.at(k);
        if !value.is_finite() {
            return None;
        }
        // The window is a turn long: its fourth power turns once a cycle.
        let (sin, cos) = (TAU * phase / WINDOW_CYCLES as f64).sin_cos();
        let weight = 0.5 - 0.5 * cos;
        let turn = square(square((cos, sin)));
        weights += weight;
        sum += weight * value;
        let mut wave = (weight, 0.0);
        for (bare, sums) in bare.iter_mut().zip(&mut waves) {
            wave = times(wave, turn);
            *bare = (bare.0 + wave.0, bare.1 + wave.1);
            *sums = (sums.0 + wave.0 * value, sums.1 + wave.1 * value);
        }
    }
    let mean = sum / weights;
    let power = |(bare, wave): (&(f64, f64), &(f64, f64))| {
        let (east, north) = (wave.0 - mean * bare.0, wave.1 - mean * bare.1);
        (east * east + north * north) / (weights * weights)
    };
    Some(bare.iter().zip(&waves).map(power).collect())
}

/// Product of two complex numbers.
fn times(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

fn square(a: (f64, f64)) -> (f64, f64) {
    times(a, a)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::Track;
    use crate::signal::cycles::cut;

    #[test]
    fn an_order_is_told_from_its_neighbours_whatever_the_rate() {
        for (rate, rpm) in [(97.0, 850.0), (100.0, 1004.0), (1000.0, 850.0)] {
            let time: Vec<f64> = (0..(20.0 * rate) as usize).map(|k| k as f64 / rate).collect();
            let swing = |t: &f64| {
                let phase = TAU * t * rpm / 120.0;
                55.0 + 3.0 * (phase + 0.3).sin() + 0.1 * (2.0 * phase + 1.0).sin()
            };
            let column: Vec<f64> = time.iter().map(swing).collect();
            let track = Track {
                time_s: time.clone().into(),
                vac1_kpa: Some(column.clone().into()),
                ..Track::default()
            };
            let cycles = cut(
                &track,
                || |_: usize, _: &[f64], own: &mut [f64]| own.fill(rpm),
                1.0 / rate,
                true,
            );
            let range = 0..cycles.len() - 1;
            let found = powers((&track.time_s, &column.into()), &cycles, range, 2);
            assert!(found.len() > 20);
            for power in found {
                let times = (power[1] / power[0]).sqrt();
                assert!((times - 0.1 / 3.0).abs() < 0.005, "{rate} {rpm}: {times}");
                // A sine of amplitude 3 has the coefficient 3/2.
                assert!((power[0].sqrt() - 1.5).abs() < 0.05, "{rate} {rpm}: {power:?}");
            }
        }
    }

    #[test]
    fn a_window_with_a_hole_gives_nothing() {
        let time: Vec<f64> = (0..2000).map(|k| f64::from(k) / 100.0).collect();
        let mut column: Vec<f64> = time.iter().map(|t| (TAU * t * 7.0).sin()).collect();
        let track = Track {
            time_s: time.clone().into(),
            vac1_kpa: Some(column.clone().into()),
            ..Track::default()
        };
        let cycles =
            cut(&track, || |_: usize, _: &[f64], own: &mut [f64]| own.fill(840.0), 0.01, true);
        let last = cycles.len() - 4..cycles.len();
        let of = |column: &[f64], range| {
            powers((&track.time_s, &column.to_vec().into()), &cycles, range, 1).len()
        };
        assert_eq!(of(&column, 0..4), 1);
        assert_eq!(of(&column, last), 0);
        column[20] = f64::NAN;
        assert_eq!(of(&column, 0..4), 0);
    }
}
