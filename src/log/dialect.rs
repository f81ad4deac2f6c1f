//! How a file is laid out: delimiter, preamble, heading row, row of units.

use super::headings::unit_of;
use super::numbers::{Cell, Format, bare, cell, looks_like_value};
use super::quotes::{Extent, extent};
use super::source::mend_twice_encoded;

/// The most records at the start among which the heading row is looked for.
const SEARCH: usize = 130;
/// The most rows that are taken as a sample of the data.
const SAMPLE: usize = 400;
/// The rows under a heading by which it is judged.
const JUDGE: usize = 20;

/// The layout of a file.
#[derive(Debug, Clone, Default)]
pub(super) struct Dialect {
    /// Comma, semicolon or tab.
    pub delimiter: u8,
    /// The headings, mended where they were encoded twice.
    pub headings: Vec<String>,
    /// False where there is no heading row; the headings are then numbers.
    pub named: bool,
    /// The row of units under the headings; empty for none.
    pub units: Vec<String>,
    /// The `#` lines before the headings, without the sign.
    pub comments: Vec<String>,
    /// Lines with text before the headings that were passed over.
    pub preamble: usize,
    /// Headings that were encoded twice.
    pub twice_encoded: usize,
    /// Where in the text the first data row starts.
    pub body: usize,
    /// The line on which it starts, counted from 1.
    pub body_line: u32,
    /// The first data rows.
    pub samples: Vec<Vec<String>>,
}

/// One record of the start of a file.
struct Record<'a> {
    text: &'a str,
    start: usize,
    line: u32,
    fields: Vec<String>,
}

/// Finds the layout from the start of a file; `whole` says that there is no more of it.
pub(super) fn dialect(text: &str, whole: bool) -> Dialect {
    let asked = text.lines().take(SEARCH).find_map(separator_line);
    let delimiters = [b',', b';', b'\t'];
    let scores = delimiters.map(|d| score_delimiter(text, d, whole));
    let best = scores.iter().copied().max().unwrap_or(0);
    let found = delimiters.iter().zip(scores).find(|(_, score)| *score == best);
    let named = asked.filter(|d| score_delimiter(text, *d, whole) * 2 >= best);
    let delimiter = match (named, found) {
        (Some(delimiter), _) => delimiter,
        (None, Some((delimiter, score))) if score > 0 => *delimiter,
        // Without a single row of numbers the headings must tell.
        _ => *delimiters
            .iter()
            .max_by_key(|d| text.bytes().filter(|b| b == *d).count())
            .unwrap_or(&b','),
    };
    lay_out(&records(text, delimiter, whole, SEARCH + SAMPLE), text.len(), delimiter)
}

/// The delimiter that a line such as `sep=;` names.
fn separator_line(line: &str) -> Option<u8> {
    let line = line.trim_matches(['"', '\u{feff}', '\r', ' ']);
    let (key, value) = line.split_at_checked(4)?;
    let good = key.eq_ignore_ascii_case("sep=") && matches!(value, "," | ";" | "\t");
    good.then(|| value.as_bytes()[0])
}

/// How well a delimiter cuts the text into values.
fn score_delimiter(text: &str, delimiter: u8, whole: bool) -> i64 {
    let others = [',', ';', '\t'];
    records(text, delimiter, whole, SEARCH)
        .iter()
        .filter(|record| record.fields.len() >= 2 && !record.text.starts_with('#'))
        .flat_map(|record| &record.fields)
        .map(|field| {
            if looks_like_value(field) {
                1
            } else if field.contains(others) && field.contains(|c: char| c.is_ascii_digit()) {
                -2
            } else {
                0
            }
        })
        .sum()
}

/// The first records of a text.
fn records(text: &str, delimiter: u8, whole: bool, most: usize) -> Vec<Record<'_>> {
    let mut records = Vec::new();
    let (mut start, mut line) = (0, 1);
    while records.len() < most && start < text.len() {
        let (bytes, lines) = match extent(&text.as_bytes()[start..], delimiter, whole) {
            Extent::Complete { bytes, lines } => (bytes, lines),
            Extent::Unclosed { bytes } => (bytes, 1),
            Extent::Unknown => break,
        };
        let record = text[start..start + bytes].trim_end_matches(['\r', '\n']);
        records.push(Record { text: record, start, line, fields: fields(record, delimiter) });
        start += bytes;
        line += lines as u32;
    }
    records
}

/// The fields of one record. Without quotation marks and line ends they lie between the delimiters,
/// which takes far less time than to make a reader for each record: in an archive of short logs that
/// counts.
fn fields(record: &str, delimiter: u8) -> Vec<String> {
    let plain = record.strip_prefix('\u{feff}').unwrap_or(record);
    if plain.is_empty() || plain.contains(['"', '\r', '\n']) {
        return quoted_fields(record, delimiter);
    }
    plain.split(char::from(delimiter)).map(|field| bare(field).to_string()).collect()
}

