//! Which turns to make: the best of all that a person can set.
//!
//! With both screws turned by up to half a turn in steps of a sixth there are 49 pairs. Of each the cost that is
//! expected is worked out,
//!
//! `(d^2 + q var d) / a^2 + ((n - n0)^2 + q var n) / b^2`, `a` half the tolerance, `b` half of what counts as on
//! target, `q` a half, with everything in the variances that is not known: the response, the present figures, the
//! hand on the screw. Where the response is hardly known, the cost of a large turn is mostly doubt, so the first
//! turns are careful by themselves.

use super::Limits;
use super::response::{Known, Turns};
use crate::findings::Conditions;
use serde::Serialize;

/// A person can set a sixth of a turn (common practice, no published source).
const A_TURN: f64 = 6.0;
/// Steps at most in one go: half a turn.
const MOST: i32 = 3;
/// Idle this near its target needs no correction, rev/min (common practice, no published source).
pub const ON_TARGET_RPM: f64 = 25.0;
/// Nearer than this share of it nobody turns anything: what is measured at its very edge may be beyond it.
const WELL_MET: f64 = 0.6;
/// What is not known of the outcome counts less than being off for certain: the next turn mends part of it, and
/// knows more.
const DOUBT: f64 = 0.5;
/// Where no target is given the speed may move by this, rev/min: it is kept, but not at any price.
const FREE_RPM: f64 = 100.0;

/// Where the idle should be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aim {
    /// Largest difference that is good, kPa.
    pub tolerance_kpa: f64,
    /// Speed wanted, where one is given, rev/min.
    pub target_rpm: Option<f64>,
    /// Off by this it is still on target, rev/min.
    pub on_target_rpm: f64,
    /// Speed to keep to, rev/min.
    keep_rpm: f64,
}

impl Aim {
    /// The aim of these conditions; without a target the speed of now is kept.
    pub fn of(conditions: &Conditions, now_rpm: f64) -> Aim {
        let target_rpm = conditions.idle_target_rpm;
        Aim {
            tolerance_kpa: conditions.tolerance_kpa,
            target_rpm,
            on_target_rpm: target_rpm.map_or(FREE_RPM, |_| ON_TARGET_RPM),
            keep_rpm: target_rpm.unwrap_or(now_rpm),
        }
    }

    /// The speed is so near that no turn is worth its risk.
    pub fn is_well_met(&self, speed_rpm: f64) -> bool {
        (speed_rpm - self.keep_rpm).abs() <= WELL_MET * self.on_target_rpm
    }
}

/// What is expected after turns. Intervals are 95 %.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Expected {
    /// Vacuum 1 less vacuum 2, kPa.
    pub difference_kpa: Limits,
    /// Idle, rev/min.
    pub speed_rpm: Limits,
}

/// Turns to make.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Proposal {
    /// Of screw 1 and 2, turns, open positive; both nil is to leave them alone.
    pub turns: [f64; 2],
    /// What is expected then.
    pub expected: Expected,
}

impl Proposal {
    /// Leave both alone.
    pub fn leave(known: &Known) -> Proposal {
        let turns = [0.0; 2];
        Proposal { turns, expected: expected(known, &turns) }
    }
}

/// What is expected after turns.
pub fn expected(known: &Known, turns: &[f64; 2]) -> Expected {
    let then = reached(known, turns);
    Expected {
        difference_kpa: Limits::around(then.difference_kpa(), then.sd_difference_kpa()),
        speed_rpm: Limits::around(then.speed_rpm(), then.sd_speed_rpm()),
    }
}

fn reached(known: &Known, turns: &[f64; 2]) -> Known {
    if *turns == [0.0; 2] { *known } else { known.turned(&Turns::asked(*turns)) }
}

/// The turns of least expected cost.
pub fn best(known: &Known, aim: &Aim) -> Proposal {
    let pairs = (-MOST..=MOST).flat_map(|one| (-MOST..=MOST).map(move |two| (one, two)));
    let turns = pairs.map(|(one, two)| [f64::from(one) / A_TURN, f64::from(two) / A_TURN]);
    let costed = turns.map(|turns| (cost(&reached(known, &turns), aim), turns));
    let cheaper = |a: &(f64, [f64; 2]), b: &(f64, [f64; 2])| a.0.total_cmp(&b.0);
    let turns = costed.min_by(cheaper).map_or([0.0; 2], |(_, turns)| turns);
    Proposal { turns, expected: expected(known, &turns) }
}

fn cost(then: &Known, aim: &Aim) -> f64 {
    let square = |off: f64, sd: f64, scale: f64| (off * off + DOUBT * sd * sd) / (scale * scale);
    square(then.difference_kpa(), then.sd_difference_kpa(), 0.5 * aim.tolerance_kpa)
        + square(then.speed_rpm() - aim.keep_rpm, then.sd_speed_rpm(), 0.5 * aim.on_target_rpm)
}
