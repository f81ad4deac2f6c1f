//! From an input to a [`Log`].

use super::blocks::read_rows;
use super::clock::{mark_time, settle};
use super::columns::plan;
use super::dialect::{Dialect, dialect};
use super::plan::Plan;
use super::pressure::{Context, finish};
use super::rows::{Bad, Batch, Why};
use super::source::Source;
use super::{Head, Log, ReadError, ReadOptions};
use crate::sample::{Column, Mark, Remark, Track};
use std::io::{ErrorKind, Read};
use std::path::Path;

/// The part of the rows that may be bad.
const MOST_BAD: f64 = 0.05;
/// Bytes of text from which the layout is told.
const LOOK: usize = 96 * 1024;

/// Reads a log file; see [`read`].
///
/// Errors: as [`read`], and [`ReadError::NotFound`], [`ReadError::Directory`].
pub fn read_path(path: &Path, options: &ReadOptions) -> Result<Log, ReadError> {
    let mut options = options.clone();
    if options.name.is_empty() {
        options.name = path.display().to_string();
    }
    let name = options.name.clone();
    let file = std::fs::File::open(path).map_err(|source| match source.kind() {
        ErrorKind::NotFound => ReadError::NotFound { name: name.clone() },
        _ => ReadError::Unreadable { name: name.clone(), source },
    })?;
    if file.metadata().is_ok_and(|data| data.is_dir()) {
        return Err(ReadError::Directory { name });
    }
    read(file, &options)
}

/// Reads a log from any source of bytes, canonical or foreign, block by block.
///
/// Errors: every [`ReadError`]; each is one sentence that says what was found, where, and what to
/// do.
pub fn read(input: impl Read, options: &ReadOptions) -> Result<Log, ReadError> {
    let mut options = options.clone();
    if options.name.is_empty() {
        options.name = "the input".to_string();
    }
    let options = &options;
    let mut source = Source::open(input, &options.name)?;
    let mut text = Vec::new();
    let mut more = true;
    while more && text.len() < LOOK {
        let lacking = LOOK - text.len();
        more = source.fill(&mut text, lacking)?;
    }
    let mut remarks: Vec<Remark> = source.remark.take().into_iter().collect();
    let layout = layout(&text, !more, options)?;
    let head = head(&layout, &mut remarks);
    let plan = plan(&layout, options, &mut remarks)?;
    text.drain(..layout.body);
    let batch = read_rows(&mut source, text, layout.body_line, &plan, &options.name)?;
    build(batch, plan, head, options, remarks)
}

/// Finds the layout of the file from its start.
fn layout(start: &[u8], whole: bool, options: &ReadOptions) -> Result<Dialect, ReadError> {
    let text = match std::str::from_utf8(start) {
        Ok(text) => text,
        Err(e) => std::str::from_utf8(&start[..e.valid_up_to()]).unwrap_or_default(),
    };
    if text.trim_matches(|c: char| c.is_whitespace() || c == '\u{feff}').is_empty() {
        return Err(ReadError::Empty { name: options.name.clone() });
    }
    let layout = dialect(text, whole);
    let numbered = options.columns.as_ref().is_some_and(|text| text.contains('#'));
    if !layout.named && !numbered {
        let first: Vec<&str> =
            layout.samples.first().into_iter().flatten().map(String::as_str).collect();
        let detail = format!(
            "no heading row was found above line {} ({}); put one there, such as \"time_s,rpm,vac1_kpa,vac2_kpa\", or name columns by number, such as --columns \"time=#1,vac1=#2\"",
            layout.body_line,
            first.join(", ")
        );
        return Err(ReadError::Shape { name: options.name.clone(), detail });
    }
    Ok(layout)
}

/// The `# key: value` lines, and remarks about the start of the file.
fn head(layout: &Dialect, remarks: &mut Vec<Remark>) -> Head {
    let mut head = Head::default();
    for line in &layout.comments {
        if let Some(text) = head.take(line) {
            remarks.push(Remark::new("header_value", 1, &[], text));
        }
    }
    if layout.preamble > 0 {
        let lines = layout.preamble;
        let text = format!("{lines} lines of text before the headings were passed over");
        remarks.push(Remark::new("preamble", lines, &[], text));
    }
    if layout.twice_encoded > 0 {
        let count = layout.twice_encoded;
        let text =
            format!("{count} headings had been encoded twice (as in \"Â°\") and were mended");
        remarks.push(Remark::new("twice_encoded", count, &[], text));
    }
    head
}

