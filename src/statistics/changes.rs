//! Change points of a series whose noise is correlated.
//!
//! [`partition`] is optimal partitioning for the sum of squares (Jackson et al. 2005) with the
//! functional pruning of Maidstone, Hocking, Rigaill and Fearnhead (2017, Statistics and
//! Computing 27, 519): exact, and fast where nothing changes, which is where pruning by
//! inequalities alone turns quadratic.
//!
//! [`changes`] first whitens the series with a lag-1 coefficient estimated from differences, so
//! that the steps themselves do not bias it (Chakar, Lebarbier, Levy-Leduc and Robin 2017,
//! Bernoulli 23, 1408). Without it nearly every hunting idle would get false changes.

/// First-order autoregressive noise, as seen through differences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Lag-1 correlation.
    pub rho: f64,
    /// Standard deviation of the innovations.
    pub sigma: f64,
}

/// Scale factor from a median absolute value to a standard deviation of normal noise.
const MEDIAN_TO_SIGMA: f64 = 1.482_602_218_505_602;

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
/// With `a_k` the median of `|x[t+k] - x[t]|`, the coefficient is `(a_2/a_1)^2 - 1`. A series that
/// repeats most of its values has no scale of this kind and gives `sigma` 0.
pub fn noise(x: &[f64]) -> Noise {
    let lag = |k: usize| median_abs(x.windows(k + 1).map(|w| (w[k] - w[0]).abs()).collect());
    let (one, two) = (lag(1), lag(2));
    if one <= 0.0 {
        return Noise { rho: 0.0, sigma: 0.0 };
    }
    let rho = ((two / one).powi(2) - 1.0).clamp(-0.5, 0.98);
    let white = whiten(x, rho);
    let difference = median_abs(white.windows(2).map(|w| (w[1] - w[0]).abs()).collect());
    Noise { rho, sigma: MEDIAN_TO_SIGMA * difference / std::f64::consts::SQRT_2 }
}

/// `x[t] - rho x[t-1]`; the first value is scaled so that its expectation fits the rest.
fn whiten(x: &[f64], rho: f64) -> Vec<f64> {
    let mut white = Vec::with_capacity(x.len());
    white.extend(x.first().map(|first| first * (1.0 - rho)));
    white.extend(x.windows(2).map(|w| w[1] - rho * w[0]));
    white
}

/// A piece of the cost as a function of the level: `square m^2 + linear m + constant` on
/// `low..high`, reached with the last change at `since`.
#[derive(Debug, Clone, Copy)]
struct Piece {
    low: f64,
    high: f64,
    square: f64,
    linear: f64,
    constant: f64,
    since: usize,
}

impl Piece {
    fn minimum(&self) -> f64 {
        let level = if self.square > 0.0 { -0.5 * self.linear / self.square } else { self.low };
        let level = level.clamp(self.low, self.high);
        (self.square * level + self.linear) * level + self.constant
    }

    fn add(&mut self, value: f64) {
        self.square += 1.0;
        self.linear -= 2.0 * value;
        self.constant += value * value;
    }

    /// Where the piece lies at or below `limit`: an interval, or nothing.
    fn below(&self, limit: f64) -> Option<(f64, f64)> {
        let discriminant = self.linear * self.linear - 4.0 * self.square * (self.constant - limit);
        if discriminant < 0.0 {
            return None;
        }
        let root = discriminant.sqrt();
        let low = ((-self.linear - root) / (2.0 * self.square)).max(self.low);
        let high = ((-self.linear + root) / (2.0 * self.square)).min(self.high);
        (low < high).then_some((low, high))
    }
}

