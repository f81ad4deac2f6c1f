//! Rows and head lines as the text of a log.

use super::{Columns, JournalRow, Start};
use std::io::Write;

/// The most characters of a mark; a row must stay far below the longest line that a reader takes.
const LONGEST_MARK: usize = 2000;
/// Powers of ten up to the most decimals written here.
const TENS: [u64; 7] = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000];
/// Beyond this, numbers have no decimals left in 53 bits and are written the slow way.
const EXACT: f64 = 9.0e15;

/// The `# key: value` lines and the heading row.
pub(super) fn head(start: &Start) -> Vec<u8> {
    let mut out = Vec::new();
    for (key, value) in &start.head {
        let key = one_line(&key.replace(':', " "));
        out.extend_from_slice(format!("# {}: {}\n", key.trim(), one_line(value).trim()).as_bytes());
    }
    out.extend_from_slice(headings(start.columns).join(",").as_bytes());
    out.push(b'\n');
    out
}

/// The headings, in the order of [`row`].
fn headings(columns: Columns) -> Vec<&'static str> {
    let mut out = vec!["time_s", "rpm"];
    out.extend(if columns.absolute { ["map1_kpa", "map2_kpa"] } else { ["vac1_kpa", "vac2_kpa"] });
    out.extend(columns.crank.then_some("crank_kpa"));
    out.extend(columns.seq.then_some("seq"));
    out.extend(["host_s", "mark"]);
    out
}

/// Appends one row with its line end. The last field is the mark, so that a row without a mark ends
/// in a comma.
pub(super) fn row(out: &mut Vec<u8>, columns: Columns, row: &JournalRow) {
    fixed(out, Some(row.time_s), 6);
    trim(out);
    out.push(b',');
    fixed(out, row.rpm, 1);
    for kpa in row.kpa {
        out.push(b',');
        fixed(out, kpa, 3);
    }
    if columns.crank {
        out.push(b',');
        fixed(out, row.crank_kpa, 3);
    }
    if columns.seq {
        out.push(b',');
        if let Some(seq) = row.seq {
            digits(out, seq, 1);
        }
    }
    out.push(b',');
    fixed(out, Some(row.host_s), 4);
    out.push(b',');
    if !row.mark.is_empty() {
        mark(out, row.mark);
    }
    out.push(b'\n');
}

/// A number with so many decimals; nothing for none and for what is no number.
fn fixed(out: &mut Vec<u8>, value: Option<f64>, decimals: usize) {
    let Some(value) = value.filter(|value| value.is_finite()) else { return };
    let scaled = (value.abs() * TENS[decimals] as f64).round();
    if scaled > EXACT {
        // Writing to memory does not fail.
        let _ = write!(out, "{value:.decimals$}");
        return;
    }
    let scaled = scaled as u64;
    if value < 0.0 && scaled > 0 {
        out.push(b'-');
    }
    digits(out, scaled / TENS[decimals], 1);
    if decimals > 0 {
        out.push(b'.');
        digits(out, scaled % TENS[decimals], decimals);
    }
}

/// The digits of a whole number, with zeros before it up to `least` digits.
fn digits(out: &mut Vec<u8>, mut number: u64, least: usize) {
    let mut text = [b'0'; 20];
    let mut from = text.len();
    while number > 0 {
        from -= 1;
        text[from] = b'0' + (number % 10) as u8;
        number /= 10;
    }
    out.extend_from_slice(&text[from.min(text.len() - least)..]);
}

/// Takes zeros off the end of the decimals just written, and a point that is left bare.
fn trim(out: &mut Vec<u8>) {
    while out.last() == Some(&b'0') {
        out.pop();
    }
    if out.last() == Some(&b'.') {
        out.pop();
    }
}

/// A mark as a field of RFC 4180: between quotation marks where it holds a comma or one of these.
fn mark(out: &mut Vec<u8>, text: &str) {
    let mut text = one_line(text);
    if let Some((at, _)) = text.char_indices().nth(LONGEST_MARK) {
        text.truncate(at);
        text.push('…');
    }
    let text = text.trim();
    if text.contains([',', '"']) {
        out.push(b'"');
        out.extend_from_slice(text.replace('"', "\"\"").as_bytes());
        out.push(b'"');
    } else {
        out.extend_from_slice(text.as_bytes());
    }
}

