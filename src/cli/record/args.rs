//! What `record` is asked for.

use crate::cli::args::{Car, Reading, unit};
use crate::cli::values;
use crate::recording::guide::Work;
use crate::sensors::transfer::{self, Transfer};
use crate::sources::ports::BAUD;
use crate::units::PressureUnit;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// `record`.
#[derive(Debug, Args)]
pub struct RecordArgs {
    /// Log to write; never one that is there already [default: date, time and car].
    #[arg(value_name = "LOG")]
    pub log: Option<PathBuf>,
    #[command(flatten)]
    /// Where the samples come from.
    pub source: SourceArgs,
    /// Stop after so many seconds of log [default: at Ctrl-C].
    #[arg(long, value_name = "SECONDS", value_parser = seconds, help_heading = "The work")]
    pub seconds: Option<f64>,
    /// Lead through a piece of work step by step, write its marks and print its verdict.
    #[arg(long, value_name = "WORK", help_heading = "The work")]
    pub guide: Option<GuidedWork>,
    /// How often the cap comes off, or each suspect is tried [default: 3].
    #[arg(long, value_name = "N", value_parser = |text: &str| values::whole(text, 1..=20),
          requires = "guide", help_heading = "The work")]
    pub times: Option<u32>,
    /// What may leak, for a hunt: one name each time the option is given.
    #[arg(long, value_name = "NAME", requires = "guide", help_heading = "The work")]
    pub suspect: Vec<String>,
    /// Count down to cap and suspects, for hands that do not reach a key.
    #[arg(long, requires = "guide", help_heading = "The work")]
    pub hands_free: bool,
    /// Write the line of a guided 'match' into this profile.
    #[arg(long, value_name = "FILE", requires = "guide", help_heading = "The work")]
    pub store: Option<PathBuf>,
    /// Low-range sensor of the crankcase on the third input of the box, by its part number.
    #[arg(long, value_name = "PART", ignore_case = true, value_parser = low_range(),
          help_heading = "The source")]
    pub crank_sensor: Option<Transfer>,
    /// Serve a page that shows the recording large and takes marks, on this machine; at a port of your
    /// choice with --page=PORT.
    #[arg(long, value_name = "PORT", num_args = 0..=1, require_equals = true,
          default_missing_value = "0", help_heading = "The page")]
    pub page: Option<u16>,
    /// Let other machines open the page, with a code to see and another to press.
    #[arg(long, requires = "page", help_heading = "The page")]
    pub share: bool,
    /// Open the page in the browser.
    #[arg(long, requires = "page", help_heading = "The page")]
    pub open: bool,
    /// The figures so far are made of so many of the newest seconds, and of 60,000 samples at most.
    #[arg(long, value_name = "SECONDS", value_parser = window, default_value_t = 60.0,
          help_heading = "The work")]
    pub window: f64,
    #[command(flatten)]
    /// The sensors and the log.
    pub reading: Reading,
    #[command(flatten)]
    /// The car.
    pub car: Car,
    /// Smallest idle drop that counts, rev/min [default: the greater of 20 and 2.5 % of idle].
    #[arg(long, value_name = "RPM", value_parser = values::threshold,
          allow_negative_numbers = true, help_heading = "The car")]
    pub threshold: Option<f64>,
    /// The closing summary as one JSON document on standard output, and nothing else there.
    #[arg(long, help_heading = "The answer")]
    pub json: bool,
    /// Unit of pressure on the screen and in the answer [default: kPa].
    #[arg(long, value_name = "UNIT", ignore_case = true, value_parser = unit(),
          help_heading = "The answer")]
    pub units: Option<PressureUnit>,
    /// Exit with 10 for a bad finding and 11 for one that is not settled.
    #[arg(long, requires = "guide", help_heading = "The answer")]
    pub exit_code: bool,
}

