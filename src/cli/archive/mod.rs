//! One question put to many logs: a row a log, whatever becomes of the others.
//!
//! ```text
//! paths --> workers (load, finding) --> in the order of the names --> sheet (CSV, JSON lines, Parquet)
//!                                                                 \-> summary (a table for a person)
//! ```

pub mod args;
mod paths;
mod questions;
mod sheet;
mod summary;
mod workers;

pub use questions::{BalanceQuestion, BreatherQuestion, Question};

use super::args::{Many, Output};
use super::failure::Failure;
use super::load::load;
use super::output::{self, Outcome, message};
use super::record::signals;
use super::wishes::Wishes;
use crate::report::rows::{self, Row};
use paths::Source;
use sheet::{Lines, Sheet};
use std::io::{self, Write};
use std::path::PathBuf;
use std::thread;
use summary::Summary;
use tokio::sync::mpsc;
use workers::Next;

/// What a log came to.
pub struct Answer {
    /// Its rows.
    pub rows: Vec<Row>,
    /// What is shown of it.
    pub shown: Shown,
}

/// A log in the table for a person.
pub struct Shown {
    /// The log.
    pub log: String,
    /// Cells behind its name; none where it could not be used.
    pub cells: Vec<Option<String>>,
    /// The verdict in words, and what it is worth; why where the log could not be used.
    pub verdict: Result<(&'static str, Outcome), String>,
}

/// What the command line says of many logs.
#[derive(Debug, Clone, Copy)]
pub struct Given<'a> {
    /// Files and folders.
    pub logs: &'a [PathBuf],
    /// How the rows are wanted.
    pub many: &'a Many,
    /// How the answer is wanted.
    pub output: &'a Output,
    /// An option of the question asks for rows.
    pub rows_asked: bool,
    /// Options that make sense with one log only, and whether they were given.
    pub of_one: &'a [(&'static str, bool)],
}

impl Given<'_> {
    /// Rows are wanted: there are several logs, or a folder, or an option says so.
    pub fn is_many(&self) -> bool {
        let folder = self.logs.iter().any(|path| path.is_dir());
        self.logs.len() != 1
            || folder
            || self.rows_asked
            || self.many.rows.is_some()
            || self.many.csv
    }

    fn check(&self) -> Result<(), Failure> {
        match self.of_one.iter().find(|(_, given)| *given) {
            Some((flag, _)) => {
                let what =
                    "this is for one log, and there are several; name one log, or leave it out";
                Err(Failure::Value { flag, what: what.into() })
            }
            None => Ok(()),
        }
    }

    fn lines(&self) -> Option<Lines> {
        match (self.many.csv, self.output.json) {
            (true, _) => Some(Lines::Csv),
            (_, true) => Some(Lines::Json),
            _ => None,
        }
    }
}

/// Exit code of a program that an interrupt has ended: 128 and the number of the signal.
const INTERRUPTED: u8 = 130;

/// Asks every log, writes the rows as they come, and gives the exit code.
///
/// # Errors
/// Nothing is to be asked, or the rows cannot be written. A log that cannot be used is a row.
pub fn run(question: &dyn Question, given: &Given<'_>, wishes: &Wishes) -> Result<u8, Failure> {
    given.check()?;
    let sources = paths::find(given.logs)?;
    let headings = question.headings();
    let mut sheets = Vec::new();
    if let Some(path) = &given.many.rows {
        sheets.push(Sheet::in_file(path, headings.clone())?);
    }
    if let Some(lines) = given.lines() {
        sheets.push(Sheet::on_standard_output(lines, headings)?);
    }
    let listed = sheets.is_empty();
    let mut summary = Summary::new(listed);
    let (ask_to_end, mut asked_to_end) = mpsc::channel(1);
    signals::watch(ask_to_end);
    let mut interrupted = false;
    let progress = Progress::new(sources.len());
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let work = |source: &Source| answer(question, source, wishes);
    workers::in_order(&sources, threads, work, |answer| -> Result<Next, Failure> {
        let mut wanted = true;
        for row in answer.rows {
            for sheet in &mut sheets {
                wanted &= sheet.push(row.clone())?;
            }
        }
        summary.add(answer.shown);
        progress.show(summary.logs());
        interrupted |= asked_to_end.try_recv().is_ok();
        Ok(if wanted && !interrupted { Next::GoOn } else { Next::End })
    })?;
    progress.clear();
    for sheet in sheets {
        sheet.close()?;
    }
    told(question, given, wishes, &summary)?;
    if interrupted {
        let (done, of) = (summary.logs(), sources.len());
        message(&format!("interrupted: {done} of {of} logs are in the rows, in order"));
        return Ok(INTERRUPTED);
    }
    Ok(summary.code(given.output.exit_code))
}

/// The answer for a person: on standard output, or, where the rows are there, on standard error.
fn told(
    question: &dyn Question,
    given: &Given<'_>,
    wishes: &Wishes,
    summary: &Summary,
) -> Result<(), Failure> {
    if let Some(path) = &given.many.rows {
        message(&format!("rows written to {}", path.display()));
    }
    if given.lines().is_some() {
        return Ok(());
    }
    let mut page = output::page(wishes.unit());
    summary.write(&mut page, question, given.many.rows.is_some());
    output::answer(page.finish().as_bytes())
}

/// A log's answer. One that cannot be used is an answer too.
fn answer(question: &dyn Question, source: &Source, wishes: &Wishes) -> Answer {
    let (log, bytes) = (source.name(), source.bytes());
    let found = match &source.trouble {
        Some(trouble) => Err(trouble.clone()),
        None => load(&source.path, wishes, question.threshold())
            .and_then(|loaded| question.ask(&loaded, &log, bytes))
            .map_err(|failure| failure.to_string()),
    };
    found.unwrap_or_else(|error| Answer {
        rows: vec![rows::unusable(&question.headings(), &log, bytes, &error)],
        shown: Shown { log, cells: Vec::new(), verdict: Err(error) },
    })
}

/// How far the work is, on a terminal only.
struct Progress {
    shown: bool,
    of: usize,
}

impl Progress {
    fn new(of: usize) -> Self {
        Progress { shown: output::window().is_some(), of }
    }

    fn show(&self, done: usize) {
        if self.shown {
            // Nobody is left to tell when standard error itself is gone.
            let _ = write!(io::stderr(), "\r{done} of {} logs", self.of);
        }
    }

    fn clear(&self) {
        if self.shown {
            let _ = write!(io::stderr(), "\r\x1b[K");
        }
    }
}
