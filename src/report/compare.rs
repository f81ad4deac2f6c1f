//! Before and after, in words.

use super::balance::{tone, words};
use super::cautions;
use super::facts::{LogFacts, minds};
use super::layout::{Align, Table};
use super::page::{Page, Tone};
use crate::findings::compare::Comparison;

/// The whole report: the sentence, the table of changes, both verdicts, remarks, cautions.
pub fn write(page: &mut Page, before: &LogFacts, after: &LogFacts, finding: &Comparison) {
    body(page, before, after, finding);
    cautions::write(page, &cautions::for_compare());
}

/// The report without its cautions.
pub fn body(page: &mut Page, before: &LogFacts, after: &LogFacts, finding: &Comparison) {
    page.heading(&finding.say, tone(finding.after.verdict));
    table(page, finding);
    for (name, balance, log) in
        [("Before", &finding.before, before), ("After", &finding.after, after)]
    {
        page.heading(&format!("{name}: {}", words(balance.verdict)), Tone::Plain);
        let remarks = log.remarks_with(&balance.remarks);
        page.paragraph(&balance.say);
        minds(page, &remarks);
        log.items(page, &remarks);
    }
}

fn table(page: &mut Page, finding: &Comparison) {
    if finding.change.is_empty() {
        return;
    }
    let unit = page.unit.symbol();
    let mut table = Table::default()
        .group("speed", Align::Right, &["rev/min"])
        .group(&format!("difference, {unit}"), Align::Right, &["before", "after"])
        .group(&format!("change, {unit}"), Align::Right, &["low", "value", "high"])
        .group("improved", Align::Left, &[""]);
    for change in &finding.change {
        table.row(vec![
            change.rpm.map(|rpm| format!("{rpm:.0}")),
            Some(page.number(change.before_kpa)),
            Some(page.number(change.after_kpa)),
            Some(page.number(change.low_kpa)),
            Some(page.number(change.after_kpa.abs() - change.before_kpa.abs())),
            Some(page.number(change.high_kpa)),
            Some(if change.improved { "yes" } else { "not proven" }.to_string()),
        ]);
    }
    page.table(&table);
    page.gap();
    page.paragraph(
        "Change: of the size of the difference, below zero where it has become smaller; it lies \
         between low and high with 95 % confidence.",
    );
}
