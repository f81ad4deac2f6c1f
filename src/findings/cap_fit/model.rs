//! Speeds to fit, the columns of the fit, and the noise that makes candidates comparable.

use super::answer::Answer;
use crate::findings::openings::Times;
use crate::statistics::autoregression::Autoregression;
use crate::statistics::normal_equations::{Products, Solution};
use crate::statistics::regression::least_squares;
use crate::statistics::summary;

/// Orders of the noise model: the least and the most, and blocks that an order needs.
const NOISE_ORDERS: (usize, usize) = (4, 12);
const BLOCKS_AN_ORDER: usize = 20;
/// The first drop among the columns, behind constant and drift.
pub const FIRST_DROP: usize = 2;

/// Times and speeds to fit.
pub struct Data {
    /// Middle of each block, s.
    pub t: Vec<f64>,
    /// Speed of each block, rev/min.
    pub n: Vec<f64>,
}

impl Data {
    /// First and last time, s.
    pub fn ends(&self) -> (f64, f64) {
        (self.t[0], self.t[self.t.len() - 1])
    }

    /// Place of a time within the data: -1 at the first, 1 at the last.
    fn place(&self, t: f64) -> f64 {
        let (from, to) = self.ends();
        (2.0 * t - from - to) / (to - from)
    }

    fn over(&self, f: impl Fn(f64) -> f64) -> Vec<f64> {
        self.t.iter().map(|t| f(*t)).collect()
    }

    /// Constant, and drift over half the data.
    fn baseline(&self) -> [Vec<f64>; 2] {
        [self.over(|_| 1.0), self.over(|t| self.place(t))]
    }

    /// Bend of the drift: a parabola without mean, 2/3 at both ends.
    fn bend(&self) -> Vec<f64> {
        self.over(|t| self.place(t).powi(2) - 1.0 / 3.0)
    }
}

/// What is known or assumed of the shape of the speed.
#[derive(Clone)]
pub struct Shape {
    /// How the engine answers.
    pub answer: Answer,
    /// When the cap is off.
    pub openings: Vec<Times>,
    /// Other loads that come or go, s.
    pub loads: Vec<f64>,
}

impl Shape {
    /// Columns of the linear part: constant, drift over half the data, a drop an opening, a step a
    /// load.
    pub fn columns(&self, data: &Data) -> Vec<Vec<f64>> {
        let mut columns = data.baseline().to_vec();
        columns.extend(self.openings.iter().map(|o| self.drop(data, o)));
        columns.extend(self.loads.iter().map(|at| self.load(data, *at)));
        columns
    }

    /// Column of an opening.
    pub fn drop(&self, data: &Data, o: &Times) -> Vec<f64> {
        data.over(|t| -self.answer.between(t, o.off_s, o.on_s)[0])
    }

    /// Column of a load that comes or goes at `at`.
    pub fn load(&self, data: &Data, at: f64) -> Vec<f64> {
        data.over(|t| self.answer.at(t - at).0)
    }

    /// Columns of openings and loads, and how the speed changes with their edges when drops and
    /// steps have these heights: off and on of each opening, then each load.
    pub fn with_slopes(&self, data: &Data, heights: &[f64]) -> (Vec<Vec<f64>>, Vec<Vec<f64>>) {
        let (mut columns, mut slopes) = (Vec::new(), Vec::new());
        for (o, drop) in self.openings.iter().zip(heights) {
            let at: Vec<[f64; 3]> =
                data.t.iter().map(|t| self.answer.between(*t, o.off_s, o.on_s)).collect();
            columns.push(at.iter().map(|a| -a[0]).collect());
            slopes.extend(
                [1, 2].map(|edge| at.iter().map(|a| -drop * a[edge]).collect::<Vec<f64>>()),
            );
        }
        for (load, step) in self.loads.iter().zip(&heights[self.openings.len()..]) {
            let at: Vec<(f64, f64)> = data.t.iter().map(|t| self.answer.at(t - load)).collect();
            columns.push(at.iter().map(|a| a.0).collect());
            slopes.push(at.iter().map(|a| -step * a.1).collect());
        }
        (columns, slopes)
    }

    /// What the linear part leaves of the data when fitted without regard to the noise.
    fn residuals(&self, data: &Data) -> Option<Vec<f64>> {
        let columns = self.columns(data);
        let fit = least_squares(&data.n, &borrowed(&columns), None).ok()?;
        let fitted = |k: usize| -> f64 {
            columns.iter().zip(&fit.coefficients).map(|(column, c)| column[k] * c).sum()
        };
        Some((0..data.n.len()).map(|k| data.n[k] - fitted(k)).collect())
    }
}

/// Columns as the regression takes them.
pub fn borrowed(columns: &[Vec<f64>]) -> Vec<&[f64]> {
    columns.iter().map(Vec::as_slice).collect()
}

/// Makes the noise white and its standard deviation 1.
pub struct Whitener {
    noise: Autoregression,
    /// Whitened speeds, less their mean before.
    pub y: Vec<f64>,
    /// Constant and drift, whitened.
    pub baseline: [Vec<f64>; 2],
    /// Bend of the drift, whitened.
    pub bend: Vec<f64>,
}

impl Whitener {
    /// From the noise that a shape leaves.
    pub fn new(data: &Data, shape: &Shape) -> Option<Self> {
        let order = (data.n.len() / BLOCKS_AN_ORDER).clamp(NOISE_ORDERS.0, NOISE_ORDERS.1);
        let noise = Autoregression::fit(&shape.residuals(data)?, order)?;
        let mean = summary::mean(&data.n)?;
        // Less the mean, so that no digits are lost in squares; the constant takes it up.
        let y = whitened(&noise, &data.n.iter().map(|n| n - mean).collect::<Vec<f64>>());
        let baseline = data.baseline().map(|column| whitened(&noise, &column));
        let bend = whitened(&noise, &data.bend());
        Some(Whitener { noise, y, baseline, bend })
    }

    /// A column, whitened.
    pub fn column(&self, column: &[f64]) -> Vec<f64> {
        whitened(&self.noise, column)
    }

    /// Whitened columns of a shape.
    pub fn columns(&self, data: &Data, shape: &Shape) -> Vec<Vec<f64>> {
        let mut columns = self.baseline.to_vec();
        columns.extend(shape.openings.iter().map(|o| self.column(&shape.drop(data, o))));
        columns.extend(shape.loads.iter().map(|at| self.column(&shape.load(data, *at))));
        columns
    }

    /// The linear part of a shape; its sum of squares is in units of the innovations' variance.
    pub fn fit(&self, data: &Data, shape: &Shape) -> Option<Solution> {
        Products::of(&self.y, &borrowed(&self.columns(data, shape))).solve()
    }
}

fn whitened(noise: &Autoregression, column: &[f64]) -> Vec<f64> {
    let mut white = noise.whiten(column);
    white.iter_mut().for_each(|v| *v /= noise.sigma);
    white
}
