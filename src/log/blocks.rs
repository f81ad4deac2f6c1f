//! The text in blocks: each is cut at the end of a record and read.
//!
//! From [`LONG`] bytes on a second core reads every other of the plain blocks ([`Ahead`]).

use super::ReadError;
use super::ahead::Ahead;
use super::plan::Plan;
use super::quotes::{Extent, extent};
use super::rows::{Batch, RowReader, Why};
use super::source::Source;
use crate::sample::Column;
use memchr::{memchr, memchr_iter, memrchr};
use std::io::Read;

/// Bytes of one block; two of them fit into the cache of one core.
const BLOCK: usize = 256 * 1024;
/// From so many bytes on a second core is worth its start.
const LONG: usize = 4 * 1024 * 1024;
/// No line of a log is longer than this.
const LONGEST: usize = 8 * 1024 * 1024;
/// The rows that must agree on their decimals before a last line with fewer counts as cut.
const AGREEING: usize = 50;

/// Reads all rows. `text` is what was read already and starts with the first row, on `line`.
///
/// Errors: [`ReadError::Unreadable`]; [`ReadError::Shape`] for a line without end.
pub(super) fn read_rows<R: Read>(
    source: &mut Source<R>,
    text: Vec<u8>,
    line: u32,
    plan: &Plan,
    name: &str,
) -> Result<Batch<Column>, ReadError> {
    std::thread::scope(|scope| {
        let start = || Ahead::start(scope, plan);
        read_blocks(source, text, line, plan, name, start).map(Batch::finish)
    })
}

/// As [`read_rows`]; `start` sets the second core to work.
fn read_blocks<'plan, R: Read>(
    source: &mut Source<R>,
    mut text: Vec<u8>,
    line: u32,
    plan: &'plan Plan,
    name: &str,
    start: impl Fn() -> Ahead<'plan>,
) -> Result<Batch, ReadError> {
    let mut total = Batch { lines: line - 1, ..Batch::default() };
    let mut reader = RowReader::new(plan);
    let (mut more, mut want, mut taken) = (true, BLOCK, 0);
    let mut ahead: Option<Ahead> = None;
    let mut torn = Vec::new();
    while more || !text.is_empty() {
        while more && text.len() < want {
            let lacking = want - text.len();
            more = source.fill(&mut text, lacking)?;
        }
        if !more && plan.recorded {
            torn.append(&mut text.split_off(memrchr(b'\n', &text).map_or(0, |at| at + 1)));
        }
        let quoted_rows = memchr(b'"', &text).is_some();
        let mut used = match more && !quoted_rows {
            true => memrchr(b'\n', &text).map_or(0, |at| at + 1),
            false => text.len(),
        };
        taken += used;
        if more && !quoted_rows && taken > LONG {
            ahead.get_or_insert_with(&start).read(&mut text, used, &mut total);
        } else {
            // What this thread reads itself stands behind all that is still being read.
            ahead.iter_mut().for_each(|ahead| ahead.finish(&mut total));
            if quoted_rows {
                used = quoted(&text, !more, plan, &mut reader, &mut total);
            } else {
                lines(&text[..used], plan, &mut reader, &mut total);
            }
            text.drain(..used);
        }
        want = if used == 0 { text.len() + BLOCK } else { BLOCK };
        if text.len() > LONGEST {
            ahead.iter_mut().for_each(|ahead| ahead.finish(&mut total));
            return Err(endless(total.lines + 1, name));
        }
    }
    ahead.iter_mut().for_each(|ahead| ahead.finish(&mut total));
    if !torn.trim_ascii().is_empty() {
        let line = total.lines + 1;
        total.refuse(line, f64::NAN, Why::Cut, || {
            "is the last and was cut in the middle".to_string()
        });
    }
    Ok(total)
}

fn endless(line: u32, name: &str) -> ReadError {
    let detail = format!(
        "line {line} does not end within {} MB; this is no log with a row a sample",
        LONGEST >> 20
    );
    ReadError::Shape { name: name.to_string(), detail }
}

/// Reads lines; one without a line end is the last of the file.
pub(super) fn lines(text: &[u8], plan: &Plan, reader: &mut RowReader, batch: &mut Batch) {
    let from = reader.lines(text, batch);
    if from < text.len() {
        last_line(&text[..from], &text[from..], plan, reader, batch);
    }
}

