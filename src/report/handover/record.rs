//! The document that a page carries, and the check of a page against its logs.
//!
//! The document stands in the page as a data block (HTML Living Standard, 4.12.1: a script element
//! whose type is no script is not executed). A page is checked by making it anew from the logs: the
//! same logs and options give the same bytes, so whatever differs was changed afterwards.

use super::answer;
use super::{Found, Handover, HandoverError, Job, LogFile, Pair, Precondition, Turn};
use crate::findings::balance::Balance;
use crate::findings::breather::Breather;
use crate::findings::compare::Change;
use crate::findings::hunt::Hunt;
use crate::report::json;
use maud::{Markup, PreEscaped, html};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use thiserror::Error;

/// Version of the document's layout.
const FORMAT: u32 = 1;
const OPENING: &str = "<script type=\"application/json\" id=\"record\">";
const CLOSING: &str = "</script>";

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    version: &'static str,
    job: &'a Job,
    answer: Vec<String>,
    preconditions: &'a [Precondition],
    breather: Both<'a, Breather>,
    balance: Compared<'a>,
    off_idle: Compared<'a>,
    hunt: Option<json::Document<'a, Hunt>>,
    turned: &'a [Turn],
    not_measured: Vec<String>,
    cautions: Vec<&'static str>,
    logs: &'a [LogFile],
    settings: &'a BTreeMap<String, String>,
    profile: &'a Option<String>,
}

#[derive(Serialize)]
struct Both<'a, F: Serialize> {
    before: Option<json::Document<'a, F>>,
    after: Option<json::Document<'a, F>>,
}

#[derive(Serialize)]
struct Compared<'a> {
    #[serde(flatten)]
    both: Both<'a, Balance>,
    change: &'a [Change],
    say: Option<&'a str>,
}

fn entry<'a, F: Serialize>(found: &'a Option<Found<F>>) -> Option<json::Document<'a, F>> {
    found.as_ref().map(|found| json::Document { log: found.log.facts, finding: &found.finding })
}

fn both<'a, F: Serialize>(pair: &'a Pair<F>) -> Both<'a, F> {
    Both { before: entry(&pair.before), after: entry(&pair.after) }
}

/// The content of the page as one JSON document: that of `report --json`, and what the page carries.
///
/// # Errors
/// None in practice, as with the other documents.
pub fn document(handover: &Handover) -> Result<String, HandoverError> {
    let [balance, off_idle] = handover.balances().map(|balances| Compared {
        both: both(&balances.pair),
        change: balances.change.as_ref().map_or(&[], |comparison| &comparison.change),
        say: balances.change.as_ref().map(|comparison| comparison.say.as_str()),
    });
    Ok(json::document(&Document {
        format: FORMAT,
        version: env!("CARGO_PKG_VERSION"),
        job: &handover.job,
        answer: answer::sentences(handover),
        preconditions: &handover.preconditions,
        breather: both(&handover.breather),
        balance,
        off_idle,
        hunt: entry(&handover.hunt),
        turned: &handover.turned,
        not_measured: answer::not_measured(handover),
        cautions: super::paper::cautions().map(|caution| caution.text()).collect(),
        logs: &handover.logs,
        settings: &handover.settings,
        profile: &handover.profile,
    })?)
}

/// The document as a data block. No letter of it can end the block or open a comment.
///
/// # Errors
/// As [`document`].
pub(super) fn block(handover: &Handover) -> Result<Markup, HandoverError> {
    let safe =
        document(handover)?.replace('&', "\\u0026").replace('<', "\\u003c").replace('>', "\\u003e");
    Ok(html! { (PreEscaped(OPENING)) "\n" (PreEscaped(safe)) (PreEscaped(CLOSING)) "\n" })
}

/// Why a page cannot be checked.
#[derive(Debug, Error)]
pub enum RecordError {
    /// No such block.
    #[error("holds no record of its figures; give a page that 'evenbreath report' wrote, whole")]
    NoRecord,
    /// The block is damaged.
    #[error(
        "holds a record that cannot be read ({0}); it was changed after it was written; ask for the page as it was"
    )]
    Damaged(#[from] serde_json::Error),
    /// Another program wrote it.
    #[error(
        "holds a record of format {0}, and this program reads format {FORMAT}; use the version that wrote it"
    )]
    Format(u64),
}

