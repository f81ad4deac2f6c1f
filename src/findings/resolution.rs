//! What the steps of the converter and the rate of the logger add to the uncertainty.

use crate::sample::Track;
use crate::signal::Signal;
use crate::signal::aliasing;

/// Samples looked at to learn the step of a converter.
const LOOK: usize = 4000;
/// Noise of this many steps makes the average free of them (dither).
const DITHER: f64 = 0.5;

/// Standard uncertainty of the difference from the converters' steps, kPa: `step / sqrt 12` a side,
/// where the signal does not dither it (JCGM 100, F.2.2.1).
pub fn of_difference(track: &Track, (from, to): (usize, usize)) -> f64 {
    [&track.vac1_kpa, &track.vac2_kpa]
        .into_iter()
        .flatten()
        .map(|column| undithered_step(&column[from..to.min(column.len())]).powi(2) / 12.0)
        .sum::<f64>()
        .sqrt()
}

/// Step of a channel when its noise is smaller than that, else 0.
fn undithered_step(column: &[f64]) -> f64 {
    let mut held: Vec<f64> = column.iter().copied().filter(|v| v.is_finite()).take(LOOK).collect();
    let n = held.len() as f64;
    let mean = held.iter().sum::<f64>() / n;
    let sd = (held.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
    held.sort_by(f64::total_cmp);
    let step = held
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|gap| *gap > 1e-9)
        .fold(f64::INFINITY, f64::min);
    if step.is_finite() && sd < DITHER * step { step } else { 0.0 }
}

/// Standard uncertainty of the difference from a logger that keeps step with the engine, kPa.
///
/// The average then misses the true mean by up to `R` times the ripple's amplitude; the scatter of
/// the samples is all that a slow log shows of the amplitude (`sqrt 2` times the standard
/// deviation for a sine), and the limit counts as rectangular.
pub fn aliasing(signal: &Signal, samples: (usize, usize), cylinders: u32) -> f64 {
    let Some(r) = aliasing::significant(&signal.track, signal.sample_rate_hz, samples, cylinders)
    else {
        return 0.0;
    };
    let (from, to) = samples;
    let amplitude = |column: &Vec<f64>| {
        let held = column[from..to].iter().filter(|v| v.is_finite());
        let (n, sum, square) =
            held.fold((0.0, 0.0, 0.0), |(n, s, q), v| (n + 1.0, s + v, q + v * v));
        (2.0 * (square / n - (sum / n).powi(2)).max(0.0)).sqrt()
    };
    let sides = [&signal.track.vac1_kpa, &signal.track.vac2_kpa];
    let variance: f64 = sides.into_iter().flatten().map(|c| amplitude(c).powi(2)).sum();
    r * (variance / 3.0).sqrt()
}
