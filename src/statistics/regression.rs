//! Least squares for a handful of columns, and the line with errors in both variables.
//!
//! Householder QR on columns scaled to unit length: on the NIST set Longley, which normal equations
//! get right to a few digits at best, it keeps eleven. The errors are taken as independent; for a
//! correlated series use [`super::correlated::fit`].

use super::summary;

/// Why a fit is not possible.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RegressionError {
    /// A column, or the weights, is not as long as the series.
    #[error("{what} has {found} values where the series has {expected}")]
    Length {
        /// Which input.
        what: String,
        /// Its length.
        found: usize,
        /// The length of the series.
        expected: usize,
    },
    /// A value is NaN or infinite, or a weight is negative.
    #[error("value {row} of {what} is not usable")]
    NotUsable {
        /// Which input.
        what: String,
        /// Zero-based place in it.
        row: usize,
    },
    /// Not more values than coefficients.
    #[error("{rows} values cannot settle {columns} coefficients and their scatter")]
    TooFew {
        /// Values with a weight above zero.
        rows: usize,
        /// Coefficients asked for.
        columns: usize,
    },
    /// A column is a combination of those before it.
    #[error("column {column} says nothing that the columns before it do not say")]
    Dependent {
        /// Zero-based column.
        column: usize,
    },
}

/// Result of a least-squares fit with independent errors.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// One coefficient a column.
    pub coefficients: Vec<f64>,
    /// Inverse of the (weighted) normal matrix, row by row: times the residual variance it is the
    /// covariance of the coefficients.
    pub cofactors: Vec<Vec<f64>>,
    /// Weighted sum of squared residuals.
    pub residual_squares: f64,
    /// Rows with a weight above zero less columns.
    pub dof: f64,
    /// Logarithm of the determinant of the normal matrix.
    pub log_determinant: f64,
}

impl LinearFit {
    /// Residual variance.
    pub fn variance(&self) -> f64 {
        self.residual_squares / self.dof
    }

    /// Standard uncertainty of coefficient `i`, of the residuals' own scatter.
    pub fn u(&self, i: usize) -> f64 {
        (self.cofactors[i][i] * self.variance()).sqrt()
    }
}

/// Least squares of `y` on `columns` (one slice a coefficient; a column of ones is an intercept).
/// `weights` are inverse variances up to a common factor; absent means all alike.
///
/// # Errors
/// Unequal lengths, unusable values, too few rows, a dependent column.
pub fn least_squares(
    y: &[f64],
    columns: &[&[f64]],
    weights: Option<&[f64]>,
) -> Result<LinearFit, RegressionError> {
    check(y, columns, weights)?;
    let p = columns.len();
    let rows = weights.map_or(y.len(), |w| w.iter().filter(|w| **w > 0.0).count());
    if p == 0 || rows <= p {
        return Err(RegressionError::TooFew { rows, columns: p });
    }
    let root = |t: usize| weights.map_or(1.0, |w| w[t].sqrt());
    let mut z: Vec<f64> = y.iter().enumerate().map(|(t, v)| v * root(t)).collect();
    let mut q: Vec<Vec<f64>> =
        columns.iter().map(|c| c.iter().enumerate().map(|(t, v)| v * root(t)).collect()).collect();
    let norms: Vec<f64> = q.iter().map(|c| norm(c)).collect();
    for (column, (c, length)) in q.iter_mut().zip(&norms).enumerate() {
        if *length == 0.0 {
            return Err(RegressionError::Dependent { column });
        }
        c.iter_mut().for_each(|v| *v /= length);
    }
    let r = triangle(&mut q, &mut z)?;
    let inverse = invert_upper(&r);
    let unscaled = |i: usize, j: usize| inverse[i][j] / norms[i];
    let coefficients = (0..p).map(|i| (i..p).map(|j| unscaled(i, j) * z[j]).sum()).collect();
    let cofactor = |i: usize, j: usize| -> f64 {
        (i.max(j)..p).map(|k| unscaled(i, k) * unscaled(j, k)).sum()
    };
    let cofactors = (0..p).map(|i| (0..p).map(|j| cofactor(i, j)).collect()).collect();
    Ok(LinearFit {
        coefficients,
        cofactors,
        residual_squares: z[p..].iter().map(|v| v * v).sum(),
        dof: (rows - p) as f64,
        log_determinant: (0..p).map(|i| 2.0 * (r[i][i].abs() * norms[i]).ln()).sum(),
    })
}

fn check(y: &[f64], columns: &[&[f64]], weights: Option<&[f64]>) -> Result<(), RegressionError> {
    let usable = |what: String, x: &[f64], least: f64| {
        if x.len() != y.len() {
            return Err(RegressionError::Length { what, found: x.len(), expected: y.len() });
        }
        match x.iter().position(|v| !v.is_finite() || *v < least) {
            Some(row) => Err(RegressionError::NotUsable { what, row }),
            None => Ok(()),
        }
    };
    usable("the series".into(), y, f64::NEG_INFINITY)?;
    for (i, column) in columns.iter().enumerate() {
        usable(format!("column {i}"), column, f64::NEG_INFINITY)?;
    }
    weights.map_or(Ok(()), |w| usable("the weights".into(), w, 0.0))
}

