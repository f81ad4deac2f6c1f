//! A leak hunt, in words.

use super::cautions;
use super::facts::{LogFacts, minds};
use super::layout::{Align, Table};
use super::page::{Page, Tone, fixed};
use crate::findings::Sides;
use crate::findings::hunt::{Hunt, HuntVerdict, Suspect};

/// The whole report: verdict, ranking, what it means, remarks, the uncertainty budget of the holes
/// where it is asked for, cautions.
pub fn write(page: &mut Page, log: &LogFacts, finding: &Hunt, sides: &Sides, with_budget: bool) {
    let remarks = log.remarks_with(&finding.remarks);
    page.heading(&finding.say, tone(finding.verdict));
    minds(page, &remarks);
    if !finding.suspects.is_empty() {
        ranking(page, finding, sides);
        meaning(page, finding);
    }
    log.write(page, &remarks);
    if with_budget {
        finding.suspects.iter().for_each(|suspect| budget(page, suspect));
    }
    cautions::write(page, &cautions::for_hunt());
}

/// How a verdict is coloured.
pub fn tone(verdict: HuntVerdict) -> Tone {
    match verdict {
        HuntVerdict::Leaks => Tone::Bad,
        HuntVerdict::NotSettled => Tone::Open,
        HuntVerdict::Sound => Tone::Good,
    }
}

/// A verdict in words.
pub fn words(verdict: HuntVerdict) -> &'static str {
    match verdict {
        HuntVerdict::Leaks => "leaks",
        HuntVerdict::Sound => "sound",
        HuntVerdict::NotSettled => "not settled",
    }
}

fn ranking(page: &mut Page, finding: &Hunt, sides: &Sides) {
    let ends: [&str; 3] = ["low", "value", "high"];
    let mut table = Table::default()
        .group("suspect", Align::Left, &[""])
        .group("verdict", Align::Left, &[""])
        .group("idle, rev/min", Align::Right, &ends)
        .group("trials", Align::Right, &[""])
        .group("chance", Align::Right, &[""]);
    let number = |value: Option<f64>, decimals| value.map(|value| fixed(value, decimals));
    for s in &finding.suspects {
        let mut row = vec![Some(s.name.clone()), Some(words(s.verdict).to_string())];
        row.extend([s.low_rpm, s.effect_rpm, s.high_rpm].map(|v| number(v, 0)));
        row.extend([Some(s.trials.to_string()), s.p_adjusted.map(chance)]);
        table.row(row);
    }
    page.table(&table);
    let mut table = Table::default()
        .group("suspect", Align::Left, &[""])
        .group("air 1, %", Align::Right, &ends)
        .group("air 2, %", Align::Right, &ends);
    for s in &finding.suspects {
        let mut row = vec![Some(s.name.clone())];
        let one = [s.low_air1_percent, s.effect_air1_percent, s.high_air1_percent];
        let two = [s.low_air2_percent, s.effect_air2_percent, s.high_air2_percent];
        row.extend(one.into_iter().chain(two).map(|v| number(v, 1)));
        table.row(row);
    }
    page.gap();
    page.table(&table);
    page.gap();
    page.paragraph(&format!(
        "Idle and air: what sealing the suspect changes, with 95 % confidence between low and high. Air 1 \
         is the air that the tract of {} draws, from speed and vacuum; air 2 that of {}. Chance: the \
         probability that any of so many tight suspects would look so much like a leak.",
        sides.one, sides.two
    ));
}

pub(super) fn chance(p: f64) -> String {
    if p < 0.001 { "below 0.001".into() } else { fixed(p, 3) }
}

fn meaning(page: &mut Page, finding: &Hunt) {
    page.heading("What it means", Tone::Plain);
    page.item(
        "A leak past a throttle takes air away when it is sealed, at any mixture and whatever the idle \
         does; a fan or a hunting idle does not.",
    );
    page.item(
        "A leak before the throttles (crankcase, breather, carburettor) lets the idle rise when it is \
         sealed. On an engine set rich it does not: set the mixture first.",
    );
    if let (Some(rpm), Some(air)) = (finding.limit_rpm, finding.limit_air_percent) {
        let hole = match finding.jet.as_ref().is_some_and(|jet| jet.shows) {
            true => ", that of a hole of 1 mm",
            false => "",
        };
        page.item(&format!(
            "Sound: no change beyond {} rev/min and {} % of a tract's air{hole}.",
            fixed(rpm, 0),
            fixed(air, 1)
        ));
    }
    if let Some(jet) = &finding.jet {
        page.item(&format!(
            "The jet of {} mm lets in {} % more air (between {} and {}).",
            jet.mm,
            fixed(jet.effect_air_percent, 1),
            fixed(jet.low_air_percent, 1),
            fixed(jet.high_air_percent, 1)
        ));
    }
    for s in &finding.suspects {
        let vacuum = |value: Option<f64>, low: Option<f64>, high: Option<f64>, side: u8| {
            let (value, low, high) = (value?, low?, high?);
            (low > 0.0 || high < 0.0).then(|| {
                let word = if value > 0.0 { "rises" } else { "falls" };
                let [small, large] = if value > 0.0 { [low, high] } else { [-high, -low] }
                    .map(|kpa| page.number(kpa));
                format!(
                    "vacuum {side} {word} by {} (between {small} and {large})",
                    page.pressure(value.abs())
                )
            })
        };
        let one = vacuum(s.effect_vac1_kpa, s.low_vac1_kpa, s.high_vac1_kpa, 1);
        let two = vacuum(s.effect_vac2_kpa, s.low_vac2_kpa, s.high_vac2_kpa, 2);
        let both: Vec<String> = one.into_iter().chain(two).collect();
        if s.verdict == HuntVerdict::Leaks && !both.is_empty() {
            page.item(&format!("With {} sealed {}.", s.name, both.join(", ")));
        }
    }
    let bounded = |s: &&Suspect| s.verdict != HuntVerdict::Leaks;
    let holes: Vec<String> = finding
        .suspects
        .iter()
        .filter(bounded)
        .filter_map(|s| Some(format!("{} {} mm", s.name, fixed(s.hole_high_mm?, 1))))
        .collect();
    if !holes.is_empty() {
        page.item(&format!("Largest hole into a tract that there may be: {}.", holes.join(", ")));
    }
}

/// What the uncertainty of a hole consists of; nothing where there is none.
fn budget(page: &mut Page, suspect: &Suspect) {
    if suspect.hole_budget.is_empty() {
        return;
    }
    let title = format!("{}: what the uncertainty of the hole consists of", suspect.name);
    page.heading(&title, Tone::Plain);
    let mut table = Table::default().group("component", Align::Left, &[""]).group(
        "standard uncertainty",
        Align::Right,
        &["% of diameter"],
    );
    for row in &suspect.hole_budget {
        table.row(vec![Some(row.name.to_string()), Some(fixed(row.u_percent, 2))]);
    }
    let together = suspect.hole_budget.iter().fold(0.0, |sum: f64, row| sum.hypot(row.u_percent));
    table.row(vec![Some("together".into()), Some(fixed(together, 2))]);
    page.table(&table);
}