/// Where the samples come from; without any of it, the one serial port that speaks.
#[derive(Debug, Args)]
pub struct SourceArgs {
    /// Serial port of the box; a * in its last part stands for anything.
    #[arg(long, value_name = "PORT", group = "source", help_heading = "The source")]
    pub port: Option<String>,
    /// Play a log again.
    #[arg(long, value_name = "LOG", group = "source", help_heading = "The source")]
    pub replay: Option<PathBuf>,
    /// Read standard input: sentences of a box, or lines 't,rpm,v1,v2'.
    #[arg(long, group = "source", help_heading = "The source")]
    pub stdin: bool,
    /// Use a model engine with a box on it: --model, --model=leaking, --model=uneven.
    #[arg(long, value_name = "ENGINE", group = "source", num_args = 0..=1, require_equals = true,
          default_missing_value = "sealed", help_heading = "The source")]
    pub model: Option<ModelEngine>,
    /// Speed of the wire.
    #[arg(long, value_name = "BAUD", default_value_t = BAUD,
          conflicts_with_all = ["model", "replay", "stdin"],
          value_parser = |text: &str| values::whole(text, 300..=4_000_000),
          help_heading = "The source")]
    pub baud: u32,
    /// Ask the box for so many samples a second.
    #[arg(long, value_name = "HZ", value_parser = |text: &str| values::whole(text, 1..=2000),
          conflicts_with_all = ["model", "replay", "stdin"],
          help_heading = "The source")]
    pub rate: Option<u32>,
    /// Play a log or the model engine so many times as fast.
    #[arg(long, value_name = "TIMES", value_parser = speed, default_value_t = 1.0,
          conflicts_with_all = ["port", "stdin"],
          help_heading = "The source")]
    pub speed: f64,
    /// Seed of the model engine's chance.
    #[arg(long, value_name = "N", default_value_t = 1, conflicts_with_all = ["port", "replay", "stdin"],
          help_heading = "The source")]
    pub seed: u64,
}

/// The work of a guide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum GuidedWork {
    /// Is the closed breather sealed?
    Breather,
    /// The balance, with zero and hose swap.
    Balance,
    /// Suspects of a leak, one at a time.
    Hunt,
    /// Both hoses on one tap: the matching of the sensors.
    Match,
}

impl GuidedWork {
    /// The guide's word for it.
    pub fn work(self) -> Work {
        match self {
            GuidedWork::Breather => Work::Breather,
            GuidedWork::Balance => Work::Balance,
            GuidedWork::Hunt => Work::Hunt,
            GuidedWork::Match => Work::Match,
        }
    }
}

impl RecordArgs {
    /// What was asked for and would be without effect, or was most likely meant otherwise; none where all is
    /// well.
    pub fn in_vain(&self) -> Option<String> {
        let guided = |work| self.guide == Some(work);
        if !self.suspect.is_empty() && self.guide.is_some() && !guided(GuidedWork::Hunt) {
            return Some(
                "--suspect is for a hunt; leave it out, or lead through one with --guide hunt"
                    .into(),
            );
        }
        if self.store.is_some() && self.guide.is_some() && !guided(GuidedWork::Match) {
            let what = "--store keeps the line of a match; leave it out, or lead through one with --guide match";
            return Some(what.into());
        }
        let name =
            self.log.as_deref().and_then(Path::to_str).filter(|_| self.source.model.is_some())?;
        ModelEngine::from_str(name, true).ok()?;
        Some(format!(
            "'{name}' is taken as the name of the log, and is that of a model engine; write --model={name}, or ./{name} for such a log"
        ))
    }
}

/// A model engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ModelEngine {
    /// In tune, its breather sealed.
    Sealed,
    /// A crankcase seal leaks.
    Leaking,
    /// The throttle of side 1 opens further than that of side 2.
    Uneven,
}

fn low_range() -> impl TypedValueParser<Value = Transfer> {
    PossibleValuesParser::new(transfer::LOW_RANGE.map(|sensor| sensor.name))
        .try_map(|text| Transfer::low_range(&text).ok_or("not a low-range sensor that is known"))
}

fn seconds(text: &str) -> Result<f64, String> {
    let given = text.trim().parse::<f64>().ok();
    given
        .filter(|s| (0.1..=86_400.0).contains(s))
        .ok_or_else(|| "give a number of seconds from 0.1 to 86400, such as 60".into())
}

fn window(text: &str) -> Result<f64, String> {
    let given = text.trim().parse::<f64>().ok();
    given
        .filter(|s| (5.0..=600.0).contains(s))
        .ok_or_else(|| "give a number of seconds from 5 to 600, such as 30".into())
}

pub(super) fn speed(text: &str) -> Result<f64, String> {
    let given = text.trim().parse::<f64>().ok();
    given
        .filter(|s| (0.1..=100.0).contains(s))
        .ok_or_else(|| "give how many times as fast, from 0.1 to 100, such as 10".into())
}
