//! The stop screws: what a turn does to this engine, and which turns bring it where it should be.
//!
//! Every mark `screw 1 +0.25` (turns, open positive) is an experiment. Between two idles with turns
//! `t1`, `t2` in between, difference and speed move by
//!
//! `[dd, dn] = S [t1, t2]`
//!
//! and the four numbers of `S` are learned by recursive least squares ([`response`]). Then every pair of turns that
//! a person can set is tried on what is believed, and the best is proposed ([`proposal`]), with what is expected
//! after it, so that the next stretch confirms or corrects it.
//!
//! The zero of the pair cancels in what is learned and does not in where the engine stands: it widens what is
//! expected, not the response.

pub mod proposal;
pub mod response;
mod say;

use super::advice::is_idle;
use super::balance::{PlateauBalance, REPEATABILITY};
use super::{Conditions, Sides};
use crate::sample::Meaning;
use crate::signal::Signal;
use crate::statistics::correlated::mean_interval;
use crate::statistics::decision::Verdict;
use proposal::{Aim, Proposal};
use response::{Idle, Known, Turns};
use serde::Serialize;

/// Idles of one log are this far apart at least: a hand was on a screw between them, s.
const EDGE_S: f64 = 0.5;

/// A value with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limits {
    /// Lower end.
    pub low: f64,
    /// Value.
    pub value: f64,
    /// Upper end.
    pub high: f64,
}

impl Limits {
    fn around(value: f64, sd: f64) -> Limits {
        // Of the normal distribution, 95 %.
        const COVERAGE_FACTOR: f64 = 1.959_964;
        let reach = COVERAGE_FACTOR * sd;
        Limits { low: value - reach, value, high: value + reach }
    }
}

/// What a whole turn of a stop screw does, open positive.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PerTurn {
    /// Carburettor 1 or 2.
    pub side: u8,
    /// Change of vacuum 1 less vacuum 2, kPa a turn.
    pub difference_kpa: Limits,
    /// Change of the idle, rev/min a turn.
    pub speed_rpm: Limits,
}

/// The screws of a log. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Screws {
    /// Changes of idle that taught something: with a stretch before the turns and one after.
    pub learned_from: usize,
    /// What a turn does; empty before any was made.
    pub per_turn: Vec<PerTurn>,
    /// Turns to make now; absent where it is not yet known where the engine stands.
    pub proposal: Option<Proposal>,
    /// One plain sentence.
    pub say: String,
}

/// What a recording remembers of its screws when the samples themselves have left its window.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Memory {
    /// What is believed after the last idle that a screw has ended: later samples alter it no more.
    known: Option<Known>,
    /// Every screw that was turned.
    turned: Vec<Turned>,
}

/// The screws of a log, and what a longer one would go on from.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// `None` where there is no idle with a speed, or where nothing is to be said: no screw was turned, and
    /// the idle is as it should be or not yet judged.
    pub screws: Option<Screws>,
    /// What is remembered.
    pub memory: Memory,
}

/// Learns from the screw marks and the idles of a log, and proposes what to turn. `before` is what an earlier part
/// of the same recording has left, and empty for a whole log.
pub fn find(
    signal: &Signal,
    plateaus: &[PlateauBalance],
    conditions: &Conditions,
    before: &Memory,
) -> Found {
    let turned = turned(signal, before);
    let until_s = before.known.map_or(f64::NEG_INFINITY, |known| known.until_s);
    let idles: Vec<(Idle, &PlateauBalance)> = plateaus
        .iter()
        .filter(|plateau| is_idle(plateau) && plateau.from_s > until_s - EDGE_S)
        .filter_map(|plateau| Some((idle(signal, plateau)?, plateau)))
        .collect();
    let mut known = before.known;
    let mut memory = Memory { known, turned: turned.clone() };
    for (number, (idle, _)) in idles.iter().enumerate() {
        known = Some(match known {
            Some(known) => known.after(&Turns::between(&turned, known.until_s, idle.from_s), idle),
            None => Known::at(idle),
        });
        // A screw that is turned after it ends an idle for good.
        let next_s = idles.get(number + 1).map_or(f64::INFINITY, |next| next.0.from_s);
        if turned.iter().any(|turn| (idle.to_s..next_s).contains(&turn.at_s)) {
            memory.known = known;
        }
    }
    let last = idles.last().map(|(_, plateau)| *plateau);
    let screws = known.and_then(|known| said(&known, last, &turned, conditions));
    Found { screws, memory }
}

