//! The tee run, in words.

use super::cautions;
use super::facts::{LogFacts, minds};
use super::layout::{Align, Table};
use super::page::{Page, Tone, fixed};
use crate::findings::pair_match::{MatchVerdict, PairMatch};
use crate::units::Kpa;

/// The whole report: the sentence, the pair's error over the vacuum, what it means, remarks,
/// cautions. `date` is the day of the run.
pub fn write(page: &mut Page, log: &LogFacts, finding: &PairMatch, date: &str, stored: bool) {
    let remarks = log.remarks_with(&finding.remarks);
    page.heading(&finding.sentence(page.unit), tone(finding.verdict));
    minds(page, &remarks);
    table(page, finding);
    meaning(page, finding, date, stored);
    log.write(page, &remarks);
    cautions::write(page, &cautions::for_match());
}

fn tone(verdict: MatchVerdict) -> Tone {
    match verdict {
        MatchVerdict::Matched => Tone::Good,
        MatchVerdict::OffsetOnly | MatchVerdict::NotSettled => Tone::Open,
        MatchVerdict::SensorDead | MatchVerdict::NotOneTap => Tone::Bad,
    }
}

fn table(page: &mut Page, finding: &PairMatch) {
    if finding.error.is_empty() {
        return;
    }
    let unit = page.unit.symbol();
    let mut table = Table::default().group(&format!("vacuum, {unit}"), Align::Right, &[""]).group(
        &format!("sensor 1 less sensor 2, {unit}"),
        Align::Right,
        &["low", "value", "high"],
    );
    for at in &finding.error {
        let numbers = [at.vacuum_kpa, at.low_kpa, at.error_kpa, at.high_kpa];
        // One decimal more than a reading: the interval is that narrow.
        let decimals = page.unit.decimals() + 1;
        let number = |kpa| Some(fixed(page.unit.from_kpa(Kpa(kpa)), decimals));
        table.row(numbers.map(number).to_vec());
    }
    page.table(&table);
    page.gap();
    page.paragraph(
        "What the two sensors differ by at equal vacuum; it lies between low and high with 95 % \
         confidence.",
    );
}

fn meaning(page: &mut Page, finding: &PairMatch, date: &str, stored: bool) {
    let (Some(residual), Some(gain)) = (finding.residual_kpa, finding.gain) else { return };
    page.heading("What it means", Tone::Plain);
    let (low, high) = (finding.gain_low.unwrap_or(gain), finding.gain_high.unwrap_or(gain));
    let percent = |gain: f64| fixed(100.0 * gain, 3);
    page.item(&format!(
        "Gain: for each unit of vacuum sensor 1 reads {} % more than sensor 2 (with 95 % \
         confidence between {} and {} %).",
        percent(gain),
        percent(low),
        percent(high),
    ));
    page.item(&format!(
        "The averages scatter about the line by {} (standard deviation), {:.0} s of them.",
        page.pressure(residual),
        finding.used_s
    ));
    page.item(&if stored {
        format!(
            "Tee run of {date}. 'evenbreath balance LOG --profile FILE' takes the pair's error out \
             with it; five seconds with the engine off in each log take out what has drifted since."
        )
    } else {
        format!("Tee run of {date}. Keep it in the car's profile with --store FILE.")
    });
}
