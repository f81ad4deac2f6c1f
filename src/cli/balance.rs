//! `balance`: which side passes more air.

use super::archive::{self, BalanceQuestion, Given};
use super::args::BalanceArgs;
use super::failure::Failure;
use super::load::load;
use super::output::{Outcome, answer, message, page};
use super::picture;
use super::wishes::Wishes;
use crate::charts;
use crate::findings::{Verdict, balance, flow};
use crate::report::{self, cautions};

/// Reads a log, or many, and gives the balance.
///
/// # Errors
/// The log cannot be read or has not both vacuums, or the chart cannot be drawn.
pub fn run(args: &BalanceArgs) -> Result<u8, Failure> {
    let wishes = Wishes::new(&args.reading, &args.car, args.output.units)?
        .with_flow_tolerance(args.flow_tolerance);
    let given = Given {
        logs: &args.logs,
        many: &args.many,
        output: &args.output,
        rows_asked: args.each_plateau,
        of_one: &[("chart", args.picture.chart.is_some()), ("budget", args.budget)],
    };
    if given.is_many() {
        return archive::run(&BalanceQuestion { args, unit: wishes.unit() }, &given, &wishes);
    }
    let Some(log) = args.logs.first() else { return Ok(0) };
    let log = load(log, &wishes, None)?;
    log.needs_both_sides()?;
    if let Some(wanted) = log.speed_wanted() {
        message(&format!("help: {wanted}"));
    }
    let finding = balance::find(&log.signal, &log.conditions);
    let unit = wishes.unit();
    picture::draw(&args.picture, unit, |path, frame| {
        let sides = &log.conditions.sides;
        match finding.flow.as_ref().filter(|_| flow::is_alone(&log.signal)) {
            Some(flow) => charts::flow(path, frame, &log.signal, flow, sides),
            None => charts::balance(path, frame, &log.signal, &finding, sides),
        }
    })?;
    if args.output.json {
        answer(report::json::balance(&log.facts, &finding)?.as_bytes())?;
    } else {
        let mut page = page(unit);
        report::balance::body(&mut page, &log.facts, &finding, &log.conditions);
        if args.budget {
            report::balance::budget(&mut page, &finding);
            finding.flow.iter().for_each(|flow| report::flow::budget(&mut page, flow));
        }
        cautions::write(&mut page, &cautions::for_balance(finding.verdict));
        answer(page.finish().as_bytes())?;
    }
    Ok(outcome(finding.verdict).code(args.output.exit_code))
}

/// What a verdict means for the exit code.
pub fn outcome(verdict: Verdict) -> Outcome {
    match verdict {
        Verdict::InTolerance => Outcome::Good,
        Verdict::OutOfTolerance => Outcome::Bad,
        Verdict::NotSettled => Outcome::NotSettled,
    }
}
