//! The closed breather, in words.

use super::balance::{causes, freedom, probability};
use super::cautions;
use super::facts::{LogFacts, minds};
use super::layout::{Align, Table};
use super::page::{Page, Tone, fixed};
use crate::findings::breather::{Breather, BreatherVerdict, TimesFrom};

/// The whole report: verdict, table of openings, what it means, remarks, the uncertainty budget
/// where it is asked for, cautions.
pub fn write(page: &mut Page, log: &LogFacts, finding: &Breather, with_budget: bool) {
    body(page, log, finding);
    if with_budget {
        budget(page, finding);
    }
    cautions::write(page, &cautions::for_breather(finding.verdict));
}

/// The report without its cautions.
pub fn body(page: &mut Page, log: &LogFacts, finding: &Breather) {
    let remarks = log.remarks_with(&finding.remarks);
    page.heading(&finding.say, tone(finding.verdict));
    minds(page, &remarks);
    table(page, finding);
    meaning(page, finding);
    causes(page, &finding.causes);
    log.write(page, &remarks);
}

/// How a verdict is coloured.
pub fn tone(verdict: BreatherVerdict) -> Tone {
    match verdict {
        BreatherVerdict::Sealed => Tone::Good,
        BreatherVerdict::NotSettled => Tone::Open,
        BreatherVerdict::NotSealed
        | BreatherVerdict::Blocked
        | BreatherVerdict::NotSealedOrBlocked
        | BreatherVerdict::RevsRise => Tone::Bad,
    }
}

/// A verdict in words.
pub fn words(verdict: BreatherVerdict) -> &'static str {
    match verdict {
        BreatherVerdict::Sealed => "sealed",
        BreatherVerdict::NotSealed => "not sealed",
        BreatherVerdict::Blocked => "blocked",
        BreatherVerdict::NotSealedOrBlocked => "not sealed, or blocked",
        BreatherVerdict::RevsRise => "the revs rise",
        BreatherVerdict::NotSettled => "not settled",
    }
}

fn table(page: &mut Page, finding: &Breather) {
    if finding.openings.is_empty() {
        return;
    }
    let mut table = Table::default()
        .group("opening", Align::Left, &[""])
        .group("cap, s", Align::Right, &["off", "on"])
        .group("drop, rev/min", Align::Right, &["low", "value", "high"])
        .group("times from", Align::Left, &[""]);
    for (index, opening) in finding.openings.iter().enumerate() {
        table.row(vec![
            Some(format!("{}", index + 1)),
            Some(format!("{:.1}", opening.off_s)),
            opening.on_s.map(|on| format!("{on:.1}")),
            Some(fixed(opening.low_rpm, 0)),
            Some(fixed(opening.drop_rpm, 0)),
            Some(fixed(opening.high_rpm, 0)),
            Some(from(opening.from).to_string()),
        ]);
    }
    if let (Some(low), Some(drop), Some(high)) =
        (finding.low_rpm, finding.drop_rpm, finding.high_rpm)
    {
        let whole = |rpm: f64| Some(fixed(rpm, 0));
        table.row(vec![
            Some("together".into()),
            None,
            None,
            whole(low),
            whole(drop),
            whole(high),
            None,
        ]);
    }
    page.table(&table);
    page.gap();
    page.paragraph(
        "Drop: how much the idle slows with the filler cap off (below zero: it speeds up); it \
         lies between low and high with 95 % confidence.",
    );
}

/// What the uncertainty of the drop consists of; nothing where there is no interval.
fn budget(page: &mut Page, finding: &Breather) {
    let Some(together) = finding.u_rpm else { return };
    page.heading("Idle drop: what the uncertainty consists of", Tone::Plain);
    let mut table = Table::default()
        .group("component", Align::Left, &[""])
        .group("standard uncertainty", Align::Right, &["rev/min"])
        .group("degrees of freedom", Align::Right, &[""]);
    // Finer than a drop, which is printed whole: a small component is not none.
    let number = |rpm| Some(fixed(rpm, 2));
    for row in &finding.budget {
        table.row(vec![Some(row.name.to_string()), number(row.u_rpm), freedom(row.dof)]);
    }
    table.row(vec![Some("together".into()), number(together), freedom(finding.dof)]);
    page.table(&table);
}

fn from(times: TimesFrom) -> &'static str {
    match times {
        TimesFrom::Mark => "marks",
        TimesFrom::Data => "the data",
    }
}

fn meaning(page: &mut Page, finding: &Breather) {
    page.heading("What it means", Tone::Plain);
    if let Some(idle) = finding.idle_rpm {
        let share = finding
            .drop_percent
            .map(|percent| {
                // What is nil when rounded does not rise.
                let word = if percent <= -0.05 { "rise" } else { "drop" };
                format!("; the {word} is {} % of it", fixed(percent.abs(), 1))
            })
            .unwrap_or_default();
        page.item(&format!("Idle with the cap on: {idle:.0} rev/min{share}."));
    }
    let threshold = format!("{:.0} rev/min", finding.threshold_rpm);
    page.item(&format!("Smallest drop that counts: {threshold}."));
    if let Some(sealed) = finding.probability_sealed.map(probability) {
        page.item(&format!("The probability that the drop is more than {threshold} is {sealed}."));
    }
    if let Some(change) = finding.vacuum_change_kpa {
        let word = if change < 0.0 { "falls" } else { "rises" };
        page.item(&format!(
            "With the cap off the manifold vacuum {word} by {}.",
            page.pressure(change.abs())
        ));
    }
    if let Some(tau) = finding.tau_s {
        page.item(&format!("The idle answers with a time constant of {tau:.1} s."));
    }
    crankcase(page, "on", finding.crank_closed_kpa);
    crankcase(page, "off", finding.crank_open_kpa);
}

fn crankcase(page: &mut Page, cap: &str, vacuum_kpa: Option<f64>) {
    let Some(vacuum) = vacuum_kpa else { return };
    let side = if vacuum < 0.0 { "above" } else { "below" };
    // A crankcase moves by hectopascals: two decimals of a kilopascal would hide it.
    let pascal = 1000.0 * vacuum.abs();
    page.item(&format!("Crankcase with the cap {cap}: {pascal:.0} Pa {side} the atmosphere."));
}
