//! From rows to numbers.
//!
//! A row is first tried as one of plain decimals ([`super::plain`]), and those behind it as rows that are laid
//! out like it ([`super::layout`]); whatever is not plain goes the slow way, which knows everything and says
//! what is wrong.

use super::layout::{GROUP, Layout, Room};
use super::numbers::{Cell, Format, cell};
use super::plain::{PlainRow, PlainRows};
use super::plan::{CHANNELS, Clock, Measure, Plan};
use super::source::as_text;
use super::stamps::stamp;
use crate::sample::{Column, Packer, RowNumbers};
use crate::units::{PressureUnit, SpeedUnit, TimeUnit};
use csv::ByteRecord;
use memchr::memchr;
use std::ops::Range;

/// Why a row was left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Why {
    /// More or fewer fields than the others.
    Fields,
    /// A number that is none.
    Unreadable,
    /// NaN or infinity.
    NotFinite,
    /// No time, or one that cannot be read.
    NoTime,
    /// A quotation mark that does not close.
    Quote,
    /// The last line, cut in the middle.
    Cut,
    /// A stamp before that of the row above.
    Backward,
    /// The stamp of the row above again.
    Repeated,
}

/// A row that was left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bad {
    /// Data row, counted from 0.
    pub row: u32,
    /// Line of the file, counted from 1.
    pub line: u32,
    /// Its time where that can be read, else NaN.
    pub at_s: f64,
    /// What is wrong.
    pub why: Why,
}

/// A mark as it was read.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct RawMark {
    /// Data row.
    pub row: u32,
    /// Its own time where that can be read, else NaN.
    pub at_s: f64,
    /// The words.
    pub text: String,
    /// The last row that repeats the mark without a break.
    pub until: u32,
}

/// Rows as columns of numbers: of [`Packer`]s while they are read, and of [`Column`]s then.
#[derive(Debug, Clone, Default)]
pub(super) struct Batch<C = Packer> {
    /// Lines of text that went in.
    pub lines: u32,
    /// Data rows that went in.
    pub rows: u32,
    /// Time of each kept row, s.
    pub time_s: C,
    /// The channels, in the units of the file; empty for one that the log has not.
    pub channels: [C; CHANNELS],
    /// Data row of each kept row.
    pub row: RowNumbers,
    /// Rows left out.
    pub bad: Vec<Bad>,
    /// What the first row left out for each reason holds.
    pub examples: Vec<(Why, String)>,
    /// Marks.
    pub marks: Vec<RawMark>,
    /// Lines of comment between the rows.
    pub comments: u32,
    /// Row and line of every row that does not stand on the line after the row before it.
    pub placed: Vec<(u32, u32)>,
}

impl<C> Batch<C> {
    /// The line of a row.
    pub fn line_of(&self, row: u32) -> u32 {
        let after = self.placed.partition_point(|(first, _)| *first <= row);
        let known = after.checked_sub(1).and_then(|at| self.placed.get(at));
        known.map_or(0, |(first, line)| line + (row - first))
    }
}

impl Batch {
    /// Notes on which line the row that is being read stands.
    #[inline]
    fn place(&mut self, line: u32) {
        let row = self.rows;
        match self.placed.last() {
            Some((first, start)) if line - start == row - first => {}
            _ => self.placed.push((row, line)),
        }
    }

    /// Notes so many rows more, on the lines that follow.
    pub fn follow(&mut self, rows: u32) {
        if rows > 0 {
            self.place(self.lines + 1);
            self.row.follow(self.rows, rows as usize);
            self.rows += rows;
            self.lines += rows;
        }
    }

    /// All rows are read.
    pub fn finish(self) -> Batch<Column> {
        Batch {
            time_s: self.time_s.finish(),
            channels: self.channels.map(Packer::finish),
            lines: self.lines,
            rows: self.rows,
            row: self.row,
            bad: self.bad,
            examples: self.examples,
            marks: self.marks,
            comments: self.comments,
            placed: self.placed,
        }
    }

