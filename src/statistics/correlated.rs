//! Mean of a correlated series with an interval that holds what it promises.
//!
//! Neighbouring cycles of an idling engine are alike, and the idle hunts, so `s / sqrt(n)` is far
//! too small. What is needed is the spectrum at frequency zero. It is read from the lowest
//! frequencies only, which a narrow-band oscillation does not reach:
//!
//! 1. the cosine coefficients of the series (its discrete cosine transform, squared) at 1, 2, 3 ...
//!    half waves over the record: each is an independent chi-square with one degree of freedom
//!    times the spectrum there;
//! 2. the band: up to half-way to the first strong peak (the hunting), at most
//!    [`BAND_LIMIT`] coefficients;
//! 3. within the band the spectrum is a plateau that falls beyond a corner, the shape of
//!    first-order noise. The corner is not known. Every corner from one half wave upwards is weighed
//!    by its likelihood, its plateau gives a Student's t for the mean, and the interval is that of
//!    the mixture.
//!
//! With the corner far away this is the equal-weighted cosine estimate with Student's t (Lazarus,
//! Lewis, Stock and Watson 2018, Journal of Business and Economic Statistics 36:541); weighing
//! low-frequency coefficients against a strongly autocorrelated model is Mueller's idea (2014, the
//! same journal 32:311). Both citations from memory. Newey-West, batch means, plain cosines and
//! autoregressions of selected order were tried beside it: `tests/coverage/README.md` has the table.

use super::{student, summary};

/// Most cosine coefficients used.
pub const BAND_LIMIT: usize = 64;
/// Fewest coefficients used when the series has that many.
const BAND_LEAST: usize = 4;
/// A peak counts when three neighbours average this many times the mean of the lower half.
const PEAK_RATIO: f64 = 4.0;
/// The band ends at this part of the frequency of the peak, out of reach of its skirts.
const BAND_PART_OF_PEAK: f64 = 0.4;
/// Corners weighed, evenly spaced in their logarithm.
const CORNERS: usize = 40;
/// Lowest corner, half waves in the record: noise slower than that cannot be told from drift.
const LOWEST_CORNER: f64 = 1.0;
/// Levels at which one Student's t is matched to the mixture.
const MATCH_LEVELS: (f64, f64) = (0.6827, 0.95);

/// A mean with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanInterval {
    /// Arithmetic mean, in the unit of the series.
    pub mean: f64,
    /// Standard uncertainty of the mean: with `dof` and Student's t it gives the interval.
    pub u: f64,
    /// Degrees of freedom that belong to `u`.
    pub dof: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Values in the series.
    pub n: usize,
    /// Independent values that would give the same `u`; above `n` where neighbours alternate,
    /// as in hunting, and 1 for a series that never changes.
    pub n_effective: f64,
}

/// Mean of an evenly spaced series of correlated values, with the interval that holds the true
/// mean with probability `level`.
///
/// Values held for several samples (a channel slower than the logger) widen the interval as they
/// should. A constant series has `u` zero: its resolution is for the caller to add. `None` with
/// fewer than two values, a value that is not finite, or a level outside (0, 1).
pub fn mean_interval(x: &[f64], level: f64) -> Option<MeanInterval> {
    let mean = summary::mean(x)?;
    let variance = summary::variance(x)?;
    let n = x.len();
    let constant = MeanInterval {
        mean,
        u: 0.0,
        dof: (n - 1) as f64,
        low: mean,
        high: mean,
        n,
        n_effective: 1.0,
    };
    student::coverage_factor(level, 1.0)?;
    // Scaled to unit variance, so that no square over- or underflows.
    let sd = variance.sqrt();
    if sd <= mean.abs() * f64::EPSILON {
        return Some(constant);
    }
    let scaled: Vec<f64> = x.iter().map(|v| (v - mean) / sd).collect();
    let power = low_frequency_power(&scaled, highest_coefficient(n));
    let band = &power[..band_length(&power)];
    let (u, dof) = matched_student(&plateaus(band, n))?;
    let half = student::coverage_factor(level, dof)? * u * sd;
    Some(MeanInterval {
        mean,
        u: u * sd,
        dof,
        low: mean - half,
        high: mean + half,
        n,
        n_effective: 1.0 / (u * u),
    })
}

/// How far up the coefficients are computed: far enough to see a peak that shortens the band.
fn highest_coefficient(n: usize) -> usize {
    let reach = (BAND_LIMIT as f64 / BAND_PART_OF_PEAK).ceil() as usize;
    reach.min(3 * n / 4).clamp(1, n - 1)
}

