//! The section on the leak hunt, and what was turned.

use super::table::{hunt as verdict, interval, interval_heads, name, number, shown};
use super::{Found, Handover, Turn, paper};
use crate::findings::hunt::{Hunt, Suspect};
use crate::report::hunt::chance;
use maud::{Markup, html};

/// The section.
pub fn section(handover: &Handover) -> Markup {
    let body = match &handover.hunt {
        None => html! { p { "No hunt was made." } },
        Some(found) => measured(handover, found),
    };
    paper::section("hunt", "Leak hunt", body)
}

fn measured(handover: &Handover, found: &Found<Hunt>) -> Markup {
    let finding = &found.finding;
    html! {
        p.method { "Each suspect was sealed and released in turn. A leak into a tract takes air away when it is \
            sealed; one before the throttles lets the idle rise." }
        @if !finding.suspects.is_empty() { (table(&finding.suspects)) }
        (paper::minds("hunt", found.log, &finding.remarks, handover.unit))
        @match &handover.charts.hunt {
            Some(chart) => (paper::figure(chart)),
            None => p { (shown(&finding.say)) },
        }
    }
}

/// The finding with its names as the page shows them, for the chart draws words as they are.
pub fn fit(finding: &Hunt) -> Hunt {
    let mut finding = finding.clone();
    finding.say = shown(&finding.say);
    for suspect in &mut finding.suspects {
        suspect.name = name(&suspect.name);
    }
    finding
}

fn table(suspects: &[Suspect]) -> Markup {
    let rpm = |s: &Suspect| Some([s.low_rpm?, s.effect_rpm?, s.high_rpm?]);
    let hole = |s: &Suspect| match (s.hole_low_mm, s.hole_mm, s.hole_high_mm) {
        (Some(low), Some(mm), Some(high)) => {
            format!("{} ({} to {})", number(mm, 1), number(low, 1), number(high, 1))
        }
        (_, _, Some(high)) => format!("at most {}", number(high, 1)),
        _ => String::new(),
    };
    let holes = suspects.iter().any(|s| !hole(s).is_empty());
    html! {
        table {
            caption { "Change of the idle when the suspect is sealed, rev/min, with 95 % confidence between \
                low and high; chance: the probability that any of so many tight suspects would look so \
                much like a leak" }
            thead {
                tr {
                    th scope="col" { "suspect" }
                    (interval_heads())
                    th.num scope="col" { "trials" }
                    th.num scope="col" { "chance" }
                    @if holes { th scope="col" { "hole, mm" } }
                    th scope="col" { "verdict" }
                }
            }
            tbody {
                @for s in suspects {
                    tr {
                        th scope="row" { bdi { (name(&s.name)) } }
                        @match rpm(s) {
                            Some(ends) => (interval(ends.map(|rpm| number(rpm, 0)))),
                            None => td.num colspan="3" { "not measured" },
                        }
                        td.num { (s.trials) }
                        td.num { @if let Some(p) = s.p_adjusted { (chance(p)) } }
                        @if holes { td { (hole(s)) } }
                        td { (verdict(s.verdict)) }
                    }
                }
            }
        }
    }
}

/// What was turned, as the marks in the logs say, and what the last log makes of it.
pub fn turned(handover: &Handover) -> Markup {
    let turns: &[Turn] = &handover.turned;
    let latest = handover.balance.pair.latest().and_then(|found| found.finding.screws.as_ref());
    let learned = latest.filter(|screws| screws.learned_from > 0);
    let body = html! {
        @if turns.is_empty() { p { "No turn of a stop screw is marked in the logs." } }
        @else {
            table {
                caption { "Stop screws, as marked in the logs" }
                thead {
                    tr {
                        th scope="col" { "log" }
                        th.num scope="col" { "time, s" }
                        th scope="col" { "screw of" }
                        th.num scope="col" { "turns" }
                        th scope="col" { "which way" }
                    }
                }
                tbody {
                    @for turn in turns {
                        tr {
                            th scope="row" { bdi { (name(&turn.log)) } }
                            td.num { (number(turn.at_s, 1)) }
                            td { bdi { (shown(&turn.name)) } }
                            td.num { (number(turn.turns.abs(), 2)) }
                            td { (if turn.turns < 0.0 { "shut" } else { "open" }) }
                        }
                    }
                }
            }
        }
        @if let Some(screws) = learned { p { (shown(&screws.say)) } }
    };
    paper::section("turned", "What was turned", body)
}