/// The fields of one record by the rules of RFC 4180.
fn quoted_fields(record: &str, delimiter: u8) -> Vec<String> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(record.as_bytes());
    let mut row = csv::StringRecord::new();
    match reader.read_record(&mut row) {
        Ok(true) => row.iter().map(|field| bare(field).to_string()).collect(),
        _ => Vec::new(),
    }
}

fn is_blank(record: &Record) -> bool {
    record.fields.iter().all(|field| field.is_empty())
}

fn is_comment(record: &Record) -> bool {
    record.text.trim_start_matches(['\u{feff}', ' ', '"']).starts_with('#')
}

fn is_number(field: &str) -> bool {
    let formats = [Format::POINT, Format::COMMA];
    let number = formats.iter().any(|f| matches!(cell(field.as_bytes(), *f), Cell::Number(_, "")));
    number || (looks_like_value(field) && field.contains(':'))
}

/// True for a row with mostly values in it.
fn is_data(record: &Record) -> bool {
    let filled = record.fields.iter().filter(|f| !f.is_empty()).count();
    let values = record.fields.iter().filter(|f| looks_like_value(f)).count();
    !is_comment(record) && values > 0 && values * 5 >= filled * 2
}

/// True for a row of units: every entry is a unit, in brackets, or a dash, and one at least is
/// known.
fn is_units(record: &Record) -> bool {
    let unit = |f: &String| unit_of(f).is_some();
    let other = |f: &String| {
        f.is_empty()
            || (f.starts_with(['(', '[']) && f.len() <= 12)
            || f.chars().all(|c| "-–—./".contains(c))
            || (f.len() <= 8 && !is_number(f) && (f.contains(['/', '°', '%', ':'])))
    };
    !is_comment(record)
        && record.fields.iter().any(unit)
        && record.fields.iter().all(|f| unit(f) || other(f))
}

/// How likely a record is the heading row, 0 to 1, and the record after it and its units.
fn judge(records: &[Record], at: usize) -> (f64, usize) {
    let head = &records[at];
    let filled = head.fields.iter().filter(|f| !f.is_empty()).count();
    let width = head.fields.len();
    let words = head.fields.iter().all(|f| !is_number(f));
    if filled < 2 || !words || filled * 5 < width * 3 {
        return (0.0, at + 1);
    }
    let mut from = at + 1;
    while records.get(from).is_some_and(is_blank) {
        from += 1;
    }
    if records.get(from).is_some_and(is_units) {
        from += 1;
    }
    let rows = &records[from.min(records.len())..];
    let rows: Vec<&Record> =
        rows.iter().filter(|r| !is_blank(r) && !is_comment(r)).take(JUDGE).collect();
    let data: Vec<usize> = rows.iter().filter(|r| is_data(r)).map(|r| r.fields.len()).collect();
    // A heading row with nothing under it is still a heading row.
    let Some(usual) = commonest(&data) else { return (0.01 * filled as f64 / width as f64, from) };
    let good = data.iter().filter(|w| **w == usual).count() as f64 / rows.len() as f64;
    let fit = match usual {
        w if w == width => 1.0,
        w if w == width + 1 => 0.9,
        w if w < width && 2 * w >= width => 0.7,
        w if w > width => 0.5,
        _ => 0.2,
    };
    (good * fit * filled as f64 / width as f64, from)
}

/// The most frequent number; the smaller of two equally frequent.
pub(super) fn commonest(numbers: &[usize]) -> Option<usize> {
    let mut sorted = numbers.to_vec();
    sorted.sort_unstable();
    let runs = sorted.chunk_by(|a, b| a == b);
    runs.rev().max_by_key(|run| run.len()).map(|run| run[0])
}

fn lay_out(records: &[Record], end: usize, delimiter: u8) -> Dialect {
    let mut best = (0.0, None, 0);
    for at in 0..records.len().min(SEARCH) {
        if is_comment(&records[at]) {
            continue;
        }
        let (score, from) = judge(records, at);
        if score > best.0 + 1e-9 {
            best = (score, Some(at), from);
        }
    }
    let first_data = records.iter().position(is_data);
    let commented = first_data
        .and_then(|at| at.checked_sub(1))
        .filter(|at| best.0 < 0.3 && is_comment(&records[*at]))
        .filter(|at| records[*at].fields.len() == records[at + 1].fields.len())
        .filter(|at| records[*at].fields.len() >= 2);
    let (head, from) = match (commented, best.1) {
        (Some(at), _) => (Some(at), at + 1),
        (None, Some(at)) => (Some(at), best.2),
        (None, None) => (None, first_data.unwrap_or(0)),
    };
    describe(records, head, from, end, delimiter)
}

