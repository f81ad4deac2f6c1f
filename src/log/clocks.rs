//! Which column is the clock.

use super::claims;
use super::headings::{Heading, Unit};
use super::numbers::{Cell, Format, cell, format_of};
use super::plan::Clock;
use super::stamps::{order_of, stamp};
use crate::units::TimeUnit;

/// A column: its heading and the first values under it.
#[derive(Debug, Clone)]
pub(super) struct Column<'a> {
    /// What the heading says.
    pub heading: Heading,
    /// The first values, some of them empty.
    pub values: Vec<&'a str>,
    /// How it writes numbers.
    pub format: Format,
}

impl Column<'_> {
    /// The numbers among the values.
    pub fn numbers(&self) -> Vec<f64> {
        let number = |text: &&str| match cell(text.as_bytes(), self.format) {
            Cell::Number(value, _) => Some(value),
            _ => None,
        };
        self.values.iter().filter_map(number).collect()
    }

    /// How many of the values are not empty.
    pub fn filled(&self) -> usize {
        self.values.iter().filter(|text| !text.is_empty()).count()
    }

    /// True where most of what is there can be read as a number.
    pub fn is_numeric(&self) -> bool {
        self.numbers().len() * 5 >= self.filled() * 4
    }
}

/// A column with a claim to be the clock.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    /// How strong the claim is.
    pub score: i32,
    /// The column with the time of day or the number.
    pub field: usize,
    /// How it would be read.
    pub clock: Clock,
    /// Its unit for people.
    pub unit: &'static str,
    /// What was assumed about it, for people.
    pub assumed: Option<String>,
}

/// What the values under a heading look like to a clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Number,
    DateAndTime,
    Date,
    TimeOfDay,
    Neither,
}

fn kind(column: &Column) -> Kind {
    let filled = column.filled();
    if filled == 0 {
        return Kind::Number;
    }
    let plain = |text: &&&str| matches!(cell(text.as_bytes(), column.format), Cell::Number(_, _));
    if column.values.iter().filter(plain).count() * 5 >= filled * 4 {
        return Kind::Number;
    }
    let order = order_of(&column.values, &column.heading.text);
    let stamps: Vec<_> = column.values.iter().filter_map(|text| stamp(text, order)).collect();
    if stamps.len() * 5 < filled * 4 {
        return Kind::Neither;
    }
    let (dates, times) = (
        stamps.iter().filter(|s| s.days.is_some()).count(),
        stamps.iter().filter(|s| s.seconds.is_some()).count(),
    );
    match (dates * 2 > stamps.len(), times * 2 > stamps.len()) {
        (true, true) => Kind::DateAndTime,
        (true, false) => Kind::Date,
        _ => Kind::TimeOfDay,
    }
}

/// Every column with a claim to be the clock, the strongest first.
pub(super) fn candidates(columns: &[Column]) -> Vec<Candidate> {
    let mut found: Vec<Candidate> =
        (0..columns.len()).filter_map(|field| candidate(columns, field)).collect();
    found.sort_by_key(|candidate| -candidate.score);
    found
}

/// The claim of one column by its heading and its values.
fn candidate(columns: &[Column], field: usize) -> Option<Candidate> {
    let column = &columns[field];
    if column.heading.text == "time_s" {
        let unit = TimeUnit::Second;
        let clock = Clock::Number { field, format: column.format, unit };
        let plain = Candidate { score: 0, field, clock, unit: unit.symbol(), assumed: None };
        let found = as_clock(columns, field, None).unwrap_or(plain);
        return Some(Candidate { score: 1000, ..found });
    }
    let words = claims::clock(&column.heading);
    if words <= 0 {
        return None;
    }
    let mut found = as_clock(columns, field, None)?;
    let timed = matches!(column.heading.unit, Some(Unit::Time(_)));
    found.score = words
        + match (&found.clock, kind(column)) {
            (Clock::Number { .. }, _) if timed => 30,
            (_, Kind::DateAndTime) => 24,
            (Clock::Stamp { date: Some(_), .. }, Kind::TimeOfDay) => 24,
            (_, Kind::Date) => return pairless_date(columns, found),
            _ => 15,
        };
    // Of two clocks the finer one is the better.
    let mut stamps = column.values.clone();
    stamps.dedup();
    found.score += (4.0 * stamps.len() as f64 / column.values.len().max(1) as f64).round() as i32;
    if matches!(found.clock, Clock::Number { .. }) {
        let numbers = column.numbers();
        let steps = numbers.windows(2).map(|pair| pair[1] - pair[0]);
        let forward = steps.clone().filter(|step| *step >= 0.0).count();
        let moving = steps.filter(|step| *step > 0.0).count();
        let runs = forward * 10 >= (numbers.len().saturating_sub(1)) * 9
            && (moving > 0 || numbers.len() < 2);
        let near_miss = words < 12;
        let index = numbers.windows(2).all(|pair| pair[1] - pair[0] == 1.0) && numbers.len() > 1;
        if !runs || (near_miss && index) {
            found.score -= 30;
        }
        if near_miss && found.score <= 0 {
            return None;
        }
    }
    Some(found)
}