/// Line breaks, tabs and other signs of control become blanks: a row is one line.
fn one_line(text: &str) -> String {
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    text.chars().map(|c| if breaks(c) { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ALL: Columns = Columns { absolute: false, crank: true, seq: true };

    fn written(columns: Columns, given: &JournalRow) -> String {
        let mut out = Vec::new();
        row(&mut out, columns, given);
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_row_as_the_format_has_it() {
        let full = JournalRow {
            time_s: 12.340_000_4,
            rpm: Some(848.06),
            kpa: [Some(57.2104), Some(-0.0004)],
            crank_kpa: Some(0.0125),
            seq: Some(65_536),
            host_s: 12.5,
            mark: "cap off",
        };
        assert_eq!(written(ALL, &full), "12.34,848.1,57.210,0.000,0.013,65536,12.5000,cap off\n");
        let plain = Columns { absolute: true, crank: false, seq: false };
        assert_eq!(written(plain, &full), "12.34,848.1,57.210,0.000,12.5000,cap off\n");
        let lone = JournalRow {
            time_s: 100.0,
            rpm: None,
            kpa: [None, Some(f64::NAN)],
            crank_kpa: None,
            seq: None,
            host_s: f64::NAN,
            mark: "link lost",
        };
        assert_eq!(written(ALL, &lone), "100,,,,,,,link lost\n");
    }

    #[test]
    fn the_head_is_one_line_a_key() {
        let lines = [("car", "blue\nsaloon"), ("a:b", "1: 2")];
        let head_lines = lines.map(|(key, value)| (key.to_string(), value.to_string()));
        let columns = Columns { absolute: true, crank: true, seq: false };
        let text = head(&Start { columns, head: head_lines.to_vec() });
        assert_eq!(
            String::from_utf8(text).unwrap(),
            "# car: blue saloon\n# a b: 1: 2\ntime_s,rpm,map1_kpa,map2_kpa,crank_kpa,host_s,mark\n"
        );
    }

    proptest! {
        #[test]
        fn numbers_are_those_of_the_standard_library(value in -1e7..1e9f64, decimals in 0..7usize) {
            let mut out = Vec::new();
            fixed(&mut out, Some(value), decimals);
            let read: f64 = std::str::from_utf8(&out).unwrap().parse().unwrap();
            let half = 0.5 / TENS[decimals] as f64;
            prop_assert!((read - value).abs() <= half * (1.0 + 1e-6) + value.abs() * 1e-15);
            let decimals_written = out.iter().rev().take_while(|b| **b != b'.').count();
            prop_assert!(decimals == 0 || decimals_written == decimals);
        }

        #[test]
        fn any_mark_is_one_field_of_one_line(text in "\\PC{0,40}|[,\"\\r\\n a\\x00]{0,20}") {
            let row = JournalRow {
                time_s: 1.0, rpm: None, kpa: [None; 2], crank_kpa: None, seq: None, host_s: 1.0,
                mark: &text,
            };
            let line = written(ALL, &row);
            prop_assert_eq!(line.matches('\n').count(), 1);
            let mut reader =
                csv::ReaderBuilder::new().has_headers(false).from_reader(line.as_bytes());
            let fields = reader.records().next().unwrap().unwrap();
            prop_assert_eq!(fields.len(), 8);
            let expected = one_line(&text);
            prop_assert_eq!(&fields[7], expected.trim());
        }
    }

    #[test]
    fn numbers_beyond_the_decimals_of_a_double_are_still_numbers() {
        for value in [1e12, 1e300, -4e18] {
            let mut out = Vec::new();
            fixed(&mut out, Some(value), 6);
            assert_eq!(std::str::from_utf8(&out).unwrap().parse::<f64>().unwrap(), value);
        }
        let long = "x".repeat(10_000);
        let mut out = Vec::new();
        mark(&mut out, &long);
        assert_eq!(out.len(), LONGEST_MARK + '…'.len_utf8());
    }
}
