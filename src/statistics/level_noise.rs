//! What noise a series has about levels that change: seen through differences, about the levels
//! found, and with white noise on top.

use super::summary::MAD_TO_SD;

/// First-order autoregressive noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Lag-1 correlation.
    pub rho: f64,
    /// Standard deviation of the innovations.
    pub sigma: f64,
}

/// Highest correlation that is told from a random walk.
const MOST_RHO: f64 = 0.98;

fn median_abs(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    let (_, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    *median
}

/// Lag-1 correlation and innovation scale of `x`, both robust against steps.
///
/// With `a_k` the median of `|x[t+k] - x[t]|`, the coefficient is `(a_2/a_1)^2 - 1`: estimated from
/// differences, so that the steps do not bias it (the idea of Chakar, Lebarbier, Levy-Leduc and
/// Robin 2017, Bernoulli 23, 1408). A series that repeats most of its values has no scale of this
/// kind and gives `sigma` 0.
pub fn noise(x: &[f64]) -> Noise {
    let lag = |k: usize| median_abs(x.windows(k + 1).map(|w| (w[k] - w[0]).abs()).collect());
    let (one, two) = (lag(1), lag(2));
    if one <= 0.0 {
        return Noise { rho: 0.0, sigma: 0.0 };
    }
    let rho = ((two / one).powi(2) - 1.0).clamp(-0.5, MOST_RHO);
    let apart = |w: &[f64]| (w[2] - rho * w[1] - (w[1] - rho * w[0])).abs();
    let difference = median_abs(x.windows(3).map(apart).collect());
    Noise { rho, sigma: MAD_TO_SD * difference / std::f64::consts::SQRT_2 }
}

/// Edges of the segments: 0, the starts, the length.
fn edges(n: usize, starts: &[usize]) -> Vec<usize> {
    let mut edges = Vec::with_capacity(starts.len() + 2);
    edges.push(0);
    edges.extend_from_slice(starts);
    edges.push(n);
    edges
}

/// The series less the means of its segments.
fn residual(x: &[f64], edges: &[usize]) -> Vec<f64> {
    let mut residual = Vec::with_capacity(x.len());
    for edge in edges.windows(2) {
        let values = &x[edge[0]..edge[1]];
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        residual.extend(values.iter().map(|v| v - mean));
    }
    residual
}

/// Noise of `x` about the means of the segments that start at 0 and at `starts`; neighbours on
/// two sides of a step are not compared. The correlation is at least 0, as alternating noise only
/// makes levels easier to tell.
///
/// The correlation of residuals is low by about `(1 + 3 rho)/n` a segment (Kendall 1954, Biometrika
/// 41, 403); that is given back.
pub(super) fn about(x: &[f64], starts: &[usize]) -> Noise {
    let edges = edges(x.len(), starts);
    let residual = residual(x, &edges);
    let (n, levels) = (x.len() as f64, (starts.len() + 1) as f64);
    let segments = || edges.windows(2).map(|edge| &residual[edge[0]..edge[1]]);
    let (mut product, mut square) = (0.0, 0.0);
    for pair in segments().flat_map(|values| values.windows(2)) {
        product += pair[0] * pair[1];
        square += 0.5 * (pair[0] * pair[0] + pair[1] * pair[1]);
    }
    let raw = if square > 0.0 { product / square } else { 0.0 };
    let rho = (raw + (1.0 + 3.0 * raw) * levels / n).clamp(0.0, MOST_RHO);
    let mut innovations = 0.0;
    for values in segments() {
        innovations += (1.0 - rho * rho) * values[0] * values[0];
        innovations += values.windows(2).map(|w| (w[1] - rho * w[0]).powi(2)).sum::<f64>();
    }
    Noise { rho, sigma: (innovations / (n - levels - 1.0).max(1.0)).sqrt() }
}

/// First-order noise with white noise on top, fitted to the residuals of a series: as one model the
/// first-order autoregression with moving average `e[t] = r[t] - phi r[t-1] + theta e[t-1]`,
/// `0 <= theta <= phi` (Granger and Morris 1976, Journal of the Royal Statistical Society A 139,
/// 246; from memory).
#[derive(Debug, Clone, Copy)]
pub(super) struct Mixed {
    /// Twice the negative logarithm of the likelihood, up to a constant.
    pub score: f64,
    /// Variance of a mean of many values, times their number.
    pub long_run: f64,
}

/// Models tried at a time.
const LANES: usize = 8;
/// Correlations tried first: `1 - LEAST_FALL * FALL_STEP^k`.
const LEAST_FALL: f64 = 0.0075;
const FALL_STEP: f64 = 1.8;
const FALLS: i32 = 9;
/// Values of `theta/phi` tried first.
const SHARES: i32 = 8;
/// Rounds of search about the best so far.
const ROUNDS: usize = 12;

/// One model, its score and its sum of squares.
#[derive(Clone, Copy)]
struct Tried {
    score: f64,
    phi: f64,
    theta: f64,
    squares: f64,
}

/// Fits [`Mixed`] about the means of the segments. The sum of squares is conditional on the start.
pub(super) fn mixed(x: &[f64], starts: &[usize]) -> Mixed {
    let residual = residual(x, &edges(x.len(), starts));
    let mut grid = vec![(0.0, 0.0)];
    for k in 0..FALLS {
        let phi: f64 = 1.0 - LEAST_FALL * FALL_STEP.powi(k);
        grid.extend((0..SHARES).map(|j| (phi, phi * f64::from(j) / f64::from(SHARES))));
    }
    let mut best = Tried { score: f64::INFINITY, phi: 0.0, theta: 0.0, squares: 0.0 };
    for some in grid.chunks(LANES) {
        best = better(&residual, some, best);
    }
    let (mut phi_step, mut theta_step) = (0.3 * (1.0 - best.phi), 0.06);
    for _ in 0..ROUNDS {
        let about = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)];
        let near = about.map(|(a, b)| {
            let phi = (best.phi + f64::from(a) * phi_step).clamp(0.0, 0.995);
            (phi, (best.theta + f64::from(b) * theta_step).clamp(0.0, phi))
        });
        let found = better(&residual, &near, best);
        if found.score >= best.score {
            (phi_step, theta_step) = (0.5 * phi_step, 0.5 * theta_step);
        }
        best = found;
    }
    let innovation = best.squares / x.len() as f64;
    let gain = (1.0 - best.theta) / (1.0 - best.phi);
    Mixed { score: best.score, long_run: innovation * gain * gain }
}

/// The best of some models and the best so far.
fn better(residual: &[f64], some: &[(f64, f64)], mut best: Tried) -> Tried {
    let n = residual.len() as f64;
    let mut models = [some[0]; LANES];
    models[..some.len()].copy_from_slice(some);
    // The variance of the series in innovation variances: what the first value is held to.
    let spread =
        models.map(|(phi, theta)| (1.0 - 2.0 * phi * theta + theta * theta) / (1.0 - phi * phi));
    let mut errors = spread.map(|spread| residual[0] / spread.sqrt());
    let mut squares = errors.map(|e| e * e);
    for pair in residual.windows(2) {
        for lane in 0..LANES {
            let (phi, theta) = models[lane];
            errors[lane] = pair[1] - phi * pair[0] + theta * errors[lane];
            squares[lane] += errors[lane] * errors[lane];
        }
    }
    for lane in 0..some.len() {
        let score = n * (squares[lane] / n).ln() + spread[lane].ln();
        if score < best.score {
            let (phi, theta) = models[lane];
            best = Tried { score, phi, theta, squares: squares[lane] };
        }
    }
    best
}
