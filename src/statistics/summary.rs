//! Plain summaries of a slice: mean, scatter, autocorrelation, median, quantiles.
//!
//! Every function answers `None` where the figure does not exist (too few values, a value that is
//! not finite), never NaN. Checked against the certified univariate sets of NIST StRD.

/// 1 / (standard normal quantile of 0.75): turns the median absolute deviation of normal noise into
/// its standard deviation.
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// Sum with the rounding of every addition carried along (Neumaier's form of Kahan's sum).
fn sum(values: impl Iterator<Item = f64>) -> f64 {
    let (mut total, mut lost) = (0.0f64, 0.0f64);
    for value in values {
        let next = total + value;
        lost += if total.abs() >= value.abs() {
            (total - next) + value
        } else {
            (value - next) + total
        };
        total = next;
    }
    total + lost
}

fn all_finite(x: &[f64]) -> bool {
    x.iter().all(|v| v.is_finite())
}

/// Arithmetic mean, by a compensated sum. `None` when empty or when a value is not finite.
pub fn mean(x: &[f64]) -> Option<f64> {
    if x.is_empty() || !all_finite(x) {
        return None;
    }
    let mean = sum(x.iter().copied()) / x.len() as f64;
    mean.is_finite().then_some(mean)
}

/// Variance with divisor n - 1, two passes. `None` with fewer than two values or one not finite.
pub fn variance(x: &[f64]) -> Option<f64> {
    if x.len() < 2 {
        return None;
    }
    let m = mean(x)?;
    let squares = sum(x.iter().map(|v| (v - m) * (v - m)));
    // What is left of the mean's own rounding (Chan, Golub and LeVeque's corrected two-pass form).
    let left = sum(x.iter().map(|v| v - m));
    let n = x.len() as f64;
    let variance = (squares - left * left / n) / (n - 1.0);
    variance.is_finite().then_some(variance.max(0.0))
}

/// Standard deviation with divisor n - 1. `None` with fewer than two values or one not finite.
pub fn sd(x: &[f64]) -> Option<f64> {
    variance(x).map(f64::sqrt)
}

/// Autocorrelation at `lag`: sum of products of deviations `lag` apart over the sum of squares.
/// `None` when the series is not longer than the lag, constant, or holds a value not finite.
pub fn autocorrelation(x: &[f64], lag: usize) -> Option<f64> {
    if x.len() <= lag {
        return None;
    }
    let m = mean(x)?;
    let squares = sum(x.iter().map(|v| (v - m) * (v - m)));
    let products = sum(x.iter().zip(&x[lag..]).map(|(a, b)| (a - m) * (b - m)));
    let r = products / squares;
    r.is_finite().then_some(r)
}

/// Middle value, or the mean of the middle two. `None` when empty or when a value is not finite.
pub fn median(x: &[f64]) -> Option<f64> {
    quantile(x, 0.5)
}

/// Quantile by linear interpolation between order statistics (type 7 of Hyndman and Fan 1996).
/// `None` when empty, when a value is not finite, or unless `0 <= p <= 1`.
pub fn quantile(x: &[f64], p: f64) -> Option<f64> {
    if x.is_empty() || !all_finite(x) || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let at = p * (x.len() - 1) as f64;
    let (below, part) = (at.floor() as usize, at.fract());
    let mut copy = x.to_vec();
    let (_, low, rest) = copy.select_nth_unstable_by(below, f64::total_cmp);
    let low = *low;
    if part == 0.0 {
        return Some(low);
    }
    let high = rest.iter().copied().fold(f64::INFINITY, f64::min);
    Some(low * (1.0 - part) + high * part)
}

/// Median absolute deviation from the median, unscaled (times [`MAD_TO_SD`] estimates a standard
/// deviation). `None` when empty or when a value is not finite.
pub fn mad(x: &[f64]) -> Option<f64> {
    let m = median(x)?;
    let deviations: Vec<f64> = x.iter().map(|v| (v - m).abs()).collect();
    median(&deviations)
}

/// Standard deviation of independent values from the median difference of neighbours, which a few
/// steps do not inflate; 0 for fewer than two values.
///
/// ```
/// use evenbreath::statistics::summary::sd_of_neighbours;
/// let quiet: Vec<f64> = (0..100).map(|k| f64::from(k % 2)).collect();
/// let stepped: Vec<f64> = (0..100).map(|k| f64::from(k % 2 + k / 50 * 1000)).collect();
/// assert_eq!(sd_of_neighbours(&quiet), sd_of_neighbours(&stepped));
/// ```
pub fn sd_of_neighbours(x: &[f64]) -> f64 {
    let mut apart: Vec<f64> = x.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let middle = apart.len() / 2;
    if apart.is_empty() {
        return 0.0;
    }
    let median = *apart.select_nth_unstable_by(middle, f64::total_cmp).1;
    MAD_TO_SD * median / std::f64::consts::SQRT_2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_that_plain_addition_loses() {
        assert_eq!(mean(&[1e16, 1.0, -1e16, 1.0]), Some(0.5));
    }

    #[test]
    fn quantiles_interpolate_and_keep_the_ends() {
        let x = [4.0, 1.0, 3.0, 2.0];
        assert_eq!(quantile(&x, 0.0), Some(1.0));
        assert_eq!(quantile(&x, 1.0), Some(4.0));
        assert_eq!(median(&x), Some(2.5));
        assert_eq!(quantile(&x, 0.25), Some(1.75));
    }

    #[test]
    fn what_does_not_exist_is_absent() {
        assert_eq!(mean(&[]), None);
        assert_eq!(mean(&[1.0, f64::NAN]), None);
        assert_eq!(sd(&[1.0]), None);
        assert_eq!(sd(&[2.0, 2.0]), Some(0.0));
        assert_eq!(autocorrelation(&[2.0, 2.0, 2.0], 1), None);
        assert_eq!(autocorrelation(&[1.0], 1), None);
        assert_eq!(median(&[]), None);
        assert_eq!(mad(&[f64::INFINITY, 1.0]), None);
        assert_eq!(quantile(&[1.0, 2.0], 1.5), None);
        assert_eq!(mean(&[f64::MAX, f64::MAX]), None);
    }
}
