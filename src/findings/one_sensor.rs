//! The balance by one sensor that is moved from side to side.
//!
//! Marks say on which side the sensor is (`on carb1`, `on carb2`). Its readings at one speed are
//! `v(t) = level + drift + side * d + noise` with `side` of +1/2 on side 1 and -1/2 on side 2, so that `d`
//! is vacuum 1 less vacuum 2: [`correlated::fit_in_band`] holds each stretch against those before and
//! after it, with a polynomial for the drift and a noise that may wander more slowly than the
//! sides are changed. The zero of the sensor is in `level` and drops out; its gain scales `d`.
//!
//! While the hose is moved its tap is open and the engine draws air through it. The seconds from the hose
//! coming off until the engine has settled again are left out.

mod fit;
mod pieces;

pub use fit::Level;

use super::balance::{
    self, Balance, LEVEL, MANY_DOF, PlateauBalance, REPEATABILITY, ZeroMethod, ZeroUsed,
};
use super::screws::{self, Memory};
use super::{Conditions, Sides, advice, air_share, flow, idle_vacuum, in_step, resolution, swing};
use crate::sample::{Column, Mark, Meaning, Remark, Track};
use crate::signal::Signal;
use crate::statistics::correlated::Estimate;
use crate::statistics::decision::{self, SoFar, Verdict};
use crate::statistics::summary;
use crate::statistics::uncertainty::{Budget, Component};
use fit::Fitted;
use pieces::{Group, Piece, turns};

/// A stretch on one side that is worth logging, s.
pub const EACH_S: u32 = 10;
/// What a fit needs: there, over, and back again.
const LEAST_CHANGES: usize = 2;

/// A stretch with the sensor on one side, the engine steady and nobody at the hose.
#[derive(Debug, Clone, PartialEq)]
pub struct OnSide {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// It is on side 1, else on side 2.
    pub side1: bool,
    /// The fitted vacuum of that side along it; empty where its speed could not be judged.
    pub levels: Vec<Level>,
}

/// Places along a stretch where the fitted vacuum is told: it bends but little.
const PLACES: usize = 5;

/// Changes of side that take this many seconds of log.
pub fn changes(seconds: f64) -> u64 {
    (seconds / f64::from(EACH_S)).ceil().max(1.0) as u64
}

/// The log holds one vacuum column and marks that say on which side the sensor is.
pub fn is_marked(signal: &Signal) -> bool {
    let on = |mark: &Mark| matches!(mark.meaning, Meaning::On(_));
    column(&signal.track).is_some() && signal.track.marks.iter().any(on)
}

/// The one column and whether it stands as side 1.
fn column(track: &Track) -> Option<(&Column, bool)> {
    match (&track.vac1_kpa, &track.vac2_kpa) {
        (Some(one), None) => Some((one, true)),
        (None, Some(two)) => Some((two, false)),
        _ => None,
    }
}

/// Marks for one sensor in a log of two.
pub fn remark_of_two(signal: &Signal) -> Option<Remark> {
    let on = |mark: &&Mark| matches!(mark.meaning, Meaning::On(_));
    let at_s: Vec<f64> = signal.track.marks.iter().filter(on).map(|mark| mark.at.0).collect();
    let text = "marks such as 'on carb1' are for one sensor moved from side to side; this log has two, and they are without effect";
    (!at_s.is_empty()).then(|| Remark::new("one_sensor_marks", at_s.len(), &at_s, text))
}

