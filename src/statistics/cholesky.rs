//! The triangular root of a symmetric positive definite matrix, and its inverse.

/// A squared pivot of the matrix scaled to a unit diagonal below this says that one unknown is a
/// combination of the others.
const LEAST_PIVOT: f64 = 1e-12;

/// Lower triangle `l` with `l l' = matrix`; none when the matrix is not positive definite.
pub fn root(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
            let left = matrix[i][j] - known;
            l[i][j] = if i == j { left.sqrt() } else { left / l[j][j] };
        }
        if l[i][i].is_nan() || l[i][i] <= 0.0 {
            return None;
        }
    }
    Some(l)
}

/// Inverse of a normal matrix and the logarithm of its determinant; none where it is singular or a
/// cell is not finite.
pub(super) fn inverse(matrix: &[Vec<f64>]) -> Option<(Vec<Vec<f64>>, f64)> {
    let n = matrix.len();
    // Unknowns in unlike units make unlike rows; scaled to a unit diagonal, pivots compare.
    let scale: Vec<f64> = (0..n).map(|k| matrix[k][k].sqrt()).collect();
    if scale.iter().any(|s| !s.is_finite() || *s <= 0.0) {
        return None;
    }
    let row = |i: usize| (0..n).map(|j| matrix[i][j] / (scale[i] * scale[j])).collect();
    let scaled: Vec<Vec<f64>> = (0..n).map(row).collect();
    let l = root(&scaled)?;
    if (0..n).any(|k| l[k][k] * l[k][k] < LEAST_PIVOT) {
        return None;
    }
    let half = of_triangle(&l);
    let cell = |i: usize, j: usize| -> f64 {
        let product: f64 = (i.max(j)..n).map(|k| half[k][i] * half[k][j]).sum();
        product / (scale[i] * scale[j])
    };
    let inverse = (0..n).map(|i| (0..n).map(|j| cell(i, j)).collect()).collect();
    Some((inverse, (0..n).map(|k| 2.0 * (l[k][k] * scale[k]).ln()).sum()))
}

fn of_triangle(l: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let n = l.len();
    let mut inverse = vec![vec![0.0; n]; n];
    for j in 0..n {
        inverse[j][j] = 1.0 / l[j][j];
        for i in j + 1..n {
            let sum: f64 = (j..i).map(|k| l[i][k] * inverse[k][j]).sum();
            inverse[i][j] = -sum / l[i][i];
        }
    }
    inverse
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_inverse_undoes_the_matrix_in_any_units() {
        let unit = [1.0, 1e6, 1e-4];
        let plain = [[2.0, 0.6, -0.3], [0.6, 1.0, 0.2], [-0.3, 0.2, 0.5]];
        let cell = |i: usize, j: usize| plain[i][j] * unit[i] * unit[j];
        let matrix: Vec<Vec<f64>> = (0..3).map(|i| (0..3).map(|j| cell(i, j)).collect()).collect();
        let (inverse, log_determinant) = inverse(&matrix).unwrap();
        for i in 0..3 {
            for j in 0..3 {
                let product: f64 = (0..3).map(|k| matrix[i][k] * inverse[k][j]).sum();
                let wanted = f64::from(u8::from(i == j));
                assert!((product * unit[j] / unit[i] - wanted).abs() < 1e-12, "{i} {j} {product}");
            }
        }
        // 2 (0.5 - 0.04) - 0.6 (0.3 + 0.06) - 0.3 (0.12 + 0.3) = 0.578, times the squared units.
        let wanted = 0.578f64.ln() + 2.0 * unit.iter().map(|u| u.ln()).sum::<f64>();
        assert!((log_determinant - wanted).abs() < 1e-12);
    }

    #[test]
    fn what_is_not_positive_definite_has_neither() {
        assert_eq!(root(&[vec![1.0, 2.0], vec![2.0, 1.0]]), None);
        assert_eq!(inverse(&[vec![1.0, 1.0], vec![1.0, 1.0]]), None);
        assert_eq!(inverse(&[vec![f64::NAN]]), None);
        assert_eq!(inverse(&[vec![0.0]]), None);
    }
}
