//! Least squares where the standard uncertainty of every observation is known beforehand.
//!
//! Prior knowledge enters as an observation of the unknown itself. The estimate is
//! `(X' W X)^-1 X' W y` with `W = diag(1/u^2)`, its covariance `(X' W X)^-1` (JCGM 102:2011, the
//! linear least-squares case).

/// One observation: `value = sum of coefficients * unknowns`, with standard uncertainty `u`.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// One coefficient an unknown.
    pub coefficients: Vec<f64>,
    /// What was observed.
    pub value: f64,
    /// Its standard uncertainty; positive.
    pub u: f64,
}

/// Result of [`fit`].
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Estimate of every unknown.
    pub estimate: Vec<f64>,
    /// Covariance of the estimates, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// `sensitivity[j][i]`: change of unknown `j` with observation `i`.
    pub sensitivity: Vec<Vec<f64>>,
}

/// Solves for the unknowns; none when the observations do not determine them or are not finite.
///
/// ```
/// use evenbreath::statistics::known_errors::{Observation, fit};
/// let seen = |value, u| Observation { coefficients: vec![1.0], value, u };
/// let fit = fit(&[seen(1.0, 1.0), seen(4.0, 2.0)]).unwrap();
/// assert!((fit.estimate[0] - 1.6).abs() < 1e-12); // (1/1 + 4/4) / (1/1 + 1/4)
/// ```
pub fn fit(observations: &[Observation]) -> Option<Fit> {
    let unknowns = observations.first()?.coefficients.len();
    let mut normal = vec![vec![0.0; unknowns]; unknowns];
    for seen in observations {
        if !seen.value.is_finite()
            || seen.u.is_nan()
            || seen.u <= 0.0
            || seen.coefficients.len() != unknowns
        {
            return None;
        }
        let weight = seen.u.powi(-2);
        for (row, a) in normal.iter_mut().zip(&seen.coefficients) {
            row.iter_mut().zip(&seen.coefficients).for_each(|(cell, b)| *cell += weight * a * b);
        }
    }
    let covariance = inverse(normal)?;
    let sensitivity: Vec<Vec<f64>> = covariance
        .iter()
        .map(|row| {
            observations.iter().map(|seen| dot(row, &seen.coefficients) / seen.u.powi(2)).collect()
        })
        .collect();
    let values: Vec<f64> = observations.iter().map(|seen| seen.value).collect();
    let estimate = sensitivity.iter().map(|row| dot(row, &values)).collect();
    Some(Fit { estimate, covariance, sensitivity })
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Inverse of a symmetric positive-definite matrix by Gauss-Jordan elimination with scaling.
fn inverse(mut matrix: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    // Unknowns in unlike units make unlike rows; scaled to a unit diagonal, pivots compare.
    let scale: Vec<f64> = (0..n).map(|k| matrix[k][k].sqrt()).collect();
    if scale.iter().any(|s| !s.is_finite() || *s <= 0.0) {
        return None;
    }
    for (i, row) in matrix.iter_mut().enumerate() {
        row.iter_mut().zip(&scale).for_each(|(cell, s)| *cell /= s * scale[i]);
        row.extend((0..n).map(|j| if i == j { 1.0 } else { 0.0 }));
    }
    for pivot in 0..n {
        let best = (pivot..n)
            .max_by(|a, b| matrix[*a][pivot].abs().total_cmp(&matrix[*b][pivot].abs()))?;
        matrix.swap(pivot, best);
        let divisor = matrix[pivot][pivot];
        if divisor.abs() < 1e-12 {
            return None;
        }
        matrix[pivot].iter_mut().for_each(|cell| *cell /= divisor);
        let lead = matrix[pivot].clone();
        for (_, row) in matrix.iter_mut().enumerate().filter(|(i, _)| *i != pivot) {
            let factor = row[pivot];
            row.iter_mut().zip(&lead).for_each(|(cell, l)| *cell -= factor * l);
        }
    }
    let unscaled = |i: usize, row: &[f64]| -> Vec<f64> {
        row[n..].iter().zip(&scale).map(|(cell, s)| cell / (s * scale[i])).collect()
    };
    Some(matrix.iter().enumerate().map(|(i, row)| unscaled(i, row)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_two_points_has_the_textbook_covariance() {
        // y = a + b x at x = 0 and x = 2, u = 1: var a = 1, var b = 1/2, cov = -1/2.
        let seen = |x: f64, value| Observation { coefficients: vec![1.0, x], value, u: 1.0 };
        let fit = fit(&[seen(0.0, 3.0), seen(2.0, 7.0)]).unwrap();
        assert!((fit.estimate[0] - 3.0).abs() < 1e-12 && (fit.estimate[1] - 2.0).abs() < 1e-12);
        let want = [[1.0, -0.5], [-0.5, 0.5]];
        for (row, want) in fit.covariance.iter().zip(want) {
            for (cell, want) in row.iter().zip(want) {
                assert!((cell - want).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn what_is_not_determined_is_not_answered() {
        let seen = |value, u| Observation { coefficients: vec![1.0, 1.0], value, u };
        assert_eq!(fit(&[seen(1.0, 1.0), seen(1.0, 1.0)]), None);
        assert_eq!(fit(&[]), None);
        assert_eq!(fit(&[seen(f64::NAN, 1.0)]), None);
        assert_eq!(fit(&[seen(1.0, 0.0)]), None);
    }
}
