//! One wave that runs through a whole series, such as the even hunting of an idle.
//!
//! A wave of constant frequency is a line in the spectrum, and unlike a resonance of finite width it
//! can be fitted: then nothing of it is left in the lowest frequencies, and the band that tells of
//! the noise there (see [`super::correlated`]) need not end far below it.
//!
//! It is looked for in the periodogram of the series under Hann's window,
//! `P(f) = |sum (x[t] - m) sin^2(pi (t + 1/2) / n) exp(-2 pi i f (t + 1/2) / n)|^2` with `f` in
//! periods a record, whose main lobe reaches two of these to either side and whose side lobes fall
//! by 18 dB an octave (Harris 1978, Proceedings of the IEEE 66:51, from memory). The peak has to
//! stand out of what lies beside its main lobe. From its place the frequency is found by least
//! squares (Gauss and Newton), since the window takes away the ends of the record, where it shows
//! best: of a wave fitted `d` periods a record off its frequency `pi d / sqrt 3` stays behind.

use super::lowband::{LANES, turned_sums};
use super::regression::least_squares;
use std::f64::consts::TAU;

/// Fewest periods in the record: with fewer, slow noise looks the same, and the main lobe reaches
/// the level of the series.
const LEAST_PERIODS: f64 = 2.5;
/// Frequencies looked at for each period a record.
const STEPS: usize = 4;
/// Half the width of the main lobe, periods a record.
const LOBE: f64 = 2.0;
/// What the peak is held against reaches this far to either side, periods a record.
const BESIDE: f64 = 6.0;
/// Rounds of least squares for its frequency; each leaves about the square of the error before.
const ROUNDS: usize = 3;
/// A wave's power stands at more than this many times the mean of what lies beside it.
const STANDS_OUT: f64 = 12.0;

/// Periods in the record of the strongest wave of the evenly spaced series `x` among those of up to
/// `most` periods; `None` where none stands out, or the series is too short for one.
pub(super) fn strongest(x: &[f64], most: f64) -> Option<f64> {
    let n = x.len() as f64;
    // Nyquist's limit is n / 2; near it there is nothing beside the peak to hold it against.
    let most = most.min(0.5 * n - BESIDE);
    let last = ((most + BESIDE) * STEPS as f64) as usize;
    let power = periodogram(x, last);
    let periods = |k: usize| k as f64 / STEPS as f64;
    // From one period a record on: below it lies what the window makes of the level. What is strongest
    // there is a drift and the waves are its side lobes.
    let peak = (STEPS..last).max_by(|a, b| power[*a].total_cmp(&power[*b]))?;
    if !(LEAST_PERIODS..=most).contains(&periods(peak)) {
        return None;
    }
    let beside = |k: &usize| (LOBE..=BESIDE).contains(&(periods(*k) - periods(peak)).abs());
    let base: Vec<f64> = (STEPS..=last).filter(beside).map(|k| power[k]).collect();
    let mean = base.iter().sum::<f64>() / base.len() as f64;
    let stands_out = power[peak] > STANDS_OUT * mean && power[peak].is_finite();
    stands_out.then(|| refined(x, periods(peak)))?
}

/// The frequency by least squares, from one within half a step of it; `None` where it runs away.
fn refined(x: &[f64], start: f64) -> Option<f64> {
    let ones = vec![1.0; x.len()];
    let from_middle = |t: usize| TAU * ((t as f64 + 0.5) / x.len() as f64 - 0.5);
    let mut periods = start;
    for _ in 0..ROUNDS {
        let [cosine, sine] = columns(periods, x.len());
        let wave = least_squares(x, &[&ones, &cosine, &sine], None).ok()?;
        let (a, b) = (wave.coefficients[1], wave.coefficients[2]);
        // What the wave changes by with the frequency, its phase at the middle held.
        let change: Vec<f64> =
            (0..x.len()).map(|t| from_middle(t) * (b * cosine[t] - a * sine[t])).collect();
        let fit = least_squares(x, &[&ones, &cosine, &sine, &change], None).ok()?;
        periods += fit.coefficients[3];
        if (periods - start).abs() > 1.0 / STEPS as f64 {
            return None;
        }
    }
    Some(periods)
}

/// Cosine and sine with so many periods in `n` values.
pub(super) fn columns(periods: f64, n: usize) -> [Vec<f64>; 2] {
    let angle = |t: usize| TAU * periods * (t as f64 + 0.5) / n as f64;
    let column = |of: fn(f64) -> f64| (0..n).map(|t| of(angle(t))).collect();
    [column(f64::cos), column(f64::sin)]
}

