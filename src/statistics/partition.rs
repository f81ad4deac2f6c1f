//! Optimal partition of a series whose noise is first-order autoregressive.
//!
//! Every segment is a stationary first-order autoregression about a level of its own. With the
//! correlation `rho` known, a segment that starts at `s` costs, in squares of the innovations,
//!
//! ```text
//! (1 - rho^2) (x[s] - m)^2 + sum over t > s of (x[t] - rho x[t-1] - (1 - rho) m)^2
//! ```
//!
//! at its best level `m`. Its first value is held to its own level only: the step itself costs
//! nothing, which makes a step in strongly correlated noise stand out where it is. The partition is
//! exact, by optimal partitioning (Jackson et al. 2005, IEEE Signal Processing Letters 12, 105) with
//! the functional pruning of Maidstone, Hocking, Rigaill and Fearnhead (2017, Statistics and
//! Computing 27, 519): the cost is kept as a function of the current level, the lower envelope of
//! one parabola for each start that can still win. There are about `ln n` of them, also where
//! nothing changes, which is where pruning by inequalities alone turns quadratic.
//!
//! A likelihood that ties the first value to the old level as well (Romano, Rigaill, Runge and
//! Fearnhead 2022, Journal of the American Statistical Association 117, 2147; from memory) keeps
//! some 20 to 700 parabolas at correlations of 0.5 to 0.95, up to a hundred times the work.

/// A piece of the envelope: `square (m - centre)^2 + least` from the level `from` to the start of
/// the next piece, for a segment that starts at `since`; `square` grows with its length alone.
#[derive(Debug, Clone, Copy)]
struct Piece {
    from: f64,
    square: f64,
    centre: f64,
    least: f64,
    since: u32,
}

impl Piece {
    fn at(&self, level: f64) -> f64 {
        let off = level - self.centre;
        self.square * off * off + self.least
    }

    /// Adds `(white - gain m)^2`; `share` is `1 / (square + gain^2)`.
    fn add(&mut self, white: f64, gain: f64, share: f64) {
        let miss = white - gain * self.centre;
        self.least += self.square * share * miss * miss;
        self.centre += gain * miss * share;
        self.square += gain * gain;
    }

    /// Levels between which this parabola lies on one side of `other`, and whether that is below it.
    /// One end may be infinite.
    fn against(&self, other: &Piece) -> (f64, f64, bool) {
        let off = other.centre - self.centre;
        let square = self.square - other.square;
        let linear = 2.0 * other.square * off;
        let constant = self.least - other.least - other.square * off * off;
        if square.abs() <= 1e-12 * self.square {
            let root = self.centre - constant / linear;
            return match linear {
                0.0 => (f64::NEG_INFINITY, f64::INFINITY, constant <= 0.0),
                rising if rising > 0.0 => (f64::NEG_INFINITY, root, true),
                _ => (root, f64::INFINITY, true),
            };
        }
        let discriminant = linear * linear - 4.0 * square * constant;
        if discriminant <= 0.0 {
            return (f64::NEG_INFINITY, f64::INFINITY, square < 0.0);
        }
        let half = -0.5 * (linear + discriminant.sqrt().copysign(linear));
        let (one, two) = (self.centre + half / square, self.centre + constant / half);
        (one.min(two), one.max(two), square > 0.0)
    }
}

/// The lower envelope while it is built, from the lowest level to the highest.
#[derive(Default)]
struct Envelope {
    pieces: Vec<Piece>,
    /// The lowest cost on it, and the start it belongs to.
    best: (f64, u32),
}

impl Envelope {
    fn clear(&mut self) {
        self.pieces.clear();
        self.best = (f64::INFINITY, 0);
    }

    /// Continues the envelope with `piece` between two levels.
    fn put(&mut self, from: f64, to: f64, piece: &Piece) {
        if from >= to {
            return;
        }
        if self.pieces.last().is_none_or(|last| last.since != piece.since) {
            self.pieces.push(Piece { from, ..*piece });
        }
        // Nowhere is it lower than at its centre.
        if piece.least < self.best.0 {
            let lowest = piece.at(piece.centre.clamp(from, to));
            if lowest < self.best.0 {
                self.best = (lowest, piece.since);
            }
        }
    }

    /// Continues the envelope up to the level `to` with the lower of two parabolas.
    fn put_lower(&mut self, piece: &Piece, fresh: &Piece, to: f64) {
        // Cheap, and so for most: the older parabola bends more, so that what lies below the fresh one at both
        // ends does so between them.
        let below_at = |level: f64| level.is_finite() && piece.at(level) <= fresh.at(level);
        if below_at(piece.from) && below_at(to) {
            return self.put(piece.from, to, piece);
        }
        let (low, high, below) = piece.against(fresh);
        let (low, high) = (low.clamp(piece.from, to), high.clamp(piece.from, to));
        let (inside, outside) = if below { (piece, fresh) } else { (fresh, piece) };
        self.put(piece.from, low, outside);
        self.put(low, high, inside);
        self.put(high, to, outside);
    }
}

/// Starts of the segments after the first in the partition of `x` with the least
/// `cost of the segments + penalty * changes` under noise of the lag-1 correlation `rho`.
///
/// Values must be finite, the penalty positive, the correlation at least 0 and below 1; otherwise
/// nothing is found.
pub fn partition(x: &[f64], rho: f64, penalty: f64) -> Vec<usize> {
    let fit = x.iter().all(|v| v.is_finite()) && penalty > 0.0 && (0.0..1.0).contains(&rho);
    let (Some(bottom), Some(top)) =
        (x.iter().copied().reduce(f64::min), x.iter().copied().reduce(f64::max))
    else {
        return Vec::new();
    };
    // Scaled to -1..1 about its middle, so that no square overflows and little cancels.
    let (middle, reach) = (0.5 * bottom + 0.5 * top, 0.5 * top - 0.5 * bottom);
    let penalty = penalty / reach / reach;
    // A whitened value is at most 2, and one level for all costs no more than the level 0.
    if !fit || reach <= 0.0 || penalty > 4.0 * x.len() as f64 {
        return Vec::new();
    }
    backtrack(&last_starts(x, rho, penalty.max(f64::MIN_POSITIVE), |v| (v - middle) / reach))
}

