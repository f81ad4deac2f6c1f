//! `report`: the page that is handed over.

pub mod args;
mod content;
mod pictures;
mod settings;
mod verify;

use super::balance;
use super::breather;
use super::failure::Failure;
use super::hunt;
use super::output::{Outcome, answer, message};
use crate::log::ReadError;
use crate::report::handover::{self, Handover, LogFile};
use crate::units::PressureUnit;
use args::ReportArgs;
use std::collections::BTreeMap;
use std::fs;
use std::io::{self, ErrorKind, Read};
use std::path::Path;

/// Reads the logs and writes the page, or checks one. The exit code of a page that is written is that of the
/// work as it was left: of what was measured after it, or before it where there is nothing after.
///
/// # Errors
/// A log or the page cannot be read, or the page cannot be written.
pub fn run(args: &ReportArgs) -> Result<u8, Failure> {
    if let Some(page) = &args.check.verify {
        return verify::run(page, args);
    }
    let profile = args.reading.profile.as_deref().map(content::profile_words).transpose()?;
    let content = content::gather(args, profile, bytes_of)?;
    let handover = content.handover()?;
    if let Some(path) = &args.out {
        write(path, &handover)?;
        message(&format!("page written to {}", path.display()));
    }
    if args.output.json {
        answer(handover::document(&handover)?.as_bytes())?;
    }
    Ok(outcome(&handover).code(args.output.exit_code))
}

/// Writes the page of logs that lie in `folder`, each with the option that would name it.
///
/// # Errors
/// A log cannot be read, or the page cannot be written.
pub fn page_of(
    folder: &Path,
    path: &Path,
    unit: PressureUnit,
    logs: &[(&str, &str)],
) -> Result<(), Failure> {
    let settings = BTreeMap::from([("units".to_string(), unit.symbol().to_string())]);
    let file = |(option, name): &(&str, &str)| LogFile {
        given_as: vec![option.to_string()],
        name: name.to_string(),
        bytes: 0,
        sha256: String::new(),
    };
    let files: Vec<LogFile> = logs.iter().map(file).collect();
    let args = settings::read(&settings, &files)
        .map_err(|what| Failure::Settings { path: path.into(), what })?;
    let content = content::gather(&args, None, |name| bytes_of(&folder.join(name)))?;
    write(path, &content.handover()?)
}

fn write(path: &Path, handover: &Handover) -> Result<(), Failure> {
    let page = handover::html(handover)?;
    fs::write(path, page).map_err(|source| Failure::Write { path: path.into(), source })
}

/// The bytes of a log, from a file or standard input.
fn bytes_of(path: &Path) -> Result<Vec<u8>, Failure> {
    if path == Path::new("-") {
        let mut bytes = Vec::new();
        let name = "standard input".to_string();
        let read = io::stdin().lock().read_to_end(&mut bytes);
        read.map_err(|source| ReadError::Unreadable { name, source })?;
        return Ok(bytes);
    }
    let name = path.display().to_string();
    fs::read(path).map_err(|source| {
        Failure::Read(match source.kind() {
            ErrorKind::NotFound => ReadError::NotFound { name },
            ErrorKind::IsADirectory => ReadError::Directory { name },
            _ => ReadError::Unreadable { name, source },
        })
    })
}

/// What the work comes to: bad as soon as one part is bad.
fn outcome(handover: &Handover) -> Outcome {
    let parts = [
        handover.breather.latest().map(|found| breather::outcome(found.finding.verdict)),
        handover.balance_verdict().map(balance::outcome),
    ];
    // Leaks that a hunt found are mended where the breather was measured again afterwards.
    let hunted = handover.hunt.as_ref().filter(|_| handover.breather.after.is_none());
    let hunt = hunted.map(|found| hunt::outcome(found.finding.verdict));
    let all: Vec<Outcome> = parts.into_iter().chain([hunt]).flatten().collect();
    let any = |outcome| all.contains(&outcome);
    match (any(Outcome::Bad), any(Outcome::NotSettled)) {
        (true, _) => Outcome::Bad,
        (false, true) => Outcome::NotSettled,
        (false, false) => Outcome::Good,
    }
}