/// Squared coefficients 1 to `highest` of the orthonormal cosine transform (DCT-II) of `x`.
fn low_frequency_power(x: &[f64], highest: usize) -> Vec<f64> {
    const LANES: usize = 8;
    let n = x.len() as f64;
    let mut power = Vec::with_capacity(highest + LANES);
    for first in (1..=highest).step_by(LANES) {
        // A cosine a lane, each turned by its own angle from sample to sample: no call to cos
        // inside the loop, and eight independent chains for the processor.
        let angle = |lane: usize| std::f64::consts::PI * (first + lane) as f64 / n;
        let turn: [(f64, f64); LANES] = std::array::from_fn(|i| angle(i).sin_cos());
        let mut at: [(f64, f64); LANES] = std::array::from_fn(|i| (0.5 * angle(i)).sin_cos());
        let mut sums = [0.0f64; LANES];
        for value in x {
            for lane in 0..LANES {
                let ((s, c), (ts, tc)) = (at[lane], turn[lane]);
                sums[lane] += value * c;
                at[lane] = (s * tc + c * ts, c * tc - s * ts);
            }
        }
        power.extend(sums.iter().map(|sum| sum * sum * 2.0 / n));
    }
    power.truncate(highest);
    power
}

/// Coefficients to use: all up to the limit, or those well below the strongest peak that stands
/// out of the frequencies under it. `power[0]` is coefficient 1.
fn band_length(power: &[f64]) -> usize {
    let longest = power.len().min(BAND_LIMIT);
    let mut below = Vec::with_capacity(power.len() + 1);
    below.push(0.0);
    for p in power {
        below.push(below[below.len() - 1] + p);
    }
    let ratio = |k: usize| {
        let half = (k / 2).max(2);
        let base = below[half] / half as f64;
        (below[k + 1] - below[k - 2]) / 3.0 / base
    };
    let peak = (4..power.len())
        .map(|k| (k, ratio(k)))
        .filter(|(_, r)| *r > PEAK_RATIO)
        .max_by(|a, b| a.1.total_cmp(&b.1));
    match peak {
        Some((k, _)) => {
            let part = (BAND_PART_OF_PEAK * k as f64) as usize;
            part.clamp(BAND_LEAST.min(longest), longest)
        }
        None => longest,
    }
}

/// What one corner says of the mean.
struct Plateau {
    /// Probability of the corner; the plateaus' weights sum to one.
    weight: f64,
    /// Scale of the mean's Student t.
    scale: f64,
    /// Its degrees of freedom.
    dof: f64,
}

/// Weighs every corner by the likelihood of the band's coefficients, the level of the spectrum
/// integrated out.
fn plateaus(band: &[f64], n: usize) -> Vec<Plateau> {
    let (count, length) = (band.len() as f64, n as f64);
    let highest = 2.0 * length.max(2.0 * LOWEST_CORNER);
    let ratio = (highest / LOWEST_CORNER).ln() / (CORNERS - 1) as f64;
    let step = std::f64::consts::PI / length;
    let weighed: Vec<(f64, f64)> = (0..CORNERS)
        .map(|i| {
            let corner = step * LOWEST_CORNER * (ratio * i as f64).exp();
            let (mut log_shape, mut level) = (0.0, 0.0);
            for (k, p) in band.iter().enumerate() {
                let half_sine = (0.5 * step * (k + 1) as f64).sin() / corner;
                let inverse_shape = 1.0 + 4.0 * half_sine * half_sine;
                log_shape -= inverse_shape.ln();
                level += p * inverse_shape;
            }
            (-0.5 * log_shape - 0.5 * count * level.ln(), (level / count / length).sqrt())
        })
        .collect();
    let best = weighed.iter().map(|w| w.0).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = weighed.iter().map(|w| (w.0 - best).exp()).sum();
    weighed
        .iter()
        .map(|w| Plateau { weight: (w.0 - best).exp() / total, scale: w.1, dof: count })
        .filter(|p| p.weight > 1e-6)
        .collect()
}