/// True for side 1, false for side 2; none for a name that is neither.
fn side_called(name: &str, sides: &Sides) -> Option<bool> {
    let plain = |text: &str| -> String {
        text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    let name = plain(name);
    let is = |own: &str, number: char| {
        let general = ["", "carb", "side", "carburettor", "carburetor"];
        name == plain(own) || general.iter().any(|word| name == format!("{word}{number}"))
    };
    match (is(&sides.one, '1'), is(&sides.two, '2')) {
        (true, false) => Some(true),
        (false, true) => Some(false),
        _ => None,
    }
}

/// The balance of a log of one sensor; none where it is not such a log.
pub fn find(signal: &Signal, conditions: &Conditions) -> Option<Balance> {
    if !is_marked(signal) {
        return None;
    }
    let (values, side1) = column(&signal.track)?;
    let seen = Seen { signal, conditions, values, side1 };
    let (turns, unknown) = turns(&signal.track.marks, &conditions.sides);
    let groups = seen.groups(&turns);
    let enough = |group: &&Group| group.changes() >= LEAST_CHANGES;
    let mut plateaus: Vec<PlateauBalance> = Vec::new();
    let mut stretches: Vec<OnSide> = Vec::new();
    for group in &groups {
        let judged = Some(group).filter(enough).and_then(|group| seen.plateau(group));
        let (plateau, fitted) = judged.unzip();
        stretches.extend(group.pieces.iter().map(|piece| seen.on_side(piece, fitted.as_ref())));
        plateaus.extend(plateau);
    }
    stretches.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let mut remarks: Vec<Remark> = unknown.into_iter().collect();
    remarks.extend(idle_vacuum::remark(&plateaus, conditions));
    let zero = ZeroUsed { method: ZeroMethod::OneSensor, offset_kpa: 0.0, u_kpa: 0.0 };
    let superseded = balance::superseded(signal, plateaus.iter().map(|p| p.from_s));
    let now = &plateaus[superseded..];
    let say = if plateaus.is_empty() {
        too_few(&groups, &conditions.sides)
    } else {
        advice::sentence(signal, now, &zero, &remarks, conditions)
    };
    let causes = advice::causes(now, &zero);
    let (verdict, tolerance_kpa) =
        (decision::overall(now.iter().map(|p| p.verdict)), conditions.tolerance_kpa);
    let screws = screws::find(signal, &plateaus, conditions, &Memory::default()).screws;
    Some(Balance {
        zero,
        tolerance_kpa,
        plateaus,
        verdict,
        say,
        causes,
        screws,
        superseded,
        on_sides: stretches,
        remarks,
        flow: flow::find(signal, conditions),
    })
}

fn too_few(groups: &[Group], sides: &Sides) -> String {
    let most = groups.iter().map(Group::changes).max().unwrap_or(0);
    let seen = match most {
        0 => "the sensor changed sides at no steady speed".to_string(),
        1 => "the sensor changed sides only once at one speed".to_string(),
        _ => "too little of the steady speed is left beside the moves of the hose".to_string(),
    };
    let Sides { one, two } = sides;
    format!(
        "Not settled: {seen}, and a drift of the engine would pass for a difference. At one steady speed log {EACH_S} s on {one}, {EACH_S} s on {two}, {EACH_S} s on {one} again, and mark 'on carb1', 'on carb2', 'on carb1' when the hose is on."
    )
}

/// What a log of one sensor is worked out from.
struct Seen<'a> {
    signal: &'a Signal,
    conditions: &'a Conditions,
    values: &'a Column,
    side1: bool,
}