    /// Puts the rows of the lines that follow behind these, and leaves the other empty, with its room.
    pub fn append(&mut self, next: &mut Batch, recorded: bool) {
        let (rows, lines) = (self.rows, self.lines);
        self.time_s.append(&mut next.time_s);
        for (own, more) in self.channels.iter_mut().zip(&mut next.channels) {
            own.append(more);
        }
        self.row.append(&mut next.row, rows);
        let moved = |bad: Bad| Bad { row: rows + bad.row, line: lines + bad.line, ..bad };
        self.bad.extend(next.bad.drain(..).map(moved));
        for (why, text) in next.examples.drain(..) {
            self.example(why, || text);
        }
        for mark in next.marks.drain(..) {
            let mark = RawMark { row: rows + mark.row, until: rows + mark.until, ..mark };
            if recorded { self.marks.push(mark) } else { self.mark(mark) }
        }
        for (row, line) in next.placed.drain(..) {
            self.rows = rows + row;
            self.place(lines + line);
        }
        self.comments += std::mem::take(&mut next.comments);
        self.rows = rows + std::mem::take(&mut next.rows);
        self.lines = lines + std::mem::take(&mut next.lines);
    }

    fn example(&mut self, why: Why, text: impl FnOnce() -> String) {
        if !self.examples.iter().any(|(known, _)| *known == why) {
            self.examples.push((why, text()));
        }
    }

    /// True where the row that is being read has a mark.
    fn has_mark(&self) -> bool {
        self.marks.last().is_some_and(|mark| mark.until == self.rows)
    }

    /// Keeps a mark; one that repeats that of the row above is the same mark, held.
    fn mark(&mut self, mark: RawMark) {
        match self.marks.last_mut() {
            Some(last) if last.text == mark.text && mark.row == last.until + 1 => {
                last.until = mark.until
            }
            _ => self.marks.push(mark),
        }
    }

    /// Leaves out the row that is being read, which is on the given line of this batch.
    pub fn refuse(&mut self, line: u32, at_s: f64, why: Why, text: impl FnOnce() -> String) {
        self.place(line);
        self.example(why, text);
        self.bad.push(Bad { row: self.rows, line, at_s, why });
        self.rows += 1;
    }
}

/// Reads rows by a plan.
#[derive(Debug, Clone)]
pub(super) struct RowReader<'a> {
    plan: &'a Plan,
    /// Absent where no row can be plain.
    plain: Option<PlainRows>,
    alike: Alike,
    record: ByteRecord,
}

/// Rows that are laid out like the one above them.
#[derive(Debug, Clone, Default)]
struct Alike {
    layout: Layout,
    room: Room,
    /// Rows before the next is tried, and how many there were when it was tried in vain.
    wait: u32,
    waited: u32,
}

/// Rows that are tried at first, and most rows between two that are tried in vain.
const FIRST_ALIKE: usize = 8;
const LONGEST_WAIT: u32 = 63;

impl<'a> RowReader<'a> {
    /// Prepares for a plan.
    pub fn new(plan: &'a Plan) -> Self {
        let (alike, record) = (Alike::default(), ByteRecord::new());
        RowReader { plan, plain: PlainRows::new(plan), alike, record }
    }

    /// Reads lines without quotation marks; returns the bytes used, up to the last line end.
    pub fn lines(&mut self, text: &[u8], batch: &mut Batch) -> usize {
        let mut from = 0;
        while let Some(length) = memchr(b'\n', &text[from..]) {
            let line = from..from + length + 1;
            from = line.end;
            match self.plain.as_ref().and_then(|plain| plain.row(&text[line.start..from - 1])) {
                Some(row) => {
                    batch.lines += 1;
                    self.keep(batch.lines, row.0, &row.1, batch);
                    from += self.alike(text, line, &row, batch);
                }
                None => self.line(&text[line.start..from - 1], batch),
            }
        }
        from
    }

    /// Reads the rows behind a plain one that are laid out like it; returns their bytes.
    fn alike(
        &mut self,
        text: &[u8],
        line: Range<usize>,
        row: &PlainRow,
        batch: &mut Batch,
    ) -> usize {
        let Alike { layout, room, wait, waited } = &mut self.alike;
        if *wait > 0 {
            *wait -= 1;
            return 0;
        }
        let Some(plain) = &self.plain else { return 0 };
        let mut at = line.end;
        if plain.lay_out(&text[line.clone()], layout) {
            let mut most = FIRST_ALIKE;
            loop {
                let rows = layout.read(text, at, most, room);
                plain.keep(row, &mut room.columns, rows, batch);
                at += rows * layout.length;
                if rows < most {
                    break;
                }
                most = (2 * most).min(GROUP);
            }
        }
        *waited = if at > line.end { 0 } else { (2 * *waited + 1).min(LONGEST_WAIT) };
        *wait = *waited;
        at - line.end
    }

