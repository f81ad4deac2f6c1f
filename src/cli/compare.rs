//! `compare`: two logs side by side.

use super::args::CompareArgs;
use super::balance::outcome;
use super::failure::Failure;
use super::load::{Loaded, load};
use super::output::{answer, message, page};
use super::picture;
use super::wishes::Wishes;
use crate::charts;
use crate::findings::compare::Comparison;
use crate::findings::{balance, compare};
use crate::report;
use std::path::Path;

/// Reads two logs and gives the change. The exit code is that of the second.
///
/// # Errors
/// A log cannot be read or has not both vacuums, or the chart cannot be drawn.
pub fn run(args: &CompareArgs) -> Result<u8, Failure> {
    if args.before == Path::new("-") && args.after == Path::new("-") {
        return Err(Failure::TwiceStandardInput);
    }
    let wishes = Wishes::new(&args.reading, &args.car, args.output.units)?;
    let (before, after) = (load(&args.before, &wishes, None)?, load(&args.after, &wishes, None)?);
    before.needs_both_vacuums()?;
    after.needs_both_vacuums()?;
    for wanted in [&before, &after].into_iter().filter_map(Loaded::speed_wanted) {
        message(&format!("help: {wanted}"));
    }
    let finding = compared(&before, &after);
    let unit = wishes.unit();
    if finding.change.is_empty() && args.picture.chart.is_some() {
        message("no chart drawn: the two logs hold nothing to compare");
    } else {
        picture::draw(&args.picture, unit, |path, frame| {
            let sides = &after.conditions.sides;
            charts::compare(path, frame, &before.signal, &after.signal, &finding, sides)
        })?;
    }
    if args.output.json {
        answer(report::json::compare(&before.facts, &after.facts, &finding)?.as_bytes())?;
    } else {
        let mut page = page(unit);
        report::compare::write(&mut page, &before.facts, &after.facts, &finding);
        answer(page.finish().as_bytes())?;
    }
    Ok(outcome(finding.after.verdict).code(args.output.exit_code))
}

/// The finding of two logs.
pub fn compared(before: &Loaded, after: &Loaded) -> Comparison {
    compare::find(
        balance::find(&before.signal, &before.conditions),
        balance::find(&after.signal, &after.conditions),
    )
}
