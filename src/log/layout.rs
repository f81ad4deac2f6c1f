//! Rows that are laid out like the row above them, sign for sign.
//!
//! A logger that writes fixed decimals writes hundreds of rows alike in which only digits change: decimal
//! signs, delimiters and line ends stand where they stood. In such rows nothing is looked for: they are read
//! word by word ([`super::word`]), the same word of many rows one after the other.

use super::numbers::POWERS;
use super::word::{WORD, Word};
use crate::sample::Packer;
use crate::units::TimeUnit;
use std::ops::Range;

/// Rows that are read at a time, at most.
pub(super) const GROUP: usize = 256;

/// The layout of a row.
#[derive(Debug, Clone, Default)]
pub(super) struct Layout {
    /// Bytes of the row with its line end.
    pub length: usize,
    numbers: Vec<Number>,
    /// Words without a digit that is read, of signs that stand in no word of a number.
    fixed: Vec<Word>,
    /// Bytes of fields that are not read: anything but the end of a field.
    skipped: Vec<Range<usize>>,
    delimiter: u8,
}

/// Room for the numbers of a group of rows.
#[derive(Debug, Clone)]
pub(super) struct Room {
    high: Vec<i32>,
    unread: Vec<i32>,
    /// Each number of the layout, row by row.
    pub columns: Vec<Numbers>,
}

/// A number of rows that are alike.
#[derive(Debug, Clone)]
pub(super) struct Numbers {
    /// Where it has at most [`MOST_DIGITS`], it is in whole numbers of `10^-decimals`, else in values.
    decimals: Option<u8>,
    whole: Vec<i32>,
    values: Vec<f64>,
}

/// Digits of the largest whole number for sure.
const MOST_DIGITS: usize = 9;

impl Default for Numbers {
    fn default() -> Numbers {
        Numbers { decimals: None, whole: vec![0; GROUP], values: vec![0.0; GROUP] }
    }
}

impl Numbers {
    /// Puts those of so many rows at the end of a column.
    pub fn put(&self, rows: usize, column: &mut Packer) {
        match self.decimals {
            Some(decimals) => column.extend_decimals(&self.whole[..rows], decimals),
            None => column.extend(&self.values[..rows]),
        }
    }

    /// The same of times of a unit, as seconds.
    pub fn put_times(&mut self, rows: usize, unit: TimeUnit, column: &mut Packer) {
        // A whole number over a power of ten is the same by one division as by the unit's.
        let decimals = match (unit, self.decimals) {
            (TimeUnit::Second, decimals) => decimals,
            (TimeUnit::Millisecond, Some(0)) => Some(3),
            (TimeUnit::Microsecond, Some(0)) => Some(6),
            _ => None,
        };
        if let Some(decimals) = decimals {
            return column.extend_decimals(&self.whole[..rows], decimals);
        }
        let values = &mut self.values[..rows];
        if let Some(decimals) = self.decimals {
            let power = POWERS[usize::from(decimals)];
            let whole = values.iter_mut().zip(&self.whole);
            whole.for_each(|(value, whole)| *value = f64::from(*whole) / power);
        }
        values.iter_mut().for_each(|value| *value = unit.to_seconds(*value).0);
        column.extend(values);
    }
}

impl Default for Room {
    fn default() -> Room {
        Room { high: vec![0; GROUP], unread: vec![0; GROUP], columns: Vec::new() }
    }
}

/// A number of the row.
#[derive(Debug, Clone)]
struct Number {
    /// The word with its last digits, and that with the digits before them.
    low: Word,
    high: Option<Word>,
    /// What the high word counts for.
    scale: f64,
    digits: usize,
    decimals: u8,
    negative: bool,
}