/// What a page says of itself.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Record {
    /// Layout of the document.
    format: u64,
    /// Version of the program that wrote the page.
    pub version: String,
    /// The logs it was made from.
    pub logs: Vec<LogFile>,
    /// The options that shaped it.
    pub settings: BTreeMap<String, String>,
    /// The profile, as TOML.
    pub profile: Option<String>,
}

impl Record {
    /// Reads the record of a page.
    ///
    /// # Errors
    /// The page holds none, or one that was damaged or is not understood.
    pub fn of(page: &str) -> Result<Record, RecordError> {
        let record: Record = serde_json::from_str(text_of(page)?)?;
        if record.format == u64::from(FORMAT) {
            Ok(record)
        } else {
            Err(RecordError::Format(record.format))
        }
    }
}

fn text_of(page: &str) -> Result<&str, RecordError> {
    // What stands in the page from outside is escaped, so the opening is there only once.
    let (_, rest) = page.split_once(OPENING).ok_or(RecordError::NoRecord)?;
    rest.split_once(CLOSING).map(|(text, _)| text).ok_or(RecordError::NoRecord)
}

/// Something that reads otherwise in the page than the logs give it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Where: a section of the page, or a key of its record.
    pub place: String,
    /// What stands in the page.
    pub page: String,
    /// What the logs give.
    pub logs: String,
}

/// Where a page differs from the one made anew; nothing when it is the same.
///
/// # Errors
/// One of the two holds no record that can be read.
pub fn differences(page: &str, anew: &str) -> Result<Vec<Difference>, RecordError> {
    let (page, anew) = (page.replace("\r\n", "\n"), anew.replace("\r\n", "\n"));
    let values: (Value, Value) =
        (serde_json::from_str(text_of(&page)?)?, serde_json::from_str(text_of(&anew)?)?);
    let mut found = Vec::new();
    words(&page, &anew, &mut found);
    figures("", &values.0, &values.1, &mut found);
    if found.is_empty() && page != anew {
        let (page, logs) = ("changed".into(), "not so".into());
        found.push(Difference { place: "spaces or order of the record".into(), page, logs });
    }
    Ok(found)
}

