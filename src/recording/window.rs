//! The samples that the figures so far are made of: the last minute, and what the zero needs. Its size
//! has a bound, however long the recording.

use crate::sample::{Column, Mark, Meaning, RowNumbers, Track};
use crate::units::Seconds;

/// The newest samples that are kept where nothing else was asked for, s.
const RECENT_S: f64 = 60.0;
/// ... and at most so many rows of them: a minute at 1 kHz.
const MOST_RECENT: usize = 60_000;
/// What is kept after a mark that the zero needs, and from the start, s.
const REFERENCE_S: f64 = 45.0;
/// The most rows kept for the zero; the oldest go first.
const MOST_REFERENCE: usize = 60_000;
/// Rows are moved in lumps of this share of what is kept, so that each row moves once.
const LUMP: usize = 8;

/// A row in kPa below atmosphere, where a barometric pressure was known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindowRow {
    /// Log time, s.
    pub time_s: f64,
    /// Speed; NaN where there is none.
    pub rpm: f64,
    /// Vacuums; NaN where there is none.
    pub vac_kpa: [f64; 2],
}

/// The samples kept.
#[derive(Debug, Clone)]
pub struct Window {
    recent_s: f64,
    reference: Vec<WindowRow>,
    recent: Vec<WindowRow>,
    marks: Vec<Mark>,
    reference_until_s: Option<f64>,
}

impl Default for Window {
    fn default() -> Self {
        Window::lasting(RECENT_S)
    }
}

impl Window {
    /// A window that keeps the newest samples of so many seconds.
    pub fn lasting(recent_s: f64) -> Self {
        Window {
            recent_s,
            reference: Vec::new(),
            recent: Vec::new(),
            marks: Vec::new(),
            reference_until_s: None,
        }
    }

    /// Takes a row.
    pub fn take(&mut self, row: WindowRow) {
        self.reference_until_s.get_or_insert(row.time_s + REFERENCE_S);
        self.recent.push(row);
        let most = MOST_RECENT + MOST_RECENT / LUMP;
        let oldest_s = self.recent[0].time_s;
        if self.recent.len() > most
            || row.time_s - oldest_s > self.recent_s * (1.0 + 1.0 / LUMP as f64)
        {
            self.settle(row.time_s);
        }
    }

    /// Takes a mark; those that bear on the zero keep what follows them.
    pub fn mark(&mut self, mark: Mark) {
        let zero = matches!(
            mark.meaning,
            Meaning::EngineOff
                | Meaning::HosesSwapped
                | Meaning::HosesDirect
                | Meaning::TeeOn
                | Meaning::TeeOff
        );
        if zero {
            let until_s = mark.at.0 + REFERENCE_S;
            self.reference_until_s = Some(self.reference_until_s.unwrap_or(until_s).max(until_s));
        }
        self.marks.push(mark);
    }

    /// Moves what has aged out of the recent rows, or drops it.
    fn settle(&mut self, now_s: f64) {
        let by_age = self.recent.partition_point(|row| row.time_s < now_s - self.recent_s);
        let aged = by_age.max(self.recent.len().saturating_sub(MOST_RECENT));
        let until_s = self.reference_until_s.unwrap_or(f64::NEG_INFINITY);
        let kept = self.recent.drain(..aged).filter(|row| row.time_s <= until_s);
        self.reference.extend(kept);
        let over = self.reference.len().saturating_sub(MOST_REFERENCE);
        self.reference.drain(..over);
        let begins_s = self.reference.first().or(self.recent.first()).map_or(now_s, |r| r.time_s);
        // Marks before everything that is kept say how the hoses were then.
        let aged = self.marks.partition_point(|mark| mark.at.0 < begins_s);
        self.marks.drain(..aged.saturating_sub(MARKS_BEFORE));
    }

    /// The rows as columns, in the order of time.
    pub fn track(&self) -> Track {
        let rows = || self.reference.iter().chain(&self.recent);
        let count = self.reference.len() + self.recent.len();
        let column = |of: &dyn Fn(&WindowRow) -> f64| -> Option<Column> {
            let values: Column = rows().map(of).collect();
            values.range().is_some().then_some(values)
        };
        let mut marks = self.marks.clone();
        Mark::set_aside(&mut marks);
        Track {
            time_s: rows().map(|row| row.time_s).collect(),
            rpm: column(&|row| row.rpm),
            vac1_kpa: column(&|row| row.vac_kpa[0]),
            vac2_kpa: column(&|row| row.vac_kpa[1]),
            crank_kpa: None,
            flow1_kpa: None,
            flow2_kpa: None,
            row: RowNumbers::all(count),
            marks,
        }
    }

    /// Rows that are kept.
    pub fn len(&self) -> usize {
        self.reference.len() + self.recent.len()
    }

    /// True where none is kept.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The newest rows, from a log time on.
    pub fn since(&self, from_s: f64) -> &[WindowRow] {
        &self.recent[self.recent.partition_point(|row| row.time_s < from_s)..]
    }

    /// The latest log time, s.
    pub fn last_s(&self) -> Option<Seconds> {
        self.recent.last().map(|row| Seconds(row.time_s))
    }
}

/// Marks older than every row that are kept: the last of each kind is among them.
const MARKS_BEFORE: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    fn row(time_s: f64) -> WindowRow {
        WindowRow { time_s, rpm: 850.0, vac_kpa: [57.0, 56.0] }
    }

    #[test]
    fn an_hour_keeps_the_last_minute_and_what_the_zero_needs() {
        let mut window = Window::default();
        for k in 0..3_600_000 {
            let time_s = k as f64 * 0.001;
            if k == 600_000 {
                window.mark(Mark::read(Seconds(time_s), "hoses swapped"));
            }
            window.take(row(time_s));
            assert!(window.len() <= MOST_REFERENCE + MOST_RECENT + MOST_RECENT / LUMP + 1);
        }
        let track = window.track();
        let times = track.time_s.to_vec();
        assert!(times.windows(2).all(|pair| pair[0] < pair[1]));
        let kept = |from: f64, to: f64| times.iter().filter(|t| (from..to).contains(*t)).count();
        assert_eq!((kept(600.0, 645.0), kept(3540.5, 3600.0)), (45_000, 59_500));
        assert_eq!(kept(700.0, 3500.0), 0);
        assert_eq!(track.marks.len(), 1);
    }
}