/// For every end the start of the last segment of the best partition up to there.
fn last_starts(x: &[f64], rho: f64, penalty: f64, scaled: impl Fn(f64) -> f64) -> Vec<u32> {
    let (gain, first_weight) = (1.0 - rho, 1.0 - rho * rho);
    let mut starts = Vec::with_capacity(x.len());
    let (mut now, mut next) = (Envelope::default(), Envelope::default());
    let mut before = 0.0;
    // One division for each length of a segment, rather than one for each piece and value.
    let (mut shares, mut square) = (Vec::with_capacity(x.len()), first_weight);
    for (t, value) in x.iter().enumerate() {
        let value = scaled(*value);
        square += gain * gain;
        shares.push(1.0 / square);
        let fresh = |least| Piece {
            from: f64::NEG_INFINITY,
            square: first_weight,
            centre: value,
            least,
            since: t as u32,
        };
        next.clear();
        if t == 0 {
            next.put(f64::NEG_INFINITY, f64::INFINITY, &fresh(0.0));
        } else {
            let white = value - rho * before;
            let fresh = fresh(now.best.0 + penalty);
            for k in 0..now.pieces.len() {
                let to = now.pieces.get(k + 1).map_or(f64::INFINITY, |piece| piece.from);
                let mut piece = now.pieces[k];
                piece.add(white, gain, shares[t - 1 - piece.since as usize]);
                next.put_lower(&piece, &fresh, to);
            }
        }
        starts.push(next.best.1);
        std::mem::swap(&mut now, &mut next);
        before = value;
    }
    starts
}

fn backtrack(last_starts: &[u32]) -> Vec<usize> {
    let mut starts = Vec::new();
    let mut end = last_starts.len();
    while end > 0 {
        let start = last_starts[end - 1] as usize;
        if start > 0 {
            starts.push(start);
        }
        end = start;
    }
    starts.reverse();
    starts
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};

    /// Cost of one segment, from its normal equation.
    fn cost(x: &[f64], rho: f64) -> f64 {
        let mut terms = vec![((1.0 - rho * rho).sqrt(), (1.0 - rho * rho).sqrt() * x[0])];
        terms.extend(x.windows(2).map(|w| (1.0 - rho, w[1] - rho * w[0])));
        let product: f64 = terms.iter().map(|(gain, value)| gain * value).sum();
        let level = product / terms.iter().map(|(gain, _)| gain * gain).sum::<f64>();
        terms.iter().map(|(gain, value)| (value - gain * level).powi(2)).sum()
    }

    fn total(x: &[f64], rho: f64, starts: &[usize], penalty: f64) -> f64 {
        let mut edges = vec![0];
        edges.extend_from_slice(starts);
        edges.push(x.len());
        let costs: f64 = edges.windows(2).map(|w| cost(&x[w[0]..w[1]], rho)).sum();
        costs + penalty * starts.len() as f64
    }

    #[test]
    fn equals_brute_force_on_short_series() {
        let mut random = rand_pcg::Pcg64::seed_from_u64(11);
        for round in 0..10_000 {
            let n = random.random_range(1..=12);
            let rho = [0.0, 0.0, 0.3, 0.6, 0.9, 0.98][round % 6];
            let x: Vec<f64> = (0..n).map(|_| random.random_range(-5..=5) as f64 * 0.7).collect();
            let penalty = random.random_range(0.1..30.0);
            // Costs of all segments first: the sums over 2^(n-1) partitions are then quick.
            let segment: Vec<Vec<f64>> =
                (0..n).map(|s| (s + 1..=n).map(|e| cost(&x[s..e], rho)).collect()).collect();
            let best = (0..1u32 << (n - 1))
                .map(|mask| {
                    let (mut sum, mut start) = (0.0, 0);
                    for end in (1..n).filter(|i| mask >> (i - 1) & 1 == 1) {
                        sum += segment[start][end - start - 1] + penalty;
                        start = end;
                    }
                    sum + segment[start][n - start - 1]
                })
                .fold(f64::INFINITY, f64::min);
            let found = total(&x, rho, &partition(&x, rho, penalty), penalty);
            assert!((found - best).abs() < 1e-9 * (1.0 + best), "{x:?} {rho} {penalty}");
        }
    }

    #[test]
    fn nothing_panics_on_extreme_values() {
        let extremes = [f64::MAX, -f64::MAX, 0.0, f64::MIN_POSITIVE, 1e-300, 1e300, 1.0];
        let mut random = rand_pcg::Pcg64::seed_from_u64(3);
        for _ in 0..2000 {
            let x: Vec<f64> = (0..20).map(|_| extremes[random.random_range(0..7)]).collect();
            let penalty = extremes[random.random_range(0..7)];
            let found = partition(&x, [0.0, 0.5, 0.98][random.random_range(0..3)], penalty);
            assert!(found.windows(2).all(|w| w[0] < w[1]));
        }
        assert!(partition(&[1.0, 2.0], 0.0, f64::NAN).is_empty());
        assert!(partition(&[1.0, 9.0], 1.0, 1.0).is_empty());
    }
}