/// Half width that the mixture of the plateaus' t distributions exceeds with probability
/// `1 - level`.
fn mixture_half_width(plateaus: &[Plateau], level: f64) -> Option<f64> {
    let tail = |h: f64| -> f64 {
        plateaus.iter().map(|p| p.weight * student::cdf(-h / p.scale, p.dof).unwrap_or(0.0)).sum()
    };
    let target = 0.5 * (1.0 - level);
    let factor = student::coverage_factor(level, plateaus.first()?.dof)?;
    let scales = || plateaus.iter().map(|p| p.scale * factor);
    // The mixture's quantile lies between those of its narrowest and widest member.
    let (mut low, mut high) =
        (scales().fold(f64::INFINITY, f64::min), scales().fold(0.0, f64::max));
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if tail(middle) > target { low = middle } else { high = middle }
    }
    let half = 0.5 * (low + high);
    (half.is_finite() && half > 0.0).then_some(half)
}

/// Scale and degrees of freedom of the one Student's t that has the mixture's half widths at both
/// [`MATCH_LEVELS`]: the pair that an uncertainty budget can carry on with.
fn matched_student(plateaus: &[Plateau]) -> Option<(f64, f64)> {
    let inner = mixture_half_width(plateaus, MATCH_LEVELS.0)?;
    let outer = mixture_half_width(plateaus, MATCH_LEVELS.1)?;
    let spread = |dof: f64| -> Option<f64> {
        let outer = student::coverage_factor(MATCH_LEVELS.1, dof)?;
        Some(outer / student::coverage_factor(MATCH_LEVELS.0, dof)?)
    };
    // Searched in 1/dof, in which the quantiles of t are nearly straight.
    let (mut few, mut many) = (2.0, 1e-6);
    for _ in 0..30 {
        let middle: f64 = 0.5 * (few + many);
        if spread(1.0 / middle)? > outer / inner { few = middle } else { many = middle }
    }
    let dof = 2.0 / (few + many);
    Some((outer / student::coverage_factor(MATCH_LEVELS.1, dof)?, dof))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_whole_transform_keeps_the_sum_of_squares() {
        let x: Vec<f64> = (0..37).map(|i| f64::from(i * i % 11) - 4.0).collect();
        let m = summary::mean(&x).unwrap();
        let centred: Vec<f64> = x.iter().map(|v| v - m).collect();
        let total: f64 = low_frequency_power(&centred, 36).iter().sum();
        let squares: f64 = centred.iter().map(|v| v * v).sum();
        assert!((total / squares - 1.0).abs() < 1e-12, "{total} against {squares}");
    }

    #[test]
    fn the_band_stops_below_a_peak_and_is_full_without_one() {
        let mut power = vec![1.0; 150];
        assert_eq!(band_length(&power), BAND_LIMIT);
        for p in &mut power[38..43] {
            *p = 60.0;
        }
        let b = band_length(&power);
        assert!((14..=18).contains(&b), "{b}");
    }

    #[test]
    fn two_values_give_a_wide_interval_and_one_gives_none() {
        assert_eq!(mean_interval(&[3.0], 0.95), None);
        assert_eq!(mean_interval(&[], 0.95), None);
        assert_eq!(mean_interval(&[1.0, f64::NAN, 2.0], 0.95), None);
        assert_eq!(mean_interval(&[1.0, 2.0, 3.0], 1.0), None);
        let two = mean_interval(&[1.0, 3.0], 0.95).unwrap();
        assert!(two.low < -8.0 && two.high > 12.0, "{two:?}");
        for n in 2..12usize {
            let x: Vec<f64> = (0..n).map(|i| (i * 7 % 5) as f64).collect();
            let m = mean_interval(&x, 0.95).unwrap();
            assert!(m.low.is_finite() && m.low < m.mean && m.dof >= 0.5, "{m:?}");
        }
    }

    #[test]
    fn a_constant_series_has_no_scatter() {
        let m = mean_interval(&[850.1; 50], 0.95).unwrap();
        assert_eq!((m.mean, m.u, m.n_effective), (850.1, 0.0, 1.0));
        assert_eq!((m.low, m.high), (850.1, 850.1));
    }

    #[test]
    fn the_unit_does_not_matter() {
        let x: Vec<f64> = (0..200).map(|i| f64::from((i * 37 + i * i) % 53)).collect();
        let huge: Vec<f64> = x.iter().map(|v| v * 1e100).collect();
        let (a, b) = (mean_interval(&x, 0.9).unwrap(), mean_interval(&huge, 0.9).unwrap());
        assert!((b.u / a.u / 1e100 - 1.0).abs() < 1e-9);
        assert!((b.dof / a.dof - 1.0).abs() < 1e-6);
    }
}