/// Power under Hann's window at 0, 1, 2 ... `last` steps of frequency.
fn periodogram(x: &[f64], last: usize) -> Vec<f64> {
    let n = x.len() as f64;
    let window = |t: usize| (0.5 * TAU * (t as f64 + 0.5) / n).sin().powi(2);
    let weights: Vec<f64> = (0..x.len()).map(window).collect();
    let level =
        x.iter().zip(&weights).map(|(v, w)| v * w).sum::<f64>() / weights.iter().sum::<f64>();
    let seen: Vec<f64> = x.iter().zip(&weights).map(|(v, w)| (v - level) * w).collect();
    let mut all = Vec::with_capacity(last + 1 + LANES);
    for first in (0..=last).step_by(LANES) {
        let angle = |lane: usize| TAU * (first + lane) as f64 / STEPS as f64 / n;
        let (even, odd) = turned_sums::<true>(&seen, std::array::from_fn(angle));
        all.extend(even.iter().zip(odd).map(|(even, odd)| even * even + odd * odd));
    }
    all.truncate(last + 1);
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::StandardNormal;
    use rand_pcg::Pcg64;

    fn noise(n: usize, lag1: f64, random: &mut Pcg64) -> Vec<f64> {
        let mut x: f64 = random.sample(StandardNormal);
        let fresh = (1.0 - lag1 * lag1).sqrt();
        (0..n)
            .map(|_| {
                let now = x;
                x = lag1 * x + fresh * random.sample::<f64, _>(StandardNormal);
                now
            })
            .collect()
    }

    #[test]
    fn a_known_wave_is_found_where_it_is() {
        let mut random = Pcg64::seed_from_u64(5);
        for (n, periods) in [(106, 2.9), (106, 7.46), (375, 33.3), (2000, 59.2)] {
            for phase in [0.0, 1.0, 2.5] {
                let mut x = noise(n, 0.5, &mut random);
                for (t, v) in x.iter_mut().enumerate() {
                    *v += 900.0 + 4.0 * (TAU * periods * t as f64 / n as f64 + phase).sin();
                }
                let found = strongest(&x, 60.0).unwrap();
                assert!((found - periods).abs() < 0.12, "{n}: {found} for {periods}");
            }
        }
    }

    #[test]
    fn the_frequency_of_a_clear_wave_is_found_to_all_digits() {
        for periods in [2.63, 7.4, 31.11] {
            let [cosine, sine] = columns(periods, 300);
            let x: Vec<f64> = cosine.iter().zip(&sine).map(|(c, s)| 7.0 + 3.0 * c - s).collect();
            let found = strongest(&x, 60.0).unwrap();
            assert!((found - periods).abs() < 1e-6, "{found} for {periods}");
        }
    }

    #[test]
    fn noise_has_no_wave_and_neither_has_a_step_or_a_slope() {
        let mut random = Pcg64::seed_from_u64(6);
        for lag1 in [0.0, 0.5, 0.9] {
            let with =
                (0..200).filter(|_| strongest(&noise(106, lag1, &mut random), 60.0).is_some());
            let count = with.count();
            assert!(count <= 30, "{count} of 200 at {lag1}");
        }
        let ramp: Vec<f64> = (0..200).map(f64::from).collect();
        let step: Vec<f64> = (0..200).map(|t| f64::from(u8::from(t > 90))).collect();
        assert_eq!((strongest(&ramp, 60.0), strongest(&step, 60.0)), (None, None));
    }

    #[test]
    fn too_few_periods_or_values_are_no_wave() {
        let wave = |n: usize, periods: f64| columns(periods, n)[1].clone();
        assert_eq!(strongest(&wave(106, 1.6), 60.0), None);
        assert_eq!(strongest(&wave(16, 4.0), 60.0), None);
        assert_eq!(strongest(&[], 60.0), None);
        assert_eq!(strongest(&[850.0; 100], 60.0), None);
        // Beyond what is asked for.
        assert_eq!(strongest(&wave(400, 40.0), 20.0), None);
    }

    #[test]
    fn the_columns_are_a_wave_of_so_many_periods() {
        let [cosine, sine] = columns(3.0, 60);
        for (c, s) in cosine.iter().zip(&sine) {
            assert!((c * c + s * s - 1.0).abs() < 1e-12);
        }
        assert!((cosine[10] - cosine[30]).abs() < 1e-12 && cosine.iter().sum::<f64>().abs() < 1e-9);
    }
}
