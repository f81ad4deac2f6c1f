//! Which rows show the engine at rest, and which show it running.

use super::evidence::{ZERO, middle_on};
use crate::sample::{Column, Digest, Mark, Meaning};
use std::ops::Range;

/// The most rows looked at; a median needs no more.
const MOST: usize = 4096;
/// From this speed on an engine runs by itself; a starter turns it at 100 to 300 rev/min (common
/// practice, no published source).
const RUNS_RPM: f64 = 300.0;

/// Rows by what the engine does.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Turning {
    /// The engine stands still: the speed is 0, or the marks say so.
    pub off: Vec<u32>,
    /// The engine runs: the speed says so. Without a speed, every row that is not at rest.
    pub running: Vec<u32>,
    /// The speed tells what runs.
    timed: bool,
}

impl Turning {
    /// Tells the rows apart, some thousands at most.
    pub fn of(rpm: Option<&Column>, time_s: &Column, marks: &[Mark]) -> Turning {
        let off = match rpm {
            Some(rpm) => {
                runs_between(rpm, -1.0, 1.0).flatten().take(MOST).map(|row| row as u32).collect()
            }
            None => marked_off(time_s, marks),
        };
        // A speed that is 0 throughout may be a dead pickup and tells nothing.
        let rpm = rpm.filter(|rpm| rpm.range().is_some_and(|(_, high)| high >= 1.0));
        let running = match rpm {
            Some(rpm) => some_between(rpm, RUNS_RPM.next_down(), f64::INFINITY),
            None => some_but(time_s.len(), &off),
        };
        Turning { off, running, timed: rpm.is_some() }
    }

    /// The median of a column while the engine runs; `None` where that is not known. Without a
    /// speed, a column that rests at zero does not show a running engine.
    pub fn running_middle(&self, values: &Column) -> Option<f64> {
        middle_on(values, &self.running).filter(|middle| self.timed || middle.abs() >= ZERO)
    }
}

/// Rows whose reading lies above `low` and below `high`, in runs of rows that follow one another.
fn runs_between(column: &Column, low: f64, high: f64) -> impl Iterator<Item = Range<usize>> + '_ {
    let may_hold = move |digest: &Digest| digest.high > low && digest.low < high;
    let pieces = column.digests().filter(move |(_, digest)| may_hold(digest));
    let is_inside = move |value: f64| value > low && value < high;
    pieces.flat_map(move |(samples, digest)| {
        let all = digest.missing == 0 && is_inside(digest.low) && is_inside(digest.high);
        let walked = if all { 0..0 } else { samples.clone() };
        let mut values = walked.clone().zip(column.iter_over(walked)).peekable();
        let runs = std::iter::from_fn(move || {
            let (first, _) = values.find(|(_, value)| is_inside(*value))?;
            let rest = std::iter::from_fn(|| values.next_if(|(_, value)| is_inside(*value)));
            Some(first..first + 1 + rest.count())
        });
        all.then_some(samples).into_iter().chain(runs)
    })
}

/// At most about [`MOST`] of the rows whose reading lies above `low` and below `high`, evenly spread.
pub(super) fn some_between(column: &Column, low: f64, high: f64) -> Vec<u32> {
    let count: usize = runs_between(column, low, high).map(|run| run.len()).sum();
    let every = (count / MOST).max(1);
    let (mut rows, mut skip) = (Vec::new(), 0);
    for run in runs_between(column, low, high) {
        let taken = (run.start + skip..run.end).step_by(every);
        let beyond = taken.clone().next_back().map_or(run.start + skip, |last| last + every);
        rows.extend(taken.map(|row| row as u32));
        skip = beyond - run.end;
    }
    rows
}

/// The same of all rows but some, which rise.
fn some_but(rows: usize, without: &[u32]) -> Vec<u32> {
    let rows = || (0..rows as u32).filter(|row| without.binary_search(row).is_err());
    let every = (rows().count() / MOST).max(1);
    rows().step_by(every).collect()
}

/// Rows between the marks `engine off` and `engine on`.
fn marked_off(time_s: &Column, marks: &[Mark]) -> Vec<u32> {
    let mut rows = Vec::new();
    let mut since: Option<f64> = None;
    for mark in marks {
        match (&mark.meaning, since) {
            (Meaning::EngineOff, _) => since = Some(mark.at.0),
            (Meaning::EngineOn, Some(start)) => {
                // The first seconds after the mark belong to the engine running down.
                let from = time_s.partition_point(|t| t < start + 2.0);
                let to = time_s.partition_point(|t| t < mark.at.0);
                rows.extend((from..to.max(from)).map(|row| row as u32).take(MOST));
                since = None;
            }
            _ => {}
        }
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    #[test]
    fn the_speed_tells_rest_and_running_and_the_starter_is_neither() {
        let rpm = Column::from(vec![0.0, 200.0, 850.0, f64::NAN, 851.0, 852.0]);
        let time: Column = (0..6).map(f64::from).collect();
        let turning = Turning::of(Some(&rpm), &time, &[]);
        assert_eq!(
            (turning.off.as_slice(), turning.running.as_slice()),
            (&[0][..], &[2, 4, 5][..])
        );
        assert_eq!(turning.running_middle(&vec![0.0, 9.0, 1.0, 9.0, 2.0, 3.0].into()), Some(2.0));
    }

    #[test]
    fn without_a_speed_the_marks_and_the_values_tell_it() {
        let time: Column = (0..10).map(f64::from).collect();
        let mark = |at, text| Mark::read(Seconds(at), text);
        let marks = [mark(0.0, "engine off"), mark(5.0, "engine on")];
        for rpm in [None, Some(Column::from(vec![0.0; 10]))] {
            let turning = Turning::of(rpm.as_ref(), &time, &marks);
            assert_eq!(turning.off.len(), if rpm.is_none() { 3 } else { 10 });
            let running = if rpm.is_none() { Some(40.0) } else { None };
            assert_eq!(turning.running_middle(&vec![40.0; 10].into()), running);
            assert_eq!(turning.running_middle(&vec![0.2; 10].into()), None);
        }
    }
}
