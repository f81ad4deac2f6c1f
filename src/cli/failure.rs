//! Why a command could not do its work, and what the person can do about it.

use crate::charts::ChartError;
use crate::log::ReadError;
use crate::recording;
use crate::report::handover::HandoverError;
use crate::report::handover::record::RecordError;
use crate::sources::link::OpenError;
use std::io::{self, ErrorKind};
use std::path::PathBuf;
use thiserror::Error;

/// Why a command could not do its work. Every message says what was found and, behind the last
/// semicolon, what to do next.
#[derive(Debug, Error)]
pub enum Failure {
    /// No command was given.
    #[error("{0}")]
    NoCommand(&'static str),
    /// The log could not be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The chart could not be drawn.
    #[error(transparent)]
    Chart(#[from] ChartError),
    /// The log lacks a column that the command needs.
    #[error(
        "{log} has no column for {needed} (found: {found}); name the column, such as \
         --columns \"{role}=HEADING\", or see 'evenbreath inspect {log}'"
    )]
    MissingColumn {
        /// The input.
        log: String,
        /// What is needed.
        needed: &'static str,
        /// Its role in `--columns`.
        role: &'static str,
        /// What was found.
        found: String,
    },
    /// The serial ports could not be listed or listened to.
    #[error("the serial ports cannot be listened to ({0}); plug the box in and try again")]
    Ports(String),
    /// The source of a recording cannot be opened.
    #[error(transparent)]
    Source(#[from] OpenError),
    /// The page of a recording cannot be served.
    #[error(transparent)]
    Page(crate::live::ServeError),
    /// A recording cannot go on.
    #[error(transparent)]
    Recording(#[from] recording::Failure),
    /// A recording that came to nothing.
    #[error("nothing was recorded: {heard}")]
    NothingRecorded {
        /// What was heard instead, and what to do.
        heard: String,
    },
    /// Nobody can press Enter.
    #[error(
        "a guide waits for Enter at its steps, and there is no terminal to press it on; start it in a \
         terminal, add --page and press there, or record without --guide and run the analysis afterwards"
    )]
    GuideWithoutKeys,
    /// A guide cannot lead through what was asked for.
    #[error("{0}")]
    Plan(String),
    /// Both logs of a comparison from standard input.
    #[error("standard input can be read only once; give at least one of the logs as a file")]
    TwiceStandardInput,
    /// Standard input among several logs.
    #[error(
        "standard input is one log and cannot stand among several; give files or folders, or - alone"
    )]
    StandardInputAmongMany,
    /// A folder that cannot be looked into.
    #[error("the folder {} cannot be looked into ({}); check its permissions", .path.display(), words(.source))]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A folder without a log.
    #[error(
        "there is no log in {}, nor in the folders below it (files that end in .csv, .tsv or .txt); \
         check the path, or name the files",
        .path.display()
    )]
    NoLogs {
        /// The folder.
        path: PathBuf,
    },
    /// An option of the command line makes no sense.
    #[error("--{flag}: {what}")]
    Value {
        /// The option.
        flag: &'static str,
        /// What was found and what to do.
        what: String,
    },
    /// The two sides bear one name.
    #[error(
        "both sides are called {name:?}, so no answer could tell them apart; give them different \
         names, with --carb1 and --carb2, in the profile or in the header of the log"
    )]
    SameNames {
        /// The name.
        name: String,
    },
    /// The profile could not be read.
    #[error("the profile {} cannot be read ({}); check the path", .path.display(), words(.source))]
    ProfileUnreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The profile could not be understood.
    #[error("the profile {}, line {line}: {what}; {advice}", .path.display())]
    Profile {
        /// The file.
        path: PathBuf,
        /// Line, counted from 1.
        line: usize,
        /// What was found.
        what: String,
        /// What to do.
        advice: String,
    },
    /// A new profile cannot be written of these answers.
    #[error("{0}")]
    Answers(String),
    /// A tee run without a line was to be stored.
    #[error(
        "nothing was stored in {}: {why}; log the tee run again and store it then",
        .path.display()
    )]
    NothingToStore {
        /// The profile.
        path: PathBuf,
        /// What was found and what to do.
        why: String,
    },
    /// The profile holds the section in a form that cannot be written over line by line.
    #[error(
        "{} holds {name} in a form that cannot be written over, and was left as it is; take the \
         lines of {name} out of it first",
        .path.display()
    )]
    SectionInTheWay {
        /// The profile.
        path: PathBuf,
        /// The section.
        name: &'static str,
    },
    /// A folder or a file of the answer could not be written.
    #[error("cannot write to {} ({}); {}", .path.display(), words(.source), to_write(.source))]
    Write {
        /// The folder or file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The page that is handed over could not be made.
    #[error(transparent)]
    Handover(#[from] HandoverError),
    /// The page is no page that can be checked.
    #[error("{} {source}", .path.display())]
    Record {
        /// The page.
        path: PathBuf,
        /// What was found, and what to do.
        source: RecordError,
    },
    /// The page could not be read.
    #[error("the page {} cannot be read ({}); {}", .path.display(), words(.source), to_read_page(.source))]
    PageUnreadable {
        /// The page.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The page says that it was made by options that are none.
    #[error(
        "{} says that it was made with options that this program does not take ({what}); use the version \
         that wrote it, or ask for the page as it was",
        .path.display()
    )]
    Settings {
        /// The page.
        path: PathBuf,
        /// What was found.
        what: String,
    },
    /// A page of nothing.
    #[error(
        "no log was named by what it shows, so there is nothing to report; name one, such as --after after.csv"
    )]
    NoLog,
    /// Standard output could not be written.
    #[error("cannot write the answer to standard output ({}); make room on the disk, or send it elsewhere", words(.0))]
    Answer(io::Error),
    /// The answer could not be put into JSON.
    #[error("the answer cannot be written as JSON ({0}); please report this with the log")]
    Json(#[from] serde_json::Error),
}

/// What the system says of a failure, without its number for it.
fn words(error: &io::Error) -> String {
    let text = error.to_string();
    match text.split_once(" (os error") {
        Some((said, _)) => said.to_lowercase(),
        None => text,
    }
}

/// What to do where a file or folder could not be written.
fn to_write(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::NotFound => "make the folder first, or name another",
        ErrorKind::AlreadyExists => "name a folder, not a file",
        ErrorKind::StorageFull => "make room and try again",
        _ => "check that the folder may be written to",
    }
}

/// What to do where a page could not be read.
fn to_read_page(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::InvalidData => "give a page that 'evenbreath report' wrote",
        _ => "check the path",
    }
}

impl Failure {
    /// The exit code: 3 where the device is silent or lost, else 2.
    pub fn code(&self) -> u8 {
        match self {
            Failure::NothingRecorded { .. } => 3,
            Failure::Source(error) if error.is_silence() => 3,
            _ => 2,
        }
    }

    /// What was found, and what to do next.
    pub fn parts(&self) -> (String, Option<String>) {
        let text = self.to_string();
        if let Failure::NoCommand(_) = self {
            return (text, None);
        }
        match text.rsplit_once("; ") {
            Some((what, next)) => (what.to_string(), Some(next.to_string())),
            None => (text, None),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_found_and_what_to_do_are_told_apart() {
        let (what, next) = Failure::TwiceStandardInput.parts();
        assert_eq!(what, "standard input can be read only once");
        assert_eq!(next.as_deref(), Some("give at least one of the logs as a file"));
        assert_eq!(Failure::NoCommand("a; b").parts(), ("a; b".into(), None));
    }
}
