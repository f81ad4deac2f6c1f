//! The analysis that belongs to a piece of work, on the log that was just made.

use super::args::RecordArgs;
use crate::cli::args::{BalanceArgs, BreatherArgs, HuntArgs, Many, MatchArgs, Output, Picture};
use crate::cli::failure::Failure;
use crate::cli::load::load;
use crate::cli::output::Outcome;
use crate::cli::wishes::Wishes;
use crate::cli::{balance, breather, hunt, pair_match};
use crate::findings;
use crate::live::sentence::{Sentence, Tone};
use crate::recording::guide::{Guide, Work};
use crate::report::json;
use serde_json::Value;
use std::path::Path;

/// In words, as the command of that name gives it.
///
/// # Errors
/// As that command.
pub fn words(work: Work, log: &Path, args: &RecordArgs) -> Result<u8, Failure> {
    let log = log.to_path_buf();
    let reading = args.reading.clone();
    let output = Output { json: false, units: args.units, exit_code: args.exit_code };
    let picture = Picture { chart: None, chart_width: 1800 };
    match work {
        Work::Breather => {
            let threshold = args.threshold;
            breather::run(&BreatherArgs {
                logs: vec![log],
                reading,
                output,
                picture,
                threshold,
                budget: false,
                many: Many::default(),
            })
        }
        Work::Balance => {
            let car = args.car.clone();
            balance::run(&BalanceArgs {
                logs: vec![log],
                reading,
                car,
                output,
                picture,
                flow_tolerance: None,
                budget: false,
                many: Many::default(),
                each_plateau: false,
            })
        }
        Work::Match => {
            let store = args.store.clone();
            pair_match::run(&MatchArgs { log, reading, output, picture, store })
        }
        Work::Hunt => {
            let threshold = args.threshold;
            hunt::run(&HuntArgs { log, reading, output, picture, threshold, budget: false })
        }
    }
}

/// As the JSON document of that command, and its exit code; null where it has none.
///
/// # Errors
/// As that command.
pub fn json(work: Work, log: &Path, args: &RecordArgs) -> Result<(Value, u8), Failure> {
    let wishes = Wishes::new(&args.reading, &args.car, args.units)?;
    let log = load(log, &wishes, args.threshold)?;
    let (document, outcome) = match work {
        Work::Breather => {
            let finding = findings::breather::find(&log.signal, &log.conditions);
            (json::breather(&log.facts, &finding)?, breather::outcome(finding.verdict))
        }
        Work::Balance => {
            let finding = findings::balance::find(&log.signal, &log.conditions);
            (json::balance(&log.facts, &finding)?, balance::outcome(finding.verdict))
        }
        Work::Hunt => {
            let finding = findings::hunt::find(&log.signal, &log.conditions);
            (json::hunt(&log.facts, &finding)?, hunt::outcome(finding.verdict))
        }
        Work::Match => return Ok((Value::Null, 0)),
    };
    Ok((serde_json::from_str(&document)?, outcome.code(args.exit_code)))
}

/// What the page says of it: the sentence of the finding, and how it is meant.
///
/// # Errors
/// The log cannot be read.
pub fn sentence(work: Work, log: &Path, args: &RecordArgs) -> Result<Sentence, Failure> {
    let wishes = Wishes::new(&args.reading, &args.car, args.units)?;
    let loaded = load(log, &wishes, args.threshold)?;
    let (signal, conditions) = (&loaded.signal, &loaded.conditions);
    let (say, outcome) = match work {
        Work::Breather => {
            let finding = findings::breather::find(signal, conditions);
            (finding.say, breather::outcome(finding.verdict))
        }
        Work::Balance => {
            let finding = findings::balance::find(signal, conditions);
            (finding.say, balance::outcome(finding.verdict))
        }
        Work::Hunt => {
            let finding = findings::hunt::find(signal, conditions);
            (finding.say, hunt::outcome(finding.verdict))
        }
        Work::Match => {
            let finding = findings::pair_match::find(signal, conditions);
            (finding.sentence(wishes.unit()), pair_match::outcome(finding.verdict))
        }
    };
    let tone = match outcome {
        Outcome::Good => Tone::Good,
        Outcome::Bad => Tone::Act,
        Outcome::NotSettled => Tone::Wait,
    };
    let text = say.strip_suffix('.').map_or(say.clone(), str::to_string);
    let detail = Some(format!("The guide is done. The log is {}.", log.display()));
    Ok(Sentence { text, detail, tone })
}

/// What to say of a guide that was left before its end.
pub fn unfinished(guide: &Guide, log: &Path) -> String {
    let prompt = guide.prompt();
    let (step, steps, log) = (prompt.step, prompt.steps, log.display());
    let command = match guide.work() {
        Work::Breather => "breather",
        Work::Balance => "balance",
        Work::Match => "match",
        Work::Hunt => "hunt",
    };
    format!(
        "the guide was left at step {step} of {steps}; what there is stands in {log}, and \
         'evenbreath {command} {log}' says what it is good for"
    )
}