impl Layout {
    /// Becomes the layout of a row that was read: `row` with its line end, and the decimal sign of its numbers. Of
    /// its fields those are read that `is_read` says; the others may hold anything. False, and the layout is
    /// that of no row, where the row is too short or has a number that is too long.
    pub fn set(
        &mut self,
        row: &[u8],
        delimiter: u8,
        point: u8,
        is_read: impl Iterator<Item = bool>,
    ) -> bool {
        self.numbers.clear();
        self.fixed.clear();
        self.skipped.clear();
        (self.length, self.delimiter) = (row.len(), delimiter);
        row.len() >= WORD && self.set_fields(row, point, is_read).is_some()
    }

    fn set_fields(
        &mut self,
        row: &[u8],
        point: u8,
        is_read: impl Iterator<Item = bool>,
    ) -> Option<()> {
        // Signs up to here stand in a word.
        let mut covered = 0;
        let mut from = 0;
        let delimiter = self.delimiter;
        let fields = row.split(|byte| *byte == b'\n' || *byte == delimiter);
        for (field, is_read) in fields.zip(is_read) {
            let to = from + field.len();
            let begin = from + field.iter().take_while(|byte| **byte == b' ').count();
            let end = to - usize::from(field.ends_with(b"\r"));
            if !is_read {
                self.fix(row, covered..from);
                self.skipped.push(from..to);
                covered = to;
            } else if begin < end {
                let number = Number::of(row, begin..end, delimiter, point)?;
                self.fix(row, covered..begin);
                covered = number.low.end();
                self.numbers.push(number);
            }
            from = to + 1;
        }
        self.fix(row, covered..row.len());
        Some(())
    }

    /// Has the signs of some bytes of the row checked.
    fn fix(&mut self, row: &[u8], bytes: Range<usize>) {
        let mut from = bytes.start;
        while from < bytes.end {
            let to = bytes.end.min(from + WORD);
            // A word at the end of a row must not go beyond it.
            let begin = from.min(row.len() - WORD);
            self.fixed.push(Word::at(begin as isize).with_signs(row, from..to));
            from = to;
        }
    }

    /// Reads rows that follow one another from `start` on while they are laid out so. Returns how many there
    /// are, `most` or [`GROUP`] at most; `room` holds their numbers: of the fields that are read and are not
    /// empty.
    pub fn read(&self, text: &[u8], start: usize, most: usize, room: &mut Room) -> usize {
        let rows = ((text.len() - start) / self.length).min(most).min(GROUP);
        let mut rows =
            self.skipped.iter().fold(rows, |rows, bytes| self.skip(text, start, bytes, rows));
        let Room { high, unread, columns } = room;
        for word in &self.fixed {
            rows = word.join(text, start, self.length, &mut unread[..rows]);
        }
        if columns.len() < self.numbers.len() {
            columns.resize_with(self.numbers.len(), Numbers::default);
        }
        for (number, column) in self.numbers.iter().zip(columns) {
            rows = number.read(text, start, self.length, high, column, rows);
        }
        rows
    }

    /// Rows up to the first, of so many, where there is the end of a field among some bytes, or which they make
    /// a comment.
    fn skip(&self, text: &[u8], start: usize, bytes: &Range<usize>, rows: usize) -> usize {
        let is_end = |byte: &u8| *byte == self.delimiter || *byte == b'\n';
        let is_comment = |line: &[u8]| bytes.start == 0 && line.starts_with(b"#");
        let lines = text[start..].chunks_exact(self.length).take(rows);
        lines
            .take_while(|line| !is_comment(line) && !line[bytes.clone()].iter().any(is_end))
            .count()
    }
}

