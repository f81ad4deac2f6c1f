//! The columns of `balance` over many logs.

use super::{Cell, Column, Heading, Kind, Of, Row, cells, column, headings_of, number, of_the_log};
use super::{text, whole, word};
use crate::findings::Sides;
use crate::findings::advice::is_idle;
use crate::findings::balance::{Balance, PlateauBalance};

/// A finding with what the sides are called.
struct Found<'a> {
    balance: &'a Balance,
    sides: &'a Sides,
}

fn of_the_whole<'a>() -> [Column<Found<'a>>; 9] {
    [
        column("verdict", Kind::Text, |f| word(f.balance.verdict)),
        column("say", Kind::Text, |f| text(&f.balance.say)),
        column("carb1", Kind::Text, |f| text(&f.sides.one)),
        column("carb2", Kind::Text, |f| text(&f.sides.two)),
        column("tolerance_kpa", Kind::Number, |f| number(Some(f.balance.tolerance_kpa))),
        column("zero_method", Kind::Text, |f| word(f.balance.zero.method)),
        column("zero_offset_kpa", Kind::Number, |f| number(Some(f.balance.zero.offset_kpa))),
        column("zero_u_kpa", Kind::Number, |f| number(Some(f.balance.zero.u_kpa))),
        column("plateaus", Kind::Count, |f| whole(Some(f.balance.plateaus.len() as u64))),
    ]
}

/// A plateau with its number, from 1.
type Numbered<'a> = (usize, &'a PlateauBalance);

fn of_a_plateau<'a>() -> [Column<Numbered<'a>>; 19] {
    [
        column("plateau", Kind::Count, |(n, _)| whole(Some(*n as u64))),
        column("from_s", Kind::Number, |(_, p)| number(Some(p.from_s))),
        column("to_s", Kind::Number, |(_, p)| number(Some(p.to_s))),
        column("rpm", Kind::Number, |(_, p)| number(p.rpm)),
        column("cycles", Kind::Count, |(_, p)| whole(Some(p.cycles))),
        column("vac1_kpa", Kind::Number, |(_, p)| number(Some(p.vac1_kpa))),
        column("vac2_kpa", Kind::Number, |(_, p)| number(Some(p.vac2_kpa))),
        column("difference_kpa", Kind::Number, |(_, p)| number(Some(p.difference_kpa))),
        column("low_kpa", Kind::Number, |(_, p)| number(Some(p.low_kpa))),
        column("high_kpa", Kind::Number, |(_, p)| number(Some(p.high_kpa))),
        column("u_kpa", Kind::Number, |(_, p)| number(Some(p.u_kpa))),
        column("dof", Kind::Number, |(_, p)| number(p.dof)),
        column("air1_over_air2", Kind::Number, |(_, p)| number(Some(p.air1_over_air2))),
        column("air_low", Kind::Number, |(_, p)| number(Some(p.air_low))),
        column("air_high", Kind::Number, |(_, p)| number(Some(p.air_high))),
        column("probability_in_tolerance", Kind::Number, |(_, p)| {
            number(p.probability_in_tolerance)
        }),
        column("plateau_verdict", Kind::Text, |(_, p)| word(p.verdict)),
        column("open", Kind::Text, |(_, p)| word(p.open)),
        column("needs_s", Kind::Number, |(_, p)| number(p.needs_s)),
    ]
}

/// The columns, in order.
pub fn headings() -> Vec<Heading> {
    let mut headings: Vec<Heading> = headings_of(&of_the_log()).collect();
    headings.extend(headings_of(&of_the_whole()));
    headings.extend(headings_of(&of_a_plateau()));
    headings
}

/// The row of a log, with its idle: the longest plateau at an idle speed. A log without one has
/// none of the columns of a plateau.
pub fn row(of: &Of<'_>, balance: &Balance, sides: &Sides) -> Row {
    made(of, &Found { balance, sides }, idle(balance))
}

/// A row for each plateau of a log; one without those columns where it has none.
pub fn each_plateau(of: &Of<'_>, balance: &Balance, sides: &Sides) -> Vec<Row> {
    let found = Found { balance, sides };
    if balance.plateaus.is_empty() {
        return vec![made(of, &found, None)];
    }
    numbered(balance).map(|plateau| made(of, &found, Some(plateau))).collect()
}

/// The plateau that stands for the idle of a log, with its number: of the engine as it was left.
pub fn idle(balance: &Balance) -> Option<(usize, &PlateauBalance)> {
    let now = numbered(balance).skip(balance.superseded);
    now.filter(|(_, p)| is_idle(p)).max_by_key(|(n, p)| (p.cycles, usize::MAX - n))
}

fn numbered(balance: &Balance) -> impl Iterator<Item = Numbered<'_>> {
    balance.plateaus.iter().enumerate().map(|(k, plateau)| (k + 1, plateau))
}

fn made(of: &Of<'_>, found: &Found<'_>, plateau: Option<Numbered<'_>>) -> Row {
    let mut row = cells(&of_the_log(), of);
    row.extend(cells(&of_the_whole(), found));
    row.extend(match &plateau {
        Some(plateau) => cells(&of_a_plateau(), plateau),
        None => vec![Cell::Nothing; of_a_plateau().len()],
    });
    row
}
