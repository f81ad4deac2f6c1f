//! Regression on a handful of columns from their moments, for series too long to be decomposed.
//!
//! A pass over the rows gathers sums and products about the first row; everything after it costs
//! the same however many rows there were. What is known of a coefficient beforehand (normal about
//! zero) enters as an observation of it (JCGM 102:2011, the linear least-squares case): with the
//! errors' variance `s^2` and the prior standard deviations `u` the coefficients are
//! `(C + s^2 diag(1/u^2))^-1 c`, where `C` holds the columns' products about their means and `c`
//! those with the series. The level of the series is free.

use super::cholesky;
use super::normal_equations::dot;

/// Rows worked on at a time: enough for the processor's lanes, few enough for its nearest cache.
const BLOCK: usize = 128;
/// Independent sums of a product, so that additions need not wait for one another.
const LANES: usize = 8;

/// Rows of `C` values on their way to [`Moments`]: columns first, the series last.
#[derive(Debug, Clone)]
pub struct Gathering<const C: usize> {
    first: [f64; C],
    rows: usize,
    block: [[f64; BLOCK]; C],
    sums: [f64; C],
    products: [[f64; C]; C],
}

impl<const C: usize> Default for Gathering<C> {
    fn default() -> Self {
        Gathering {
            first: [0.0; C],
            rows: 0,
            block: [[0.0; BLOCK]; C],
            sums: [0.0; C],
            products: [[0.0; C]; C],
        }
    }
}

impl<const C: usize> Gathering<C> {
    /// One row more.
    pub fn add(&mut self, row: &[f64; C]) {
        if self.rows == 0 {
            self.first = *row;
        }
        let place = self.rows % BLOCK;
        for ((column, value), first) in self.block.iter_mut().zip(row).zip(&self.first) {
            column[place] = value - first;
        }
        self.rows += 1;
        if place + 1 == BLOCK {
            self.take_block();
        }
    }

    /// Adds the block up and clears it: what is not filled is zero and adds nothing.
    fn take_block(&mut self) {
        for i in 0..C {
            self.sums[i] += self.block[i].iter().sum::<f64>();
            for j in i..C {
                self.products[i][j] += product(&self.block[i], &self.block[j]);
            }
        }
        self.block.iter_mut().for_each(|column| column.fill(0.0));
    }

    /// Means, and sums of products about them; `None` without rows.
    pub fn moments(mut self) -> Option<Moments> {
        if self.rows == 0 {
            return None;
        }
        self.take_block();
        let n = self.rows as f64;
        let about_means = |i: usize, j: usize| {
            let (i, j) = (i.min(j), i.max(j));
            self.products[i][j] - self.sums[i] * self.sums[j] / n
        };
        Some(Moments {
            rows: self.rows,
            means: (0..C).map(|i| self.first[i] + self.sums[i] / n).collect(),
            products: (0..C).map(|i| (0..C).map(|j| about_means(i, j)).collect()).collect(),
        })
    }
}

fn product(a: &[f64; BLOCK], b: &[f64; BLOCK]) -> f64 {
    let mut lanes = [0.0; LANES];
    for (a, b) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for lane in 0..LANES {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    lanes.iter().sum()
}

/// Means of columns and series, and the sums of their products about the means.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    /// Rows gathered.
    pub rows: usize,
    /// One a column, that of the series last.
    pub means: Vec<f64>,
    products: Vec<Vec<f64>>,
}

/// Coefficients of the columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficients {
    /// One a column.
    pub values: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Sum of the squared residuals.
    pub residual_squares: f64,
}

