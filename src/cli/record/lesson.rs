//! `lesson`: a model engine for a class, recorded like any other.

use super::args::{RecordArgs, SourceArgs, speed};
use super::display::Display;
use super::drive::{self, Outcome};
use super::page::{Asked, Feed, Page};
use super::source::Source;
use super::summary::Summary;
use super::teacher::{Teacher, layout};
use super::{path, wanted};
use crate::cli::args::{Car, Reading, unit};
use crate::cli::failure::Failure;
use crate::cli::output::{self, answer, message};
use crate::cli::values;
use crate::cli::wishes::Wishes;
use crate::engine::Layout;
use crate::log::journal;
use crate::recording::lesson::{Begin, Lesson, Refused, SCENES};
use crate::sources::inside::Inside;
use crate::sources::paced::Once;
use crate::sources::ports::BAUD;
use crate::units::PressureUnit;
use clap::Args;
use jiff::Zoned;
use std::path::{Path, PathBuf};
use std::sync::mpsc::channel;

/// The figures so far are made of this much of the log, s: three openings of the filler and more.
const WINDOW_S: f64 = 240.0;
/// Seeds that nobody has chosen have four digits, to be read out.
const SEEDS: u64 = 10_000;

/// `lesson`.
#[derive(Debug, Args)]
pub struct LessonArgs {
    /// Log of the lesson; those that follow it are LOG-2, LOG-3 ... [default: date and time].
    #[arg(value_name = "LOG")]
    pub log: Option<PathBuf>,
    /// Cylinders of the engine: 4, 6 or 8.
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = cylinders,
          conflicts_with = "scene", help_heading = "The lesson")]
    pub engine: u32,
    /// Begin with a scene, 1 to 8 [default: none].
    #[arg(long, value_name = "N", value_parser = |text: &str| values::whole(text, 1..=SCENES.len() as u32),
          help_heading = "The lesson")]
    pub scene: Option<u32>,
    /// Seed of the first hidden fault and of the engine's chance; those that follow count on from it
    /// [default: by the clock].
    #[arg(long, value_name = "N", help_heading = "The lesson")]
    pub seed: Option<u64>,
    /// Run the engine so many times as fast as true.
    #[arg(long, value_name = "TIMES", value_parser = speed, default_value_t = 1.0,
          help_heading = "The lesson")]
    pub speed: f64,
    /// Serve the page at this port [default: a free one].
    #[arg(long, value_name = "PORT", help_heading = "The page")]
    pub port: Option<u16>,
    /// Let other machines open the page, with a code to see and another to press.
    #[arg(long, help_heading = "The page")]
    pub share: bool,
    /// Open the page in the browser.
    #[arg(long, help_heading = "The page")]
    pub open: bool,
    /// Unit of pressure on the page [default: kPa].
    #[arg(long, value_name = "UNIT", ignore_case = true, value_parser = unit(),
          help_heading = "The page")]
    pub units: Option<PressureUnit>,
}

/// Holds lessons until the person has had enough.
///
/// # Errors
/// The page cannot be served, or a log cannot be made.
pub fn run(args: &LessonArgs) -> Result<u8, Failure> {
    let record = as_recording(args);
    let wishes = Wishes::new(&record.reading, &record.car, record.units)?;
    let now = Zoned::now();
    let mut first = path(args.log.as_deref(), &wishes, &now)?;
    let mut log = first.clone();
    let mut seed = args.seed.unwrap_or(now.timestamp().as_microsecond().unsigned_abs() % SEEDS);
    let asked = Asked { port: args.port.unwrap_or(0), share: args.share, open: args.open };
    let mut page = Page::new(asked)?;
    let mut begin = match args.scene {
        Some(number) => Begin::Scene(number as usize - 1),
        None => Begin::InTune(layout(args.engine).unwrap_or(Layout::Four)),
    };
    loop {
        let held = hold(&record, &wishes, log.clone(), &mut page, (begin, seed))?;
        begin = match held.next {
            Some(next) => {
                // A hidden fault has used its seed.
                seed += u64::from(matches!(next, Begin::Hidden { .. }));
                log = journal::next_free(&first);
                next
            }
            None if held.stopped_on_page => {
                message("ended on the page, which can begin another; Ctrl-C ends the program");
                let Some(next) = page.next(|name| another(&first, name)) else { return Ok(0) };
                // A name that was given is that of the logs that follow, too.
                first = next.clone();
                log = next;
                Begin::InTune(held.layout)
            }
            None => return Ok(0),
        };
    }
}

/// Another log beside the first one.
fn another(first: &Path, name: &str) -> Result<PathBuf, String> {
    let path = if name.is_empty() { journal::next_free(first) } else { first.with_file_name(name) };
    journal::check_name(&path).map_err(|why| why.to_string())?;
    Ok(path)
}

/// What comes after a lesson.
struct Held {
    next: Option<Begin>,
    stopped_on_page: bool,
    layout: Layout,
}

/// One lesson: one engine, one log.
fn hold(
    args: &RecordArgs,
    wishes: &Wishes,
    log: PathBuf,
    page: &mut Page,
    (begin, seed): (Begin, u64),
) -> Result<Held, Failure> {
    let lesson =
        Lesson::new(begin).map_err(|refused: Refused| Failure::Plan(refused.to_string()))?;
    let layout = lesson.layout();
    let (to_engine, controls) = channel();
    let (inside, _) = Inside::new();
    let model = lesson.model_box(seed, controls)?.seen_by(inside.clone());
    let opener = Box::new(Once::paced("the model engine", model, args.source.speed));
    let source = Source { opener, actions: None, head: lesson.head(), numbered: true };
    let wanted = wanted(args, wishes, &source, log, &Zoned::now());
    let conditions = wishes.live_conditions(&wanted.head, args.threshold)?;
    let feed = Feed::new(page.hub(), conditions.clone(), 0.0);
    let display = Display::new(conditions.clone(), wishes.unit()).with_page(Some(feed));
    let teacher = Teacher::new(lesson, to_engine, inside, conditions, seed);
    let presses = Some(page.presses());
    let Outcome { finished, source, ended, teacher, failure, stopped_on_page, .. } =
        drive::record(args, wanted, source, (None, Some(teacher)), display, presses)?;
    let summary = Summary::new(&finished, source, ended, None);
    if summary.file.is_some() {
        let mut page = output::page(wishes.unit());
        summary.write(&mut page);
        answer(page.finish().as_bytes())?;
    }
    match failure {
        Some(failure) => Err(failure),
        None => {
            let next = teacher.and_then(|teacher| teacher.next());
            Ok(Held { next, stopped_on_page, layout })
        }
    }
}

/// The same as a recording, whose ways it goes.
fn as_recording(args: &LessonArgs) -> RecordArgs {
    RecordArgs {
        log: args.log.clone(),
        source: SourceArgs {
            port: None,
            replay: None,
            stdin: false,
            model: None,
            baud: BAUD,
            rate: None,
            speed: args.speed,
            seed: 1,
        },
        seconds: None,
        guide: None,
        times: None,
        suspect: Vec::new(),
        hands_free: false,
        store: None,
        crank_sensor: None,
        page: Some(args.port.unwrap_or(0)),
        share: args.share,
        open: args.open,
        window: WINDOW_S,
        reading: Reading::default(),
        car: Car::default(),
        threshold: None,
        json: false,
        units: args.units,
        exit_code: false,
    }
}

fn cylinders(text: &str) -> Result<u32, String> {
    let given = text.trim().parse().ok();
    given.filter(|n| layout(*n).is_some()).ok_or_else(|| "give 4, 6 or 8".into())
}