/// Puts everything together once all rows are read.
fn build(
    mut batch: Batch<Column>,
    plan: Plan,
    head: Head,
    options: &ReadOptions,
    mut remarks: Vec<Remark>,
) -> Result<Log, ReadError> {
    settle(&mut batch, &plan.clock, &mut remarks);
    batch.bad.sort_by_key(|bad| bad.row);
    check_enough(&batch, options)?;
    let mut found = bad_rows(&batch);
    found.append(&mut remarks);
    let mut remarks = found;
    let marks_there = keep_words(&mut batch, &plan, &mut remarks);
    let marks = marks(&batch, &mut remarks);
    if batch.comments > 0 {
        let count = batch.comments as usize;
        let text = format!("{count} lines between the rows start with # and were passed over");
        remarks.push(Remark::new("comment_lines", count, &[], text));
    }
    let context = Context { options, head: &head, time_s: &batch.time_s, marks: &marks };
    let channels = std::mem::take(&mut batch.channels);
    let (channels, baro) = finish(&plan.slots, channels, &context, &mut remarks)?;
    // What may turn the advice round must not be missed.
    remarks.sort_by_key(|remark| !matches!(remark.code, "vacuum_doubtful" | "same_column"));
    let [vac1_kpa, vac2_kpa] = channels.vacuum;
    let [flow1_kpa, flow2_kpa] = channels.flow;
    let track = Track {
        time_s: batch.time_s,
        rpm: channels.rpm,
        vac1_kpa,
        vac2_kpa,
        crank_kpa: channels.crank,
        flow1_kpa,
        flow2_kpa,
        row: batch.row,
        marks,
    };
    let pressures = [&track.vac1_kpa, &track.vac2_kpa, &track.flow1_kpa, &track.flow2_kpa];
    if track.rpm.is_none() && pressures.iter().all(|column| column.is_none()) {
        let detail = "neither a pressure nor the engine speed has a single reading; check the sensors and --columns";
        return Err(ReadError::NoUsableRow {
            name: options.name.clone(),
            detail: detail.to_string(),
        });
    }
    let mut taken = vec![plan.clock_taken];
    taken.extend(channels.taken);
    taken.extend(plan.mark_taken.filter(|_| marks_there));
    Ok(Log { head, rows: track.len(), bad_rows: batch.bad.len(), track, remarks, taken, baro })
}

/// Takes the marks out of a column that was empty at first where numbers follow. Returns whether
/// the column holds marks.
fn keep_words(batch: &mut Batch<Column>, plan: &Plan, remarks: &mut Vec<Remark>) -> bool {
    if !plan.mark_unseen {
        return true;
    }
    let is_number = |text: &str| text.replace(',', ".").parse::<f64>().is_ok();
    if batch.marks.iter().any(|mark| is_number(&mark.text)) {
        batch.marks.clear();
        let heading = plan.mark_taken.as_ref().map_or("", |taken| taken.heading.as_str());
        let text = format!(
            "not taken: {heading:?}, which is empty at first and then holds numbers; name what it is with --columns"
        );
        remarks.push(Remark::new("columns_not_taken", 1, &[], text));
    }
    !batch.marks.is_empty()
}

/// The first bad row in words: line, second, what is wrong.
fn locate(batch: &Batch<Column>, bad: &Bad) -> String {
    let at = mark_time(bad.row, bad.at_s, &batch.row, &batch.time_s).0;
    let example = batch.examples.iter().find(|(why, _)| *why == bad.why);
    let what = example.map_or("", |(_, text)| text.as_str());
    match batch.time_s.is_empty() && bad.at_s.is_nan() {
        true => format!("line {}, which {what}", bad.line),
        false => format!("line {} (at {at:.2} s), which {what}", bad.line),
    }
}

/// Errors where no row is left, or too few.
fn check_enough(batch: &Batch<Column>, options: &ReadOptions) -> Result<(), ReadError> {
    let name = options.name.clone();
    let first = batch.bad.first().map(|bad| locate(batch, bad));
    if batch.time_s.is_empty() {
        let detail = match first {
            Some(first) => format!(
                "all {} rows are bad, the first is {first}; check the file and --columns",
                batch.bad.len()
            ),
            None if !batch.marks.is_empty() => {
                "there are marks and not one sample; check that the sensors were connected"
                    .to_string()
            }
            None => {
                "there is a heading row and nothing under it; check that the logger was running"
                    .to_string()
            }
        };
        return Err(ReadError::NoUsableRow { name, detail });
    }
    let total = batch.time_s.len() + batch.bad.len();
    // The last line of a log that ends when the power goes is cut as a matter of course.
    let bad = batch.bad.iter().filter(|bad| bad.why != Why::Cut).count();
    match first {
        Some(first) if !options.lenient && bad as f64 > MOST_BAD * total as f64 => {
            Err(ReadError::TooManyBad { name, bad, total, first })
        }
        _ => Ok(()),
    }
}

