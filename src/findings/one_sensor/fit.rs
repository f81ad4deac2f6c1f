//! The fit over all pieces of one speed: a drift that both sides share, and what parts them.

use super::Seen;
use super::pieces::Group;
use crate::findings::balance::LEVEL;
use crate::statistics::correlated::{self, Estimate, Fit};
use crate::statistics::student;

/// The noise is read from waves of this period and longer, s: an idle hunts with a period of two to
/// three seconds, and a stretch is longer than either.
const LEAST_PERIOD_S: f64 = 4.0;
/// Fewest coefficients of the noise beyond those that the fit uses up.
const LEAST_DOF: usize = 8;

/// A fitted vacuum with its 95 % interval, as the sensor reads it: its zero is in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Log time, s.
    pub at_s: f64,
    /// Lower end, kPa.
    pub low_kpa: f64,
    /// Fitted vacuum, kPa.
    pub value_kpa: f64,
    /// Upper end, kPa.
    pub high_kpa: f64,
}

/// The fit of a group.
pub(super) struct Fitted {
    fit: Fit,
    /// Powers of the drift.
    bends: i32,
    from_s: f64,
    to_s: f64,
}

/// +1/2 on side 1, -1/2 on side 2.
fn sign(side1: bool) -> f64 {
    if side1 { 0.5 } else { -0.5 }
}

impl Fitted {
    /// Of pieces that last `time_s` together; `None` where they are too few or too short.
    pub fn new(seen: &Seen, group: &Group, time_s: f64) -> Option<Fitted> {
        let (mut sides, mut y, mut at_s) = (Vec::new(), Vec::new(), Vec::new());
        for (piece, k) in group.pieces.iter().flat_map(|p| p.blocks.iter().map(move |k| (p, *k))) {
            sides.push(sign(piece.side1));
            y.push(seen.averages()[k]);
            at_s.push(seen.signal.cycles.middle_s(k));
        }
        let (from_s, to_s) = (*at_s.first()?, *at_s.last()?);
        // A polynomial that turns less often than the sides do cannot pass for them.
        let bends = group.changes().div_ceil(2).clamp(2, 4) as i32;
        let drift = |power| at_s.iter().map(|t| along(*t, from_s, to_s).powi(power)).collect();
        let mut columns: Vec<Vec<f64>> = (0..=bends).map(drift).collect();
        columns.push(sides);
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let least = columns.len() + LEAST_DOF;
        let band = ((2.0 * time_s / LEAST_PERIOD_S) as usize).max(least).min(y.len() - 1);
        if band < least {
            return None;
        }
        let fit = correlated::fit_in_band(&y, &columns, band).ok()?;
        Some(Fitted { fit, bends, from_s, to_s })
    }

    /// Vacuum 1 less vacuum 2, kPa.
    pub fn difference(&self) -> Option<Estimate> {
        let effect = self.fit.coefficient(self.bends as usize + 1)?;
        (effect.value.is_finite() && student::coverage_factor(LEVEL, effect.dof).is_some())
            .then_some(effect)
    }

    /// The vacuum of a side at a log time within the fit.
    pub fn level(&self, side1: bool, at_s: f64) -> Option<Level> {
        let along = along(at_s, self.from_s, self.to_s);
        let drift = (0..=self.bends).map(|power| along.powi(power));
        let contrast: Vec<f64> = drift.chain([sign(side1)]).collect();
        let level = self.fit.estimate(&contrast)?;
        let (low_kpa, high_kpa) = level.interval(LEVEL)?;
        Some(Level { at_s, low_kpa, value_kpa: level.value, high_kpa })
    }
}

/// -1 at the start of the fit, 1 at its end: powers of it stay apart.
fn along(at_s: f64, from_s: f64, to_s: f64) -> f64 {
    2.0 * (at_s - from_s) / (to_s - from_s) - 1.0
}