/// A date alone is a clock only where no other column has the time of day.
fn pairless_date(columns: &[Column], found: Candidate) -> Option<Candidate> {
    let paired =
        columns.iter().any(|c| kind(c) == Kind::TimeOfDay && claims::clock(&c.heading) > 0);
    (!paired).then_some(Candidate { score: 5, ..found })
}

/// Reads a column as the clock, whatever its heading says; `None` where its values allow it not.
/// A unit given by the user goes before that of the heading.
pub(super) fn as_clock(
    columns: &[Column],
    field: usize,
    given: Option<TimeUnit>,
) -> Option<Candidate> {
    let column = columns.get(field)?;
    match kind(column) {
        Kind::Neither => None,
        Kind::Number => {
            let named = match column.heading.unit {
                Some(Unit::Time(unit)) => Some(unit),
                _ => None,
            };
            let (unit, assumed) = match given.or(named).or(glued(column)) {
                Some(unit) => (unit, None),
                None => assumed_unit(column),
            };
            let clock = Clock::Number { field, format: column.format, unit };
            Some(Candidate { score: 0, field, clock, unit: unit.symbol(), assumed })
        }
        kind => {
            let date = (kind == Kind::TimeOfDay).then(|| date_beside(columns)).flatten();
            let dates = &columns[date.unwrap_or(field)];
            let order = order_of(&dates.values, &dates.heading.text);
            let first = dates.values.iter().find_map(|text| stamp(text, order)?.days);
            let whole =
                column.values.iter().all(|text| !text.contains(['.']) || kind != Kind::TimeOfDay);
            let fraction =
                columns.iter().position(|c| claims::is_fraction(&c.heading) && c.is_numeric());
            let clock = Clock::Stamp {
                field,
                date,
                fraction: fraction.filter(|_| whole),
                order,
                base_days: first.unwrap_or(0),
                dated: first.is_some(),
            };
            Some(Candidate { score: 0, field, clock, unit: "date and time", assumed: None })
        }
    }
}

/// The column with the dates that belong to a column with times of day.
fn date_beside(columns: &[Column]) -> Option<usize> {
    columns.iter().position(|c| claims::clock(&c.heading) > 0 && kind(c) == Kind::Date)
}

/// The unit glued to the numbers of a column.
fn glued(column: &Column) -> Option<TimeUnit> {
    column.values.iter().find_map(|text| match cell(text.as_bytes(), column.format) {
        Cell::Number(_, unit) if !unit.is_empty() => TimeUnit::parse(unit),
        _ => None,
    })
}

