//! The page that is handed over: before, after, how sure, as one HTML file that needs nothing else.
//!
//! A [`Handover`] holds finished findings and what was asked of them. [`html`] makes the page of
//! it, [`document`] the same content as JSON; the page carries that document, so that it can be
//! checked against the logs ([`record`]). Everything that came from a log or a command line is
//! escaped by the template, and no script is in the page.

mod answer;
mod balance;
mod breather;
mod budget;
mod hunt;
mod job;
mod paper;
pub mod record;
mod table;

pub use hunt::fit;
pub use job::{Job, PRECONDITIONS, Precondition, precondition, ticked};
pub use paper::html;
pub use record::document;
pub use table::shown;

use super::facts::LogFacts;
use crate::findings::balance::Balance;
use crate::findings::breather::Breather;
use crate::findings::compare::{self, Comparison};
use crate::findings::hunt::Hunt;
use crate::findings::{Conditions, Sides, Verdict};
use crate::sample::{Mark, Meaning};
use crate::units::PressureUnit;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use thiserror::Error;

/// Why there is no page.
#[derive(Debug, Error)]
pub enum HandoverError {
    /// The document could not be written.
    #[error("the findings cannot be written as JSON ({0}); please report this with the logs")]
    Json(#[from] serde_json::Error),
}

/// A log as the findings saw it.
#[derive(Debug, Clone, Copy)]
pub struct Measured<'a> {
    /// Size, rate, remarks.
    pub facts: &'a LogFacts,
    /// What the findings were told.
    pub conditions: &'a Conditions,
}

/// What was found in a log.
#[derive(Debug, Clone)]
pub struct Found<'a, F> {
    /// The log.
    pub log: Measured<'a>,
    /// The finding.
    pub finding: F,
}

/// The same measurement before and after the work; either may not have been made.
#[derive(Debug, Clone)]
pub struct Pair<'a, F> {
    /// Before the work.
    pub before: Option<Found<'a, F>>,
    /// After the work.
    pub after: Option<Found<'a, F>>,
}

impl<'a, F> Pair<'a, F> {
    /// The one after the work, or else the one before.
    pub fn latest(&self) -> Option<&Found<'a, F>> {
        self.after.as_ref().or(self.before.as_ref())
    }

    /// Both, or the one there is, with its name.
    pub fn each(&self) -> impl Iterator<Item = (&'static str, &Found<'a, F>)> {
        let named = [("before", &self.before), ("after", &self.after)];
        named.into_iter().filter_map(|(name, found)| Some((name, found.as_ref()?)))
    }
}

/// Balance before and after, and what has changed.
#[derive(Debug, Clone)]
pub struct Balances<'a> {
    /// The two logs.
    pub pair: Pair<'a, Balance>,
    /// The change; `None` unless both were measured.
    pub change: Option<Comparison>,
}

impl<'a> Balances<'a> {
    /// Compares the two where both are there.
    pub fn new(pair: Pair<'a, Balance>) -> Self {
        let both = pair.before.as_ref().zip(pair.after.as_ref());
        let change = both.map(|(b, a)| compare::find(b.finding.clone(), a.finding.clone()));
        Balances { pair, change }
    }
}

/// A stop screw that was turned, as a mark in a log says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Turn {
    /// The log that holds the mark.
    pub log: String,
    /// When, s.
    pub at_s: f64,
    /// Side 1 or 2.
    pub side: u8,
    /// The user's name of the side.
    pub name: String,
    /// Turns, open positive.
    pub turns: f64,
}

impl Turn {
    /// The screws turned in a log called `log`, by its marks.
    pub fn of(log: &str, marks: &[Mark], sides: &Sides) -> Vec<Turn> {
        let turned = marks.iter().filter_map(|mark| match mark.meaning {
            Meaning::Screw { side, turns } => Some((mark.at.0, side, turns)),
            _ => None,
        });
        turned
            .map(|(at_s, side, turns)| {
                let name = if side == 1 { &sides.one } else { &sides.two };
                Turn { log: log.into(), at_s, side, name: name.clone(), turns }
            })
            .collect()
    }
}

/// A log file, so that it can be told from any other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LogFile {
    /// The options of the command line that named it, without their dashes.
    pub given_as: Vec<String>,
    /// Its name.
    pub name: String,
    /// Its size.
    pub bytes: u64,
    /// SHA-256 of its bytes (FIPS 180-4), in hexadecimal.
    pub sha256: String,
}

/// A chart of the balance.
#[derive(Debug, Clone)]
pub struct Drawing {
    /// The log it shows where there is another: `before` or `after`.
    pub of: Option<&'static str>,
    /// The SVG document.
    pub svg: String,
}

/// The charts of the page as SVG documents; what has nothing to draw is absent.
#[derive(Debug, Clone, Default)]
pub struct Charts {
    /// Breather, before and after, on one scale.
    pub breather: Vec<String>,
    /// Balance, and balance off idle: before and after in one, or each where they cannot stand on one scale.
    pub balance: [Vec<Drawing>; 2],
    /// The hunt.
    pub hunt: Option<String>,
}

/// All that the page says.
#[derive(Debug, Clone)]
pub struct Handover<'a> {
    /// Whose car, when, by whose order.
    pub job: Job,
    /// What has to be right before anything is measured.
    pub preconditions: Vec<Precondition>,
    /// Unit of pressures on the page.
    pub unit: PressureUnit,
    /// The closed breather.
    pub breather: Pair<'a, Breather>,
    /// The balance.
    pub balance: Balances<'a>,
    /// The balance off idle, where it has logs of its own.
    pub off_idle: Balances<'a>,
    /// The leak hunt.
    pub hunt: Option<Found<'a, Hunt>>,
    /// The charts, drawn.
    pub charts: Charts,
    /// Screws turned.
    pub turned: Vec<Turn>,
    /// The logs, each once.
    pub logs: Vec<LogFile>,
    /// The options that shape the figures, by name, as they were written.
    pub settings: BTreeMap<String, String>,
    /// The profile, as TOML; `None` without one.
    pub profile: Option<String>,
}

impl<'a> Handover<'a> {
    /// The balance sections, with the names of their options before and after.
    pub fn balances(&self) -> [&Balances<'a>; 2] {
        [&self.balance, &self.off_idle]
    }

    /// The verdict of all balances after the work, or before where there is none after; `None` where
    /// nothing was measured.
    pub fn balance_verdict(&self) -> Option<Verdict> {
        let latest = self.balances().into_iter().filter_map(|b| b.pair.latest());
        latest.map(|found| found.finding.verdict).reduce(worse)
    }
}

/// Out of tolerance counts before not settled, and that before in tolerance.
fn worse(a: Verdict, b: Verdict) -> Verdict {
    match (a, b) {
        (Verdict::OutOfTolerance, _) | (_, Verdict::OutOfTolerance) => Verdict::OutOfTolerance,
        (Verdict::NotSettled, _) | (_, Verdict::NotSettled) => Verdict::NotSettled,
        _ => Verdict::InTolerance,
    }
}
