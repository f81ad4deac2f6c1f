//! What the uncertainties consist of, folded at the end.

use super::table::{name, number};
use super::{Found, Handover};
use crate::findings::balance::{Balance, PlateauBalance};
use crate::findings::breather::Breather;
use crate::findings::hunt::Suspect;
use crate::units::Kpa;
use maud::{Markup, html};

/// A table of standard uncertainties: a column a figure, a row a component.
struct Budget {
    caption: String,
    columns: Vec<Column>,
    decimals: usize,
}

/// The components of one figure.
struct Column {
    heading: [String; 2],
    rows: Vec<(&'static str, f64)>,
    together: f64,
}

impl Budget {
    fn draw(&self) -> Markup {
        let mut names: Vec<&'static str> = Vec::new();
        for (name, _) in self.columns.iter().flat_map(|column| &column.rows) {
            if !names.contains(name) {
                names.push(name);
            }
        }
        let of = |column: &Column, name: &str| {
            column.rows.iter().find(|(own, _)| *own == name).map(|(_, u)| number(*u, self.decimals))
        };
        html! {
            @if !self.columns.is_empty() {
                table {
                    caption { (self.caption) }
                    thead {
                        tr {
                            th scope="col" { "component" }
                            @for column in &self.columns {
                                th.num scope="col" { (name(&column.heading[0])) br; (column.heading[1]) }
                            }
                        }
                    }
                    tbody {
                        @for name in names {
                            tr {
                                th scope="row" { (name) }
                                @for column in &self.columns { td.num { (of(column, name).unwrap_or_default()) } }
                            }
                        }
                        tr.together {
                            th scope="row" { "together" }
                            @for column in &self.columns { td.num { (number(column.together, self.decimals)) } }
                        }
                    }
                }
            }
        }
    }
}

/// The whole section, folded on the screen and open on paper.
pub fn section(handover: &Handover) -> Markup {
    let budgets = [difference(handover), air(handover), drop(handover), holes(handover)];
    html! {
        section id="uncertainty" {
            details {
                summary { "What the uncertainties consist of" }
                p.method { "Standard uncertainties after JCGM 100:2008. Together: the root of the sum of their squares; \
                    the intervals on this page hold 95 % of what the figure may be." }
                @for budget in &budgets { (budget.draw()) }
                @if budgets.iter().all(|budget| budget.columns.is_empty()) { p { "No figure with an interval was measured." } }
            }
        }
        "\n"
    }
}

fn plateaus<'h>(
    handover: &'h Handover<'h>,
) -> impl Iterator<Item = (&'static str, &'h PlateauBalance)> {
    let all = handover.balances().into_iter().flat_map(|balances| balances.pair.each());
    all.flat_map(|(name, found): (_, &Found<Balance>)| {
        found.finding.plateaus.iter().map(move |plateau| (name, plateau))
    })
}

fn heading(name: &str, plateau: &PlateauBalance) -> [String; 2] {
    let at = plateau
        .rpm
        .map_or_else(|| format!("from {:.0} s", plateau.from_s), |rpm| format!("{rpm:.0}"));
    [name.to_string(), at]
}

fn difference(handover: &Handover) -> Budget {
    let unit = handover.unit;
    let shown = |kpa: f64| unit.from_kpa(Kpa(kpa));
    let columns = plateaus(handover).map(|(name, plateau)| Column {
        heading: heading(name, plateau),
        rows: plateau.budget.iter().map(|row| (row.name, shown(row.u_kpa))).collect(),
        together: shown(plateau.u_kpa),
    });
    Budget {
        caption: format!("Difference, {}, by speed in rev/min", unit.symbol()),
        columns: columns.collect(),
        // One decimal more than a reading: a small component is not none.
        decimals: unit.decimals() + 1,
    }
}

fn air(handover: &Handover) -> Budget {
    let columns =
        plateaus(handover).filter(|(_, p)| !p.air_budget.is_empty()).map(|(name, plateau)| {
            let rows: Vec<(&'static str, f64)> =
                plateau.air_budget.iter().map(|row| (row.name, 100.0 * row.u_ratio)).collect();
            let together = rows.iter().fold(0.0, |sum: f64, (_, u)| sum.hypot(*u));
            Column { heading: heading(name, plateau), rows, together }
        });
    let caption = "Share of air, %, by speed in rev/min".into();
    Budget { caption, columns: columns.collect(), decimals: 2 }
}

fn drop(handover: &Handover) -> Budget {
    let column = |(name, found): (&str, &Found<Breather>)| {
        let rows = found.finding.budget.iter().map(|row| (row.name, row.u_rpm)).collect();
        let heading = [name.to_string(), String::new()];
        Some(Column { heading, rows, together: found.finding.u_rpm? })
    };
    let columns = handover.breather.each().filter_map(column).collect();
    Budget { caption: "Idle drop with the cap off, rev/min".into(), columns, decimals: 2 }
}

fn holes(handover: &Handover) -> Budget {
    let column = |suspect: &Suspect| {
        let rows: Vec<(&'static str, f64)> =
            suspect.hole_budget.iter().map(|row| (row.name, row.u_percent)).collect();
        let together = rows.iter().fold(0.0, |sum: f64, (_, u)| sum.hypot(*u));
        (!rows.is_empty()).then(|| Column {
            heading: [suspect.name.clone(), String::new()],
            rows,
            together,
        })
    };
    let suspects = handover.hunt.iter().flat_map(|found| &found.finding.suspects);
    let columns = suspects.filter_map(column).collect();
    Budget { caption: "Diameter of a hole, % of it".into(), columns, decimals: 2 }
}