/// Writes down the layout: headings in record `head`, data from record `from` on.
fn describe(
    records: &[Record],
    head: Option<usize>,
    from: usize,
    end: usize,
    delimiter: u8,
) -> Dialect {
    let rows = &records[from.min(records.len())..];
    let mut found = Dialect { delimiter, named: head.is_some(), ..Dialect::default() };
    found.headings = match head {
        Some(at) => records[at].fields.clone(),
        None => {
            let width = rows.first().map_or(0, |row| row.fields.len());
            (1..=width).map(|number| format!("#{number}")).collect()
        }
    };
    if let Some(first) = found.headings.first_mut().filter(|h| h.starts_with('#') && head.is_some())
    {
        *first = first.trim_start_matches(['#', ' ']).to_string();
    }
    found.twice_encoded =
        found.headings.iter_mut().filter_map(|h| mend_twice_encoded(h).then_some(())).count();
    let above = head.unwrap_or(from);
    for record in records.iter().take(above) {
        if is_comment(record) {
            let text = record.text.trim_matches(['\u{feff}', ' ', '"']);
            found.comments.push(
                text.trim_start_matches('#').trim_end_matches(char::from(delimiter)).to_string(),
            );
        } else if !is_blank(record) && separator_line(record.text).is_none() {
            found.preamble += 1;
        }
    }
    if let Some(at) = head {
        let units = records[at + 1..from.min(records.len())].iter().find(|r| is_units(r));
        found.units = units.map(|r| r.fields.clone()).unwrap_or_default();
    }
    found.body = rows.first().map_or(end, |row| row.start);
    let last_line = records.last().map_or(1, |record| record.line + 1);
    found.body_line = rows.first().map_or(last_line, |row| row.line);
    let usable = rows.iter().filter(|row| !is_blank(row) && !is_comment(row));
    found.samples = usable.take(SAMPLE).map(|row| row.fields.clone()).collect();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Dialect {
        dialect(text, true)
    }

    proptest::proptest! {
        #[test]
        fn the_short_way_to_the_fields_gives_what_the_rules_give(record in "[a-c,;\t \"\u{feff}\r\né]{0,24}") {
            for delimiter in [b',', b';', b'\t'] {
                let (short, long) = (fields(&record, delimiter), quoted_fields(&record, delimiter));
                proptest::prop_assert_eq!(short, long);
            }
        }
    }

    #[test]
    fn delimiters_are_found() {
        assert_eq!(of("t,a\n0.0,1.5\n1.0,2.5\n").delimiter, b',');
        assert_eq!(of("t;a\n0,0;1,5\n1,0;2,5\n").delimiter, b';');
        assert_eq!(of("t\ta\n0,0\t1,5\n1,0\t2,5\n").delimiter, b'\t');
        assert_eq!(of("sep=;\nt;a\n0;1\n").delimiter, b';');
        assert_eq!(of("\"t\",\"a\"\n\"0,1\",\"1,5\"\n").delimiter, b',');
        assert_eq!(of("t;a,b;c\n").delimiter, b';');
    }

    #[test]
    fn the_canonical_layout() {
        let text = "# baro_kpa: 100.8\n# note: a, b\ntime_s,rpm\n0,850\n1,851\n";
        let found = of(text);
        assert_eq!(found.headings, ["time_s", "rpm"]);
        assert_eq!(found.comments, [" baro_kpa: 100.8", " note: a, b"]);
        assert_eq!((found.preamble, found.body_line), (0, 4));
        assert_eq!(&text[found.body..], "0,850\n1,851\n");
    }

    #[test]
    fn units_row_blank_first_line_and_statistics_before_the_headings() {
        let found = of("\nt;p\n[s];[mbar]\n0;1\n1;2\n");
        assert_eq!((found.units.len(), found.body_line, found.samples.len()), (2, 4, 2));
        let text = "sep=,\nEXPORT OF A LOGGER\n\nCREATED:,2/24/2020 2:34\n,,MEAN:,0.37,71.3\n,,SD:,1.2,47\n\n\
                    ,,SERIAL:,1M2,1M3\nDate,Time,Site,p kPa,q\n2/23/2020,12:00:00,x,1.5,2\n2/23/2020,12:00:01,x,1.6,2\n";
        let found = of(text);
        assert_eq!(found.headings[3], "p kPa");
        assert_eq!((found.preamble, found.body_line), (5, 10));
    }

    #[test]
    fn a_heading_row_behind_a_comment_sign_and_none_at_all() {
        let found = of("# t (s),rpm\n0.0,850\n0.1,851\n");
        assert_eq!(found.headings, ["t (s)", "rpm"]);
        assert!(found.comments.is_empty());
        let found = of("0.0,850\n0.1,851\n");
        assert!(!found.named && found.headings == ["#1", "#2"] && found.body == 0);
    }

    #[test]
    fn odd_texts_do_not_break_it() {
        for text in ["", "\n\n", "#", "a", ",", "\"", "\"a\n", "sep=", "é;é\n", "a,b"] {
            let found = of(text);
            assert!(found.body <= text.len(), "{text:?}");
        }
    }
}
