//! Least squares by normal equations, for fits that are made by the hundred.
//!
//! Where only a column or two change from fit to fit, the products of the others are kept; what is
//! known beforehand (normal) enters as further observations. Digits are lost with the square of the
//! columns' condition: columns of like size that are far from combinations of one another keep ten
//! and more of them. For a single fit of unknown columns use [`super::regression::least_squares`].

use super::cholesky;

/// Independent sums of a product, so that additions need not wait for one another.
const LANES: usize = 8;

/// Sums of products of columns and series.
#[derive(Debug, Clone, PartialEq)]
pub struct Products {
    /// Between columns, row by row.
    columns: Vec<Vec<f64>>,
    /// Of each column with the series.
    series: Vec<f64>,
    /// Of the series with itself.
    square: f64,
}

/// A solution.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// One coefficient a column.
    pub coefficients: Vec<f64>,
    /// Inverse of the normal matrix: the covariance where the errors have variance 1.
    pub cofactors: Vec<Vec<f64>>,
    /// Sum of squared residuals, those of what was known beforehand among them.
    pub residual_squares: f64,
    /// Logarithm of the determinant of the normal matrix.
    pub log_determinant: f64,
}

impl Products {
    /// Of columns as long as the series.
    pub fn of(y: &[f64], columns: &[&[f64]]) -> Self {
        let mut all = vec![vec![0.0; columns.len()]; columns.len()];
        for i in 0..columns.len() {
            for j in 0..=i {
                all[i][j] = dot(columns[i], columns[j]);
                all[j][i] = all[i][j];
            }
        }
        let series = columns.iter().map(|column| dot(column, y)).collect();
        Products { columns: all, series, square: dot(y, y) }
    }

    /// The products once column `k` has become what it now is among `columns`.
    pub fn change(&mut self, k: usize, y: &[f64], columns: &[&[f64]]) {
        for (j, column) in columns.iter().enumerate() {
            let product = dot(columns[k], column);
            self.columns[k][j] = product;
            self.columns[j][k] = product;
        }
        self.series[k] = dot(columns[k], y);
    }

    /// One observation more: the sum of `factor` times coefficient over the terms is `value`, with
    /// error 1.
    pub fn know(&mut self, terms: &[(usize, f64)], value: f64) {
        for (i, a) in terms {
            for (j, b) in terms {
                self.columns[*i][*j] += a * b;
            }
            self.series[*i] += a * value;
        }
        self.square += value * value;
    }

    /// Solves; none when the columns do not determine their coefficients.
    pub fn solve(&self) -> Option<Solution> {
        let (cofactors, log_determinant) = cholesky::inverse(&self.columns)?;
        let coefficients: Vec<f64> = cofactors.iter().map(|row| dot(row, &self.series)).collect();
        let residual_squares = (self.square - dot(&coefficients, &self.series)).max(0.0);
        Some(Solution { coefficients, cofactors, residual_squares, log_determinant })
    }
}

/// Sum of products, of the shorter length.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; LANES];
    let (a_blocks, b_blocks) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest = a_blocks.remainder().iter().zip(b_blocks.remainder());
    let rest: f64 = rest.map(|(a, b)| a * b).sum();
    for (a, b) in a_blocks.zip(b_blocks) {
        for lane in 0..LANES {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    lanes.iter().sum::<f64>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::regression::least_squares;

    fn columns(n: usize, bend: f64) -> [Vec<f64>; 3] {
        let over = |f: &dyn Fn(f64) -> f64| (0..n).map(|k| f(k as f64 / n as f64)).collect();
        [over(&|_| 1.0), over(&|t| 3.0 * t - 1.0), over(&|t| (bend * t).sin())]
    }

    #[test]
    fn the_solution_is_that_of_the_rows_with_what_is_known_among_them() {
        let n = 75;
        let y: Vec<f64> = (0..n).map(|k| 40.0 + ((k * 37 + k * k) % 53) as f64 / 26.0).collect();
        let mut columns = columns(n, 5.0);
        let mut rows = y.clone();
        let borrowed: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let mut products = Products::of(&y, &borrowed);
        products.know(&[(1, 0.5), (2, -2.0)], 0.7);
        let found = products.solve().unwrap();
        rows.push(0.7);
        for (column, factor) in columns.iter_mut().zip([0.0, 0.5, -2.0]) {
            column.push(factor);
        }
        let borrowed: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let want = least_squares(&rows, &borrowed, None).unwrap();
        for i in 0..3 {
            assert!((found.coefficients[i] / want.coefficients[i] - 1.0).abs() < 1e-10);
            for j in 0..3 {
                let near = found.cofactors[i][j] - want.cofactors[i][j];
                assert!(near.abs() < 1e-11, "{i} {j}: {near}");
            }
        }
        assert!((found.residual_squares / want.residual_squares - 1.0).abs() < 1e-9);
        assert!((found.log_determinant - want.log_determinant).abs() < 1e-10);
    }

    #[test]
    fn a_changed_column_changes_its_products_alone() {
        let y: Vec<f64> = (0..60).map(|k| f64::from((k * 37) % 53)).collect();
        let [old, new] = [5.0, 9.0].map(|bend| columns(60, bend));
        let [old, new]: [Vec<&[f64]>; 2] =
            [&old, &new].map(|c| c.iter().map(Vec::as_slice).collect());
        let mut changed = Products::of(&y, &old);
        changed.change(2, &y, &new);
        assert_eq!(changed, Products::of(&y, &new));
    }

    #[test]
    fn columns_that_say_the_same_are_refused() {
        let one = vec![1.0; 20];
        assert_eq!(Products::of(&one, &[&one, &one]).solve(), None);
        assert_eq!(Products::of(&one, &[&[0.0; 20]]).solve(), None);
    }
}
