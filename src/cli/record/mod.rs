//! `record`: from a cable to a log that has lost nothing and knows it.

pub mod args;
mod display;
mod drive;
mod keys;
mod led;
mod screen;
mod screen_lines;
mod signals;
mod so_far;
mod source;
mod summary;
mod typing;

use super::args::{BalanceArgs, BreatherArgs, MatchArgs, Output, Picture};
use super::failure::Failure;
use super::output::{answer, message, page};
use super::wishes::Wishes;
use super::{balance, breather, pair_match};
use crate::log::journal;
use crate::recording;
use crate::recording::guide::{Guide, Plan, Suspect, Work};
use crate::recording::readings::Said;
use crate::recording::session::Wanted;
use crate::recording::tally::Tally;
use crate::report::json;
use crate::units::STANDARD_ATMOSPHERE;
use args::RecordArgs;
use display::Display;
use drive::{Ended, Outcome};
use jiff::Zoned;
use led::Led;
use std::path::{Path, PathBuf};
use summary::Summary;

/// Records, and says what it has come to.
///
/// # Errors
/// The source cannot be opened, the log cannot be made, or nothing was heard.
pub fn run(args: &RecordArgs) -> Result<u8, Failure> {
    let wishes = Wishes::new(&args.reading, &args.car, args.units)?;
    let now = Zoned::now();
    let path = match &args.log {
        Some(path) => path.clone(),
        None => PathBuf::from(journal::default_name(now.datetime(), wishes.car().as_deref())),
    };
    journal::check_name(&path).map_err(recording::Failure::from)?;
    let led = led(args, &wishes)?;
    let source = source::chosen(args, &wishes)?;
    let wanted = wanted(args, &wishes, path, &now);
    let Outcome { finished, source, ended, failure } = {
        let conditions = wishes.live_conditions(args.threshold)?;
        let display = Display::new(conditions, wishes.unit());
        drive::record(args, wanted, source, led, display)?
    };
    let summary = Summary::new(&finished, source, ended);
    if args.json {
        answer(json::plain(&summary)?.as_bytes())?;
    } else if summary.file.is_some() {
        let mut page = page(wishes.unit());
        summary.write(&mut page);
        answer(page.finish().as_bytes())?;
    }
    if let Some(failure) = failure {
        return Err(failure);
    }
    if summary.tally.rows == 0 {
        let heard = nothing(&summary.tally, &summary.source, args.source.baud);
        return Err(Failure::NothingRecorded {
            heard: heard.unwrap_or_else(|| "no sample".into()),
        });
    }
    match (args.guide, &summary.file) {
        (Some(guide), Some(file)) if ended == Ended::Guide && !args.json => {
            answer(b"\n")?;
            verdict(guide.work(), file, args)
        }
        _ => Ok(0),
    }
}

fn wanted(args: &RecordArgs, wishes: &Wishes, path: PathBuf, now: &Zoned) -> Wanted {
    let mut head = vec![("started".to_string(), now.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string())];
    head.extend(wishes.head());
    let said = Said {
        sensor: args.reading.sensor,
        crank: args.crank_sensor,
        supply_v: args.reading.supply,
        unit: args.reading.log_units,
    };
    let baro = wishes.baro().unwrap_or(STANDARD_ATMOSPHERE);
    Wanted { path, head, said, baro }
}

fn led(args: &RecordArgs, wishes: &Wishes) -> Result<Option<Led>, Failure> {
    let Some(guided) = args.guide else { return Ok(None) };
    let mut plan = Plan::new(guided.work());
    if let Some(times) = args.times {
        (plan.openings, plan.trials) = (times, times);
    }
    plan.suspects = args.suspect.iter().map(|name| Suspect::from(name.as_str())).collect();
    plan.hands_free = args.hands_free;
    let [one, two] = wishes.names();
    plan.carb_names =
        [one.unwrap_or(plan.carb_names[0].clone()), two.unwrap_or(plan.carb_names[1].clone())];
    let guide = Guide::new(&plan).map_err(|wrong| Failure::Plan(wrong.to_string()))?;
    if args.source.model.is_some() {
        for suspect in guide.unplayed() {
            message(&format!("the model engine has no {suspect:?}: sealing it will show nothing"));
        }
    }
    Ok(Some(Led::new(guide, args.source.seed)))
}

/// Runs the analysis that belongs to a piece of work on the log that was just made.
fn verdict(work: Work, log: &Path, args: &RecordArgs) -> Result<u8, Failure> {
    let log = log.to_path_buf();
    let reading = args.reading.clone();
    let output = Output { json: false, units: args.units, exit_code: args.exit_code };
    let picture = Picture { chart: None, chart_width: 1800 };
    match work {
        Work::Breather => {
            let threshold = args.threshold;
            breather::run(&BreatherArgs { log, reading, output, picture, threshold, budget: false })
        }
        Work::Balance => {
            let car = args.car.clone();
            balance::run(&BalanceArgs { log, reading, car, output, picture, budget: false })
        }
        Work::Match => {
            let store = args.store.clone();
            pair_match::run(&MatchArgs { log, reading, output, picture, store })
        }
        Work::Hunt => {
            message("help: the log holds the trials; 'evenbreath inspect' shows them");
            Ok(0)
        }
    }
}

/// Why no row came, where something can be said of it.
fn nothing(tally: &Tally, source: &str, baud: u32) -> Option<String> {
    if tally.rows > 0 {
        return None;
    }
    if tally.bytes == 0 {
        return Some(format!("nothing was heard from {source}; is the box on, its cable whole?"));
    }
    if tally.unknown > tally.garbled {
        return Some(format!(
            "{source} speaks another language: {} sentences, none of a box; is it the right port?",
            tally.unknown
        ));
    }
    Some(format!(
        "{} bytes came from {source}, and no line of them can be read; most likely the box speaks at \
         another speed than {baud} baud: give its own with --baud",
        tally.bytes
    ))
}
