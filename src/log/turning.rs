//! Which rows show the engine at rest, and which show it running.

use super::evidence::{ZERO, middle_on};
use crate::sample::{Mark, Meaning};

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
    pub fn of(rpm: Option<&[f64]>, time_s: &[f64], marks: &[Mark]) -> Turning {
        let off = match rpm {
            Some(rpm) => rows_where(rpm.len(), |row| rpm[row].abs() < 1.0).take(MOST).collect(),
            None => marked_off(time_s, marks),
        };
        // A speed that is 0 throughout may be a dead pickup and tells nothing.
        let rpm = rpm.filter(|rpm| rpm.iter().any(|rpm| *rpm >= 1.0));
        let running: Vec<u32> = match rpm {
            Some(rpm) => rows_where(rpm.len(), |row| rpm[row] >= RUNS_RPM).collect(),
            None => {
                rows_where(time_s.len(), |row| off.binary_search(&(row as u32)).is_err()).collect()
            }
        };
        let every = (running.len() / MOST).max(1);
        Turning { off, running: running.into_iter().step_by(every).collect(), timed: rpm.is_some() }
    }

    /// The median of a column while the engine runs; `None` where that is not known. Without a
    /// speed, a column that rests at zero does not show a running engine.
    pub fn running_middle(&self, values: &[f64]) -> Option<f64> {
        middle_on(values, &self.running).filter(|middle| self.timed || middle.abs() >= ZERO)
    }
}

fn rows_where(count: usize, test: impl Fn(usize) -> bool) -> impl Iterator<Item = u32> {
    (0..count).filter(move |row| test(*row)).map(|row| row as u32)
}

/// Rows between the marks `engine off` and `engine on`.
fn marked_off(time_s: &[f64], marks: &[Mark]) -> Vec<u32> {
    let mut rows = Vec::new();
    let mut since: Option<f64> = None;
    for mark in marks {
        match (&mark.meaning, since) {
            (Meaning::EngineOff, _) => since = Some(mark.at.0),
            (Meaning::EngineOn, Some(start)) => {
                // The first seconds after the mark belong to the engine running down.
                let from = time_s.partition_point(|t| *t < start + 2.0);
                let to = time_s.partition_point(|t| *t < mark.at.0);
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
        let rpm = [0.0, 200.0, 850.0, f64::NAN, 851.0, 852.0];
        let time: Vec<f64> = (0..6).map(f64::from).collect();
        let turning = Turning::of(Some(&rpm), &time, &[]);
        assert_eq!(
            (turning.off.as_slice(), turning.running.as_slice()),
            (&[0][..], &[2, 4, 5][..])
        );
        assert_eq!(turning.running_middle(&[0.0, 9.0, 1.0, 9.0, 2.0, 3.0]), Some(2.0));
    }

    #[test]
    fn without_a_speed_the_marks_and_the_values_tell_it() {
        let time: Vec<f64> = (0..10).map(f64::from).collect();
        let mark = |at, text| Mark::read(Seconds(at), text);
        let marks = [mark(0.0, "engine off"), mark(5.0, "engine on")];
        for rpm in [None, Some(&[0.0; 10][..])] {
            let turning = Turning::of(rpm, &time, &marks);
            assert_eq!(turning.off.len(), if rpm.is_none() { 3 } else { 10 });
            let running = if rpm.is_none() { Some(40.0) } else { None };
            assert_eq!(turning.running_middle(&[40.0; 10]), running);
            assert_eq!(turning.running_middle(&[0.2; 10]), None);
        }
    }
}