impl Seen<'_> {
    /// The sensor's mean over every block.
    fn averages(&self) -> &[f64] {
        let cycles = &self.signal.cycles;
        let column = if self.side1 { &cycles.vac1_kpa } else { &cycles.vac2_kpa };
        column.as_deref().unwrap_or_default()
    }

    /// A piece, with its fitted vacuum where there is a fit.
    fn on_side(&self, piece: &Piece, fitted: Option<&Fitted>) -> OnSide {
        let cycles = &self.signal.cycles;
        let at = |block: Option<&usize>, of: &[f64]| block.map_or(f64::NAN, |k| of[*k]);
        let from_s = at(piece.blocks.first(), &cycles.from_s);
        let to_s = at(piece.blocks.last(), &cycles.to_s);
        let place = |k: usize| from_s + (to_s - from_s) * k as f64 / (PLACES - 1) as f64;
        let level = |at_s: f64| fitted.and_then(|fitted| fitted.level(piece.side1, at_s));
        let levels = (0..PLACES).map(place).filter_map(level).collect();
        OnSide { from_s, to_s, side1: piece.side1, levels }
    }

    fn plateau(&self, group: &Group) -> Option<(PlateauBalance, Fitted)> {
        let (cycles, averages) = (&self.signal.cycles, self.averages());
        let blocks = || group.pieces.iter().flat_map(|piece| piece.blocks.iter().copied());
        let lasts = |k: usize| cycles.to_s[k] - cycles.from_s[k];
        let time: f64 = blocks().map(lasts).sum();
        let over = |piece: &dyn Fn(&&Piece) -> bool, value: &dyn Fn(usize) -> f64| {
            let own = || group.pieces.iter().filter(piece).flat_map(|p| p.blocks.iter().copied());
            own().map(|k| value(k) * lasts(k)).sum::<f64>() / own().map(lasts).sum::<f64>()
        };
        let side = |one: bool| over(&|p| p.side1 == one, &|k| averages[k]);
        let swing = |one: bool| {
            let own = group.pieces.iter().filter(|p| p.side1 == one);
            let swings = own.map(|p| swing::ripple(self.signal, self.rows(p), self.side1));
            let swings: Vec<f64> = swings.collect::<Option<_>>()?;
            summary::mean(&swings)
        };
        let speeds: Option<Vec<f64>> = group.pieces.iter().map(|p| p.rpm).collect();
        let fitted = Fitted::new(self, group, time)?;
        let effect = fitted.difference()?;
        let difference = effect.value;
        let budget = self.budget(group, &effect)?;
        let coverage = budget.coverage_factor(LEVEL)?;
        let (low, high) = (difference - coverage * budget.u, difference + coverage * budget.u);
        let tolerance = self.conditions.tolerance_kpa;
        let verdict = decision::decide(low, high, tolerance);
        let middle = 0.5 * (side(true) + side(false));
        let air = air_share::of_sides(self.conditions, middle, difference, budget.u)?;
        let needs = || {
            decision::seconds_more(&SoFar {
                u_random: budget.part(|c| c.name == REPEATABILITY),
                u_systematic: budget.part(|c| c.name != REPEATABILITY),
                seconds: f64::from(EACH_S) * group.pieces.len() as f64,
                to_limit: (difference.abs() - tolerance).abs(),
                coverage_factor: coverage,
            })
        };
        let air_reach = coverage * air.u();
        let plateau = PlateauBalance {
            from_s: cycles.from_s[blocks().next()?],
            to_s: cycles.to_s[blocks().last()?],
            rpm: speeds.and_then(|s| summary::mean(&s)),
            cycles: blocks().map(|k| cycles.cycles[k]).sum::<f64>().round() as u64,
            vac1_kpa: side(true),
            vac2_kpa: side(false),
            ripple1_kpa: swing(true),
            ripple2_kpa: swing(false),
            difference_kpa: difference,
            low_kpa: low,
            high_kpa: high,
            u_kpa: budget.u,
            dof: Some(budget.dof).filter(|dof| *dof < MANY_DOF),
            air1_over_air2: air.ratio,
            air_low: air.ratio - air_reach,
            air_high: air.ratio + air_reach,
            verdict,
            probability_in_tolerance: decision::probability_within(
                difference, budget.u, budget.dof, -tolerance, tolerance,
            ),
            open: balance::open(verdict, low, high),
            needs_s: if verdict == Verdict::NotSettled { needs() } else { None },
            budget: balance::rows(&budget),
            air_budget: balance::air_rows(&air),
            stretches: Vec::new(),
        };
        Some((plateau, fitted))
    }

    /// Samples of a piece: from, one past the last.
    fn rows(&self, piece: &Piece) -> (usize, usize) {
        let starts = &self.signal.cycles.sample;
        let at = |k: usize| starts.get(k).map_or(self.values.len(), |s| *s as usize);
        let (first, last) = (piece.blocks.first(), piece.blocks.last());
        (first.map_or(0, |k| at(*k)), last.map_or(0, |k| at(k + 1)))
    }

    fn budget(&self, group: &Group, effect: &Estimate) -> Option<Budget> {
        let worst = |of: &dyn Fn((usize, usize)) -> f64| {
            group.pieces.iter().map(|piece| of(self.rows(piece))).fold(0.0, f64::max)
        };
        let resolution = worst(&|rows| resolution::of_column(self.values, rows));
        let cylinders = self.conditions.cylinders;
        let in_step =
            worst(&|rows| in_step::of_column(self.signal, self.side1, rows, cylinders).u_kpa);
        // The gain is that of one sensor, known within a limit (rectangular), and the same on both sides.
        let gain = self.conditions.sensor_gain_limit / 3.0_f64.sqrt() * effect.value.abs();
        let known = |name, u| Component { name, u, dof: f64::INFINITY };
        let mut components = vec![
            Component { name: REPEATABILITY, u: effect.u, dof: effect.dof },
            known("gain of the sensor", gain),
            // One on each side.
            known("resolution", 2.0_f64.sqrt() * resolution),
            known(in_step::COMPONENT, 2.0_f64.sqrt() * in_step),
        ];
        components.retain(|c| c.u != 0.0);
        Budget::new(components).ok()
    }
}
