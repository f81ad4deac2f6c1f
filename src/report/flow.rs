//! What the airflow meters say of the balance, in words.

use super::balance::{LONGEST_NAME, freedom, percent, probability, words};
use super::layout::{Align, Table, shortened};
use super::page::{Page, Tone, fixed};
use crate::findings::balance::{Balance, Open};
use crate::findings::flow::{Flow, FlowPlateau, FlowZeroMethod, MatchMethod};
use crate::findings::{Conditions, Sides, Verdict};
use crate::units::Kpa;

/// The section on the airflow meters: their verdict where the vacuums have one too, table, what it means.
pub fn section(page: &mut Page, flow: &Flow, vacuum: &Balance, conditions: &Conditions) {
    if flow.say == vacuum.say && flow.plateaus.is_empty() {
        return;
    }
    page.heading("By the airflow meters", Tone::Plain);
    if flow.say != vacuum.say {
        page.paragraph(&flow.say);
        page.gap();
    }
    if flow.plateaus.is_empty() {
        return;
    }
    table(page, flow, conditions);
    for plateau in &flow.plateaus {
        page.item(&air(plateau, conditions));
        if let Some(probable) = plateau.probability_in_tolerance {
            page.item(&format!(
                "{}: the probability that the flows are alike within the tolerance is {}.",
                at(plateau),
                probability(probable)
            ));
        }
        // Of one plateau the verdict sentence speaks already.
        if flow.plateaus.len() > 1 {
            page.item(&next(plateau, &conditions.sides));
        }
    }
    page.item(zero(flow.zero));
    matching(page, flow, conditions);
}

fn table(page: &mut Page, flow: &Flow, conditions: &Conditions) {
    let Sides { one, two } = &conditions.sides;
    let [short_one, short_two] = shortened([one, two], LONGEST_NAME);
    let unit = page.unit.symbol();
    let mut table = Table::default()
        .group("time, s", Align::Right, &["from", "to"])
        .group("speed", Align::Right, &["rev/min"])
        .group(&short_one, Align::Right, &[unit])
        .group(&short_two, Align::Right, &[unit])
        .group("flow, ratio", Align::Right, &["low", "value", "high"])
        .group("verdict", Align::Left, &[""]);
    for plateau in &flow.plateaus {
        // A meter reads pascals where a manifold has kilopascals.
        let small = |kpa| Some(fixed(page.unit.from_kpa(Kpa(kpa)), page.unit.decimals() + 2));
        let ratio = |value| Some(fixed(value, 3));
        table.row(vec![
            Some(format!("{:.1}", plateau.from_s)),
            Some(format!("{:.1}", plateau.to_s)),
            plateau.rpm.map(|rpm| format!("{rpm:.0}")),
            small(plateau.flow1_kpa),
            small(plateau.flow2_kpa),
            ratio(plateau.low),
            ratio(plateau.flow1_over_flow2),
            ratio(plateau.high),
            Some(words(plateau.verdict).to_string()),
        ]);
    }
    page.table(&table);
    page.gap();
    page.paragraph(&format!(
        "{one} and {two}: steady differential pressure of the mean flow, the meters' zero taken out. \
         Ratio: flow of {one} by that of {two}, which goes with the root of the differential pressure; \
         it lies between low and high with 95 % confidence. Tolerance: {} % either way.",
        fixed(flow.tolerance_percent, 1),
    ));
    page.gap();
}

fn at(plateau: &FlowPlateau) -> String {
    match plateau.rpm {
        Some(rpm) => format!("At {rpm:.0} rev/min"),
        None => format!("From {:.1} s to {:.1} s", plateau.from_s, plateau.to_s),
    }
}

/// The side that passes more is the subject, as in the verdict sentence.
fn air(plateau: &FlowPlateau, conditions: &Conditions) -> String {
    let Sides { one, two } = &conditions.sides;
    let (more, less, value, low, high) = if plateau.flow1_over_flow2 < 1.0 {
        let inverse = |ratio: f64| 1.0 / ratio;
        let (low, high) = (inverse(plateau.high), inverse(plateau.low));
        (two, one, inverse(plateau.flow1_over_flow2), low, high)
    } else {
        (one, two, plateau.flow1_over_flow2, plateau.low, plateau.high)
    };
    format!(
        "{} {more} passes {} air than {less} (with 95 % confidence between {} and {}).",
        at(plateau),
        percent(value),
        percent(low),
        percent(high)
    )
}

fn next(plateau: &FlowPlateau, sides: &Sides) -> String {
    let what = match (plateau.verdict, plateau.needs_s, plateau.open) {
        (Verdict::NotSettled, Some(seconds), _) => {
            format!("about {:.0} s more of log would settle it", seconds.ceil())
        }
        (Verdict::NotSettled, None, _) => "a longer log alone would not settle it".into(),
        (_, _, Open::Carb1) => format!("open {}", sides.one),
        (_, _, Open::Carb2) => format!("open {}", sides.two),
        (_, _, Open::None) => "nothing to turn".into(),
    };
    format!("{}: {what}.", at(plateau))
}

fn zero(method: FlowZeroMethod) -> &'static str {
    match method {
        FlowZeroMethod::EngineOff => {
            "Zero of the airflow meters: from the stretch with the engine off. Taken out."
        }
        FlowZeroMethod::None => {
            "Zero of the airflow meters: none in this log, so the limit of a meter's zero stands in. Log \
             five seconds with the engine off and the meters on."
        }
    }
}

fn matching(page: &mut Page, flow: &Flow, conditions: &Conditions) {
    for plateau in &flow.plateaus {
        if let (MatchMethod::Swap, Some(meters)) = (plateau.matching, plateau.meter1_over_meter2) {
            page.item(&format!(
                "{}: the two meters changed places; at equal flow meter 1 shows {} than meter 2, which drops out.",
                at(plateau),
                percent(meters)
            ));
        }
    }
    if flow.plateaus.iter().any(|plateau| plateau.matching == MatchMethod::None) {
        page.item(&format!(
            "Matching of the meters: each may be wrong by up to {} % where they did not change places. Log \
             20 s, swap the two meters (mark 'meters swapped'), log 20 s more.",
            fixed(100.0 * conditions.flow_meter_limit, 1)
        ));
    }
}

/// What the uncertainty of each ratio consists of.
pub fn budget(page: &mut Page, flow: &Flow) {
    for plateau in &flow.plateaus {
        let title = format!("{}: what the uncertainty of the flow ratio consists of", at(plateau));
        page.heading(&title, Tone::Plain);
        let mut table = Table::default()
            .group("component", Align::Left, &[""])
            .group("standard uncertainty", Align::Right, &["%"])
            .group("degrees of freedom", Align::Right, &[""]);
        for row in &plateau.budget {
            let u = fixed(row.u_percent, 2);
            table.row(vec![Some(row.name.to_string()), Some(u), freedom(row.dof)]);
        }
        let together = fixed(plateau.u_percent, 2);
        table.row(vec![Some("together".into()), Some(together), freedom(plateau.dof)]);
        page.table(&table);
    }
}