fn norm(x: &[f64]) -> f64 {
    let largest = x.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    if largest == 0.0 {
        return 0.0;
    }
    largest * x.iter().map(|v| (v / largest) * (v / largest)).sum::<f64>().sqrt()
}

/// Householder reflections that make the columns `q` upper triangular, applied to `z` as well.
/// Returns the triangle, row by row.
fn triangle(q: &mut [Vec<f64>], z: &mut [f64]) -> Result<Vec<Vec<f64>>, RegressionError> {
    let p = q.len();
    let mut r = vec![vec![0.0; p]; p];
    for k in 0..p {
        let length = norm(&q[k][k..]);
        // The columns came in with unit length: what is left of this one is what it adds.
        if length < 1e-13 {
            return Err(RegressionError::Dependent { column: k });
        }
        let diagonal = if q[k][k] > 0.0 { -length } else { length };
        let mut v = q[k][k..].to_vec();
        v[0] -= diagonal;
        let half = v.iter().map(|x| x * x).sum::<f64>() / 2.0;
        let reflect = |x: &mut [f64]| {
            let along = v.iter().zip(x.iter()).map(|(a, b)| a * b).sum::<f64>() / half;
            x.iter_mut().zip(&v).for_each(|(x, v)| *x -= along * v);
        };
        reflect(&mut z[k..]);
        for j in k + 1..p {
            reflect(&mut q[j][k..]);
            r[k][j] = q[j][k];
        }
        r[k][k] = diagonal;
    }
    Ok(r)
}

fn invert_upper(r: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let p = r.len();
    let mut inverse = vec![vec![0.0; p]; p];
    for j in 0..p {
        inverse[j][j] = 1.0 / r[j][j];
        for i in (0..j).rev() {
            let s: f64 = (i + 1..=j).map(|k| r[i][k] * inverse[k][j]).sum();
            inverse[i][j] = -s / r[i][i];
        }
    }
    inverse
}

/// A straight line `y = intercept + slope * x` fitted with errors in both variables.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemingLine {
    /// Value at x = 0.
    pub intercept: f64,
    /// Rise of y for one of x.
    pub slope: f64,
    /// Variance of the intercept.
    pub intercept_variance: f64,
    /// Variance of the slope.
    pub slope_variance: f64,
    /// Covariance of intercept and slope.
    pub covariance: f64,
    /// Pairs less two.
    pub dof: f64,
}

impl DemingLine {
    /// The line at `x`, and its standard uncertainty there.
    pub fn at(&self, x: f64) -> (f64, f64) {
        let variance =
            self.intercept_variance + x * (2.0 * self.covariance + x * self.slope_variance);
        (self.intercept + self.slope * x, variance.max(0.0).sqrt())
    }
}

/// Deming regression: `error_ratio` is the error variance of `y` over that of `x` (1 for two like
/// sensors: orthogonal regression). Variances are those of large samples in Fuller (1987),
/// Measurement Error Models, section 1.3 (from memory; held by simulation in the tests).
///
/// `None` with fewer than three pairs, unequal lengths, values not finite, a ratio not above zero,
/// or no common slope to find.
pub fn deming(x: &[f64], y: &[f64], error_ratio: f64) -> Option<DemingLine> {
    let usable = error_ratio.is_finite() && error_ratio > 0.0;
    if x.len() != y.len() || x.len() < 3 || !usable {
        return None;
    }
    let n = x.len() as f64;
    let (mx, my) = (summary::mean(x)?, summary::mean(y)?);
    let moment = |f: &dyn Fn(f64, f64) -> f64| {
        x.iter().zip(y).map(|(a, b)| f(a - mx, b - my)).sum::<f64>() / (n - 1.0)
    };
    let (sxx, syy, sxy) = (moment(&|a, _| a * a), moment(&|_, b| b * b), moment(&|a, b| a * b));
    let d = syy - error_ratio * sxx;
    let root = (d * d + 4.0 * error_ratio * sxy * sxy).sqrt();
    // Of the two forms of the root, the one that does not subtract nearly equal numbers.
    let slope =
        if d >= 0.0 { (d + root) / (2.0 * sxy) } else { 2.0 * error_ratio * sxy / (root - d) };
    if !slope.is_finite() {
        return None;
    }
    let residual = moment(&|a, b| (b - slope * a).powi(2)) * (n - 1.0) / (n - 2.0);
    let x_error = residual / (error_ratio + slope * slope);
    let x_true = sxx - x_error;
    let between = x_true * residual + x_error * residual - (slope * x_error).powi(2);
    let slope_variance = between / ((n - 1.0) * x_true * x_true);
    if !(slope_variance.is_finite() && slope_variance >= 0.0 && x_true > 0.0) {
        return None;
    }
    Some(DemingLine {
        intercept: my - slope * mx,
        slope,
        intercept_variance: residual / n + mx * mx * slope_variance,
        slope_variance,
        covariance: -mx * slope_variance,
        dof: n - 2.0,
    })
}

