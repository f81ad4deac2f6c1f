//! Loads that come or go beside the cap: a fan, a lamp, an alternator.
//!
//! A step of the speed that no opening explains moves baselines and drops alike. It is looked for
//! all along the log, but not beside an edge of the cap, where nobody could part the two; what
//! stands out is fitted with the openings, and what might be one is an uncertainty.

use super::cap_search::{Search, Shape, Spread, shifted};

/// A load keeps this far from the edges of the cap and from the ends of the log, s.
const APART_S: f64 = 2.0;
/// Steps in which loads are looked for, s.
const STEP_S: f64 = 0.5;
/// Most loads in a test.
const MOST: usize = 4;
/// What a load has to take off the sum of squares, in variances of the noise, for its existence
/// (odds of one test in seven) ...
const EXISTS: f64 = 4.0;
/// ... and for each place where it might be, in twice the logarithm of their number.
const PLACE: f64 = 2.0;

/// A load that might be there.
struct Candidate {
    at: f64,
    drops: Vec<f64>,
    /// Twice the logarithm of the odds for it.
    odds: f64,
}

impl Search<'_> {
    /// The load that stands out most.
    fn candidate(&self, shape: &Shape) -> Option<Candidate> {
        let mut design = self.design(shape)?;
        let (_, without) = self.judged(shape, &design.solve()?);
        let openings = shifted(self.given, &shape.shifts)?;
        let (first, last) = (*self.data.t.first()?, *self.data.t.last()?);
        let edges: Vec<f64> = openings
            .iter()
            .flat_map(|o| [Some(o.off_s), o.on_s])
            .flatten()
            .chain(shape.loads.iter().copied())
            .chain([first, last])
            .collect();
        let places: Vec<f64> = (0..((last - first) / STEP_S) as u32)
            .map(|k| first + f64::from(k) * STEP_S)
            .filter(|t| edges.iter().all(|edge| (t - edge).abs() >= APART_S))
            .collect();
        let demanded = EXISTS + PLACE * (places.len().max(1) as f64).ln();
        let weighed = places.into_iter().filter_map(|at| {
            let column = self.load_column(&shape.response, at);
            let mut solution = design.and(column, &self.y)?;
            solution.coefficients.pop();
            let (drops, cost) = self.judged(shape, &solution);
            Some(Candidate { at, drops, odds: without - cost - demanded })
        });
        weighed.max_by(|a, b| a.odds.total_cmp(&b.odds))
    }

    /// The next load that stands out of the noise.
    pub fn load(&self, shape: &Shape) -> Option<f64> {
        if shape.loads.len() >= MOST {
            return None;
        }
        self.candidate(shape).filter(|c| c.odds > 0.0).map(|c| c.at)
    }

    /// What a load that might be there does to the drops, as an uncertainty.
    pub fn perhaps_a_load(&self, shape: &Shape, best: &[f64], spread: &mut Spread) {
        if let Some(candidate) = self.candidate(shape) {
            spread.add(best, &[(best.to_vec(), 0.0), (candidate.drops, -candidate.odds)]);
        }
    }
}
