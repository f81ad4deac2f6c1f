//! The sections on the balance of the carburettors.

use super::table::{balance as verdict, cell, interval, interval_heads, number, pressure, shown};
use super::{Balances, Found, Handover, paper};
use crate::findings::advice::is_idle;
use crate::findings::balance::{Balance, PlateauBalance};
use crate::findings::compare::Change;
use crate::findings::{Sides, Verdict};
use crate::report::balance::zero;
use crate::report::page::{Page, Tone};
use crate::units::PressureUnit;
use maud::{Markup, html};

/// The sections: one, and a second where the work off idle has logs of its own.
pub fn sections(handover: &Handover) -> Markup {
    let [_, off_idle] = handover.balances();
    let first = section(handover, 0, "balance", "Balance of the carburettors");
    let second = match off_idle.pair.latest() {
        Some(_) => section(handover, 1, "off-idle", "Balance off idle"),
        None => html! {},
    };
    html! { (first) (second) }
}

fn section(handover: &Handover, which: usize, id: &str, title: &str) -> Markup {
    let unit = handover.unit;
    let balances = handover.balances()[which];
    let Some(latest) = balances.pair.latest() else {
        return paper::section(id, title, html! { p { "Not measured." } });
    };
    let charts = &handover.charts.balance[which];
    let sides = &latest.log.conditions.sides;
    let (one, two) = (shown(&sides.one), shown(&sides.two));
    let body = html! {
        p.method {
            "The difference is the vacuum of " bdi { (one) } " less that of " bdi { (two) }
            ", the sensors\u{2019} own difference taken out. The side with less vacuum passes more air. \
            In tolerance is what lies within " (pressure(unit, latest.finding.tolerance_kpa)) " "
            (unit.symbol()) " either way, with its whole interval."
        }
        (table(balances, unit, sides))
        @for (name, found) in balances.pair.each() {
            (paper::minds(name, found.log, &found.finding.remarks, unit))
        }
        @if charts.is_empty() {
            @for (name, found) in balances.pair.each() {
                p { (paper::capital(name)) ": " (shown(&found.finding.say)) }
            }
        }
        @for chart in charts {
            @if let Some(name) = chart.of { h3 { (paper::capital(name)) } }
            (paper::figure(&chart.svg))
        }
        ul {
            @for (name, found) in balances.pair.each() { li { (paper::capital(name)) ": " (zero_words(found, unit)) } }
        }
        (paper::causes(&latest.finding.causes))
    };
    paper::section(id, title, body)
}

fn zero_words(found: &Found<Balance>, unit: PressureUnit) -> String {
    let words = zero(&Page::new(Page::NARROWEST, unit, false), &found.finding.zero);
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// One body of rows for idle, one for what is off idle.
fn table(balances: &Balances, unit: PressureUnit, sides: &Sides) -> Markup {
    let symbol = unit.symbol();
    html! {
        table {
            caption { "Vacuum and difference, " (symbol) ", with 95 % confidence between low and high" }
            thead {
                tr {
                    th scope="col" { "work" }
                    th.num scope="col" { "rev/min" }
                    th.num.name scope="col" { bdi { (shown(&sides.one)) } }
                    th.num.name scope="col" { bdi { (shown(&sides.two)) } }
                    (interval_heads())
                    th scope="col" { "more air" }
                    th scope="col" { "verdict" }
                }
            }
            @for (title, idle) in [("Idle", true), ("Off idle", false)] {
                @let rows = rows(balances, idle);
                @if !rows.is_empty() {
                    tbody {
                        tr.group { th scope="rowgroup" colspan="9" { (title) } }
                        @for row in &rows { (row.cells(unit, sides)) }
                    }
                }
            }
        }
    }
}

/// A row of the table.
enum Row<'a> {
    Plateau(&'static str, &'a PlateauBalance),
    Change(&'a Change),
}

/// The rows of one kind of speed: before, after and the change of each speed that both logs hold; then
/// what one log holds alone.
fn rows<'a>(balances: &'a Balances, idle: bool) -> Vec<Row<'a>> {
    let of = |found: &'a Option<Found<Balance>>| -> Vec<&'a PlateauBalance> {
        let plateaus = found.iter().flat_map(|found| &found.finding.plateaus);
        plateaus.filter(|plateau| is_idle(plateau) == idle).collect()
    };
    let (mut before, mut after) = (of(&balances.pair.before), of(&balances.pair.after));
    let mut rows = Vec::new();
    for change in balances.change.iter().flat_map(|comparison| &comparison.change) {
        let old = before.iter().position(|p| p.difference_kpa == change.before_kpa);
        let new = after.iter().position(|p| p.difference_kpa == change.after_kpa);
        if let (Some(old), Some(new)) = (old, new) {
            rows.push(Row::Plateau("before", before.remove(old)));
            rows.push(Row::Plateau("after", after.remove(new)));
            rows.push(Row::Change(change));
        }
    }
    rows.extend(before.into_iter().map(|plateau| Row::Plateau("before", plateau)));
    rows.extend(after.into_iter().map(|plateau| Row::Plateau("after", plateau)));
    rows
}

impl Row<'_> {
    fn cells(&self, unit: PressureUnit, sides: &Sides) -> Markup {
        let ends = |ends: [f64; 3]| interval(ends.map(|kpa| pressure(unit, kpa)));
        match self {
            Row::Plateau(name, p) => html! {
                tr {
                    th scope="row" { (name) }
                    (cell(p.rpm.map(|rpm| number(rpm, 0))))
                    td.num { (pressure(unit, p.vac1_kpa)) }
                    td.num { (pressure(unit, p.vac2_kpa)) }
                    (ends([p.low_kpa, p.difference_kpa, p.high_kpa]))
                    td { (more_air(p, sides)) }
                    td { (verdict(p.verdict)) }
                }
            },
            Row::Change(change) => html! {
                tr.change {
                    th scope="row" colspan="4" { "change of its size" }
                    (ends([change.low_kpa, size_change(change), change.high_kpa]))
                    td {}
                    td { (change_words(change)) }
                }
            },
        }
    }
}

fn size_change(change: &Change) -> f64 {
    change.after_kpa.abs() - change.before_kpa.abs()
}

fn change_words(change: &Change) -> Markup {
    if change.improved {
        super::table::verdict("better", Tone::Good)
    } else if change.low_kpa > 0.0 {
        super::table::verdict("worse", Tone::Bad)
    } else {
        super::table::verdict("no change proven", Tone::Plain)
    }
}

/// The side that passes more air, and how much more.
fn more_air(plateau: &PlateauBalance, sides: &Sides) -> Markup {
    let ratio = plateau.air1_over_air2;
    let (name, ratio) = if ratio < 1.0 { (&sides.two, 1.0 / ratio) } else { (&sides.one, ratio) };
    let percent = number(100.0 * (ratio - 1.0), 1);
    let sure = plateau.air_low > 1.0 || plateau.air_high < 1.0;
    html! {
        @if sure || plateau.verdict != Verdict::InTolerance { bdi { (shown(name)) } " " (percent) " %" }
        @else { "not proven" }
    }
}
