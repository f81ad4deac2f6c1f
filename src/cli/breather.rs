//! `breather`: whether the closed crankcase breather is sealed.

use super::archive::{self, BreatherQuestion, Given};
use super::args::{BreatherArgs, Car};
use super::failure::Failure;
use super::load::load;
use super::output::{Outcome, answer, message, page};
use super::picture;
use super::wishes::Wishes;
use crate::charts;
use crate::findings::breather::{self, BreatherVerdict};
use crate::report;

/// Reads a log, or many, and gives the idle drop.
///
/// # Errors
/// The log cannot be read, or the chart cannot be drawn.
pub fn run(args: &BreatherArgs) -> Result<u8, Failure> {
    let wishes = Wishes::new(&args.reading, &Car::default(), args.output.units)?;
    let given = Given {
        logs: &args.logs,
        many: &args.many,
        output: &args.output,
        rows_asked: false,
        of_one: &[("chart", args.picture.chart.is_some()), ("budget", args.budget)],
    };
    if given.is_many() {
        return archive::run(&BreatherQuestion { args }, &given, &wishes);
    }
    let Some(log) = args.logs.first() else { return Ok(0) };
    let log = load(log, &wishes, args.threshold)?;
    if let Some(wanted) = log.speed_wanted() {
        message(&format!("help: {wanted}"));
    }
    let finding = breather::find(&log.signal, &log.conditions);
    let unit = wishes.unit();
    picture::draw(&args.picture, unit, |path, frame| {
        charts::breather(path, frame, &log.signal, &finding, &log.conditions.sides)
    })?;
    if args.output.json {
        answer(report::json::breather(&log.facts, &finding)?.as_bytes())?;
    } else {
        let mut page = page(unit);
        report::breather::write(&mut page, &log.facts, &finding, args.budget);
        answer(page.finish().as_bytes())?;
    }
    Ok(outcome(finding.verdict).code(args.output.exit_code))
}

/// What a verdict means for the exit code.
pub fn outcome(verdict: BreatherVerdict) -> Outcome {
    match verdict {
        BreatherVerdict::Sealed => Outcome::Good,
        BreatherVerdict::NotSettled => Outcome::NotSettled,
        BreatherVerdict::NotSealed
        | BreatherVerdict::Blocked
        | BreatherVerdict::NotSealedOrBlocked
        | BreatherVerdict::RevsRise => Outcome::Bad,
    }
}
