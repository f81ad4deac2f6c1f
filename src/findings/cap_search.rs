//! The search for the edges and the answer that fit best, and how far the drops move when these are
//! not known.
//!
//! The noise is whitened by an autoregression, so that what is tried compares by its sum of squares;
//! what is known of engines and of people's thumbs is the prior. Edges are first tried on a grid,
//! so that no wrong one holds the search; then edges, answer and drops move together by Gauss and
//! Newton's steps until the odds are greatest. The curvature there gives the part of the drops'
//! variance that comes from edges and answer (Laplace's method; Gelman et al., Bayesian Data
//! Analysis, section 4.1, from memory).

use super::cap_design::{Column, Design, Normal, Solution};
use super::cap_response::{EXPECTED, PRIOR, Parameters, Response};
use super::openings::{Known, Times};
use crate::statistics::autoregression::Autoregression;
use crate::statistics::regression::least_squares;

/// An edge may lie this much before its mark, s.
const EARLIER_S: f64 = 4.0;
/// ... or after it, s.
const LATER_S: f64 = 3.0;
/// Steps in which an edge is tried, s.
const STEP_S: f64 = 0.25;
/// Steps in which an edge is tried of which only the other edge of its opening is known, s.
const WIDE_STEP_S: f64 = 0.5;
/// People press late: by this much, s, with this standard uncertainty for a person, and this one
/// from edge to edge (common practice, no published source).
const LATE_S: (f64, f64, f64) = (0.8, 0.7, 0.5);
/// The same for an edge found in the data: as good as a bin or two under noise, and late by the
/// engine's answer.
const FOUND_S: (f64, f64) = (0.7, 1.5);
/// A load found in the data, and an edge that was found where it had to be, s.
const PLACED_S: f64 = 1.5;
/// An opening lasts this long at least, s.
const LEAST_OFF_S: f64 = 1.0;
/// Rounds over the grid.
const GRID_ROUNDS: usize = 2;
/// Gauss and Newton's steps at the most; a step that gains less than this is the last.
const STEPS: usize = 12;
const LEAST_GAIN: f64 = 0.02;
/// Longest step of an edge, s, and of a parameter of the answer.
const LONGEST: (f64, f64) = (1.0, 0.7);
/// Answers from which the steps start.
const STARTS: [Parameters; 4] = [
    EXPECTED,
    [0.9, 0.0, 0.0, 0.0, EXPECTED[4]],
    [-0.8, 0.0, 0.0, 0.0, EXPECTED[4]],
    [-0.3, 0.0, -1.2, 0.0, EXPECTED[4]],
];
/// Orders of the noise model that are tried.
const ORDERS: [usize; 5] = [2, 4, 6, 10, 16];

/// Times and speeds to fit.
#[derive(Debug, Clone)]
pub struct Data {
    /// Middle of each block, s.
    pub t: Vec<f64>,
    /// Speed, rev/min.
    pub n: Vec<f64>,
}

/// What is searched for.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// The answer.
    pub response: Response,
    /// Off and on of every opening in turn: shift against the time given for it, s.
    pub shifts: Vec<f64>,
    /// When loads besides the cap came, s; what goes is a negative one.
    pub loads: Vec<f64>,
}

/// How far the drops move when the shape is not known.
#[derive(Debug, Clone)]
pub struct Spread {
    /// Expected change of every drop from the best shape.
    pub correction: Vec<f64>,
    /// Variance of every drop.
    pub variance: Vec<f64>,
    /// Variance of the mean of the drops.
    pub of_mean: f64,
}

impl Spread {
    /// Adds a part of the shape whose alternatives give these drops with these costs.
    pub(super) fn add(&mut self, best: &[f64], alternatives: &[(Vec<f64>, f64)]) {
        let least = alternatives.iter().map(|a| a.1).fold(f64::INFINITY, f64::min);
        let odds: Vec<f64> = alternatives.iter().map(|a| (-0.5 * (a.1 - least)).exp()).collect();
        let total: f64 = odds.iter().sum();
        if total.is_nan() || total <= 0.0 {
            return;
        }
        let count = best.len() as f64;
        let moments = |figure: &dyn Fn(&[f64]) -> f64| {
            let weighed = || odds.iter().zip(alternatives).map(|(w, a)| (w / total, figure(&a.0)));
            let mean: f64 = weighed().map(|(w, v)| w * v).sum();
            (mean, weighed().map(|(w, v)| w * (v - mean).powi(2)).sum::<f64>())
        };
        for k in 0..best.len() {
            let (mean, variance) = moments(&|drops| drops[k]);
            self.correction[k] += mean - best[k];
            self.variance[k] += variance;
        }
        self.of_mean += moments(&|drops| drops.iter().sum::<f64>() / count).1;
    }
}