/// One remark for each reason for which rows were left out.
fn bad_rows(batch: &Batch<Column>) -> Vec<Remark> {
    const REASONS: [(Why, &str, &str); 8] = [
        (Why::Fields, "wrong_fields", "with the wrong number of fields"),
        (Why::Unreadable, "unreadable_number", "with a number that cannot be read"),
        (Why::NotFinite, "not_finite", "with NaN or infinity"),
        (Why::NoTime, "no_time", "without a time"),
        (Why::Quote, "open_quote", "with a quotation mark that does not close"),
        (Why::Cut, "cut_line", "cut in the middle at the end of the file"),
        (Why::Backward, "time_backwards", "out of the order of time"),
        (Why::Repeated, "time_repeated", "with the time of the row above"),
    ];
    let mut remarks = Vec::new();
    for (why, code, words) in REASONS {
        let rows: Vec<&Bad> = batch.bad.iter().filter(|bad| bad.why == why).collect();
        let Some(first) = rows.first() else { continue };
        let place = |bad: &&Bad| mark_time(bad.row, bad.at_s, &batch.row, &batch.time_s).0;
        let places: Vec<f64> = rows.iter().take(Remark::PLACES).map(place).collect();
        let (count, plural) = (rows.len(), if rows.len() == 1 { "" } else { "s" });
        let which = if rows.len() == 1 { "it is" } else { "the first is" };
        let text =
            format!("{count} row{plural} {words} left out; {which} {}", locate(batch, first));
        remarks.push(Remark::new(code, count, &places, text));
    }
    remarks
}

/// The marks that speak of hoses, caps and the like and yet have no meaning.
fn unknown_marks(marks: &[Mark]) -> Option<Remark> {
    let missed: Vec<&Mark> = marks.iter().filter(|mark| mark.is_missed()).collect();
    let mut words: Vec<&str> = Vec::new();
    for mark in &missed {
        if !words.contains(&mark.text.as_str()) {
            words.push(&mark.text);
        }
    }
    let shown: Vec<String> =
        words.iter().take(Remark::PLACES).map(|text| format!("{text:?}")).collect();
    let places: Vec<f64> = missed.iter().map(|mark| mark.at.0).collect();
    (!missed.is_empty()).then(|| {
        let text = format!(
            "{}: no meaning is known for this mark, so that it changes nothing; marks with a meaning are {}",
            shown.join(", "),
            Mark::KNOWN
        );
        Remark::new("unknown_mark", missed.len(), &places, text)
    })
}

/// Sets aside what later marks call a mistake.
fn mistakes(marks: &mut [Mark]) -> Vec<Remark> {
    let (aside_s, unmatched_s) = Mark::set_aside(marks);
    let aside = "marks that a later mark calls a mistake change nothing; they are still shown";
    let unmatched = "a mark calls another a mistake, but none of those words stands before it: it changes nothing";
    [("marks_set_aside", aside_s, aside), ("mistake_unmatched", unmatched_s, unmatched)]
        .into_iter()
        .filter(|(_, at_s, _)| !at_s.is_empty())
        .map(|(code, at_s, text)| Remark::new(code, at_s.len(), &at_s, text))
        .collect()
}

/// The marks in the order of time.
fn marks(batch: &Batch<Column>, remarks: &mut Vec<Remark>) -> Vec<Mark> {
    let in_order = batch.row.is_rising();
    let time = |row: u32, at_s: f64| match in_order {
        true => mark_time(row, at_s, &batch.row, &batch.time_s),
        // Sorted rows: the row numbers are out of order, and are looked for one by one.
        false => match batch.row.iter().position(|r| r == row) {
            Some(at) => crate::units::Seconds(batch.time_s.at(at)),
            None => crate::units::Seconds(if at_s.is_finite() { at_s } else { 0.0 }),
        },
    };
    let mut marks: Vec<Mark> =
        batch.marks.iter().map(|raw| Mark::read(time(raw.row, raw.at_s), &raw.text)).collect();
    marks.sort_by(|a, b| a.at.0.total_cmp(&b.at.0));
    remarks.extend(unknown_marks(&marks));
    remarks.extend(mistakes(&mut marks));
    let held: Vec<f64> = batch
        .marks
        .iter()
        .filter(|raw| raw.until > raw.row)
        .map(|raw| time(raw.row, raw.at_s).0)
        .collect();
    if !held.is_empty() {
        let text =
            "a mark repeated on rows that follow each other counts once, at the first of them";
        remarks.push(Remark::new("held_mark", held.len(), &held, text));
    }
    marks
}