impl Number {
    fn of(row: &[u8], bytes: Range<usize>, delimiter: u8, point: u8) -> Option<Number> {
        let text = &row[bytes.clone()];
        let negative = text[0] == b'-';
        let signs = usize::from(matches!(text[0], b'-' | b'+'));
        let at = text.iter().position(|byte| *byte == point);
        let decimals = at.map_or(0, |at| text.len() - at - 1);
        let digits = text.len() - signs - usize::from(at.is_some());
        if digits == 0
            || text[signs..].iter().filter(|byte| !byte.is_ascii_digit()).count()
                > usize::from(at.is_some())
        {
            return None;
        }
        let place = at.map_or(bytes.end, |at| bytes.start + at);
        // The ends of fields behind the number come into its word, where there is room.
        let room = WORD.saturating_sub(text.len()).max(1);
        let ends = row[bytes.end..].iter().take(room);
        let is_end = |byte: &&u8| matches!(**byte, b'\r' | b'\n') || **byte == delimiter;
        let end = bytes.end + ends.take_while(is_end).count().max(1);
        let low = Word::of(row, end, bytes.start, place);
        let (high, scale) = if text.len() + (end - bytes.end) > WORD {
            if text.len() >= 2 * WORD {
                return None;
            }
            let split = end - WORD;
            let of_low = (split..bytes.end).filter(|at| *at != place).count();
            (Some(Word::of(row, split, bytes.start, place)), POWERS[of_low])
        } else {
            (None, 0.0)
        };
        Some(Number { low, high, scale, decimals: decimals as u8, digits, negative })
    }