impl Moments {
    /// Least squares with errors of `variance` and prior standard deviations `u`, one a column,
    /// positive; `None` where columns and prior together do not determine the coefficients, or a
    /// figure is not finite.
    pub fn regress(&self, u: &[f64], variance: f64) -> Option<Coefficients> {
        let columns = self.means.len().checked_sub(1).filter(|columns| *columns == u.len())?;
        let mut normal: Vec<Vec<f64>> =
            self.products[..columns].iter().map(|row| row[..columns].to_vec()).collect();
        for (i, u) in u.iter().enumerate() {
            normal[i][i] += variance / (u * u);
        }
        let (cofactors, _) = cholesky::inverse(&normal)?;
        let series = &self.products[columns];
        let values: Vec<f64> = cofactors.iter().map(|row| dot(row, &series[..columns])).collect();
        let mut squares = series[columns];
        for (i, value) in values.iter().enumerate() {
            squares += value * (dot(&self.products[i][..columns], &values) - 2.0 * series[i]);
        }
        let scaled = |row: Vec<f64>| row.into_iter().map(|c| c * variance).collect();
        let covariance: Vec<Vec<f64>> = cofactors.into_iter().map(scaled).collect();
        let finite = values.iter().chain(covariance.iter().flatten()).all(|v| v.is_finite());
        let residual_squares = squares.max(0.0);
        (finite && squares.is_finite()).then_some(Coefficients {
            values,
            covariance,
            residual_squares,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::regression::least_squares;

    /// Two slow waves, one of them hardly moving, and a series far from zero.
    fn rows(n: usize) -> Vec<[f64; 3]> {
        let noise = |k: usize| ((k * 37 + k * k) % 53) as f64 / 26.0 - 1.0;
        (0..n)
            .map(|k| {
                let t = k as f64 / n as f64;
                let (a, b) = ((7.0 * t).sin(), (0.01 * t + 1.0).cos());
                [a, b, 900.0 + 2.0 * a - 3.0 * b + 0.1 * noise(k)]
            })
            .collect()
    }

    fn moments(rows: &[[f64; 3]]) -> Moments {
        let mut gathering = Gathering::default();
        rows.iter().for_each(|row| gathering.add(row));
        gathering.moments().unwrap()
    }

    #[test]
    fn the_moments_give_what_the_rows_and_the_prior_as_rows_give() {
        for n in [5, 128, 1000] {
            let (rows, u, variance) = (rows(n), [5.0, 0.5], 0.01);
            let found = moments(&rows).regress(&u, variance).unwrap();
            // The same by reflections of the whole, each prior a row of weight 1/u^2.
            let column = |i: usize, own: [f64; 2]| -> Vec<f64> {
                rows.iter().map(|row| row[i]).chain(own).collect()
            };
            let ones: Vec<f64> = (0..n + 2).map(|k| f64::from(u8::from(k < n))).collect();
            let (a, b) = (column(0, [1.0, 0.0]), column(1, [0.0, 1.0]));
            let weights: Vec<f64> =
                std::iter::repeat_n(1.0 / variance, n).chain(u.map(|u| 1.0 / (u * u))).collect();
            let y = column(2, [0.0, 0.0]);
            let want = least_squares(&y, &[&ones, &a, &b], Some(&weights)).unwrap();
            let mut squares = 0.0;
            for k in 0..n {
                let c = &want.coefficients;
                squares += (y[k] - c[0] - c[1] * a[k] - c[2] * b[k]).powi(2);
            }
            let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-9 * b.abs(), "{n}: {a} {b}");
            close(found.residual_squares, squares);
            for i in 0..2 {
                close(found.values[i], want.coefficients[i + 1]);
                close(found.covariance[i][i], want.cofactors[i + 1][i + 1]);
            }
        }
    }

    #[test]
    fn a_column_that_never_moves_keeps_what_was_known_beforehand() {
        let rows: Vec<[f64; 3]> = rows(300).iter().map(|r| [r[0], 0.7, r[2]]).collect();
        let found = moments(&rows).regress(&[5.0, 0.5], 0.01).unwrap();
        assert_eq!(found.values[1], 0.0);
        assert!((found.covariance[1][1] / 0.25 - 1.0).abs() < 1e-12);
        // Without anything known of it there is no answer.
        assert_eq!(moments(&rows).regress(&[5.0, f64::INFINITY], 0.01), None);
    }

    #[test]
    fn what_cannot_be_used_gives_nothing() {
        assert_eq!(Gathering::<3>::default().moments(), None);
        let one = moments(&rows(20));
        assert_eq!(one.regress(&[1.0], 0.01), None);
        assert_eq!(one.regress(&[1.0, f64::NAN], 0.01), None);
        assert_eq!(moments(&[[f64::NAN; 3]; 4]).regress(&[1.0, 1.0], 0.01), None);
    }
}
