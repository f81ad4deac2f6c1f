//! `report --verify`: a page against its logs.

use super::args::ReportArgs;
use super::{content, settings};
use crate::cli::failure::Failure;
use crate::cli::output::{answer, page as paper};
use crate::log::ReadError;
use crate::report::handover::record::{self, Difference, Record};
use crate::report::handover::{self, LogFile, shown};
use crate::report::page::{Page, Tone};
use crate::report::{facts::counted, json};
use crate::units::PressureUnit;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Component, Path, PathBuf};

/// What became of a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
enum State {
    Same,
    Changed,
    Missing,
}

/// A log of the page, and what was found in its place.
struct Sought<'a> {
    file: &'a LogFile,
    state: State,
    bytes: Vec<u8>,
}

/// The answer.
#[derive(Debug, Serialize)]
struct Checked {
    same: bool,
    version: String,
    logs: Vec<CheckedLog>,
    differences: Vec<Difference>,
    /// Why the figures were not made anew; `null` where they were.
    not_checked: Option<String>,
    /// Logs that were named and are none of the page.
    #[serde(skip)]
    foreign: Vec<PathBuf>,
}

#[derive(Debug, Serialize)]
struct CheckedLog {
    name: String,
    state: State,
}

/// Checks a page; the exit code is 0 when everything is as it was, else 1.
///
/// # Errors
/// The page cannot be read, or is none that this program wrote.
pub fn run(path: &Path, args: &ReportArgs) -> Result<u8, Failure> {
    let page = fs::read_to_string(path)
        .map_err(|source| Failure::PageUnreadable { path: path.into(), source })?;
    let no_record = |source| Failure::Record { path: path.into(), source };
    let record = Record::of(&page).map_err(no_record)?;
    let asked = settings::read(&record.settings, &record.logs)
        .map_err(|what| Failure::Settings { path: path.into(), what })?;
    let named = named(args)?;
    let sought = seek(path, args, &record, &named)?;
    let mut differences = Vec::new();
    let missing = sought.iter().any(|log| log.state == State::Missing);
    let not_checked = if missing {
        Some("a log is missing".to_string())
    } else {
        match anew(&asked, &record, &sought) {
            Ok(anew) => {
                differences = record::differences(&page, &anew).map_err(no_record)?;
                None
            }
            Err(failure) => Some(failure.to_string()),
        }
    };
    let all_same = sought.iter().all(|log| log.state == State::Same);
    let logs =
        sought.iter().map(|log| CheckedLog { name: log.file.name.clone(), state: log.state });
    let checked = Checked {
        same: all_same && not_checked.is_none() && differences.is_empty(),
        version: record.version.clone(),
        logs: logs.collect(),
        differences,
        not_checked,
        foreign: foreign(&named, &record),
    };
    if args.output.json {
        answer(json::plain(&checked)?.as_bytes())?;
    } else {
        let mut page = paper(PressureUnit::Kpa);
        write(&mut page, &checked);
        answer(page.finish().as_bytes())?;
    }
    Ok(u8::from(!checked.same))
}

/// The logs that were named, and their bytes.
fn named(args: &ReportArgs) -> Result<Vec<(PathBuf, Vec<u8>)>, Failure> {
    let read = |path: &PathBuf| Ok((path.clone(), super::bytes_of(path)?));
    args.check.named.iter().map(read).collect()
}

/// Those of them that are no log of the page, by their bytes and by their names.
fn foreign(named: &[(PathBuf, Vec<u8>)], record: &Record) -> Vec<PathBuf> {
    let known = |path: &Path, bytes: &[u8]| {
        let same_name = |file: &LogFile| Path::new(&file.name).file_name() == path.file_name();
        record.logs.iter().any(|file| is(file, bytes) || same_name(file))
    };
    let foreign = named.iter().filter(|(path, bytes)| !known(path, bytes));
    foreign.map(|(path, _)| path.clone()).collect()
}

/// Looks for every log of the page: first one with the same bytes, then one with the same name, among the
/// files that were named, in the folder that was named, beside the page, and where we are.
fn seek<'a>(
    page: &Path,
    args: &ReportArgs,
    record: &'a Record,
    named: &[(PathBuf, Vec<u8>)],
) -> Result<Vec<Sought<'a>>, Failure> {
    if let Some(folder) = args.check.logs_in.iter().find(|folder| !folder.is_dir()) {
        let what = format!("there is no folder {}; check the path", folder.display());
        return Err(Failure::Value { flag: "logs-in", what });
    }
    let beside = page.parent().unwrap_or(Path::new("")).to_path_buf();
    let folders: Vec<PathBuf> =
        args.check.logs_in.iter().cloned().chain([beside, PathBuf::new()]).collect();
    Ok(record.logs.iter().map(|file| sought(file, named, &folders)).collect())
}

