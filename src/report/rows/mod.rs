//! Findings of many logs as rows of one table: a log a row, for a spreadsheet or an SQL engine.
//!
//! Columns are called `<what>_<unit>`, intervals are 95 %, pressures are in kPa whatever the unit of
//! the answer. Every format has the same columns in the same order. A log that could not be used has
//! its `log` and its `error`, and nothing else.

pub mod balance;
pub mod breather;
mod parquet;
mod text;

pub use parquet::{ParquetError, Sheet};
pub use text::{csv_heading, csv_line, json_line};

use super::facts::LogFacts;
use super::json::rounded;
use crate::sample::Remark;
use serde::Serialize;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// UTF-8 text.
    Text,
    /// A whole number.
    Count,
    /// A number.
    Number,
}

/// A column: what it is called and what it holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Heading {
    /// Name, `<what>_<unit>`.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
}

/// A value in a row; what was not measured is [`Cell::Nothing`].
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Not measured.
    Nothing,
    /// Text.
    Text(String),
    /// A whole number.
    Count(i64),
    /// A finite number, rounded as in the JSON documents.
    Number(f64),
}

/// One row, a cell a heading.
pub type Row = Vec<Cell>;

/// What is known of a log beside its finding.
#[derive(Debug, Clone, Copy)]
pub struct Of<'a> {
    /// Its path.
    pub log: &'a str,
    /// Size of the file, bytes.
    pub bytes: Option<u64>,
    /// When it was started, as its header says.
    pub started: Option<&'a str>,
    /// The engine, as its header says.
    pub engine: Option<&'a str>,
    /// Size, rate, remarks.
    pub facts: &'a LogFacts,
    /// Remarks of the finding itself.
    pub own: &'a [Remark],
}

/// A column of a table whose rows are made of a `T`.
struct Column<T: ?Sized> {
    heading: Heading,
    cell: fn(&T) -> Cell,
}

const fn column<T: ?Sized>(name: &'static str, kind: Kind, cell: fn(&T) -> Cell) -> Column<T> {
    Column { heading: Heading { name, kind }, cell }
}

/// The columns of the log itself, first in every table. `error` says why a log could not be used, and
/// is absent where it could.
fn of_the_log<'a>() -> [Column<Of<'a>>; 10] {
    [
        column("log", Kind::Text, |of| text(of.log)),
        column("bytes", Kind::Count, |of| whole(of.bytes)),
        column("car", Kind::Text, |of| maybe(of.facts.car.as_deref().or(of.engine))),
        column("started", Kind::Text, |of| maybe(of.started)),
        column("rows", Kind::Count, |of| whole(Some(of.facts.rows as u64))),
        column("bad_rows", Kind::Count, |of| whole(Some(of.facts.bad_rows as u64))),
        column("duration_s", Kind::Number, |of| number(Some(of.facts.duration_s))),
        column("sample_rate_hz", Kind::Number, |of| number(of.facts.sample_rate_hz)),
        column("remarks", Kind::Text, |of| codes(of)),
        column("error", Kind::Text, |_| Cell::Nothing),
    ]
}

fn headings_of<T>(columns: &[Column<T>]) -> impl Iterator<Item = Heading> + '_ {
    columns.iter().map(|column| column.heading)
}

fn cells<T>(columns: &[Column<T>], of: &T) -> Row {
    columns.iter().map(|column| (column.cell)(of)).collect()
}

/// The row of a log that could not be used: what it is called, its size, and why.
pub fn unusable(headings: &[Heading], log: &str, bytes: Option<u64>, error: &str) -> Row {
    let cell = |heading: &Heading| match heading.name {
        "log" => text(log),
        "bytes" => whole(bytes),
        "error" => text(error),
        _ => Cell::Nothing,
    };
    headings.iter().map(cell).collect()
}

/// The codes of all remarks, each once, in their order, with commas between.
fn codes(of: &Of<'_>) -> Cell {
    let mut codes: Vec<&str> = Vec::new();
    for remark in of.facts.remarks.iter().chain(of.own) {
        if !codes.contains(&remark.code) {
            codes.push(remark.code);
        }
    }
    Some(codes).filter(|codes| !codes.is_empty()).map_or(Cell::Nothing, |c| text(&c.join(",")))
}

fn text(text: &str) -> Cell {
    Cell::Text(text.to_string())
}

fn maybe(found: Option<&str>) -> Cell {
    found.map_or(Cell::Nothing, text)
}

fn whole(count: Option<u64>) -> Cell {
    count.and_then(|count| i64::try_from(count).ok()).map_or(Cell::Nothing, Cell::Count)
}

fn number(value: Option<f64>) -> Cell {
    let finite = value.filter(|value| value.is_finite());
    finite.and_then(|value| rounded(value).parse().ok()).map_or(Cell::Nothing, Cell::Number)
}

/// The word that JSON uses for a verdict or the like.
fn word(value: impl Serialize) -> Cell {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => Cell::Text(word),
        _ => Cell::Nothing,
    }
}
