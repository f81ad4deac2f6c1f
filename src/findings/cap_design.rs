//! Least squares of whitened speed in which a column is exchanged for little.
//!
//! Hundreds of edges and answers are tried in a search, and an opening reaches only over its own part
//! of the log. So products of columns are taken where both have something, and only those of the
//! column that changes are taken anew.

use crate::statistics::autoregression::Autoregression;

/// A whitened column: zero but for `values` from place `from` on.
#[derive(Debug, Clone)]
pub struct Column {
    from: usize,
    values: Vec<f64>,
}

impl Column {
    /// Whitens `raw`, which holds the values from place `from` of a series of `length` on and is
    /// zero elsewhere.
    pub fn white(noise: &Autoregression, from: usize, raw: &[f64], length: usize) -> Self {
        let order = noise.phi.len();
        let first = from.max(order);
        let end = (from + raw.len() + order).min(length);
        let at = |t: usize| t.checked_sub(from).and_then(|k| raw.get(k)).copied().unwrap_or(0.0);
        let values = (first..end)
            .map(|t| match t.checked_sub(from + order).and_then(|k| raw.get(k..=k + order)) {
                Some(window) => {
                    let past = window[..order].iter().rev();
                    window[order] - noise.phi.iter().zip(past).map(|(p, v)| p * v).sum::<f64>()
                }
                None => at(t) - (1..=order).map(|k| noise.phi[k - 1] * at(t - k)).sum::<f64>(),
            })
            .collect();
        Column { from: first, values }
    }

    /// Scalar product.
    pub fn dot(&self, other: &Column) -> f64 {
        let from = self.from.max(other.from);
        let to = (self.from + self.values.len()).min(other.from + other.values.len());
        if from >= to {
            return 0.0;
        }
        let (a, b) =
            (&self.values[from - self.from..to - self.from], &other.values[from - other.from..]);
        // Four sums side by side: one would wait for itself.
        let mut sums = [0.0; 4];
        let (mut fours, mut others) = (a.chunks_exact(4), b[..a.len()].chunks_exact(4));
        for (x, y) in fours.by_ref().zip(others.by_ref()) {
            (0..4).for_each(|lane| sums[lane] += x[lane] * y[lane]);
        }
        let rest = fours.remainder().iter().zip(others.remainder());
        sums.iter().sum::<f64>() + rest.map(|(x, y)| x * y).sum::<f64>()
    }
}

/// Coefficients of a fit and what they take off the sum of squares.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// One a column.
    pub coefficients: Vec<f64>,
    /// Sum of squares explained.
    pub explained: f64,
}

/// Columns with their products.
#[derive(Debug, Clone)]
pub struct Design {
    columns: Vec<Column>,
    products: Vec<Vec<f64>>,
    right: Vec<f64>,
}

impl Design {
    /// Columns for the series `y`.
    pub fn new(columns: Vec<Column>, y: &Column) -> Self {
        let mut design = Design { columns: Vec::new(), products: Vec::new(), right: Vec::new() };
        columns.into_iter().for_each(|column| design.push(column, y));
        design
    }

    /// Adds a column behind the others.
    pub fn push(&mut self, column: Column, y: &Column) {
        let mut row: Vec<f64> = self.columns.iter().map(|other| other.dot(&column)).collect();
        for (other, product) in self.products.iter_mut().zip(&row) {
            other.push(*product);
        }
        row.push(column.dot(&column));
        self.products.push(row);
        self.right.push(column.dot(y));
        self.columns.push(column);
    }

    /// Puts `column` in the place of column `at`.
    pub fn exchange(&mut self, at: usize, column: Column, y: &Column) {
        let right = column.dot(y);
        self.columns[at] = column;
        let row = self.columns.iter().map(|other| other.dot(&self.columns[at])).collect();
        self.set(at, row, right);
    }

    /// Solves with `column` in the place of column `at`, which stays.
    pub fn with(&mut self, at: usize, column: &Column, y: &Column) -> Option<Solution> {
        let kept = (self.products[at].clone(), self.right[at]);
        let row: Vec<f64> = (0..self.columns.len())
            .map(|k| if k == at { column.dot(column) } else { self.columns[k].dot(column) })
            .collect();
        self.set(at, row, column.dot(y));
        let solution = self.solve();
        self.set(at, kept.0, kept.1);
        solution
    }