/// Least squares with priors.
pub struct Search<'a> {
    pub(super) data: &'a Data,
    pub(super) given: &'a [Times],
    pub(super) noise: Autoregression,
    pub(super) y: Column,
    squares: f64,
    /// Level and drift.
    base: Vec<Column>,
}

impl<'a> Search<'a> {
    /// Takes the noise from what the given shape leaves of the speed; `base` are the columns of level
    /// and drift.
    pub fn new(
        data: &'a Data,
        given: &'a [Times],
        base: &[Vec<f64>],
        shape: &Shape,
    ) -> Option<Self> {
        let openings = shifted(given, &shape.shifts)?;
        let mut all = base.to_vec();
        all.extend(load_columns(data, shape));
        all.extend(openings.iter().map(|o| opening_column(data, &shape.response, o)));
        let borrowed: Vec<&[f64]> = all.iter().map(Vec::as_slice).collect();
        let fit = least_squares(&data.n, &borrowed, None).ok()?;
        let fitted = |k: usize| -> f64 {
            all.iter().zip(&fit.coefficients).map(|(column, c)| column[k] * c).sum()
        };
        let residuals: Vec<f64> = (0..data.n.len()).map(|k| data.n[k] - fitted(k)).collect();
        let noise = noise_of(&residuals)?;
        let middle = data.n.iter().sum::<f64>() / data.n.len() as f64;
        let centred: Vec<f64> = data.n.iter().map(|n| n - middle).collect();
        let white = |raw: &[f64]| Column::white(&noise, 0, raw, data.n.len());
        let y = white(&centred);
        let base = base.iter().map(|column| white(column)).collect();
        Some(Search { data, given, squares: y.dot(&y), y, base, noise })
    }

    /// Whitens a function of time over a stretch of it.
    fn stretch(&self, from_s: f64, to_s: f64, value: impl Fn(f64) -> f64) -> Column {
        let t = &self.data.t;
        let from = t.partition_point(|t| *t <= from_s);
        let to = t.partition_point(|t| *t <= to_s).max(from);
        let raw: Vec<f64> = t[from..to].iter().map(|t| value(*t)).collect();
        Column::white(&self.noise, from, &raw, t.len())
    }

    fn column(&self, response: &Response, opening: &Times) -> Column {
        let over = opening.on_s.map_or(f64::INFINITY, |on| on + response.over_s());
        self.stretch(opening.off_s, over, |t| -response.at(t, opening.off_s, opening.on_s))
    }

    /// The column of a load.
    pub(super) fn load_column(&self, response: &Response, load: f64) -> Column {
        self.stretch(load, f64::INFINITY, |t| -response.settled(t - load, false))
    }

    /// All columns of a shape: level and drift, loads, openings.
    pub(super) fn design(&self, shape: &Shape) -> Option<Design> {
        let openings = shifted(self.given, &shape.shifts)?;
        let mut columns = self.base.clone();
        columns.extend(shape.loads.iter().map(|at| self.load_column(&shape.response, *at)));
        columns.extend(openings.iter().map(|opening| self.column(&shape.response, opening)));
        Some(Design::new(columns, &self.y))
    }

    /// The drops, and twice the negative logarithm of the odds.
    pub(super) fn judged(&self, shape: &Shape, solution: &Solution) -> (Vec<f64>, f64) {
        let misfit = (self.squares - solution.explained) / self.noise.sigma.powi(2);
        let prior = Prior::of(self.given, shape).surprise(shape) + shape.response.surprise();
        let first = solution.coefficients.len() - self.given.len();
        (solution.coefficients[first..].to_vec(), misfit + prior)
    }

    /// Weighs a shape that differs from that of the design in the opening of this edge alone.
    fn weigh_edge(
        &self,
        design: &mut Design,
        shape: &Shape,
        edge: usize,
    ) -> Option<(Vec<f64>, f64)> {
        let opening = shifted(self.given, &shape.shifts)?[edge / 2];
        let column = self.column(&shape.response, &opening);
        let place = self.base.len() + shape.loads.len() + edge / 2;
        let solution = design.with(place, &column, &self.y)?;
        Some(self.judged(shape, &solution))
    }