    /// Reads one line without quotation marks and without its line end, whatever it holds.
    pub fn line(&mut self, line: &[u8], batch: &mut Batch) {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        batch.lines += 1;
        if line.first() == Some(&b'#') {
            batch.comments += 1;
        } else if !line.trim_ascii().is_empty() {
            let mut record = std::mem::take(&mut self.record);
            record.clear();
            line.split(|b| *b == self.plan.delimiter).for_each(|field| record.push_field(field));
            self.record(&record, batch.lines, batch);
            self.record = record;
        }
    }

    fn keep(&self, line: u32, time: f64, values: &[f64; CHANNELS], batch: &mut Batch) {
        batch.place(line);
        batch.time_s.push(time);
        for (index, slot) in self.plan.slots.iter().enumerate() {
            if slot.is_some() {
                batch.channels[index].push(values[index]);
            }
        }
        batch.row.push(batch.rows);
        batch.rows += 1;
    }

    /// The slow way: reads the fields of one row that starts on the given line of the batch.
    pub fn record(&self, record: &ByteRecord, line: u32, batch: &mut Batch) {
        let widths = self.plan.widths;
        let time = self.time(record);
        let at_s = time.unwrap_or(f64::NAN);
        let beyond_empty = || {
            let mut beyond = (widths.headings..record.len()).filter_map(|field| record.get(field));
            !widths.trailing || beyond.all(|field| field.trim_ascii().is_empty())
        };
        if !widths.fit(record.len()) || !beyond_empty() {
            self.stray_mark(record, at_s, batch);
            let (found, usual) = (record.len(), widths.usual);
            return batch
                .refuse(line, at_s, Why::Fields, || format!("has {found} fields, not {usual}"));
        }
        if let Some(text) = self.plan.mark.and_then(|field| record.get(field)) {
            self.mark(text, at_s, batch);
        }
        let Some(time) = time else {
            let shown = record.get(self.clock_field()).map(shorten).unwrap_or_default();
            let heading = &self.plan.clock_taken.heading;
            return batch.refuse(line, at_s, Why::NoTime, || {
                format!("has {shown:?} under {heading:?}, which is no time")
            });
        };
        let mut values = [f64::NAN; CHANNELS];
        for (value, slot) in values.iter_mut().zip(&self.plan.slots) {
            let Some(slot) = slot else { continue };
            let field = record.get(slot.field).unwrap_or_default();
            let why = match cell(field, slot.format) {
                Cell::Empty => continue,
                Cell::Number(number, "") => {
                    *value = number;
                    continue;
                }
                Cell::Number(number, unit) => match converted(number, unit, slot.measure) {
                    Some(number) => {
                        *value = number;
                        continue;
                    }
                    None => Why::Unreadable,
                },
                Cell::NotFinite => Why::NotFinite,
                Cell::Unreadable => Why::Unreadable,
            };
            let shown = shorten(field);
            return batch.refuse(line, at_s, why, || {
                format!("has {shown:?} under {:?}, which is no number", slot.heading)
            });
        }
        if values.iter().all(|value| value.is_nan()) && batch.has_mark() {
            // The mark is all there is: it keeps its time, and nothing was measured.
            batch.place(line);
            batch.rows += 1;
            return;
        }
        self.keep(line, time, &values, batch);
    }

    /// Leaves out a line whose quotation mark does not close.
    pub fn unclosed(&self, line: &[u8], batch: &mut Batch) {
        batch.lines += 1;
        let mut record = ByteRecord::new();
        line.trim_ascii_end()
            .split(|b| *b == self.plan.delimiter)
            .for_each(|field| record.push_field(field));
        let at_s = self.time(&record).unwrap_or(f64::NAN);
        self.stray_mark(&record, at_s, batch);
        let number = batch.lines;
        batch.refuse(number, at_s, Why::Quote, || {
            "has a quotation mark that does not close".to_string()
        });
    }