    /// Solves with `column` behind the others, and takes it away again.
    pub fn and(&mut self, column: Column, y: &Column) -> Option<Solution> {
        self.push(column, y);
        let solution = self.solve();
        self.columns.pop();
        self.right.pop();
        self.products.pop();
        self.products.iter_mut().for_each(|row| row.truncate(self.columns.len()));
        solution
    }

    fn set(&mut self, at: usize, row: Vec<f64>, right: f64) {
        row.iter().enumerate().for_each(|(k, product)| self.products[k][at] = *product);
        self.products[at] = row;
        self.right[at] = right;
    }

    /// Solves; `None` when a column depends on the others.
    pub fn solve(&self) -> Option<Solution> {
        let factor = Factor::of(&self.products)?;
        let forward = factor.forward(&self.right);
        let explained = forward.iter().map(|v| v * v).sum();
        Some(Solution { coefficients: factor.backward(forward), explained })
    }
}

/// Normal equations with prior knowledge, for a solution and small changes about it.
#[derive(Debug, Clone)]
pub struct Normal {
    matrix: Vec<Vec<f64>>,
    right: Vec<f64>,
}

impl Normal {
    /// Takes the columns' products in units of the noise.
    pub fn new(design: Design, sigma: f64) -> Self {
        let scale = 1.0 / (sigma * sigma);
        let mut matrix = design.products;
        let mut right = design.right;
        matrix.iter_mut().flatten().for_each(|product| *product *= scale);
        right.iter_mut().for_each(|product| *product *= scale);
        Normal { matrix, right }
    }

    /// Unknown `at` is known to be `value` with the standard uncertainty `u`.
    pub fn know(&mut self, at: usize, value: f64, u: f64) {
        self.matrix[at][at] += 1.0 / (u * u);
        self.right[at] += value / (u * u);
    }

    /// Takes `share` off the inverse covariance of these unknowns, everywhere: they have something
    /// in common. Each comes with its expected value.
    pub fn share(&mut self, unknowns: &[(usize, f64)], share: f64) {
        let sum: f64 = unknowns.iter().map(|u| u.1).sum();
        for (i, _) in unknowns {
            for (j, _) in unknowns {
                self.matrix[*i][*j] -= share;
            }
            self.right[*i] -= share * sum;
        }
    }

    /// The most likely values.
    pub fn solve(&self) -> Option<Vec<f64>> {
        let factor = Factor::of(&self.matrix)?;
        Some(factor.backward(factor.forward(&self.right)))
    }

    /// The first unknowns alone, the others taken as they are.
    pub fn leading(&self, count: usize) -> Normal {
        let matrix = self.matrix[..count].iter().map(|row| row[..count].to_vec()).collect();
        Normal { matrix, right: self.right[..count].to_vec() }
    }

    /// Covariance of `count` unknowns from `first` on.
    pub fn covariance(&self, first: usize, count: usize) -> Option<Vec<Vec<f64>>> {
        let factor = Factor::of(&self.matrix)?;
        let halves: Vec<Vec<f64>> = (0..count)
            .map(|k| {
                let mut unit = vec![0.0; self.right.len()];
                unit[first + k] = 1.0;
                factor.forward(&unit)
            })
            .collect();
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        Some(halves.iter().map(|a| halves.iter().map(|b| product(a, b)).collect()).collect())
    }
}

/// Cholesky factor of a symmetric matrix scaled to a unit diagonal, row by row.
struct Factor {
    rows: Vec<Vec<f64>>,
    scale: Vec<f64>,
}