/// Starts of the segments after the first in the partition of `x` that minimises
/// `sum of squares within segments + penalty * changes`.
///
/// Values must be finite and the penalty positive; otherwise nothing is found.
///
/// ```
/// use evenbreath::statistics::changes::partition;
/// assert_eq!(partition(&[1.0, 1.1, 0.9, 5.0, 5.1, 4.9], 1.0), vec![3]);
/// ```
pub fn partition(x: &[f64], penalty: f64) -> Vec<usize> {
    if x.iter().any(|v| !v.is_finite()) || penalty.is_nan() || penalty <= 0.0 {
        return Vec::new();
    }
    let (Some(bottom), Some(top)) =
        (x.iter().copied().reduce(f64::min), x.iter().copied().reduce(f64::max))
    else {
        return Vec::new();
    };
    // Centred values keep the coefficients small, or 10^4 samples of 850 rev/min cancel badly.
    let centre = 0.5 * (bottom + top);
    if bottom == top {
        return Vec::new();
    }
    // A margin keeps the lowest and the highest level inside a piece of finite width.
    let reach = 0.51 * (top - bottom);
    let (low, high) = (-reach, reach);
    let mut pieces = vec![Piece { low, high, square: 0.0, linear: 0.0, constant: 0.0, since: 0 }];
    let mut next = Vec::with_capacity(16);
    let mut last_change = Vec::with_capacity(x.len());
    for (t, value) in x.iter().enumerate() {
        pieces.iter_mut().for_each(|piece| piece.add(value - centre));
        let (best, since) = pieces
            .iter()
            .map(|piece| (piece.minimum(), piece.since))
            .fold((f64::INFINITY, 0), |a, b| if b.0 < a.0 { b } else { a });
        last_change.push(since);
        restart(&pieces, &mut next, best + penalty, t + 1, (low, high));
        std::mem::swap(&mut pieces, &mut next);
    }
    backtrack(&last_change)
}

/// Keeps of `pieces` what lies below `limit` and fills the rest with a fresh segment from `since`.
fn restart(
    pieces: &[Piece],
    next: &mut Vec<Piece>,
    limit: f64,
    since: usize,
    (low, high): (f64, f64),
) {
    let fresh =
        |from, to| Piece { low: from, high: to, square: 0.0, linear: 0.0, constant: limit, since };
    next.clear();
    let mut covered = low;
    for piece in pieces {
        if let Some((from, to)) = piece.below(limit) {
            if from > covered {
                next.push(fresh(covered, from));
            }
            next.push(Piece { low: from, high: to, ..*piece });
            covered = to;
        }
    }
    if covered < high || next.is_empty() {
        next.push(fresh(covered, high));
    }
}

fn backtrack(last_change: &[usize]) -> Vec<usize> {
    let mut starts = Vec::new();
    let mut end = last_change.len();
    while end > 0 {
        let start = last_change[end - 1];
        if start > 0 {
            starts.push(start);
        }
        end = start;
    }
    starts.reverse();
    starts
}

/// Lag-1 correlation and innovation scale of `x` about the means of its segments.
///
/// The correlation of residuals is low by about `(1 + 3 rho)/n` a segment (Kendall 1954, Biometrika
/// 41, 403); that is given back.
fn noise_about(x: &[f64], starts: &[usize]) -> Noise {
    let n = x.len() as f64;
    let mut residual = Vec::with_capacity(x.len());
    for segment in segments(x.len(), starts) {
        let values = &x[segment];
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        residual.extend(values.iter().map(|v| v - mean));
    }
    let square: f64 = residual.iter().map(|r| r * r).sum();
    if square <= 0.0 {
        return Noise { rho: 0.0, sigma: 0.0 };
    }
    let product: f64 = residual.windows(2).map(|w| w[0] * w[1]).sum();
    let levels = (starts.len() + 1) as f64;
    let raw = product / square;
    let rho = (raw + (1.0 + 3.0 * raw) * levels / n).clamp(-0.5, 0.98);
    let white = whiten(&residual, rho);
    let free = (n - 2.0 * levels).max(1.0);
    Noise { rho, sigma: (white.iter().map(|e| e * e).sum::<f64>() / free).sqrt() }
}

fn segments(n: usize, starts: &[usize]) -> impl Iterator<Item = std::ops::Range<usize>> + '_ {
    let from = std::iter::once(0).chain(starts.iter().copied());
    let to = starts.iter().copied().chain(std::iter::once(n));
    from.zip(to).map(|(from, to)| from..to)
}

fn partition_white(x: &[f64], noise: Noise, stiffness: f64) -> Vec<usize> {
    let n = x.len() as f64;
    let penalty = stiffness * 2.0 * n.ln() * noise.sigma * noise.sigma;
    partition(&whiten(x, noise.rho), penalty)
}