/// The unit of a clock without one, from the size of its numbers and of its steps, and the words for
/// a person.
fn assumed_unit(column: &Column) -> (TimeUnit, Option<String>) {
    let numbers = column.numbers();
    let size = numbers.iter().fold(0.0f64, |most, n| most.max(n.abs()));
    let mut steps: Vec<f64> =
        numbers.windows(2).map(|pair| pair[1] - pair[0]).filter(|s| *s > 0.0).collect();
    steps.sort_by(f64::total_cmp);
    let step = steps.get(steps.len() / 2).copied().unwrap_or(0.0);
    let whole = numbers.iter().all(|n| n.fract() == 0.0);
    // Seconds since 1970 stand near 1.7e9; the same in smaller units near 1.7e12, e15 and e18.
    let unit = match size {
        s if s >= 1e17 => TimeUnit::Nanosecond,
        s if s >= 1e14 => TimeUnit::Microsecond,
        s if s >= 1e11 => TimeUnit::Millisecond,
        s if s >= 1e8 && step < 1000.0 => TimeUnit::Second,
        _ if whole && step >= 5000.0 => TimeUnit::Microsecond,
        _ if whole && step >= 5.0 => TimeUnit::Millisecond,
        _ => TimeUnit::Second,
    };
    let (text, symbol) = (&column.heading.text, unit.symbol());
    let says = format!(
        "{text:?} names no unit of time; its values look like {symbol} (overrule it with --columns \"time={text} [s]\")"
    );
    (unit, Some(says))
}

/// The format of every column, a comma in one making a comma likely in the others.
pub(super) fn columns_of<'a>(
    headings: Vec<Heading>,
    samples: &'a [Vec<String>],
) -> Vec<Column<'a>> {
    let values = |field: usize| -> Vec<&'a str> {
        samples.iter().filter_map(|row| row.get(field)).map(String::as_str).collect()
    };
    let first = |field: usize| format_of(values(field).into_iter(), false);
    let comma = (0..headings.len()).any(|field| first(field).point == b',');
    let column = |(field, heading)| Column {
        heading,
        values: values(field),
        format: format_of(values(field).into_iter(), comma),
    };
    headings.into_iter().enumerate().map(column).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::stamps::Order;

    fn best(headings: &[&str], rows: &[&[&str]]) -> Candidate {
        let samples: Vec<Vec<String>> =
            rows.iter().map(|row| row.iter().map(|f| f.to_string()).collect()).collect();
        let headings = headings.iter().map(|h| Heading::read(h, "")).collect();
        candidates(&columns_of(headings, &samples)).remove(0)
    }

    #[test]
    fn an_elapsed_time_with_a_unit_goes_before_stamps_and_counters() {
        let found = best(
            &["Datetime", "Timestamp", "Time (s)", "Measurement"],
            &[
                &["2025-01-29 13:27:16", "1738150036", "0.0", "1"],
                &["2025-01-29 13:27:17", "1738150037", "1.0", "2"],
            ],
        );
        assert_eq!(found.field, 2);
    }

    #[test]
    fn of_two_stamps_the_finer_is_taken() {
        let found = best(
            &["GPS Time", "Device Time"],
            &[
                &["Tue Oct 31 07:50:19 GMT 2017", "31-Oct-2017 07:50:19.1"],
                &["Tue Oct 31 07:50:19 GMT 2017", "31-Oct-2017 07:50:19.6"],
            ],
        );
        assert_eq!(found.field, 1);
    }

    #[test]
    fn date_and_time_in_two_columns_belong_together() {
        let found = best(
            &["Date (MM/DD/YYYY)", "Time (HH:mm:ss)", "Time (Fract. Sec)"],
            &[&["2/3/2020", "12:47:41", "0.5"], &["2/3/2020", "12:47:42", "0.0"]],
        );
        let Clock::Stamp { field, date, fraction, order, .. } = found.clock else { panic!() };
        assert_eq!((field, date, fraction, order), (1, Some(0), Some(2), Order::Mdy));
    }

    #[test]
    fn a_misspelt_clock_is_taken_when_it_runs_like_one() {
        let found = best(&["ENGINE_RUN_TINE ()", "x"], &[&["0", "3"], &["0", "1"], &["2", "4"]]);
        assert_eq!(found.field, 0);
    }

    #[test]
    fn a_clock_without_a_unit_is_told_from_its_numbers() {
        let unit = |rows: &[&[&str]]| best(&["time"], rows).unit;
        assert_eq!(unit(&[&["0.00"], &["0.02"]]), "s");
        assert_eq!(unit(&[&["0"], &["20"], &["40"]]), "ms");
        assert_eq!(unit(&[&["0"], &["20000"], &["40000"]]), "us");
        assert_eq!(unit(&[&["1738150036"], &["1738150037"]]), "s");
        assert_eq!(unit(&[&["1738150036123"], &["1738150036143"]]), "ms");
    }
}