fn sought<'a>(file: &'a LogFile, named: &[(PathBuf, Vec<u8>)], folders: &[PathBuf]) -> Sought<'a> {
    let places = places(&file.name);
    let last = Path::new(&file.name).file_name();
    let on_disk =
        places.iter().flat_map(|place| folders.iter().map(move |folder| folder.join(place)));
    let on_disk = on_disk.filter_map(|path| fs::read(path).ok()).map(|bytes| (true, bytes));
    let given = named.iter().map(|(path, bytes)| (path.file_name() == last, bytes.clone()));
    let mut changed = None;
    for (of_that_name, bytes) in given.chain(on_disk) {
        if is(file, &bytes) {
            return Sought { file, state: State::Same, bytes };
        }
        if of_that_name && changed.is_none() {
            changed = Some(bytes);
        }
    }
    match changed {
        Some(bytes) => Sought { file, state: State::Changed, bytes },
        None => Sought { file, state: State::Missing, bytes: Vec::new() },
    }
}

/// Where a log may lie under a folder. A page comes from somebody else: a name that leads out of the folder
/// is not followed.
fn places(name: &str) -> Vec<PathBuf> {
    let path = Path::new(name);
    let inside =
        path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    if !inside {
        return Vec::new();
    }
    let last = path.file_name().map(PathBuf::from);
    std::iter::once(path.to_path_buf()).chain(last).collect()
}

fn is(file: &LogFile, bytes: &[u8]) -> bool {
    let digest: String = Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect();
    bytes.len() as u64 == file.bytes && digest == file.sha256
}

/// The page made anew from the logs that were found.
fn anew(asked: &ReportArgs, record: &Record, sought: &[Sought]) -> Result<String, Failure> {
    let content = content::gather(asked, record.profile.clone(), |path| {
        let log = sought.iter().find(|log| Path::new(&log.file.name) == path);
        let name = path.display().to_string();
        log.map(|log| log.bytes.clone()).ok_or(Failure::Read(ReadError::NotFound { name }))
    })?;
    Ok(handover::html(&content.handover()?)?)
}

fn write(page: &mut Page, checked: &Checked) {
    const MOST: usize = 12;
    let counted_logs = counted(checked.logs.len(), "log");
    if checked.same {
        let all =
            format!("As it was: {counted_logs}, and every word, figure and chart of the page.");
        page.heading(&all, Tone::Good);
    } else {
        let (verdict, tone) = verdict(checked);
        page.heading(&verdict, tone);
    }
    page.heading("Logs", Tone::Plain);
    for log in &checked.logs {
        let state = match log.state {
            State::Same => "same",
            State::Changed => "changed since the page was written",
            State::Missing => "missing; name it behind the page, or its folder with --logs-in",
        };
        page.item(&format!("{}: {state}.", shown(&log.name)));
    }
    for path in &checked.foreign {
        page.item(&format!("{}: no log of this page.", shown(&path.display().to_string())));
    }
    if let Some(why) = &checked.not_checked {
        page.heading("Figures", Tone::Plain);
        page.item(&format!("Not made anew: {}.", shown(why)));
    }
    if !checked.differences.is_empty() {
        page.heading("In the page, and as the logs give it", Tone::Plain);
        for difference in checked.differences.iter().take(MOST) {
            let Difference { place, page: was, logs } = difference;
            page.item(&format!("{}: {} - {}", shown(place), shown(was), shown(logs)));
        }
        if let Some(more) = checked.differences.len().checked_sub(MOST).filter(|more| *more > 0) {
            page.item(&format!("{more} more."));
        }
    }
    let own = env!("CARGO_PKG_VERSION");
    if checked.version != own {
        let was = shown(&checked.version);
        page.gap();
        page.paragraph(&format!(
            "The page says that version {was} wrote it; this is {own}, which may say things otherwise."
        ));
    }
}

/// What was found where not everything is as it was. A log that is missing proves nothing against the page.
fn verdict(checked: &Checked) -> (String, Tone) {
    let count = |state| checked.logs.iter().filter(|log| log.state == state).count();
    let proven = count(State::Changed) > 0 || !checked.differences.is_empty();
    let mut parts = Vec::new();
    for (state, word) in [(State::Changed, "changed"), (State::Missing, "missing")] {
        match count(state) {
            0 => {}
            1 => parts.push(format!("1 log is {word}")),
            many => parts.push(format!("{many} logs are {word}")),
        }
    }
    match checked.differences.len() {
        0 => {}
        1 => parts.push("the page differs in 1 place from what the logs give".into()),
        many => parts.push(format!("the page differs in {many} places from what the logs give")),
    }
    if parts.is_empty() {
        parts.push("the figures could not be made anew".into());
    }
    let parts = parts.join(", ");
    if proven {
        (format!("Not as it was: {parts}."), Tone::Bad)
    } else {
        (format!("Not checked: {parts}."), Tone::Open)
    }
}