/// What is to be said of the screws as they stand after the idle `last`.
fn said(
    known: &Known,
    last: Option<&PlateauBalance>,
    turned: &[Turned],
    conditions: &Conditions,
) -> Option<Screws> {
    let since = turned.iter().any(|turn| turn.at_s > known.until_s);
    let now = last.filter(|_| !since);
    let aim = Aim::of(conditions, known.speed_rpm());
    let proposal = now.and_then(|plateau| proposed(known, plateau, &aim));
    let idle_hands = proposal.is_none_or(|proposal| proposal.turns == [0.0; 2]);
    if turned.is_empty() && idle_hands {
        return None;
    }
    let say = say::sentence(&say::Standing {
        turned: !turned.is_empty(),
        now,
        learned_from: known.learned_from,
        proposal: proposal.as_ref(),
        aim: &aim,
        sides: &conditions.sides,
    });
    let learned_from = known.learned_from;
    let sides = [1, 2].into_iter().filter(|_| learned_from > 0);
    let per_turn = sides.map(|side| known.per_turn(side)).collect();
    Some(Screws { learned_from, per_turn, proposal, say })
}

/// The turns in words: `close Front by 1/6 turn, open Rear by 1/3 turn`.
pub fn in_words(turns: &[f64; 2], sides: &Sides) -> Option<String> {
    say::turns(turns, sides)
}

/// A stop screw that was turned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turned {
    /// When it was marked, s.
    pub at_s: f64,
    /// 0 or 1.
    pub side: usize,
    /// Turns, open positive.
    pub turns: f64,
}

/// Every screw that was turned, in the order of time: those that are marked here, and those of which the marks have
/// left the window. One that was called a mistake is none.
fn turned(signal: &Signal, before: &Memory) -> Vec<Turned> {
    let marks = &signal.track.marks;
    let own = marks.iter().filter_map(|mark| match mark.meaning {
        Meaning::Screw { side, turns } => {
            Some(Turned { at_s: mark.at.0, side: usize::from(side == 2), turns })
        }
        _ => None,
    });
    let seen = |turn: &&Turned| marks.iter().any(|mark| mark.at.0 == turn.at_s);
    let lost = before.turned.iter().filter(|turn| !seen(turn)).copied();
    let mut turned: Vec<Turned> = lost.chain(own).collect();
    turned.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    turned
}

/// Difference and speed of an idle, with what chance alone leaves open.
fn idle(signal: &Signal, plateau: &PlateauBalance) -> Option<Idle> {
    let rpm = plateau.rpm?;
    let row = plateau.budget.iter().find(|row| row.name == REPEATABILITY);
    let speeds = signal.cycles.rpm.as_ref()?;
    let inside = |k: &usize| {
        let middle_s = signal.cycles.middle_s(*k);
        plateau.stretches.iter().any(|s| (s.from_s..=s.to_s).contains(&middle_s))
    };
    let speeds: Vec<f64> = (0..signal.cycles.len())
        .filter(inside)
        .map(|k| speeds[k])
        .filter(|rpm| rpm.is_finite())
        .collect();
    let mean = mean_interval(&speeds, super::balance::LEVEL)?;
    let systematic = plateau.budget.iter().filter(|row| row.name != REPEATABILITY);
    Some(Idle {
        from_s: plateau.from_s,
        to_s: plateau.to_s,
        difference_kpa: plateau.difference_kpa,
        u_difference_kpa: row.map_or(0.0, |row| row.u_kpa),
        u_zero_kpa: systematic.map(|row| row.u_kpa).fold(0.0, f64::hypot),
        speed_rpm: rpm,
        u_speed_rpm: mean.u,
    })
}

/// What to turn, where it is known well enough which way.
fn proposed(known: &Known, now: &PlateauBalance, aim: &Aim) -> Option<Proposal> {
    match now.verdict {
        // Either more of the same idle tells, or the sensors may differ by more than the sides do.
        Verdict::NotSettled if now.low_kpa < 0.0 && now.high_kpa > 0.0 => None,
        Verdict::InTolerance if aim.is_well_met(known.speed_rpm()) => Some(Proposal::leave(known)),
        _ => Some(proposal::best(known, aim)),
    }
}
