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

use super::balance::{
    self, Balance, LEVEL, MANY_DOF, PlateauBalance, REPEATABILITY, ZeroMethod, ZeroUsed,
};
use super::screws::{self, Memory};
use super::{Conditions, Sides, advice, air_share, idle_vacuum, in_step, resolution};
use crate::sample::{Mark, Meaning, Remark, Track};
use crate::signal::Signal;
use crate::signal::plateaus::{Kind, Plateau};
use crate::statistics::correlated::{self, Estimate};
use crate::statistics::decision::{self, SoFar, Verdict};
use crate::statistics::uncertainty::{Budget, Component};
use crate::statistics::{student, summary};

/// A stretch on one side that is worth logging, s.
pub const EACH_S: u32 = 10;
/// What a fit needs: there, over, and back again.
const LEAST_CHANGES: usize = 2;
/// Before a mark the hand may have moved already: people press 0.3 to 1.2 s late (from memory of
/// tests at the engine), s.
const BEFORE_MARK_S: f64 = 1.3;
/// After a mark, and after the hose is on again, the engine settles for this long, s: a flywheel with
/// its mixture takes about a second (from memory of idling engines).
const SETTLES_S: f64 = 2.5;
/// A hose takes this long to come off, s.
const COMES_OFF_S: f64 = 0.5;
/// A hose that comes off this near a mark came off for it, s.
const MOVE_TAKES_S: f64 = 8.0;
/// The hose is off when the sensor reads less than this share of its usual vacuum.
const HOSE_OFF_SHARE: f64 = 0.4;
/// Shortest stretch left that can be judged, s.
const LEAST_S: f64 = 2.0;
/// Stretches are at one speed when they agree within this share.
const SAME_SPEED: f64 = 0.06;
/// A stretch is steady where no cycle is further from its usual speed than this share.
const STEADY: f64 = 0.1;
/// The noise is read from waves of this period and longer, s: an idle hunts with a period of two to
/// three seconds, and a stretch is longer than either.
const LEAST_PERIOD_S: f64 = 4.0;
/// Fewest coefficients of the noise beyond those that the fit uses up.
const LEAST_DOF: usize = 8;

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
fn column(track: &Track) -> Option<(&[f64], bool)> {
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
    let plateaus: Vec<PlateauBalance> =
        groups.iter().filter(enough).filter_map(|group| seen.plateau(group)).collect();
    let mut remarks: Vec<Remark> = unknown.into_iter().collect();
    remarks.extend(idle_vacuum::remark(&plateaus, conditions));
    let zero = ZeroUsed { method: ZeroMethod::OneSensor, offset_kpa: 0.0, u_kpa: 0.0 };
    let superseded = balance::superseded(signal, &plateaus);
    let now = &plateaus[superseded..];
    let say = if plateaus.is_empty() {
        too_few(&groups, &conditions.sides)
    } else {
        advice::sentence(signal, now, &zero, &remarks, conditions)
    };
    let causes = advice::causes(now, &zero);
    let (verdict, tolerance_kpa) = (balance::overall(now), conditions.tolerance_kpa);
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
        remarks,
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

/// From when on the sensor is on a side.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Turn {
    at_s: f64,
    side1: bool,
}

fn turns(marks: &[Mark], sides: &Sides) -> (Vec<Turn>, Option<Remark>) {
    let (mut turns, mut unknown): (Vec<Turn>, Vec<f64>) = Default::default();
    for mark in marks {
        let Meaning::On(name) = &mark.meaning else { continue };
        match side_called(name, sides) {
            Some(side1) => turns.push(Turn { at_s: mark.at.0, side1 }),
            None => unknown.push(mark.at.0),
        }
    }
    let Sides { one, two } = sides;
    let text = format!(
        "a mark 'on ...' names neither side and is without effect; write 'on carb1' or 'on carb2', or the names of the sides, 'on {one}' or 'on {two}'"
    );
    let remark = Remark::new("side_unknown", unknown.len(), &unknown, text);
    (turns, (!unknown.is_empty()).then_some(remark))
}

/// A mark that says that the engine or its setting is no longer what it was.
fn sets_anew(meaning: &Meaning) -> bool {
    !matches!(
        meaning,
        Meaning::On(_)
            | Meaning::Note(_)
            | Meaning::Other
            | Meaning::Mistake(_)
            | Meaning::SetAside
            | Meaning::LinkLost
            | Meaning::LinkBack
    )
}

/// Steady running with the sensor on one side and nobody at the hose.
#[derive(Debug, Clone, PartialEq)]
struct Piece {
    side1: bool,
    rpm: Option<f64>,
    blocks: Vec<usize>,
}

