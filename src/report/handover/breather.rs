//! The section on the closed breather.

use super::table::{breather as verdict, cell, interval, interval_heads, number, shown};
use super::{Found, Handover, paper};
use crate::findings::breather::Breather;
use maud::{Markup, html};

/// The section.
pub fn section(handover: &Handover) -> Markup {
    let pair = &handover.breather;
    let found: Vec<(&str, &Found<Breather>)> = pair.each().collect();
    let body = if found.is_empty() {
        html! { p { "Not measured." } }
    } else {
        html! {
            p.method { "With the oil filler cap off a sealed breather draws its air through the open filler, \
                and the idle drops; one that leaks already, or is blocked, hardly changes it." }
            (table(&found))
            @for (name, found) in &found { (paper::minds(name, found.log, &found.finding.remarks, handover.unit)) }
            @for (name, found) in &found {
                p { strong { (paper::capital(name)) ":" } " " (shown(&found.finding.say)) }
            }
            div.beside { @for chart in &handover.charts.breather { (paper::figure(chart)) } }
            @if let Some(latest) = pair.latest() { (paper::causes(&latest.finding.causes)) }
        }
    };
    paper::section("breather", "Closed breather", body)
}

fn table(found: &[(&str, &Found<Breather>)]) -> Markup {
    html! {
        table {
            caption { "Idle drop with the cap off, rev/min, with 95 % confidence between low and high" }
            thead {
                tr {
                    th scope="col" { "work" }
                    th.num scope="col" { "idle" }
                    th.num scope="col" { "openings" }
                    (interval_heads())
                    th.num scope="col" { "counts from" }
                    th scope="col" { "verdict" }
                }
            }
            tbody { @for (name, found) in found { (row(name, &found.finding)) } }
        }
    }
}

fn row(name: &str, finding: &Breather) -> Markup {
    let ends = (finding.low_rpm, finding.drop_rpm, finding.high_rpm);
    html! {
        tr {
            th scope="row" { (name) }
            (cell(finding.idle_rpm.map(|rpm| number(rpm, 0))))
            td.num { (finding.openings.len()) }
            @match ends {
                (Some(low), Some(drop), Some(high)) => (interval([low, drop, high].map(|rpm| number(rpm, 0)))),
                _ => td.num colspan="3" { "not measured" },
            }
            td.num { (number(finding.threshold_rpm, 0)) }
            td { (verdict(finding.verdict)) }
        }
    }
}
