//! What the effects of one suspect say: its probability, its verdict, where the air goes.

use super::effects::Effect;
use super::{HuntVerdict, Into, MOST_MORE, Suspect};
use crate::findings::balance::LEVEL;
use crate::findings::leak_size::Hole;
use crate::statistics::student;

/// Adjusted probability below which an effect is there.
const ALPHA: f64 = 1.0 - LEVEL;

/// An effect with its 95 % interval, sealed less released.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// What does not matter.
pub struct Limits {
    /// Of the speed, rev/min.
    pub rpm: f64,
    /// Of a tract's area, per cent.
    pub air_percent: f64,
}

/// The effects of one suspect: rev/min, kPa, per cent.
#[derive(Clone)]
pub struct Seen {
    /// On the speed.
    pub rpm: Option<Effect>,
    /// On both vacuums.
    pub vacuum: [Option<Effect>; 2],
    /// On the area of both tracts.
    pub air: [Option<Effect>; 2],
}

/// The interval of an effect.
pub fn interval(effect: &Effect) -> Option<Interval> {
    let (low, high) = effect.budget.interval(effect.value, LEVEL)?;
    Some(Interval { value: effect.value, low, high })
}

/// Probability of an effect at least so far above zero (`sign` 1) or below it (-1) where there is
/// none.
fn probability(effect: &Effect, sign: f64) -> Option<f64> {
    let Effect { value, budget, .. } = effect;
    if budget.u > 0.0 {
        student::cdf(-sign * value / budget.u, budget.dof)
    } else {
        Some(if sign * value > 0.0 { 0.0 } else { 1.0 })
    }
}

impl Seen {
    /// Probabilities of the three signs of a leak: less area of either tract, more speed.
    fn signs(&self) -> [Option<f64>; 3] {
        let of = |effect: &Option<Effect>, sign| effect.as_ref().and_then(|e| probability(e, sign));
        [of(&self.air[0], -1.0), of(&self.air[1], -1.0), of(&self.rpm, 1.0)]
    }

    /// Of the clearest of them, corrected for their number.
    pub fn probability(&self) -> Option<f64> {
        let signs: Vec<f64> = self.signs().into_iter().flatten().collect();
        let least = signs.iter().copied().reduce(f64::min)?;
        Some((signs.len() as f64 * least).min(1.0))
    }

    fn is_sound(&self, limits: &Limits) -> bool {
        let within = |effect: &Effect, limit: f64| {
            interval(effect).is_some_and(|i| i.low >= -limit && i.high <= limit)
        };
        let air: Vec<&Effect> = self.air.iter().flatten().collect();
        // Without a vacuum nothing tells a leak of air from a mixture that suits it by chance.
        !air.is_empty()
            && air.iter().all(|effect| within(effect, limits.air_percent))
            && self.rpm.as_ref().is_some_and(|effect| within(effect, limits.rpm))
    }

    /// By the rule.
    pub fn verdict(&self, p: Option<f64>, limits: &Limits) -> HuntVerdict {
        if self.is_sound(limits) {
            HuntVerdict::Sound
        } else if p.is_some_and(|p| p < ALPHA) {
            HuntVerdict::Leaks
        } else {
            HuntVerdict::NotSettled
        }
    }

    /// Where the air goes: a sign counts that is there by itself among all `suspects`.
    pub fn into(&self, suspects: usize) -> Option<Into> {
        let signs = self.signs();
        let count = signs.iter().flatten().count() * suspects;
        let there = signs.map(|p| p.is_some_and(|p| count as f64 * p < ALPHA));
        let least = signs.iter().flatten().copied().reduce(f64::min)?;
        let clearest = |k: usize| signs[k] == Some(least);
        match (there[0], there[1]) {
            (true, true) => Some(Into::Both),
            (true, false) => Some(Into::Carb1),
            (false, true) => Some(Into::Carb2),
            (false, false) if there[2] || clearest(2) => Some(Into::BeforeThrottles),
            (false, false) if clearest(0) => Some(Into::Carb1),
            (false, false) => Some(Into::Carb2),
        }
    }

    /// More trials that would settle it, all effects staying as they are.
    pub fn trials_more(&self, limits: &Limits, suspects: usize) -> Option<u32> {
        (1..=MOST_MORE).find(|more| {
            let with = |e: &Option<Effect>| e.as_ref().and_then(|e| e.with(*more));
            let then = Seen {
                rpm: with(&self.rpm),
                vacuum: [None, None],
                air: [with(&self.air[0]), with(&self.air[1])],
            };
            // The others' verdicts are not known: Bonferroni's correction is Holm's at its worst.
            let p = then.probability().map(|p| p * suspects as f64);
            then.verdict(p, limits) != HuntVerdict::NotSettled
        })
    }

    /// In the words of the finding.
    pub fn suspect(
        &self,
        name: &str,
        p_adjusted: Option<f64>,
        (verdict, into, needs_trials): (HuntVerdict, Option<Into>, Option<u32>),
        hole: Option<Hole>,
    ) -> Suspect {
        let ends = |effect: &Option<Effect>| {
            let i = effect.as_ref().and_then(interval);
            [i.map(|i| i.value), i.map(|i| i.low), i.map(|i| i.high)]
        };
        let rpm = ends(&self.rpm);
        let [vac1, vac2] = [0, 1].map(|side| ends(&self.vacuum[side]));
        let [air1, air2] = [0, 1].map(|side| ends(&self.air[side]));
        let leaks = verdict == HuntVerdict::Leaks;
        Suspect {
            name: name.to_string(),
            trials: self.rpm.as_ref().map_or(0, |e| e.trials),
            effect_rpm: rpm[0],
            low_rpm: rpm[1],
            high_rpm: rpm[2],
            effect_vac1_kpa: vac1[0],
            low_vac1_kpa: vac1[1],
            high_vac1_kpa: vac1[2],
            effect_vac2_kpa: vac2[0],
            low_vac2_kpa: vac2[1],
            high_vac2_kpa: vac2[2],
            effect_air1_percent: air1[0],
            low_air1_percent: air1[1],
            high_air1_percent: air1[2],
            effect_air2_percent: air2[0],
            low_air2_percent: air2[1],
            high_air2_percent: air2[2],
            p_adjusted,
            verdict,
            into,
            needs_trials,
            hole_mm: hole.as_ref().filter(|_| leaks).map(|h| h.mm),
            hole_low_mm: hole.as_ref().filter(|_| leaks).map(|h| h.low_mm),
            hole_high_mm: hole.as_ref().map(|h| h.high_mm),
            hole_budget: hole.filter(|_| leaks).map(|h| h.budget).unwrap_or_default(),
        }
    }
}
