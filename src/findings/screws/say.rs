//! The screws in words.

use super::proposal::{Aim, Proposal};
use crate::findings::Sides;
use crate::findings::Verdict;
use crate::findings::balance::PlateauBalance;

/// What the sentence is made of.
pub(super) struct Standing<'a> {
    /// A screw was turned in this log.
    pub turned: bool,
    /// The idle of now; absent where a screw was turned after it.
    pub now: Option<&'a PlateauBalance>,
    /// Changes that taught something.
    pub learned_from: usize,
    /// What to turn.
    pub proposal: Option<&'a Proposal>,
    /// Where the idle should be.
    pub aim: &'a Aim,
    /// The user's names.
    pub sides: &'a Sides,
}

pub(super) fn sentence(standing: &Standing) -> String {
    if standing.now.is_none() {
        return "A screw was turned after the last steady idle: hands off for 15 s, then it can be said what it did."
            .into();
    }
    let Some(proposal) = standing.proposal else {
        let more = standing.now.and_then(|now| now.needs_s);
        return match more {
            Some(s) => format!("Which screw to turn can be said after about {s:.0} s more at this idle."),
            None => "Which screw to turn cannot be said: the sensors may differ by more than the two sides. Swap the hoses for 20 s first.".into(),
        };
    };
    let Some(turns) = turns(&proposal.turns, standing.sides) else {
        let in_tolerance = standing.now.is_some_and(|now| now.verdict == Verdict::InTolerance);
        let on = standing.aim.target_rpm.filter(|target| {
            (proposal.expected.speed_rpm.value - target).abs() <= standing.aim.on_target_rpm
        });
        return match (in_tolerance, on) {
            (true, Some(_)) => {
                "Leave both screws alone: in tolerance, and the idle is on its target.".into()
            }
            (true, None) => "Leave both screws alone: in tolerance.".into(),
            (false, _) => {
                "Leave both screws alone: a sixth of a turn would not bring it closer.".into()
            }
        };
    };
    let first = capital(&turns);
    let speed = proposal.expected.speed_rpm;
    let then = format!("then an idle of {:.0} to {:.0} rev/min is expected", speed.low, speed.high);
    match standing.learned_from {
        0 if standing.turned => format!("{first}, then hands off for 15 s and log again."),
        0 => format!(
            "First try: {turns}, mark it ('{}') and go on logging for 15 s; it teaches what a turn does on this engine.",
            marks(&proposal.turns)
        ),
        _ => format!("{first}; {then}."),
    }
}

/// The marks of turns, as they are typed.
fn marks(turns: &[f64; 2]) -> String {
    let of = |side: usize| {
        let rounded = (turns[side] * 1e4).round() / 1e4;
        (turns[side] != 0.0).then(|| format!("screw {} {rounded:+}", side + 1))
    };
    [of(0), of(1)].into_iter().flatten().collect::<Vec<_>>().join("', '")
}

/// `close Front by 1/6 turn, open Rear by 1/3 turn`; `None` for no turn at all.
pub(super) fn turns(turns: &[f64; 2], sides: &Sides) -> Option<String> {
    let of = |turns: f64, name: &str| {
        let way = if turns > 0.0 { "open" } else { "close" };
        Some(format!("{way} {name} by {} turn", fraction(turns)?))
    };
    let words: Vec<String> =
        [of(turns[0], &sides.one), of(turns[1], &sides.two)].into_iter().flatten().collect();
    (!words.is_empty()).then(|| words.join(", "))
}

/// Sixths up to a half.
fn fraction(turns: f64) -> Option<&'static str> {
    match (turns.abs() * 6.0).round() as u32 {
        0 => None,
        1 => Some("1/6"),
        2 => Some("1/3"),
        _ => Some("1/2"),
    }
}

fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
