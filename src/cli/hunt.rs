//! `hunt`: which of several suspects leaks, and how much.

use super::args::{Car, HuntArgs};
use super::failure::Failure;
use super::load::load;
use super::output::{Outcome, answer, message, page};
use super::picture;
use super::wishes::Wishes;
use crate::charts;
use crate::findings::hunt::{self, HuntVerdict};
use crate::report;

/// Reads a log and judges the suspects.
///
/// # Errors
/// The log cannot be read, or the chart cannot be drawn.
pub fn run(args: &HuntArgs) -> Result<u8, Failure> {
    let wishes = Wishes::new(&args.reading, &Car::default(), args.output.units)?;
    let log = load(&args.log, &wishes, args.threshold)?;
    if let Some(wanted) = log.speed_wanted() {
        message(&format!("help: {wanted}"));
    }
    let finding = hunt::find(&log.signal, &log.conditions);
    let (unit, sides) = (wishes.unit(), &log.conditions.sides);
    picture::draw(&args.picture, unit, |path, frame| charts::hunt(path, frame, &finding, sides))?;
    if args.output.json {
        answer(report::json::hunt(&log.facts, &finding)?.as_bytes())?;
    } else {
        let mut page = page(unit);
        report::hunt::write(&mut page, &log.facts, &finding, sides, args.budget);
        answer(page.finish().as_bytes())?;
    }
    Ok(outcome(finding.verdict).code(args.output.exit_code))
}

/// What a verdict means for the exit code.
pub fn outcome(verdict: HuntVerdict) -> Outcome {
    match verdict {
        HuntVerdict::Sound => Outcome::Good,
        HuntVerdict::NotSettled => Outcome::NotSettled,
        HuntVerdict::Leaks => Outcome::Bad,
    }
}
