//! The columns of `breather` over many logs.

use super::{Column, Heading, Kind, Of, Row, cells, column, headings_of, number, of_the_log, text};
use super::{whole, word};
use crate::findings::breather::Breather;

const DROP: [Column<Breather>; 18] = [
    column("verdict", Kind::Text, |b| word(b.verdict)),
    column("say", Kind::Text, |b| text(&b.say)),
    column("idle_rpm", Kind::Number, |b| number(b.idle_rpm)),
    column("drop_rpm", Kind::Number, |b| number(b.drop_rpm)),
    column("low_rpm", Kind::Number, |b| number(b.low_rpm)),
    column("high_rpm", Kind::Number, |b| number(b.high_rpm)),
    column("u_rpm", Kind::Number, |b| number(b.u_rpm)),
    column("dof", Kind::Number, |b| number(b.dof)),
    column("drop_percent", Kind::Number, |b| number(b.drop_percent)),
    column("tau_s", Kind::Number, |b| number(b.tau_s)),
    column("threshold_rpm", Kind::Number, |b| number(Some(b.threshold_rpm))),
    column("vacuum_change_kpa", Kind::Number, |b| number(b.vacuum_change_kpa)),
    column("openings", Kind::Count, |b| whole(Some(b.openings.len() as u64))),
    column("other_loads", Kind::Count, |b| whole(Some(b.other_loads_s.len() as u64))),
    column("crank_closed_kpa", Kind::Number, |b| number(b.crank_closed_kpa)),
    column("crank_open_kpa", Kind::Number, |b| number(b.crank_open_kpa)),
    column("probability_sealed", Kind::Number, |b| number(b.probability_sealed)),
    column("needs_openings", Kind::Count, |b| whole(b.needs_openings.map(u64::from))),
];

/// The columns, in order.
pub fn headings() -> Vec<Heading> {
    headings_of(&of_the_log()).chain(headings_of(&DROP)).collect()
}

/// The row of a log.
pub fn row(of: &Of<'_>, breather: &Breather) -> Row {
    let mut row = cells(&of_the_log(), of);
    row.extend(cells(&DROP, breather));
    row
}
