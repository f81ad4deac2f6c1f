//! From a path on the command line to a signal the findings can use.

use super::failure::Failure;
use super::wishes::Wishes;
use crate::findings::{Conditions, one_sensor};
use crate::log::{self, Baro, Head, Taken};
use crate::report::LogFacts;
use crate::signal::{self, Signal};
use std::io;
use std::path::Path;

/// A log, read and made ready.
#[derive(Debug)]
pub struct Loaded {
    /// What messages call it.
    pub name: String,
    /// Its own header.
    pub head: Head,
    /// Columns taken.
    pub taken: Vec<Taken>,
    /// Barometric pressure.
    pub baro: Baro,
    /// The log block of the reports.
    pub facts: LogFacts,
    /// The signal.
    pub signal: Signal,
    /// What the findings are told.
    pub conditions: Conditions,
}

/// Reads a log from a path, or from standard input for `-`.
///
/// # Errors
/// The log cannot be read, or its two sides bear one name.
pub fn load(path: &Path, wishes: &Wishes, threshold: Option<f64>) -> Result<Loaded, Failure> {
    if path == Path::new("-") {
        let options = wishes.read_options("standard input".into());
        let log = log::read(io::stdin().lock(), &options)?;
        return ready(options.name, log, wishes, threshold);
    }
    let options = wishes.read_options(path.display().to_string());
    let log = log::read_path(path, &options)?;
    ready(options.name, log, wishes, threshold)
}

/// Reads a log whose bytes are here already.
///
/// # Errors
/// The log cannot be read, or its two sides bear one name.
pub fn load_bytes(
    name: &str,
    bytes: &[u8],
    wishes: &Wishes,
    threshold: Option<f64>,
) -> Result<Loaded, Failure> {
    let log = log::read(bytes, &wishes.read_options(name.into()))?;
    ready(name.into(), log, wishes, threshold)
}

fn ready(
    name: String,
    log: log::Log,
    wishes: &Wishes,
    threshold: Option<f64>,
) -> Result<Loaded, Failure> {
    let conditions = wishes.conditions(&log, threshold)?;
    let duration_s = log.track.duration().0;
    let signal = signal::prepare(log.track, conditions.cylinders);
    let mut remarks = log.remarks;
    remarks.extend(signal.remarks.iter().cloned());
    let facts = LogFacts {
        car: wishes.car(),
        rows: log.rows,
        bad_rows: log.bad_rows,
        duration_s,
        sample_rate_hz: Some(signal.sample_rate_hz).filter(|hz| *hz > 0.0),
        remarks,
        guessed: log.taken.iter().filter(|t| t.guessed).map(|t| t.text.clone()).collect(),
    };
    let log::Log { head, taken, baro, .. } = log;
    Ok(Loaded { name, head, taken, baro, facts, signal, conditions })
}

impl Loaded {
    /// Both vacuums are there, or a remark says what became of the one that is not.
    ///
    /// # Errors
    /// [`Failure::MissingColumn`] for a column that is not there at all.
    pub fn needs_both_vacuums(&self) -> Result<(), Failure> {
        let track = &self.signal.track;
        if self.facts.remarks.iter().any(|remark| remark.code == "dead_channel") {
            return Ok(());
        }
        if one_sensor::is_marked(&self.signal) {
            return Ok(());
        }
        match (&track.vac1_kpa, &track.vac2_kpa) {
            (Some(_), Some(_)) => Ok(()),
            (None, _) => Err(self.missing("the vacuum of side 1", "vac1")),
            (_, None) => Err(self.missing("the vacuum of side 2", "vac2")),
        }
    }

    /// As [`Loaded::needs_both_vacuums`], where two airflow meters do as well.
    ///
    /// # Errors
    /// As there.
    pub fn needs_both_sides(&self) -> Result<(), Failure> {
        let track = &self.signal.track;
        match (&track.flow1_kpa, &track.flow2_kpa) {
            (Some(_), Some(_)) => Ok(()),
            (Some(_), None) if track.vac1_kpa.is_none() => {
                Err(self.missing("airflow meter 2", "flow2"))
            }
            (None, Some(_)) if track.vac1_kpa.is_none() => {
                Err(self.missing("airflow meter 1", "flow1"))
            }
            _ => self.needs_both_vacuums(),
        }
    }

    /// There is a speed, from a pick-up or from the ripple.
    ///
    /// # Errors
    /// [`Failure::MissingColumn`] where there is neither.
    pub fn needs_speed(&self) -> Result<(), Failure> {
        if self.signal.track.rpm.is_some() || self.signal.ripple_rpm.is_some() {
            return Ok(());
        }
        Err(self.missing("the engine speed", "rpm"))
    }

    /// What to do where no speed is to be had; none where there is one.
    pub fn speed_wanted(&self) -> Option<String> {
        let log = &self.name;
        self.needs_speed().err().map(|_| {
            format!(
                "no engine speed in {log}; if it has a column for it, name it with --columns \
                 \"rpm=HEADING\", or see 'evenbreath inspect {log}'"
            )
        })
    }

    fn missing(&self, needed: &'static str, role: &'static str) -> Failure {
        let found: Vec<String> =
            self.taken.iter().map(|t| format!("{:?} as {}", t.heading, t.role.plain())).collect();
        let found = if found.is_empty() { "nothing".into() } else { found.join(", ") };
        Failure::MissingColumn { log: self.name.clone(), needed, role, found }
    }
}