    /// The best place on the grid of every edge in turn.
    pub fn on_the_grid(&self, mut shape: Shape) -> Option<Shape> {
        let mut design = self.design(&shape)?;
        for _ in 0..GRID_ROUNDS {
            for edge in self.edges() {
                let mut least = (f64::INFINITY, shape.shifts[edge]);
                let mut other = shape.clone();
                for shift in self.steps(edge) {
                    other.shifts[edge] = shift;
                    if let Some((_, cost)) = self.weigh_edge(&mut design, &other, edge)
                        && cost < least.0
                    {
                        least = (cost, shift);
                    }
                }
                shape.shifts[edge] = least.1;
                let opening = shifted(self.given, &shape.shifts)?[edge / 2];
                let place = self.base.len() + shape.loads.len() + edge / 2;
                design.exchange(place, self.column(&shape.response, &opening), &self.y);
            }
        }
        Some(shape)
    }

    fn edges(&self) -> impl Iterator<Item = usize> + '_ {
        (0..2 * self.given.len())
            .filter(|e| e.is_multiple_of(2) || self.given[e / 2].on_s.is_some())
    }

    /// Shifts of one edge that are tried.
    fn steps(&self, edge: usize) -> Vec<f64> {
        let opening = &self.given[edge / 2];
        match opening.known[edge % 2] {
            Known::Between(from, to) => {
                let given = [opening.off_s, opening.on_s.unwrap_or(to)][edge % 2];
                let count = ((to - from) / WIDE_STEP_S) as i32;
                (0..=count).map(|k| from + f64::from(k) * WIDE_STEP_S - given).collect()
            }
            Known::Mark | Known::Data => {
                let (early, late) = ((EARLIER_S / STEP_S) as i32, (LATER_S / STEP_S) as i32);
                (-early..=late).map(|step| f64::from(step) * STEP_S).collect()
            }
        }
    }

    /// Gauss and Newton's steps from every start; the best end.
    pub fn best(&self, shape: &Shape) -> Option<Shape> {
        let starts = STARTS.iter().map(|parameters| {
            let response = Response(*parameters);
            let (before, after) = (shape.response.delays_s(), response.delays_s());
            let moved = |(edge, s): (usize, &f64)| s + 0.5 * (before[edge % 2] - after[edge % 2]);
            let shifts = shape.shifts.iter().enumerate().map(moved).collect();
            Shape { response, shifts, loads: shape.loads.clone() }
        });
        let ends = starts.filter_map(|start| self.descend(start));
        ends.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(shape, _)| shape)
    }

    /// Moves a shape downhill until it stays; its cost.
    pub fn descend(&self, mut shape: Shape) -> Option<(Shape, f64)> {
        let mut solution = self.design(&shape)?.solve()?;
        let (_, mut cost) = self.judged(&shape, &solution);
        for _ in 0..STEPS {
            let step = self.normal(&shape, &solution)?.solve()?;
            let mut share = 1.0;
            let next = loop {
                let moved = self.moved(&shape, &step, share);
                let solved = self.design(&moved).and_then(|design| design.solve());
                let weighed = solved.map(|s| (self.judged(&moved, &s).1, moved, s));
                match weighed {
                    Some(better) if better.0 < cost => break Some(better),
                    _ if share < 0.1 => break None,
                    _ => share *= 0.4,
                }
            };
            let Some((less, moved, solved)) = next else { break };
            let gain = cost - less;
            (shape, solution, cost) = (moved, solved, less);
            if gain < LEAST_GAIN {
                break;
            }
        }
        Some((shape, cost))
    }

    /// The shape after a share of a step; parameters of the answer come before edges and loads.
    fn moved(&self, shape: &Shape, step: &[f64], share: f64) -> Shape {
        let linear = self.base.len() + shape.loads.len() + self.given.len();
        let step = &step[linear..];
        let by = |k: usize, longest: f64| (share * step[k]).clamp(-longest, longest);
        let parameters = shape.response.0;
        let answer = parameters.len();
        let mut moved = shape.clone();
        moved.response =
            Response::within_reason(std::array::from_fn(|k| parameters[k] + by(k, LONGEST.1)));
        for (k, edge) in self.edges().enumerate() {
            moved.shifts[edge] += by(answer + k, LONGEST.0);
        }
        let behind = answer + self.edges().count();
        for (k, load) in moved.loads.iter_mut().enumerate() {
            *load += by(behind + k, LONGEST.0);
        }
        moved
    }

    /// The linearised problem at a shape: level and drift, loads, drops, then changes of the answer's
    /// parameters, of the edges and of the times of the loads.
    fn normal(&self, shape: &Shape, solution: &Solution) -> Option<Normal> {
        let openings = shifted(self.given, &shape.shifts)?;
        let response = &shape.response;
        let (base, loads) = (self.base.len(), shape.loads.len());
        let sizes = &solution.coefficients[base..];
        let t = &self.data.t;
        let mut answer = vec![vec![0.0; t.len()]; response.0.len()];
        let mut edges = Vec::new();
        // A step at `at` seconds of this size, by the parameters and by its time.
        let mut part = |at: f64, over: f64, back: bool, size: f64| -> Column {
            let from = t.partition_point(|t| *t <= at);
            let to = t.partition_point(|t| *t <= over).max(from);
            let mut rates = Vec::with_capacity(to - from);
            for k in from..to {
                let parts = response.parts(t[k] - at, back);
                answer.iter_mut().zip(parts.by).for_each(|(column, by)| column[k] += size * by);
                rates.push(-size * parts.rate);
            }
            Column::white(&self.noise, from, &rates, t.len())
        };
        for (opening, drop) in openings.iter().zip(&sizes[loads..]) {
            let end = opening.on_s.map_or(f64::INFINITY, |on| on + response.over_s());
            edges.push(part(opening.off_s, end, false, -drop));
            edges.extend(opening.on_s.map(|on| part(on, end, true, *drop)));
        }
        for (at, size) in shape.loads.iter().zip(sizes) {
            edges.push(part(*at, f64::INFINITY, false, -size));
        }
        let mut columns: Vec<Column> =
            answer.iter().map(|raw| Column::white(&self.noise, 0, raw, t.len())).collect();
        columns.extend(edges);
        let mut design = self.design(shape)?;
        columns.into_iter().for_each(|column| design.push(column, &self.y));
        let mut normal = Normal::new(design, self.noise.sigma);
        let first = base + loads + self.given.len();
        for k in 0..response.0.len() {
            normal.know(first + k, EXPECTED[k] - response.0[k], PRIOR[k]);
        }
        Prior::of(self.given, shape).tell(&mut normal, first + response.0.len(), shape);
        Some(normal)
    }

    /// The drops at the best shape, and their spread about it.
    pub fn spread(&self, shape: &Shape) -> Option<(Vec<f64>, Spread)> {
        let mut design = self.design(shape)?;
        let solution = design.solve()?;
        let (best, _) = self.judged(shape, &solution);
        let count = best.len();
        let first = self.base.len() + shape.loads.len();
        let normal = self.normal(shape, &solution)?;
        let whole = normal.covariance(first, count)?;
        let of_noise = normal.leading(first + count).covariance(first, count)?;
        let of_shape = |i: usize, j: usize| whole[i][j] - of_noise[i][j];
        let pairs = (0..count).flat_map(|i| (0..count).map(move |j| (i, j)));
        let of_mean = pairs.map(|(i, j)| of_shape(i, j)).sum::<f64>() / (count * count) as f64;
        let mut spread = Spread {
            correction: vec![0.0; count],
            variance: (0..count).map(|k| of_shape(k, k).max(0.0)).collect(),
            of_mean: of_mean.max(0.0),
        };
        // Where an edge can lie far off, no curvature tells how far.
        let wide = |e: &usize| matches!(self.given[e / 2].known[e % 2], Known::Between(..));
        for edge in self.edges().filter(wide).collect::<Vec<usize>>() {
            let mut other = shape.clone();
            let weighed = self.steps(edge).into_iter().filter_map(|shift| {
                other.shifts[edge] = shift;
                self.weigh_edge(&mut design, &other, edge)
            });
            spread.add(&best, &weighed.collect::<Vec<_>>());
        }
        Some((best, spread))
    }
}