impl Factor {
    fn of(matrix: &[Vec<f64>]) -> Option<Self> {
        let n = matrix.len();
        let scale: Vec<f64> = (0..n).map(|i| matrix[i][i].sqrt()).collect();
        if scale.iter().any(|s| !s.is_finite() || *s <= 0.0) {
            return None;
        }
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(n);
        for i in 0..n {
            let mut row: Vec<f64> = Vec::with_capacity(i + 1);
            for j in 0..i {
                let other = &rows[j];
                let known: f64 = row.iter().zip(other).map(|(a, b)| a * b).sum();
                row.push((matrix[i][j] / (scale[i] * scale[j]) - known) / other[j]);
            }
            let left = 1.0 - row.iter().map(|a| a * a).sum::<f64>();
            if left.is_nan() || left <= LEAST_PIVOT {
                return None;
            }
            row.push(left.sqrt());
            rows.push(row);
        }
        Some(Factor { rows, scale })
    }

    fn forward(&self, right: &[f64]) -> Vec<f64> {
        let mut done: Vec<f64> = Vec::with_capacity(right.len());
        for (i, row) in self.rows.iter().enumerate() {
            let known: f64 = row.iter().zip(&done).map(|(a, b)| a * b).sum();
            done.push((right[i] / self.scale[i] - known) / row[i]);
        }
        done
    }

    fn backward(&self, mut values: Vec<f64>) -> Vec<f64> {
        for i in (0..values.len()).rev() {
            values[i] /= self.rows[i][i];
            let (before, at) = values.split_at_mut(i);
            before.iter_mut().zip(&self.rows[i]).for_each(|(value, l)| *value -= l * at[0]);
        }
        values.iter_mut().zip(&self.scale).for_each(|(value, scale)| *value /= scale);
        values
    }
}

/// Least squared length that is left of a column of unit length after those before it.
const LEAST_PIVOT: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::regression::least_squares;

    fn noise() -> Autoregression {
        Autoregression { phi: vec![0.6, -0.2, 0.1], sigma: 1.0 }
    }

    #[test]
    fn a_local_column_is_whitened_as_a_whole_one_is() {
        let raw: Vec<f64> = (0..9).map(|k| f64::from(k * k % 7) + 1.0).collect();
        for from in [0, 1, 2, 3, 17, 29, 31] {
            let mut whole = vec![0.0; 40];
            whole[from..from + 9].copy_from_slice(&raw);
            let expected = noise().whiten(&whole);
            let local = Column::white(&noise(), from, &raw, 40);
            let found = |k: usize| {
                (k + 3).checked_sub(local.from).and_then(|k| local.values.get(k)).unwrap_or(&0.0)
            };
            for (k, value) in expected.iter().enumerate() {
                assert!((value - found(k)).abs() < 1e-12, "from {from}, place {k}");
            }
        }
    }

    #[test]
    fn the_solution_is_that_of_least_squares_also_after_an_exchange() {
        let series = |a: u32, b: u32| -> Vec<f64> {
            (0..60).map(|k| f64::from((k * a + k * k * b) % 53) - 20.0).collect()
        };
        let (y, first, second) = (series(7, 1), series(11, 3), series(5, 2));
        let mut third = series(3, 5);
        third[..30].fill(0.0);
        let white = |raw: &[f64]| Column::white(&noise(), 0, raw, 60);
        let goal = white(&y);
        let mut design = Design::new(vec![white(&first), white(&second)], &goal);
        design.exchange(0, Column::white(&noise(), 30, &third[30..], 60), &goal);
        let found = design.solve().unwrap();
        let tried = design.with(0, &white(&y), &goal).unwrap();
        assert!((tried.coefficients[0] - 1.0).abs() < 1e-10, "{tried:?}");
        assert!((design.and(white(&y), &goal).unwrap().coefficients[2] - 1.0).abs() < 1e-10);
        assert_eq!(design.solve().unwrap(), found);
        let columns = [&third, &second].map(|c| noise().whiten(c));
        let expected =
            least_squares(&noise().whiten(&y), &[&columns[0], &columns[1]], None).unwrap();
        for (a, b) in found.coefficients.iter().zip(&expected.coefficients) {
            assert!((a - b).abs() < 1e-10, "{found:?} {expected:?}");
        }
        assert!((goal.dot(&goal) - found.explained - expected.residual_squares).abs() < 1e-7);
        design.push(white(&second), &goal);
        assert_eq!(design.solve(), None);
    }
}
