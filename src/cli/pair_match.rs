//! `match`: the straight line between the two sensors, from a tee run.

use super::args::{Car, MatchArgs};
use super::days;
use super::failure::Failure;
use super::load::load;
use super::output::{Outcome, answer, message, page};
use super::picture;
use super::tee_section;
use super::wishes::Wishes;
use crate::charts;
use crate::findings::pair_match::{self, MatchVerdict};
use crate::report;

/// Reads a tee run and gives the line of the pair; stores it in a profile when asked.
///
/// # Errors
/// The log cannot be read or has not both vacuums, the chart cannot be drawn, there is nothing to
/// store, or the profile cannot be written.
pub fn run(args: &MatchArgs) -> Result<u8, Failure> {
    let wishes = Wishes::new(&args.reading, &Car::default(), args.output.units)?;
    let log = load(&args.log, &wishes, None)?;
    log.needs_both_vacuums()?;
    let finding = pair_match::find(&log.signal, &log.conditions);
    picture::draw(&args.picture, wishes.unit(), |path, frame| {
        charts::pair_match(path, frame, &finding)
    })?;
    let date = days::of_log(&log.head).to_string();
    if let Some(path) = &args.store {
        tee_section::store(path, &finding, &date)?;
        message(&format!("tee run stored in {}", path.display()));
    }
    if args.output.json {
        answer(report::json::pair_match(&log.facts, &finding, &date)?.as_bytes())?;
    } else {
        let mut page = page(wishes.unit());
        let stored = args.store.is_some();
        report::pair_match::write(&mut page, &log.facts, &finding, &date, stored);
        answer(page.finish().as_bytes())?;
    }
    Ok(outcome(finding.verdict).code(args.output.exit_code))
}

pub fn outcome(verdict: MatchVerdict) -> Outcome {
    match verdict {
        MatchVerdict::Matched => Outcome::Good,
        MatchVerdict::OffsetOnly | MatchVerdict::NotSettled => Outcome::NotSettled,
        MatchVerdict::SensorDead | MatchVerdict::NotOneTap => Outcome::Bad,
    }
}
