//! Mean and regression of a correlated series, with intervals that hold what they promise.
//!
//! Neighbouring cycles of an idling engine are alike, and the idle hunts, so `s / sqrt(n)` is far
//! too small. What is needed is the noise at the lowest frequencies, and it is read there and
//! nowhere else, where a narrow-band oscillation does not reach:
//!
//! 1. the series, and the columns of a regression, are turned into cosine coefficients (DCT-II) of
//!    0, 1, 2 ... half waves over the record; the noise in them is independent;
//! 2. of these the band is kept that ends well below the first strong peak (the hunting);
//! 3. within the band the noise has a plateau that falls beyond a corner, the shape of first-order
//!    noise. The corner is not known. Every corner from one half wave upwards is weighed by its
//!    (restricted) likelihood, each gives a weighted least-squares fit with Student's t, and the
//!    interval is that of the mixture.
//!
//! Where one even wave runs through the series, step 2 would leave a short record next to nothing: 15 s
//! hold four waves of an idle that hunts every 4 s. Its cosine and sine (frequency found by
//! [`super::wave`]) are then fitted beside the level as two columns more, and the band passes over
//! it. To fit is not to subtract: what the wave's size and phase leave uncertain stays in the
//! interval. Where the band still ends below the wave, it was a resonance of finite width, no two of
//! its waves alike, and step 2 stands as it is.
//!
//! With the corner far away the mean has the equal-weighted cosine estimate with Student's t
//! (Lazarus, Lewis, Stock and Watson 2018, Journal of Business and Economic Statistics 36:541);
//! to meet strong autocorrelation by a likelihood of low-frequency coefficients is Mueller's idea
//! (2014, the same journal 32:311). Both from memory. Newey-West, batch means, plain cosines and
//! autoregressions of selected order were tried beside it: `tests/coverage/README.md` has the table.

use super::lowband::{self, Component, Matched};
use super::regression::{RegressionError, least_squares};
use super::{student, summary, wave};

/// Most cosine coefficients used for a mean.
pub const MEAN_BAND: usize = 64;
/// Most cosine coefficients used for a regression, whose columns may have sharp edges.
pub const FIT_BAND: usize = 128;

/// Most periods of a wave that is fitted beside a mean: two cosine coefficients each, so that the
/// wave lies within the band. With more of them the band below it is long enough.
const WAVE_PERIODS: f64 = 60.0;
/// A series of twice as many values or more is fitted by the means of neighbours, so many or a little
/// more: still a few dozen for each period, and the low frequencies are all that the fit looks at.
const WAVE_VALUES: usize = 2048;

/// A mean with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanInterval {
    /// Arithmetic mean, in the unit of the series; where a wave runs through it, the level beside
    /// that wave, which a part of a wave at the end of the record does not shift.
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
    /// Independent values of the same scatter that would give the same `u`; above `n` where neighbours alternate,
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
    let sd = summary::sd(x)?;
    let n = x.len();
    student::coverage_factor(level, 1.0)?;
    if sd <= mean.abs() * f64::EPSILON {
        let dof = (n - 1) as f64;
        return Some(MeanInterval {
            mean,
            u: 0.0,
            dof,
            low: mean,
            high: mean,
            n,
            n_effective: 1.0,
        });
    }
    // Scaled to unit variance, so that no square over- or underflows.
    let scaled: Vec<f64> = x.iter().map(|v| (v - mean) / sd).collect();
    let wave = lowband::cosines(&scaled, lowband::coefficients_to_see(MEAN_BAND, n));
    let power: Vec<f64> = wave.iter().map(|c| c * c).collect();
    let band = lowband::band(&power, MEAN_BAND, 0);
    let cut_short = band < MEAN_BAND.min(power.len() - 1);
    let m = match cut_short.then(|| beside_a_wave(&scaled)).flatten() {
        Some(level) => level,
        None => lowband::matched(&mean_components(&power[..=band], n), band as f64)?,
    };
    let mean = mean + m.centre * sd;
    let half = student::coverage_factor(level, m.dof)? * m.u * sd;
    Some(MeanInterval {
        mean,
        u: m.u * sd,
        dof: m.dof,
        low: mean - half,
        high: mean + half,
        n,
        n_effective: 1.0 / (m.u * m.u),
    })
}