    fn clock_field(&self) -> usize {
        match self.plan.clock {
            Clock::Number { field, .. } | Clock::Stamp { field, .. } => field,
        }
    }

    /// The time of a row; `None` where there is none that can be read.
    fn time(&self, record: &ByteRecord) -> Option<f64> {
        match self.plan.clock {
            Clock::Number { field, format, unit } => match cell(record.get(field)?, format) {
                Cell::Number(value, "") => Some(unit.to_seconds(value).0),
                Cell::Number(value, glued) => Some(TimeUnit::parse(glued)?.to_seconds(value).0),
                _ => None,
            },
            Clock::Stamp { field, date, fraction, order, base_days, dated } => {
                let time = stamp(std::str::from_utf8(record.get(field)?).ok()?, order)?;
                let days = match date {
                    Some(date) => {
                        stamp(std::str::from_utf8(record.get(date)?).ok()?, order)?.days?
                    }
                    None if dated => time.days?,
                    None => 0,
                };
                let part = match fraction.and_then(|field| record.get(field)) {
                    Some(text) => match cell(text, Format::POINT) {
                        Cell::Number(part, _) if (0.0..1.0).contains(&part) => part,
                        _ => 0.0,
                    },
                    None => 0.0,
                };
                let midnight = (days - if dated { base_days } else { 0 }) as f64 * 86_400.0;
                Some(midnight + time.seconds.unwrap_or(0.0) + part)
            }
        }
    }

    fn mark(&self, text: &[u8], at_s: f64, batch: &mut Batch) {
        let text = as_text(text);
        let text = super::numbers::bare(&text);
        if !text.is_empty() {
            let row = batch.rows;
            let mark = RawMark { row, at_s, text: text.to_string(), until: row };
            // A recording has one mark a key pressed, on whatever rows.
            if self.plan.recorded { batch.marks.push(mark) } else { batch.mark(mark) }
        }
    }

    /// A mark must not be lost with a row of the wrong number of fields: the words at its end are
    /// taken for it.
    fn stray_mark(&self, record: &ByteRecord, at_s: f64, batch: &mut Batch) {
        let Some(field) = self.plan.mark else { return };
        let is_words = |text: &[u8]| {
            let text = as_text(text);
            let letters = text.chars().filter(|c| c.is_alphabetic()).count();
            letters >= 2 && !matches!(cell(text.as_bytes(), Format::POINT), Cell::NotFinite)
        };
        let from = if record.len() > self.plan.widths.usual {
            field
        } else {
            record.len().saturating_sub(1)
        };
        let is_number =
            |text: &&[u8]| matches!(cell(text, Format::POINT), Cell::Number(..) | Cell::Empty);
        let words: Vec<&[u8]> = (from..record.len())
            .filter_map(|field| record.get(field))
            .skip_while(is_number)
            .filter(|text| !text.trim_ascii().is_empty())
            .collect();
        if words.iter().any(|text| is_words(text)) {
            self.mark(&words.join(&b", "[..]), at_s, batch);
        }
    }
}

/// A number with a unit of its own in the unit of its column; `None` for a unit that does not fit.
fn converted(number: f64, unit: &str, measure: Measure) -> Option<f64> {
    match measure {
        Measure::Speed(column) => {
            let own = SpeedUnit::parse(unit)?;
            if own == column {
                Some(number)
            } else {
                Some(own.to_rpm(number).0 / column.to_rpm(1.0).0)
            }
        }
        Measure::Volts(milli, _) => match (unit, milli) {
            ("V", false) | ("mV", true) => Some(number),
            ("V", true) => Some(1000.0 * number),
            ("mV", false) => Some(0.001 * number),
            _ => None,
        },
        Measure::Pressure(column, _) => {
            let own = PressureUnit::parse(unit)?;
            match column {
                Some(column) if column != own => Some(column.from_kpa(own.to_kpa(number))),
                Some(_) => Some(number),
                None => None,
            }
        }
    }
}

fn shorten(field: &[u8]) -> String {
    let text = as_text(field);
    let mut short: String = text.trim().chars().take(24).collect();
    if text.trim().chars().count() > 24 {
        short.push('…');
    }
    short
}
