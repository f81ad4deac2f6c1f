//! The size of a leak, from a drilled jet of known diameter on the same engine.
//!
//! The jet's area and the leak's add the same way to the area by which the tracts draw
//! (`hunt::channels`), at every pressure ratio and mixture, so that
//!
//! `d = d_jet sqrt(effect / effect_jet)`.
//!
//! Its interval comes from the distributions of all that enters (`statistics::propagation`): the noise
//! of both effects, and the limits of jet, discharge, burnt gas and sensors, which make up most of it.

use super::Conditions;
use super::balance::LEVEL;
use super::hunt::effects::Effect;
use crate::statistics::propagation::{self, Error};
use serde::Serialize;

/// Limit of a jet's own diameter, mm: drilled by hand, or a stamped size (common practice, no
/// published source).
const JET_LIMIT_MM: f64 = 0.05;
/// Limit by which a torn hose, a hole or a gap discharges otherwise than a drilled jet of the same
/// area, as a fraction (common practice, no published source).
const DISCHARGE_LIMIT: f64 = 0.10;

/// What an effect of the jet and of a suspect are with as little and with as much burnt gas as there
/// may be, in the unit of the effect.
pub type Ends = [f64; 2];

/// The known jet.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownJet {
    /// Diameter, mm.
    pub mm: f64,
    /// Open less closed, rev/min times kPa.
    pub effect: Effect,
    /// The same with the least and the most burnt gas.
    pub ends: Ends,
}

/// What the uncertainty of a diameter consists of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HoleRow {
    /// What contributes.
    pub name: &'static str,
    /// Contribution to the standard uncertainty, per cent of the diameter.
    pub u_percent: f64,
}

/// Diameter of the round hole that leaks as much.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hole {
    /// Diameter, mm.
    pub mm: f64,
    /// Lower end, mm; 0 where it may be none.
    pub low_mm: f64,
    /// Upper end, mm.
    pub high_mm: f64,
    /// What the uncertainty consists of.
    pub budget: Vec<HoleRow>,
}

impl KnownJet {
    /// Whether the jet shows beyond doubt: nothing can be measured by one that does not.
    pub fn shows(&self) -> bool {
        let low = self.effect.budget.interval(self.effect.value, LEVEL).map(|(low, _)| low);
        self.effect.value > 0.0 && low.is_some_and(|low| low > 0.0)
    }

    /// Effect of a hole of this diameter, mm, in the unit of the jet's.
    pub fn effect_of(&self, mm: f64) -> f64 {
        self.effect.value * (mm / self.mm).powi(2)
    }