/// What is known beforehand of edges and loads.
struct Prior<'a> {
    given: &'a [Times],
    edges: Vec<usize>,
    marked: usize,
}

impl<'a> Prior<'a> {
    fn of(given: &'a [Times], shape: &Shape) -> Self {
        let there = |e: &usize| e.is_multiple_of(2) || given[e / 2].on_s.is_some();
        let edges: Vec<usize> = (0..shape.shifts.len()).filter(there).collect();
        let marked = edges.iter().filter(|e| given[**e / 2].known[**e % 2] == Known::Mark).count();
        Prior { given, edges, marked }
    }

    /// What a person's edges have in common takes this off the inverse of their covariance,
    /// everywhere.
    fn shared(&self) -> f64 {
        let (_, common, own) = LATE_S;
        1.0 / (own * own / (common * common) + self.marked as f64)
    }

    /// Squared distance of the edges from what is expected, in standard uncertainties. What the
    /// marks have in common, the lateness of the person, is integrated out.
    fn surprise(&self, shape: &Shape) -> f64 {
        let (late, _, own) = LATE_S;
        let (mut sum, mut squares, mut found) = (0.0, 0.0, 0.0);
        for edge in &self.edges {
            let shift = shape.shifts[*edge];
            match self.given[edge / 2].known[edge % 2] {
                Known::Mark => {
                    sum += shift + late;
                    squares += (shift + late).powi(2);
                }
                Known::Data => found += ((shift + FOUND_S.0) / FOUND_S.1).powi(2),
                Known::Between(..) => (),
            }
        }
        found + (squares - self.shared() * sum * sum) / (own * own)
    }

