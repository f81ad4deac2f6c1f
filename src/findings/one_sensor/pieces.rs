//! The parts of a log that can be held against each other: steady running with the sensor on one side
//! and nobody at the hose.

use super::{Seen, side_called};
use crate::findings::Sides;
use crate::sample::{Mark, Meaning, Remark};
use crate::signal::plateaus::{Kind, Plateau};
use crate::statistics::summary;

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

/// From when on the sensor is on a side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Turn {
    pub at_s: f64,
    pub side1: bool,
}

/// The turns in the order of time, and a remark upon marks that name neither side.
pub(super) fn turns(marks: &[Mark], sides: &Sides) -> (Vec<Turn>, Option<Remark>) {
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
pub(super) struct Piece {
    pub side1: bool,
    pub rpm: Option<f64>,
    pub blocks: Vec<usize>,
}

/// Pieces at one speed and one setting, in the order of time.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Group {
    pub pieces: Vec<Piece>,
}

impl Group {
    /// How often the sensor changed sides.
    pub fn changes(&self) -> usize {
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

impl Seen<'_> {
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

    /// All that is steady, by speed and setting.
    pub fn groups(&self, turns: &[Turn]) -> Vec<Group> {
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
}
