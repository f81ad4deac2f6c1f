//! The stop screws, in words.

use super::page::{Page, Tone, fixed};
use crate::findings::Sides;
use crate::findings::screws::{Limits, PerTurn, Screws};
use crate::units::Kpa;

/// The section of the screws: what to turn, what is expected then, what a turn does.
pub fn section(page: &mut Page, screws: &Screws, sides: &Sides) {
    page.heading("Stop screws", Tone::Plain);
    page.item(&screws.say);
    if let Some(proposal) = screws.proposal.filter(|proposal| proposal.turns != [0.0; 2]) {
        let expected = proposal.expected;
        let difference = pressures(page, &expected.difference_kpa);
        let speed = speeds(&expected.speed_rpm);
        page.item(&format!(
            "Expected then, with 95 % confidence: difference {difference}, idle {speed} rev/min. \
             It counts a twelfth of a turn either way for the hand."
        ));
    }
    if screws.learned_from == 0 {
        return;
    }
    for turn in &screws.per_turn {
        page.item(&response(page, turn, sides));
    }
    let changes = if screws.learned_from == 1 { "change" } else { "changes" };
    page.item(&format!(
        "Learned from {} {changes} of the screws in this log.",
        screws.learned_from
    ));
}

fn response(page: &Page, turn: &PerTurn, sides: &Sides) -> String {
    let name = if turn.side == 1 { &sides.one } else { &sides.two };
    format!(
        "A whole turn open of {name}: the difference moves by {}, the idle by {} rev/min.",
        pressures(page, &turn.difference_kpa),
        speeds(&turn.speed_rpm),
    )
}

fn pressures(page: &Page, limits: &Limits) -> String {
    let number =
        |kpa: f64| fixed(page.unit.from_kpa(Kpa(kpa)), page.unit.decimals().saturating_sub(1));
    let (low, value, high) = (number(limits.low), number(limits.value), number(limits.high));
    format!("{value} {} ({low} to {high})", page.unit.symbol())
}

fn speeds(limits: &Limits) -> String {
    format!("{:.0} ({:.0} to {:.0})", limits.value, limits.low, limits.high)
}