/// Starts of the segments after the first in a series with correlated noise.
///
/// The penalty is `2 ln n` innovation variances (the Bayesian information criterion for a change of
/// mean: one level and one place a change), a little stiffer in short series because the noise
/// itself is estimated from them. Noise first comes from differences, then from the residuals
/// about the levels found, again and again while changes fall away: a false change hides
/// correlation, and the correlation found without it does away with the next.
pub fn changes(x: &[f64]) -> Vec<usize> {
    if x.len() < 8 || x.iter().any(|v| !v.is_finite()) {
        return Vec::new();
    }
    let first = noise(x);
    if first.sigma <= 0.0 {
        return Vec::new();
    }
    let stiffness = 1.0 + 2.0 / (x.len() as f64).sqrt();
    let mut found = partition_white(x, first, stiffness);
    while !found.is_empty() {
        let again = partition_white(x, noise_about(x, &found), stiffness);
        if again.len() >= found.len() {
            break;
        }
        found = again;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::StandardNormal;

    fn cost(x: &[f64]) -> f64 {
        let mean = x.iter().sum::<f64>() / x.len() as f64;
        x.iter().map(|v| (v - mean).powi(2)).sum()
    }

    fn total(x: &[f64], starts: &[usize], penalty: f64) -> f64 {
        let mut edges = vec![0];
        edges.extend_from_slice(starts);
        edges.push(x.len());
        edges.windows(2).map(|w| cost(&x[w[0]..w[1]])).sum::<f64>() + penalty * starts.len() as f64
    }

    #[test]
    fn equals_brute_force_on_short_series() {
        let mut random = rand_pcg::Pcg64::seed_from_u64(11);
        for _ in 0..10_000 {
            let n = random.random_range(1..=12);
            let x: Vec<f64> = (0..n).map(|_| random.random_range(-5..=5) as f64 * 0.7).collect();
            let penalty = random.random_range(0.1..30.0);
            let best = (0..1u32 << (n - 1))
                .map(|mask| {
                    let starts: Vec<usize> = (1..n).filter(|i| mask >> (i - 1) & 1 == 1).collect();
                    total(&x, &starts, penalty)
                })
                .fold(f64::INFINITY, f64::min);
            let found = total(&x, &partition(&x, penalty), penalty);
            assert!((found - best).abs() < 1e-9 * (1.0 + best), "{x:?} {penalty}: {found} {best}");
        }
    }

    fn ar1(random: &mut rand_pcg::Pcg64, n: usize, r: f64) -> Vec<f64> {
        let mut last: f64 = random.sample(StandardNormal);
        (0..n)
            .map(|_| {
                let e: f64 = random.sample(StandardNormal);
                last = r * last + (1.0 - r * r).sqrt() * e;
                last
            })
            .collect()
    }

    #[test]
    fn flat_correlated_series_seldom_get_a_change_and_steps_are_found() {
        for (r, false_limit, power) in [(0.0, 10, 194), (0.5, 10, 185), (0.8, 10, 165)] {
            let mut random = rand_pcg::Pcg64::seed_from_u64(5);
            let mut false_alarms = 0;
            let mut found = 0;
            for _ in 0..200 {
                let mut x = ar1(&mut random, 400, r);
                false_alarms += usize::from(!changes(&x).is_empty());
                x[200..].iter_mut().for_each(|v| *v += 4.0);
                found += usize::from(changes(&x).iter().any(|c| c.abs_diff(200) <= 4));
            }
            println!("r {r}: false {false_alarms} of 200, 4-sigma step found {found} of 200");
            assert!(false_alarms <= false_limit, "r {r}: {false_alarms} false");
            assert!(found >= power, "r {r}: {found} found");
        }
    }

    #[test]
    fn nothing_is_found_where_nothing_can_be() {
        assert!(partition(&[], 1.0).is_empty());
        assert!(partition(&[1.0, f64::NAN, 2.0], 1.0).is_empty());
        assert!(changes(&[3.0; 100]).is_empty());
        assert!(partition(&[3.0; 100], 1.0).is_empty());
    }
}