/// Slope with errors in both variables, from the least-squares slope of y on x of the same data, its
/// standard uncertainty and its degrees of freedom; `error_ratio` is the error variance of y over
/// that of x.
///
/// The moments about the other columns of the fit are `Sxy = slope Sxx` and
/// `Syy = (slope^2 + u^2 dof) Sxx`, and Deming's slope needs nothing else. So a fit with further
/// columns, weights or correlated errors gives its line with errors in both as well.
pub fn slope_with_errors_in_both(slope: f64, u: f64, dof: f64, error_ratio: f64) -> f64 {
    let d = slope * slope + u * u * dof - error_ratio;
    let root = (d * d + 4.0 * error_ratio * slope * slope).sqrt();
    let steep = 2.0 * slope;
    let found = if d >= 0.0 { (d + root) / steep } else { error_ratio * steep / (root - d) };
    if found.is_finite() { found } else { slope }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn demings_slope_follows_from_the_least_squares_fit() {
        let x: Vec<f64> = (0..40).map(|k| f64::from(k * k % 23)).collect();
        let y: Vec<f64> =
            x.iter().zip(0..).map(|(x, k)| 1.0 - 0.7 * x + f64::from(k * 7 % 5)).collect();
        let ones = vec![1.0; x.len()];
        let plain = least_squares(&y, &[&ones, &x], None).unwrap();
        let (slope, u) = (plain.coefficients[1], plain.u(1));
        for ratio in [0.25, 1.0, 4.0] {
            let found = slope_with_errors_in_both(slope, u, plain.dof, ratio);
            let want = deming(&x, &y, ratio).unwrap().slope;
            assert!((found / want - 1.0).abs() < 1e-12, "{ratio}: {found} {want}");
            assert!((found - slope).abs() > 1e-3, "{ratio}: errors in x pull the slope");
        }
        assert_eq!(slope_with_errors_in_both(0.0, 0.1, 20.0, 4.0), 0.0);
    }

    #[test]
    fn weights_count_as_repeats() {
        let (x, y) = ([0.0, 1.0, 2.0, 4.0], [1.0, 2.0, 2.5, 6.0]);
        let ones = [1.0; 4];
        let weighted = least_squares(&y, &[&ones, &x], Some(&[1.0, 2.0, 1.0, 0.0])).unwrap();
        let (x, y) = ([0.0, 1.0, 1.0, 2.0], [1.0, 2.0, 2.0, 2.5]);
        let repeated = least_squares(&y, &[&ones, &x], None).unwrap();
        for i in 0..2 {
            assert!((weighted.coefficients[i] - repeated.coefficients[i]).abs() < 1e-12);
        }
        assert_eq!((weighted.dof, repeated.dof), (1.0, 2.0));
        assert!((weighted.residual_squares - repeated.residual_squares).abs() < 1e-12);
        assert!((weighted.log_determinant - 8.0f64.ln()).abs() < 1e-12);
    }

    #[test]
    fn what_cannot_be_fitted_says_why() {
        let (ones, y) = ([1.0; 4], [1.0, 2.0, 3.0, 5.0]);
        let twos = [2.0; 4];
        use RegressionError::*;
        assert_eq!(least_squares(&y, &[&ones, &twos], None), Err(Dependent { column: 1 }));
        assert_eq!(least_squares(&y, &[&[0.0; 4]], None), Err(Dependent { column: 0 }));
        assert_eq!(least_squares(&[], &[], None), Err(TooFew { rows: 0, columns: 0 }));
        let few = least_squares(&y, &[&ones], Some(&[1.0, 0.0, 0.0, 0.0]));
        assert_eq!(few, Err(TooFew { rows: 1, columns: 1 }));
        let short = least_squares(&y, &[&ones[..3]], None).unwrap_err();
        assert_eq!(short.to_string(), "column 0 has 3 values where the series has 4");
        let nan = least_squares(&[1.0, f64::NAN, 2.0], &[&ones[..3]], None).unwrap_err();
        assert_eq!(nan.to_string(), "value 1 of the series is not usable");
    }

    #[test]
    fn a_line_without_error_is_found_either_way_up() {
        let x: Vec<f64> = (0..9).map(f64::from).collect();
        for slope in [2.0, -0.5] {
            let y: Vec<f64> = x.iter().map(|v| 3.0 + slope * v).collect();
            let line = deming(&x, &y, 1.0).unwrap();
            assert!((line.slope - slope).abs() < 1e-12 && (line.intercept - 3.0).abs() < 1e-12);
            let back = deming(&y, &x, 1.0).unwrap();
            assert!((back.slope * slope - 1.0).abs() < 1e-12);
        }
        assert_eq!(deming(&x, &[1.0; 9], 1.0).map(|l| l.slope), Some(0.0));
        assert_eq!(deming(&[1.0; 9], &x, 1.0), None);
        assert_eq!(deming(&x, &x[..5], 1.0), None);
        assert_eq!(deming(&x, &x, 0.0), None);
    }
}