/// Reads the last line of a file that does not end with a line end: it may be cut in the middle.
fn last_line(before: &[u8], line: &[u8], plan: &Plan, reader: &mut RowReader, batch: &mut Batch) {
    if lost_decimals(before, line, plan.delimiter) {
        batch.lines += 1;
        let number = batch.lines;
        return batch.refuse(number, f64::NAN, Why::Cut, || {
            "is the last and ends inside a number".to_string()
        });
    }
    let (bad, rows) = (batch.bad.len(), batch.rows);
    reader.line(line, batch);
    if batch.bad.len() > bad && batch.rows > rows {
        cut(batch);
    }
}

/// Turns the reason for the row refused last into 'cut in the middle'.
fn cut(batch: &mut Batch) {
    if let Some(bad) = batch.bad.last_mut() {
        let was = std::mem::replace(&mut bad.why, Why::Cut);
        let others = batch.bad.iter().any(|bad| bad.why == was);
        let example = batch.examples.iter().position(|(why, _)| *why == was);
        let found = example.map(|at| batch.examples[at].1.clone()).unwrap_or_default();
        if let (false, Some(at)) = (others, example) {
            batch.examples.remove(at);
        }
        let text = if others { String::new() } else { format!(" ({found})") };
        batch.examples.push((Why::Cut, format!("is the last and was cut in the middle{text}")));
    }
}

/// True where the last field has fewer decimals than that of every one of many rows before it, as
/// a number has that was cut.
fn lost_decimals(before: &[u8], line: &[u8], delimiter: u8) -> bool {
    let decimals = |line: &[u8]| {
        let last = line.trim_ascii_end().rsplit(|b| *b == delimiter || *b == b' ').next()?;
        let point = last.iter().position(|b| matches!(b, b'.' | b','));
        let digits = last.iter().any(u8::is_ascii_digit);
        digits.then(|| point.map_or(0, |at| last.len() - at - 1))
    };
    let Some(own) = decimals(line) else { return false };
    let rows = before.rsplit(|b| *b == b'\n').skip(1).take(AGREEING).map(decimals);
    let (mut count, mut usual) = (0, None);
    for row in rows {
        let Some(row) = row else { return false };
        if *usual.get_or_insert(row) != row {
            return false;
        }
        count += 1;
    }
    count == AGREEING && usual.is_some_and(|usual| own < usual)
}

/// Reads complete records of a text with quotation marks; returns the bytes used.
fn quoted(
    text: &[u8],
    last: bool,
    plan: &Plan,
    reader: &mut RowReader,
    batch: &mut Batch,
) -> usize {
    let (mut at, mut stretch) = (0, 0);
    while at < text.len() {
        let rest = &text[at..];
        let end = memchr(b'\n', rest).map(|end| end + 1);
        let line = &rest[..end.unwrap_or(rest.len())];
        if end.is_none() && !last {
            break;
        }
        if line.first() == Some(&b'#') || memchr(b'"', line).is_none() {
            records(&text[stretch..at], plan, reader, batch);
            match end {
                Some(_) => {
                    reader.lines(line, batch);
                }
                None => last_line(&text[..at], line, plan, reader, batch),
            }
            at += line.len();
            stretch = at;
            continue;
        }
        match extent(rest, plan.delimiter, last) {
            Extent::Complete { bytes, .. } => at += bytes,
            Extent::Unclosed { bytes } => {
                records(&text[stretch..at], plan, reader, batch);
                reader.unclosed(&rest[..bytes], batch);
                at += bytes;
                stretch = at;
                if at == text.len() && end.is_none() {
                    cut(batch);
                }
            }
            Extent::Unknown => break,
        }
    }
    let bad = batch.bad.len();
    records(&text[stretch..at], plan, reader, batch);
    let refused = batch.bad.last().is_some_and(|bad| bad.row + 1 == batch.rows);
    if last
        && at == text.len()
        && stretch < at
        && !text.ends_with(b"\n")
        && batch.bad.len() > bad
        && refused
    {
        cut(batch);
    }
    at
}

/// Reads complete records with quotation marks.
fn records(text: &[u8], plan: &Plan, reader: &mut RowReader, batch: &mut Batch) {
    if text.is_empty() {
        return;
    }
    let mut csv = csv::ReaderBuilder::new()
        .delimiter(plan.delimiter)
        .has_headers(false)
        .flexible(true)
        .buffer_capacity(text.len().min(64 * 1024))
        .from_reader(text);
    let mut record = csv::ByteRecord::new();
    let line = batch.lines;
    while let Ok(true) = csv.read_byte_record(&mut record) {
        let own = record.position().map_or(1, |position| position.line() as u32);
        reader.record(&record, line + own, batch);
    }
    let ends = memchr_iter(b'\n', text).count() as u32;
    batch.lines += ends + u32::from(!text.ends_with(b"\n"));
}