/// The figures of two documents, key by key.
fn figures(place: &str, page: &Value, logs: &Value, found: &mut Vec<Difference>) {
    match (page, logs) {
        (Value::Object(a), Value::Object(b)) => {
            let mut keys: Vec<&String> = a.keys().chain(b.keys()).collect();
            keys.sort();
            keys.dedup();
            for key in keys {
                let place = if place.is_empty() { key.clone() } else { format!("{place}.{key}") };
                let of = |map: &serde_json::Map<String, Value>| {
                    map.get(key).cloned().unwrap_or(Value::Null)
                };
                figures(&place, &of(a), &of(b), found);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (k, (a, b)) in a.iter().zip(b).enumerate() {
                figures(&format!("{place}[{k}]"), a, b, found);
            }
        }
        (a, b) if a == b => {}
        (a, b) => {
            let place = format!("record: {place}");
            found.push(Difference {
                place,
                page: brief(&a.to_string()),
                logs: brief(&b.to_string()),
            });
        }
    }
}

/// The words and charts of two pages, section by section.
fn words(page: &str, anew: &str, found: &mut Vec<Difference>) {
    let (page, anew) = (parts(page), parts(anew));
    let mut names: Vec<&String> = page.keys().chain(anew.keys()).collect();
    names.sort();
    names.dedup();
    for name in names {
        let (a, b) =
            (page.get(name).map_or("", String::as_str), anew.get(name).map_or("", String::as_str));
        if a == b {
            continue;
        }
        let (said_a, said_b) = (visible(a), visible(b));
        let first = said_a.iter().zip(&said_b).take_while(|(a, b)| a == b).count();
        let around = |words: &[String]| {
            let from = first.saturating_sub(3).min(words.len());
            brief(&words[from..words.len().min(first + 4)].join(" "))
        };
        let (page, logs) = if said_a == said_b {
            ("a chart or the layout is changed".into(), "not so".into())
        } else {
            (around(&said_a), around(&said_b))
        };
        found.push(Difference { place: format!("page: {name}"), page, logs });
    }
}

/// The sections of a page by name; what stands between them is `frame`.
fn parts(page: &str) -> BTreeMap<String, String> {
    const SECTION: &str = "<section id=\"";
    let mut parts = BTreeMap::new();
    let mut frame = String::new();
    let record =
        page.split_once(OPENING).and_then(|(_, rest)| rest.split_once(CLOSING)).map(|(r, _)| r);
    let page = record.map_or(page.to_string(), |record| page.replacen(record, "", 1));
    let mut pieces = page.split(SECTION);
    frame += pieces.next().unwrap_or("");
    for piece in pieces {
        let (name, rest) = piece.split_once('"').unwrap_or(("without a name", piece));
        let (inside, after) = rest.split_once("</section>").unwrap_or((rest, ""));
        *parts.entry(name.to_string()).or_default() += inside;
        frame += after;
    }
    parts.insert("frame".into(), frame);
    parts
}

/// The words between the tags.
fn visible(html: &str) -> Vec<String> {
    let mut text = String::new();
    let mut inside = false;
    for c in html.chars() {
        match c {
            '<' => {
                inside = true;
                text.push(' ');
            }
            '>' => inside = false,
            c if !inside => text.push(c),
            _ => {}
        }
    }
    text.split_whitespace().map(str::to_string).collect()
}

fn brief(text: &str) -> String {
    const MOST: usize = 80;
    let cut: String = text.chars().take(MOST).collect();
    if cut.len() < text.len() { cut + "…" } else { cut }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(figure: &str, record: &str) -> String {
        format!(
            "<p>head</p><section id=\"balance\"><td>{figure}</td></section>{OPENING}\n{record}{CLOSING}\n"
        )
    }

    #[test]
    fn an_edited_figure_is_found_wherever_it_stands() {
        let whole = page("3.84", "{\"a\":{\"b_kpa\":[3.84]}}");
        assert_eq!(differences(&whole, &whole).unwrap(), []);
        let edited = page("0.84", "{\"a\":{\"b_kpa\":[3.84]}}");
        let found = differences(&edited, &whole).unwrap();
        assert_eq!((found.len(), found[0].place.as_str()), (1, "page: balance"));
        assert_eq!((found[0].page.as_str(), found[0].logs.as_str()), ("0.84", "3.84"));
        let edited = page("3.84", "{\"a\":{\"b_kpa\":[0.84]}}");
        let found = differences(&edited, &whole).unwrap();
        assert_eq!((found.len(), found[0].place.as_str()), (1, "record: a.b_kpa[0]"));
        let edited = whole.replace("head", "heap");
        assert_eq!(differences(&edited, &whole).unwrap()[0].place, "page: frame");
        let edited = whole.replace("<td>", "<td hidden>");
        assert_eq!(differences(&edited, &whole).unwrap()[0].place, "page: balance");
    }

    #[test]
    fn line_ends_of_another_system_are_no_change() {
        let whole = page("3.84", "{\n}");
        assert_eq!(differences(&whole.replace('\n', "\r\n"), &whole).unwrap(), []);
    }

    #[test]
    fn a_page_without_a_record_says_so() {
        assert!(matches!(Record::of("<p>hello</p>"), Err(RecordError::NoRecord)));
        let damaged = page("1", "{\"format\":1,");
        assert!(matches!(Record::of(&damaged), Err(RecordError::Damaged(_))));
        let newer = page(
            "1",
            "{\"format\":9,\"version\":\"9\",\"logs\":[],\"settings\":{},\"profile\":null}",
        );
        assert!(matches!(Record::of(&newer), Err(RecordError::Format(9))));
    }
}