/// The level of a series of mean zero beside one wave that runs through it, the fit of
/// `level + a cos + b sin`; `None` where there is no such wave.
fn beside_a_wave(x: &[f64]) -> Option<Matched> {
    let together = (x.len() / WAVE_VALUES).max(1);
    let means = x.chunks_exact(together).map(|c| c.iter().sum::<f64>() / together as f64);
    let x = &means.collect::<Vec<f64>>()[..];
    let periods = wave::strongest(x, WAVE_PERIODS)?;
    let ones = vec![1.0; x.len()];
    let [cosine, sine] = wave::columns(periods, x.len());
    let fit = fit(x, &[&ones, &cosine, &sine]).ok()?;
    // Where the band still ends below it, what runs through the series is no even wave.
    let level = (fit.band as f64 > 2.0 * periods).then(|| fit.coefficient(0))??;
    Some(Matched { centre: level.value, u: level.u, dof: level.dof })
}

/// The regression of [`fit`] on a constant, in closed form: coefficient 0 is the mean, the others
/// are the noise.
fn mean_components(power: &[f64], n: usize) -> Vec<Component> {
    let count = (power.len() - 1) as f64;
    let (mut scales, mut likelihoods) = (Vec::new(), Vec::new());
    for inverse_shape in lowband::inverse_shapes(power.len() - 1, n) {
        let (mut log_shape, mut level) = (0.0, 0.0);
        for (p, s) in power[1..].iter().zip(&inverse_shape[1..]) {
            log_shape -= s.ln();
            level += p * s;
        }
        likelihoods.push(-0.5 * log_shape - 0.5 * count * level.ln());
        scales.push((level / count / n as f64).sqrt());
    }
    let weights = lowband::weights(&likelihoods);
    weights
        .iter()
        .zip(scales)
        .map(|(w, scale)| Component { weight: *w, centre: 0.0, scale })
        .collect()
}

/// A figure with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// Its standard uncertainty: with `dof` and Student's t it gives the interval.
    pub u: f64,
    /// Degrees of freedom that belong to `u`.
    pub dof: f64,
}

impl Estimate {
    /// Ends of the interval that holds the true value with probability `level`; `None` for a level
    /// outside (0, 1).
    pub fn interval(&self, level: f64) -> Option<(f64, f64)> {
        let half = student::coverage_factor(level, self.dof)? * self.u;
        Some((self.value - half, self.value + half))
    }
}

/// Regression of a correlated series.
#[derive(Debug, Clone)]
pub struct Fit {
    /// One coefficient a column, averaged over the corners.
    pub coefficients: Vec<f64>,
    /// Highest cosine coefficient used: hand it to [`fit_in_band`] to compare fits with one another.
    pub band: usize,
    /// Logarithm of the likelihood of the band's coefficients, corners and level integrated out;
    /// comparable between fits of one series in one band with equally many columns.
    pub log_likelihood: f64,
    corners: Vec<CornerFit>,
    dof: f64,
}

/// What one corner makes of the regression.
#[derive(Debug, Clone)]
struct CornerFit {
    weight: f64,
    coefficients: Vec<f64>,
    covariance: Vec<Vec<f64>>,
}

impl Fit {
    /// Weighted sum of the coefficients, with its uncertainty: a single 1 asks for one coefficient,
    /// `[1, -1]` for a difference, a gradient for any smooth function of them. `None` when
    /// `contrast` has another length than the coefficients or holds a value that is not finite.
    pub fn estimate(&self, contrast: &[f64]) -> Option<Estimate> {
        if contrast.len() != self.coefficients.len() || contrast.iter().any(|c| !c.is_finite()) {
            return None;
        }
        let dot = |a: &[f64]| a.iter().zip(contrast).map(|(a, c)| a * c).sum::<f64>();
        let components: Vec<Component> = self
            .corners
            .iter()
            .map(|corner| {
                let rows: Vec<f64> = corner.covariance.iter().map(|row| dot(row)).collect();
                let (weight, centre) = (corner.weight, dot(&corner.coefficients));
                Component { weight, centre, scale: dot(&rows).max(0.0).sqrt() }
            })
            .collect();
        let m = lowband::matched(&components, self.dof)?;
        Some(Estimate { value: m.centre, u: m.u, dof: m.dof })
    }