    /// The hole whose sealing takes `sealed` away (positive for a leak), which is `ends` with the
    /// least and the most burnt gas. `None` where the jet does not bound it.
    pub fn hole(&self, sealed: &Effect, ends: Ends, conditions: &Conditions) -> Option<Hole> {
        let (e, j) = (sealed.value, self.effect.value);
        let (ue, uj) = (sealed.budget.u, self.effect.budget.u);
        let ratio = e / j;
        let sides = [ends[0] / self.ends[0], ends[1] / self.ends[1]];
        // The burnt gas moves what little a tight suspect shows by little.
        let burnt = 0.5 * (sides[1] - sides[0]).abs();
        let gain = conditions.sensor_gain_limit;
        let errors = [
            Error::Scattered { u: ue, dof: sealed.budget.dof },
            Error::Scattered { u: uj, dof: self.effect.budget.dof },
            Error::Within(burnt),
            Error::Within(JET_LIMIT_MM / self.mm),
            Error::Within(DISCHARGE_LIMIT),
            Error::Within(gain),
            Error::Within(gain),
        ];
        let diameter = |errors: &[f64]| {
            let [leak, known, burnt, jet, discharge, one, two] = *errors else { return f64::NAN };
            let drawn = j + known;
            // A jet that does nothing bounds no hole.
            if drawn <= 0.0 {
                return f64::INFINITY;
            }
            let area = ((e + leak) / drawn + burnt) * (1.0 + one + two) / (1.0 + discharge);
            self.mm * (1.0 + jet) * area.max(0.0).sqrt()
        };
        let (low_mm, high_mm) = propagation::interval(&errors, LEVEL, diameter)?;
        if !ratio.is_finite() || !high_mm.is_finite() {
            return None;
        }
        // Relative standard uncertainties of the area.
        let of_limit = 1.0 / 3f64.sqrt();
        let names = [
            ("effect of the leak", ue / e),
            ("effect of the jet", uj / j),
            ("burnt gas", of_limit * burnt / ratio),
            ("diameter of the jet", of_limit * 2.0 * JET_LIMIT_MM / self.mm),
            ("discharge of leak and jet", of_limit * DISCHARGE_LIMIT),
            ("gain of the two sensors", of_limit * 2f64.sqrt() * gain),
        ];
        let row = |(name, u): (&'static str, f64)| HoleRow { name, u_percent: 50.0 * u.abs() };
        Some(Hole {
            mm: self.mm * ratio.max(0.0).sqrt(),
            low_mm,
            high_mm,
            budget: names.into_iter().map(row).collect(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::uncertainty::{Budget, Component};

    fn effect(value: f64, u: f64) -> Effect {
        let budget = Budget::new(vec![Component::new("noise", u, f64::INFINITY)]).unwrap();
        Effect { value, budget, trials: 2 }
    }

    fn jet(value: f64, u: f64) -> KnownJet {
        KnownJet { mm: 1.5, effect: effect(value, u), ends: [value; 2] }
    }

    #[test]
    fn four_times_the_effect_is_twice_the_diameter() {
        let hole = jet(100.0, 1e-6).hole(&effect(400.0, 1e-6), [400.0; 2], &Conditions::default());
        let hole = hole.unwrap();
        assert!((hole.mm - 3.0).abs() < 1e-9, "{hole:?}");
        // By hand: 0.1/1.5/sqrt(3) = 3.849 %, 5.774 %, 2 % sqrt(2/3) = 1.633 %: together 7.129 % of
        // the area, 3.565 % of the diameter.
        let together = hole.budget.iter().map(|r| r.u_percent.powi(2)).sum::<f64>().sqrt();
        assert!((together - 3.565).abs() < 2e-3, "{together}");
    }

    #[test]
    fn limits_alone_give_the_interval_of_all_that_lies_within_them() {
        let conditions = Conditions { sensor_gain_limit: 0.0, ..Conditions::default() };
        let hole = jet(100.0, 1e-6).hole(&effect(400.0, 1e-6), [400.0; 2], &conditions).unwrap();
        // Every jet from 1.45 to 1.55 mm beside every discharge from 0.9 to 1.1, in a thousand steps each.
        let step = |k: usize| (k as f64 + 0.5) / 500.0 - 1.0;
        let each = |k: usize| {
            let jet_mm = 1.5 + 0.05 * step(k);
            (0..1000).map(move |m| jet_mm * (4.0 / (1.0 + 0.1 * step(m))).sqrt())
        };
        let mut all: Vec<f64> = (0..1000).flat_map(each).collect();
        all.sort_by(f64::total_cmp);
        let (low, high) = (all[25_000], all[975_000]);
        assert!((hole.low_mm - low).abs() < 3e-3, "{hole:?} {low}");
        assert!((hole.high_mm - high).abs() < 3e-3, "{hole:?} {high}");
    }

    #[test]
    fn what_the_jet_does_not_show_measures_nothing() {
        let conditions = Conditions::default();
        assert!(!jet(10.0, 8.0).shows() && jet(100.0, 8.0).shows() && !jet(-100.0, 8.0).shows());
        assert_eq!(jet(10.0, 8.0).hole(&effect(40.0, 1.0), [40.0; 2], &conditions), None);
        // No effect: it may be none, and it is bounded above.
        let none = jet(100.0, 2.0).hole(&effect(-1.0, 4.0), [-1.0; 2], &conditions).unwrap();
        assert_eq!((none.mm, none.low_mm), (0.0, 0.0));
        assert!(none.high_mm > 0.3 && none.high_mm < 0.5, "{none:?}");
    }
}