    /// The same for changes of the edges, which begin at `first`, and of the loads behind them.
    fn tell(&self, normal: &mut Normal, first: usize, shape: &Shape) {
        let (late, _, own) = LATE_S;
        let mut marked = Vec::with_capacity(self.marked);
        for (k, edge) in self.edges.iter().enumerate() {
            let shift = shape.shifts[*edge];
            match self.given[edge / 2].known[edge % 2] {
                Known::Mark => {
                    normal.know(first + k, -late - shift, own);
                    marked.push((first + k, -late - shift));
                }
                Known::Data => normal.know(first + k, -FOUND_S.0 - shift, FOUND_S.1),
                Known::Between(..) => normal.know(first + k, 0.0, PLACED_S),
            }
        }
        normal.share(&marked, self.shared() / (own * own));
        for k in 0..shape.loads.len() {
            normal.know(first + self.edges.len() + k, 0.0, PLACED_S);
        }
    }
}

/// Yule-Walker model of the order with the least corrected criterion of Akaike (Hurvich and Tsai
/// 1989, Biometrika 76:297; from memory).
fn noise_of(residuals: &[f64]) -> Option<Autoregression> {
    let n = residuals.len() as f64;
    let criterion = |model: &Autoregression| {
        let order = model.phi.len() as f64;
        2.0 * n * model.sigma.ln() + 2.0 * (order + 1.0) * n / (n - order - 2.0)
    };
    let models = ORDERS.iter().filter(|order| 6 * **order < residuals.len());
    models
        .filter_map(|order| Autoregression::fit(residuals, *order))
        .min_by(|a, b| criterion(a).total_cmp(&criterion(b)))
}

/// The response of an opening as a column of drops.
pub fn opening_column(data: &Data, response: &Response, opening: &Times) -> Vec<f64> {
    data.t.iter().map(|t| -response.at(*t, opening.off_s, opening.on_s)).collect()
}

/// The same for the loads.
pub fn load_columns(data: &Data, shape: &Shape) -> Vec<Vec<f64>> {
    let column = |load: &f64| {
        data.t.iter().map(|t| -shape.response.settled(t - load, false)).collect::<Vec<f64>>()
    };
    shape.loads.iter().map(column).collect()
}

/// The openings with their edges moved; even numbers are 'off', odd ones 'on'. None when an
/// opening would end before it begins, or begin before the last one ended.
pub fn shifted(openings: &[Times], shifts: &[f64]) -> Option<Vec<Times>> {
    let mut moved = openings.to_vec();
    let mut last = f64::NEG_INFINITY;
    for (opening, shift) in moved.iter_mut().zip(shifts.chunks_exact(2)) {
        opening.off_s += shift[0];
        opening.on_s = opening.on_s.map(|on| on + shift[1]);
        if opening.off_s < last || opening.on_s.is_some_and(|on| on < opening.off_s + LEAST_OFF_S) {
            return None;
        }
        last = opening.on_s.unwrap_or(f64::INFINITY);
    }
    Some(moved)
}