    /// Coefficient `i` with its uncertainty.
    pub fn coefficient(&self, i: usize) -> Option<Estimate> {
        let mut contrast = vec![0.0; self.coefficients.len()];
        *contrast.get_mut(i)? = 1.0;
        self.estimate(&contrast)
    }
}

/// Regression of the evenly spaced, correlated series `y` on `columns` (one slice a coefficient; a
/// column of ones is an intercept). Columns must vary slowly against the hunting: means, drifts,
/// steps that last for several of its periods.
///
/// # Errors
/// Those of [`least_squares`]; too few values also when fewer cosine coefficients than columns are
/// left below the hunting.
pub fn fit(y: &[f64], columns: &[&[f64]]) -> Result<Fit, RegressionError> {
    let first = least_squares(y, columns, None)?;
    let residuals: Vec<f64> = (0..y.len())
        .map(|t| {
            let fitted = columns.iter().zip(&first.coefficients).map(|(c, b)| c[t] * b);
            y[t] - fitted.sum::<f64>()
        })
        .collect();
    let highest = lowband::coefficients_to_see(FIT_BAND, y.len());
    let power: Vec<f64> = lowband::cosines(&residuals, highest).iter().map(|c| c * c).collect();
    fit_in_band(y, columns, lowband::band(&power, FIT_BAND, columns.len()))
}

