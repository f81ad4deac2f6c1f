//! Findings as one JSON document: the contract with other programs.
//!
//! Keys carry their unit and stand in the order of the structs. A value that was not measured is
//! `null`; NaN and infinities are never written.

use super::facts::LogFacts;
use super::inspection::Inspection;
use crate::findings::balance::Balance;
use crate::findings::breather::Breather;
use crate::findings::compare::{Change, Comparison};
use crate::findings::hunt::Hunt;
use crate::findings::pair_match::PairMatch;
use serde::Serialize;
use serde_json::ser::{Formatter, PrettyFormatter};
use std::io;

#[derive(Serialize)]
pub(super) struct Document<'a, Finding: Serialize> {
    pub(super) log: &'a LogFacts,
    #[serde(flatten)]
    pub(super) finding: &'a Finding,
}

#[derive(Serialize)]
struct ComparisonDocument<'a> {
    before: Document<'a, Balance>,
    after: Document<'a, Balance>,
    change: &'a [Change],
    say: &'a str,
}

/// The document of `balance --json`.
///
/// # Errors
/// None in practice: writing to memory cannot fail, and no key is anything but text.
pub fn balance(log: &LogFacts, finding: &Balance) -> serde_json::Result<String> {
    document(&Document { log, finding })
}

/// The document of `breather --json`.
///
/// # Errors
/// As [`balance`].
pub fn breather(log: &LogFacts, finding: &Breather) -> serde_json::Result<String> {
    document(&Document { log, finding })
}

/// The document of `hunt --json`.
///
/// # Errors
/// As [`balance`].
pub fn hunt(log: &LogFacts, finding: &Hunt) -> serde_json::Result<String> {
    document(&Document { log, finding })
}

/// The document of `compare --json`.
///
/// # Errors
/// As [`balance`].
pub fn compare(
    before: &LogFacts,
    after: &LogFacts,
    finding: &Comparison,
) -> serde_json::Result<String> {
    document(&ComparisonDocument {
        before: Document { log: before, finding: &finding.before },
        after: Document { log: after, finding: &finding.after },
        change: &finding.change,
        say: &finding.say,
    })
}

#[derive(Serialize)]
struct MatchDocument<'a> {
    log: &'a LogFacts,
    /// Day of the tee run.
    date: &'a str,
    #[serde(flatten)]
    finding: &'a PairMatch,
}

/// The document of `match --json`.
///
/// # Errors
/// As [`balance`].
pub fn pair_match(log: &LogFacts, finding: &PairMatch, date: &str) -> serde_json::Result<String> {
    document(&MatchDocument { log, date, finding })
}

/// The document of `inspect --json`.
///
/// # Errors
/// As [`balance`].
pub fn inspection(inspection: &Inspection) -> serde_json::Result<String> {
    document(inspection)
}

/// Plain entries that are their own report: the ports of `ports --json`, a recording's summary.
///
/// # Errors
/// As [`balance`].
pub fn plain<T: Serialize + ?Sized>(entries: &T) -> serde_json::Result<String> {
    document(entries)
}

pub(super) fn document<T: Serialize + ?Sized>(value: &T) -> serde_json::Result<String> {
    let mut bytes = Vec::new();
    let formatter = Rounded(PrettyFormatter::new());
    value.serialize(&mut serde_json::Serializer::with_formatter(&mut bytes, formatter))?;
    bytes.push(b'\n');
    String::from_utf8(bytes).map_err(serde::ser::Error::custom)
}

/// Writes numbers with at least six significant digits and at least three decimals, no more:
/// further digits are noise, and would make the same finding look different on another machine.
struct Rounded(PrettyFormatter<'static>);

/// A number as [`Rounded`] writes it.
pub(super) fn rounded(value: f64) -> String {
    if value == 0.0 {
        return "0.0".into();
    }
    let leading = value.abs().log10().floor() as i32;
    let decimals = (5 - leading).clamp(3, 20) as usize;
    let text = format!("{value:.decimals$}");
    let text = text.trim_end_matches('0');
    match text.strip_suffix('.') {
        Some("-0") => "0.0".into(),
        Some(whole) => format!("{whole}.0"),
        None => text.to_string(),
    }
}

impl Formatter for Rounded {
    fn write_f64<W: ?Sized + io::Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        writer.write_all(rounded(value).as_bytes())
    }

    fn begin_array<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_array(writer)
    }

    fn end_array<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array(writer)
    }

    fn begin_array_value<W: ?Sized + io::Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_array_value(writer, first)
    }

    fn end_array_value<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array_value(writer)
    }

    fn begin_object<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object(writer)
    }

    fn end_object<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object(writer)
    }

    fn begin_object_key<W: ?Sized + io::Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_object_key(writer, first)
    }

    fn begin_object_value<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object_value(writer)
    }

    fn end_object_value<W: ?Sized + io::Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object_value(writer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_digits_and_three_decimals() {
        let cases = [
            (0.0, "0.0"),
            (-0.0, "0.0"),
            (1.3, "1.3"),
            (848.123_456, "848.123"),
            (-2.345_678_91, "-2.34568"),
            (0.012_345_678_9, "0.0123457"),
            (999_999.999_9, "1000000.0"),
            (1_700_000_000.123_456, "1700000000.123"),
            (20.0, "20.0"),
            (1e-300, "0.0"),
        ];
        for (value, want) in cases {
            assert_eq!(rounded(value), want, "{value}");
        }
    }

    #[test]
    fn every_written_number_reads_back_within_half_a_digit() {
        for exponent in -8..12 {
            let value = 1.234_567_891_f64 * 10f64.powi(exponent);
            let back: f64 = rounded(value).parse().unwrap();
            assert!((back - value).abs() <= 0.5e-5 * 10f64.powi(exponent).max(1e-15), "{value}");
        }
    }

    #[test]
    fn what_is_not_a_number_is_null() {
        let text = document(&[f64::NAN, f64::INFINITY, 1.5]).unwrap();
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(value, serde_json::json!([null, null, 1.5]));
    }
}