/// Pieces at one speed and one setting, in the order of time.
#[derive(Debug, Clone, Default, PartialEq)]
struct Group {
    pieces: Vec<Piece>,
}

impl Group {
    fn changes(&self) -> usize {
        self.pieces.windows(2).filter(|pair| pair[0].side1 != pair[1].side1).count()
    }

    fn takes(&self, piece: &Piece) -> bool {
        let own = self.pieces.first().map(|first| first.rpm);
        match (own, piece.rpm) {
            (Some(Some(own)), Some(rpm)) => (rpm / own - 1.0).abs() < SAME_SPEED,
            (Some(None), None) => true,
            _ => false,
        }
    }
}

/// What a log of one sensor is worked out from.
struct Seen<'a> {
    signal: &'a Signal,
    conditions: &'a Conditions,
    values: &'a [f64],
    side1: bool,
}

impl Seen<'_> {
    /// The sensor's mean over every block.
    fn averages(&self) -> &[f64] {
        let cycles = &self.signal.cycles;
        let column = if self.side1 { &cycles.vac1_kpa } else { &cycles.vac2_kpa };
        column.as_deref().unwrap_or_default()
    }

    /// Runs of blocks with the hose off, from and to, s.
    fn hose_off(&self) -> Vec<(f64, f64)> {
        let (cycles, values) = (&self.signal.cycles, self.averages());
        let read: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
        let usual = summary::median(&read).unwrap_or(0.0);
        let mut runs: Vec<(f64, f64)> = Vec::new();
        for (k, value) in values.iter().enumerate().filter(|(_, v)| **v < HOSE_OFF_SHARE * usual) {
            debug_assert!(value.is_finite());
            let (from, to) = (cycles.from_s[k], cycles.to_s[k]);
            match runs.last_mut().filter(|run| from - run.1 < COMES_OFF_S) {
                Some(run) => run.1 = to,
                None => runs.push((from, to)),
            }
        }
        runs
    }

    /// Times that belong to neither side, from and to, s.
    fn left_out(&self, turns: &[Turn]) -> Vec<(f64, f64)> {
        let off = self.hose_off();
        let mut out: Vec<(f64, f64)> =
            off.iter().map(|(from, to)| (from - COMES_OFF_S, to + SETTLES_S)).collect();
        let away = |run: &(f64, f64), t: &Turn| (run.0 - t.at_s).max(t.at_s - run.1).max(0.0);
        for turn in turns {
            // A hose that came off nearer to another mark came off for that one.
            let own = |run: &&(f64, f64)| {
                let nearest = turns.iter().map(|t| away(run, t)).fold(f64::INFINITY, f64::min);
                away(run, turn) < MOVE_TAKES_S && away(run, turn) <= nearest
            };
            let moved = off.iter().filter(own);
            let moved = moved.min_by(|a, b| away(a, turn).total_cmp(&away(b, turn)));
            let (from, to) = moved.map_or((turn.at_s, turn.at_s), |(from, to)| (*from, *to));
            out.push((
                (turn.at_s - BEFORE_MARK_S).min(from - COMES_OFF_S),
                turn.at_s.max(to) + SETTLES_S,
            ));
        }
        out
    }

    /// The parts of a stretch that are of one speed: all of it, or what plateaus it holds.
    ///
    /// Beside the hose's moves a plateau is often cut too short to be one, though the engine went on
    /// as before.
    fn steady(&self, blocks: Vec<usize>) -> Vec<Vec<usize>> {
        let speeds = self.signal.cycles.rpm.as_ref();
        let speeds: Option<Vec<f64>> =
            speeds.map(|rpm| blocks.iter().map(|k| rpm[*k]).filter(|n| *n > 0.0).collect());
        let is_steady = speeds.is_some_and(|speeds| {
            let usual = summary::median(&speeds).unwrap_or(f64::NAN);
            speeds.len() == blocks.len()
                && speeds.iter().all(|rpm| (rpm / usual - 1.0).abs() < STEADY)
        });
        if is_steady {
            return vec![blocks];
        }
        let running = self.signal.plateaus.iter().filter(|p| p.kind == Kind::Running);
        let part = |p: &Plateau| -> Vec<usize> {
            let own = p.first_block..p.end_block;
            blocks.iter().copied().filter(|k| own.contains(k)).collect()
        };
        running.map(part).collect()
    }

    fn groups(&self, turns: &[Turn]) -> Vec<Group> {
        let (cycles, averages) = (&self.signal.cycles, self.averages());
        let out = self.left_out(turns);
        let anew = self.signal.track.marks.iter().filter(|mark| sets_anew(&mark.meaning));
        let anew: Vec<f64> = anew.map(|mark| mark.at.0).collect();
        let calm = |k: &usize| {
            let (from, to) = (cycles.from_s[*k], cycles.to_s[*k]);
            let hands = |at: &f64| to > at - BEFORE_MARK_S && from < at + SETTLES_S;
            averages.get(*k).is_some_and(|v| v.is_finite())
                && !out.iter().any(|(begins, ends)| to > *begins && from < *ends)
                && !anew.iter().any(hands)
        };
        let mut groups: Vec<Group> = Vec::new();
        let (mut since, mut settings) = (0, 0);
        for (number, turn) in turns.iter().enumerate() {
            let until = turns.get(number + 1).map_or(f64::INFINITY, |next| next.at_s);
            let inside = |k: &usize| cycles.from_s[*k] >= turn.at_s && cycles.to_s[*k] <= until;
            let all: Vec<usize> = (0..cycles.len()).filter(inside).filter(calm).collect();
            for blocks in self.steady(all) {
                let lasts: f64 = blocks.iter().map(|k| cycles.to_s[*k] - cycles.from_s[*k]).sum();
                if lasts < LEAST_S {
                    continue;
                }
                let before = anew.iter().filter(|at| **at < cycles.from_s[blocks[0]]).count();
                if before != settings {
                    (since, settings) = (groups.len(), before);
                }
                let speeds = cycles.rpm.as_ref();
                let speeds = speeds.map(|rpm| blocks.iter().map(|k| rpm[*k]).collect::<Vec<_>>());
                let rpm = speeds.and_then(|s| summary::mean(&s)).filter(|rpm| rpm.is_finite());
                let piece = Piece { side1: turn.side1, rpm, blocks };
                match groups[since..].iter_mut().find(|group| group.takes(&piece)) {
                    Some(group) => group.pieces.push(piece),
                    None => groups.push(Group { pieces: vec![piece] }),
                }
            }
        }
        groups
    }

    fn plateau(&self, group: &Group) -> Option<PlateauBalance> {
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
            let swings = own.map(|p| balance::ripple(self.signal, self.rows(p), self.side1));
            let swings: Vec<f64> = swings.collect::<Option<_>>()?;
            summary::mean(&swings)
        };
        let speeds: Option<Vec<f64>> = group.pieces.iter().map(|p| p.rpm).collect();
        let effect = self.effect(group, time)?;
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
        Some(PlateauBalance {
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
        })
    }

    /// Samples of a piece: from, one past the last.
    fn rows(&self, piece: &Piece) -> (usize, usize) {
        let starts = &self.signal.cycles.sample;
        let at = |k: usize| starts.get(k).map_or(self.values.len(), |s| *s as usize);
        let (first, last) = (piece.blocks.first(), piece.blocks.last());
        (first.map_or(0, |k| at(*k)), last.map_or(0, |k| at(k + 1)))
    }

    /// Vacuum 1 less vacuum 2 by the fit over all pieces that last `time` seconds together, kPa.
    fn effect(&self, group: &Group, time: f64) -> Option<Estimate> {
        let cycles = &self.signal.cycles;
        let mut sides = Vec::new();
        let (mut y, mut at) = (Vec::new(), Vec::new());
        for (piece, k) in group.pieces.iter().flat_map(|p| p.blocks.iter().map(move |k| (p, *k))) {
            sides.push(if piece.side1 { 0.5 } else { -0.5 });
            y.push(self.averages()[k]);
            at.push(cycles.middle_s(k));
        }
        let (first, last) = (*at.first()?, *at.last()?);
        let drift = |power: i32| -> Vec<f64> {
            at.iter().map(|t| (2.0 * (t - first) / (last - first) - 1.0).powi(power)).collect()
        };
        // A polynomial that turns less often than the sides do cannot pass for them.
        let bends = group.changes().div_ceil(2).clamp(2, 4) as i32;
        let mut columns: Vec<Vec<f64>> = (0..=bends).map(drift).collect();
        columns.push(sides);
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let least = columns.len() + LEAST_DOF;
        let band = ((2.0 * time / LEAST_PERIOD_S) as usize).max(least).min(y.len() - 1);
        if band < least {
            return None;
        }
        let fit = correlated::fit_in_band(&y, &columns, band).ok()?;
        let effect = fit.coefficient(columns.len() - 1)?;
        (effect.value.is_finite() && student::coverage_factor(LEVEL, effect.dof).is_some())
            .then_some(effect)
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