/// As [`fit`], in a band chosen before: for comparing columns by their likelihood.
///
/// # Errors
/// As [`fit`].
pub fn fit_in_band(y: &[f64], columns: &[&[f64]], band: usize) -> Result<Fit, RegressionError> {
    // Refuses what cannot be used before it is transformed.
    least_squares(y, columns, None)?;
    let band = band.min(y.len() - 1);
    let p = columns.len();
    let wave = lowband::cosines(y, band);
    let waves: Vec<Vec<f64>> = columns.iter().map(|c| lowband::cosines(c, band)).collect();
    let waves: Vec<&[f64]> = waves.iter().map(Vec::as_slice).collect();
    let floor = f64::MIN_POSITIVE.max(wave.iter().map(|w| w * w).sum::<f64>() * 1e-30);
    let (mut corners, mut likelihoods, mut dof) = (Vec::new(), Vec::new(), 0.0);
    for inverse_shape in lowband::inverse_shapes(band, y.len()) {
        let at = least_squares(&wave, &waves, Some(&inverse_shape))?;
        let log_shape: f64 = inverse_shape.iter().map(|s| -s.ln()).sum();
        let squares = at.residual_squares.max(floor);
        dof = at.dof;
        likelihoods.push(-0.5 * (log_shape + at.log_determinant + dof * squares.ln()));
        let variance = at.variance();
        let scaled = |row: Vec<f64>| row.into_iter().map(|c| c * variance).collect();
        let covariance = at.cofactors.into_iter().map(scaled).collect();
        corners.push(CornerFit { weight: 0.0, coefficients: at.coefficients, covariance });
    }
    let weights = lowband::weights(&likelihoods);
    let total: f64 = weights.iter().sum();
    for (corner, weight) in corners.iter_mut().zip(weights) {
        corner.weight = weight / total;
    }
    let average = |i| corners.iter().map(|c: &CornerFit| c.weight * c.coefficients[i]).sum();
    let best = likelihoods.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Ok(Fit {
        coefficients: (0..p).map(average).collect(),
        band,
        log_likelihood: best + total.ln(),
        corners,
        dof,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_pcg::Pcg64;
    use std::f64::consts::TAU;

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

    #[test]
    fn a_part_of_a_wave_does_not_shift_the_level() {
        let mut random = Pcg64::seed_from_u64(8);
        let noise: Vec<f64> = (0..106).map(|_| random.random_range(-0.5..0.5)).collect();
        let wave = |t: usize| 8.0 * (TAU * 3.73 * (t as f64 + 0.5) / 106.0).sin();
        let x: Vec<f64> = (0..106).map(|t| 850.0 + wave(t) + noise[t]).collect();
        let plain = summary::mean(&x).unwrap();
        let m = mean_interval(&x, 0.95).unwrap();
        assert!((plain - 850.0).abs() > 0.3, "{plain}");
        assert!(m.low < 850.0 && m.high > 850.0 && (m.mean - 850.0).abs() < 0.1, "{m:?}");
        assert!(m.high - m.low < 0.5, "{m:?}");
        // A long series is fitted by the means of neighbours.
        let wave = |t: usize| 8.0 * (TAU * 3.73 * (t as f64 + 0.5) / 9001.0).sin();
        let long: Vec<f64> =
            (0..9001).map(|t| 850.0 + wave(t) + random.random_range(-0.5..0.5)).collect();
        let m = mean_interval(&long, 0.95).unwrap();
        assert!((m.mean - 850.0).abs() < 0.02 && m.high - m.low < 0.05, "{m:?}");
        // Without the wave the mean is the arithmetic one.
        let calm: Vec<f64> = (0..106).map(|t| 850.0 + noise[t]).collect();
        assert_eq!(mean_interval(&calm, 0.95).unwrap().mean, summary::mean(&calm).unwrap());
    }

    #[test]
    fn the_regression_on_a_constant_is_the_mean() {
        // 60 values: all coefficients that the two may use are within both bands.
        let x: Vec<f64> = (0..60).map(|i| 800.0 + f64::from((i * 37 + i * i) % 53)).collect();
        let power: Vec<f64> = lowband::cosines(&x, 44).iter().map(|c| c * c).collect();
        let band = lowband::band(&power, MEAN_BAND, 0);
        let m = mean_interval(&x, 0.95).unwrap();
        let f = fit_in_band(&x, &[&[1.0; 60]], band).unwrap().coefficient(0).unwrap();
        assert!((f.value - m.mean).abs() < 1e-9, "{f:?} {m:?}");
        assert!((f.u / m.u - 1.0).abs() < 1e-6 && (f.dof / m.dof - 1.0).abs() < 1e-4);
    }

    #[test]
    fn the_likelihood_pays_for_what_a_column_takes() {
        let y: Vec<f64> = (0..90).map(|t| f64::from((t * 37 + t * t) % 53)).collect();
        let ramp: Vec<f64> = (0..90).map(f64::from).collect();
        let tall: Vec<f64> = ramp.iter().map(|v| 10.0 * v).collect();
        let (a, b) = (fit(&y, &[&ramp]).unwrap(), fit(&y, &[&tall]).unwrap());
        // Restricted likelihood: half the logarithm of the normal matrix's determinant.
        assert!((a.log_likelihood - b.log_likelihood - 10f64.ln()).abs() < 1e-9);
        assert!((a.coefficients[0] / b.coefficients[0] - 10.0).abs() < 1e-9);
    }

    #[test]
    fn columns_without_noise_are_found_and_bad_ones_refused() {
        let ones = [1.0; 80];
        let step: Vec<f64> = (0..80).map(|t| f64::from(u8::from(t > 40))).collect();
        let y: Vec<f64> = step.iter().map(|s| 850.0 - 60.0 * s).collect();
        let f = fit(&y, &[&ones, &step]).unwrap();
        let drop = f.coefficient(1).unwrap();
        assert!((drop.value + 60.0).abs() < 1e-9 && drop.u < 1e-9, "{drop:?}");
        assert!((f.estimate(&[1.0, 1.0]).unwrap().value - 790.0).abs() < 1e-9);
        assert_eq!(f.estimate(&[1.0]), None);
        assert_eq!(f.coefficient(2), None);
        assert!(fit(&y, &[&ones, &ones]).is_err());
        assert!(fit(&[], &[]).is_err());
        assert!(fit(&[f64::NAN; 80], &[&ones]).is_err());
    }
}
