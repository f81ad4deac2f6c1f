//! Orders of the vacuum's ripple: how strong it is at once, twice, three times a working cycle.
//!
//! Over a window of a few whole cycles the vacuum is turned into its Fourier coefficients by engine
//! phase, under a Hann window, so that a line does not leak into its neighbours when the samples do
//! not divide the cycle. Only sizes are kept: the phase of a cycle's beginning is arbitrary.

use super::cycles::Cycles;
use std::f64::consts::TAU;

/// Cycles in a window: the Hann window's line is then half an order wide.
const WINDOW_CYCLES: usize = 4;
/// Windows looked at, spread evenly over a longer stretch.
const MOST_WINDOWS: usize = 120;

/// Logarithm of the power of order `order` over that of order `against`, one value a window, over the
/// blocks of `range`; empty where the blocks hold less or more than one cycle each.
///
/// `order` and `against` count periods in a working cycle of two turns. Windows with a reading missing
/// are left out.
pub fn log_power_ratios(
    (time_s, column): (&[f64], &[f64]),
    cycles: &Cycles,
    range: std::ops::Range<usize>,
    (order, against): (usize, usize),
) -> Vec<f64> {
    let windows = (range.len() / WINDOW_CYCLES).min(MOST_WINDOWS);
    let stride = range.len().checked_div(windows).unwrap_or(0);
    (0..windows)
        .filter_map(|number| {
            let first = range.start + number * stride;
            let blocks = first..first + WINDOW_CYCLES;
            let sizes = powers((time_s, column), cycles, blocks, [order, against])?;
            let ratio = (sizes[0] / sizes[1]).ln();
            ratio.is_finite().then_some(ratio)
        })
        .collect()
}

/// Power at each order over a window of consecutive blocks of one cycle each.
fn powers<const N: usize>(
    (time_s, column): (&[f64], &[f64]),
    cycles: &Cycles,
    blocks: std::ops::Range<usize>,
    orders: [usize; N],
) -> Option<[f64; N]> {
    let whole = |k: usize| {
        cycles.cycles[k] == 1.0
            && (k == blocks.start || (cycles.from_s[k] - cycles.to_s[k - 1]).abs() < 1e-9)
    };
    if blocks.end >= cycles.len() || !blocks.clone().all(whole) {
        return None;
    }
    let turns = |phase: f64| TAU * phase / blocks.len() as f64;
    let hann = |phase: f64| 0.5 - 0.5 * turns(phase).cos();
    let (mut weights, mut sum) = (0.0, 0.0);
    let mut seen = Vec::new();
    for (number, block) in blocks.clone().enumerate() {
        let (from_s, to_s) = (cycles.from_s[block], cycles.to_s[block]);
        for k in cycles.sample[block] as usize..cycles.sample[block + 1] as usize {
            let phase = number as f64 + (time_s[k] - from_s) / (to_s - from_s);
            let (value, weight) = (column[k], hann(phase));
            if !value.is_finite() {
                return None;
            }
            weights += weight;
            sum += weight * value;
            seen.push((phase, value, weight));
        }
    }
    let mean = sum / weights;
    Some(orders.map(|order| {
        let (mut east, mut north) = (0.0, 0.0);
        for (phase, value, weight) in &seen {
            let angle = TAU * order as f64 * phase;
            east += weight * (value - mean) * angle.cos();
            north += weight * (value - mean) * angle.sin();
        }
        (east * east + north * north) / (weights * weights)
    }))
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
            let track =
                Track { time_s: time.clone(), vac1_kpa: Some(column.clone()), ..Track::default() };
            let cycles = cut(&track, time.iter().map(|_| rpm), 1.0 / rate, true);
            let range = 0..cycles.len() - 1;
            let found = log_power_ratios((&time, &column), &cycles, range, (2, 1));
            assert!(found.len() > 20);
            for ratio in found {
                let times = (0.5 * ratio).exp();
                assert!((times - 0.1 / 3.0).abs() < 0.005, "{rate} {rpm}: {times}");
            }
        }
    }

    #[test]
    fn a_window_with_a_hole_gives_nothing() {
        let time: Vec<f64> = (0..2000).map(|k| f64::from(k) / 100.0).collect();
        let mut column: Vec<f64> = time.iter().map(|t| (TAU * t * 7.0).sin()).collect();
        let track =
            Track { time_s: time.clone(), vac1_kpa: Some(column.clone()), ..Track::default() };
        let cycles = cut(&track, time.iter().map(|_| 840.0), 0.01, true);
        assert!(powers((&time, &column), &cycles, 0..4, [1]).is_some());
        column[20] = f64::NAN;
        assert_eq!(powers((&time, &column), &cycles, 0..4, [1]), None);
        assert_eq!(powers((&time, &column), &cycles, cycles.len() - 4..cycles.len(), [1]), None);
    }
}