    /// This number of so many rows; returns how many of them are laid out so.
    fn read(
        &self,
        text: &[u8],
        start: usize,
        length: usize,
        high: &mut [i32],
        column: &mut Numbers,
        rows: usize,
    ) -> usize {
        let low = &mut column.whole;
        let mut rows = self.low.join(text, start, length, &mut low[..rows]);
        column.decimals = (self.digits <= MOST_DIGITS).then_some(self.decimals);
        if let Some(word) = &self.high {
            rows = word.join(text, start, length, &mut high[..rows]);
            let parts = low[..rows].iter_mut().zip(&*high);
            if column.decimals.is_some() {
                let scale = self.scale as i32;
                parts.for_each(|(low, high)| *low += high * scale);
            } else {
                // All of them whole numbers below 2^53, so that a division rounds once, as `str::parse` does.
                let power = POWERS[usize::from(self.decimals)];
                let power = if self.negative { -power } else { power };
                for (value, (low, high)) in column.values.iter_mut().zip(parts) {
                    *value = (f64::from(*high) * self.scale + f64::from(*low)) / power;
                }
            }
        }
        if self.negative {
            low[..rows].iter_mut().for_each(|number| *number = -*number);
        }
        rows
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Rows of a text behind its first, of which the fields before `read` are read: how many are read as rows
    /// laid out like the first, and their numbers.
    fn rows_alike(text: &str, read: usize) -> (usize, Vec<Vec<f64>>) {
        let (mut layout, mut room) = (Layout::default(), Room::default());
        let first = text.find('\n').unwrap() + 1;
        if !layout.set(&text.as_bytes()[..first], b',', b'.', (0..9).map(|field| field < read)) {
            return (0, Vec::new());
        }
        let (mut at, mut all) = (first, vec![Packer::default(); layout.numbers.len()]);
        let mut rows = 0;
        for most in [1, 3, GROUP, GROUP, GROUP] {
            let found = layout.read(text.as_bytes(), at, most, &mut room);
            all.iter_mut().zip(&room.columns).for_each(|(all, own)| own.put(found, all));
            rows += found;
            at += found * layout.length;
            if found < most {
                break;
            }
        }
        (rows, all.into_iter().map(|column| column.finish().to_vec()).collect())
    }

    /// The numbers of rows, column by column, as the standard library reads them.
    fn parsed(rows: &[&str], read: usize) -> Vec<Vec<f64>> {
        let mut columns: Vec<Vec<f64>> = Vec::new();
        for row in rows {
            let fields = row.trim_end().split(',').take(read).map(str::trim);
            for (number, field) in fields.filter(|field| !field.is_empty()).enumerate() {
                if columns.len() <= number {
                    columns.push(Vec::new());
                }
                columns[number].push(field.parse().unwrap());
            }
        }
        columns
    }

    /// A row in which digits are alike.
    fn pattern(row: &str, read: usize) -> String {
        let in_field = |field: &str| field.replace(|c: char| c.is_ascii_digit(), "0");
        let fields = row.split(',').enumerate();
        let kept = fields.map(|(k, f)| if k < read { in_field(f) } else { "x".repeat(f.len()) });
        kept.collect::<Vec<String>>().join(",")
    }

    proptest! {
        #[test]
        fn rows_are_read_as_far_as_they_are_alike(
            fields in prop::collection::vec("[+-]?[0-9]{1,9}(\\.[0-9]{0,6})?| {0,2}[0-9]{0,3}", 2..6),
            seeds in prop::collection::vec(any::<u64>(), 1..700),
            odd in prop::option::of((0_usize..600, 0_usize..60, "[0-9.,\n -]")),
            beyond in 0_usize..2,
            end in prop_oneof![Just("\n"), Just("\r\n")],
        ) {
            let template = fields.join(",") + end;
            let read = fields.len() - beyond;
            let digits = |seed: u64| -> String {
                let mut seed = seed;
                template.chars().map(|c| {
                    seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    if c.is_ascii_digit() { char::from(b'0' + (seed >> 60) as u8 % 10) } else { c }
                }).collect()
            };
            let mut text: String = std::iter::once(template.clone()).chain(seeds.iter().map(|seed| digits(*seed))).collect();
            if let Some((row, byte, sign)) = odd {
                let at = (row + 1) * template.len() + byte % template.len();
                if at < text.len() {
                    text.replace_range(at..at + 1, &sign);
                }
            }
            let (found, numbers) = rows_alike(&text, read);
            // Whatever stands in a field that is not read, its ends stay where they were.
            let lines: Vec<&str> = text[template.len()..].split_inclusive('\n').collect();
            let wanted = pattern(&template, read);
            let alike = lines.iter().take_while(|line| pattern(line, read) == wanted).count();
            if template.len() >= WORD && fields.iter().all(|field| field.trim().len() < 2 * WORD) && !numbers.is_empty() {
                prop_assert_eq!(found, alike.min(4 + 3 * GROUP), "{}", template);
            }
            prop_assert!(found <= alike, "{}", template);
            if found > 0 {
                prop_assert_eq!(numbers, parsed(&lines[..found], read), "{}", template);
            }
        }
    }

    #[test]
    fn the_digits_of_one_number_are_joined_over_two_words() {
        let text = "-123456.78901234,850\n-000000.00000001,851\n-999999.99999999,999\n";
        let (rows, numbers) = rows_alike(text, 2);
        assert_eq!((rows, numbers), (0, Vec::new()), "sixteen signs are too many");
        let text = text.replace("-1", "1").replace("-0", "0").replace("-9", "9");
        let (rows, numbers) = rows_alike(&text, 2);
        assert_eq!((rows, &numbers[0]), (2, &vec![0.00000001, 999_999.999_999_99]));
        assert_eq!(numbers[1], [851.0, 999.0]);
    }

    #[test]
    fn a_sign_a_line_end_and_a_delimiter_end_the_rows_that_are_alike() {
        let first = "1.000,850,-57.25,x,\n";
        let row = "2.500,910,-60.75,y,\n";
        for (odd, alike) in [
            (row, 2),
            ("2.500,910, 60.75,y,\n", 1),
            ("2.500,910,-60.7 ,y,\n", 1),
            ("2.500,9100,-60.7,y,\n", 1),
            ("2.500,910,-60.75,,,\n", 1),
            ("2.500,910,-60.75,\n,\n", 1),
            ("2.500,910,-60.75,y,x", 1),
            ("2.500,910,-60.75,y", 1),
            ("2.500,910,-60.75,é\n", 1),
        ] {
            assert_eq!(rows_alike(&[first, row, odd].concat(), 3).0, alike, "{odd:?}");
        }
    }
}
