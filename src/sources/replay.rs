//! A log played again, as plain lines under a heading.

use super::paced::Stream;
use crate::sample::Track;
use std::fmt::Write;

/// Plays the samples of a log at the times at which they were taken.
pub struct Replay {
    track: Track,
    next: usize,
    next_mark: usize,
}

impl Replay {
    /// Plays a log; its marks come along.
    pub fn new(track: Track) -> Self {
        Replay { track, next: 0, next_mark: 0 }
    }

    fn at_s(&self, sample: usize) -> Option<f64> {
        let first = self.track.time_s.first()?;
        (sample < self.track.len()).then(|| self.track.time_s.at(sample) - first)
    }

    fn line(&mut self, sample: usize, text: &mut String) {
        let track = &self.track;
        let time_s = track.time_s.at(sample);
        let _ = write!(text, "{:.6}", time_s - track.time_s.at(0));
        let columns = [&track.rpm, &track.vac1_kpa, &track.vac2_kpa, &track.crank_kpa];
        for column in &columns[..if track.crank_kpa.is_some() { 4 } else { 3 }] {
            match column.as_ref().map(|column| column.at(sample)).filter(|value| value.is_finite())
            {
                Some(value) => {
                    let _ = write!(text, ",{value}");
                }
                None => text.push(','),
            }
        }
        text.push(',');
        if let Some(mark) = track.marks.get(self.next_mark).filter(|mark| mark.at.0 <= time_s) {
            // The lines are parted by commas without any quotes.
            text.push_str(&mark.text.replace([',', '\n', '\r'], " "));
            self.next_mark += 1;
        }
        text.push('\n');
    }
}

impl Stream for Replay {
    fn due(&mut self, now_s: f64, bytes: &mut Vec<u8>) -> Option<f64> {
        let mut text = String::new();
        if self.next == 0 {
            text += "time_s,rpm,vac1_kpa,vac2_kpa";
            text += if self.track.crank_kpa.is_some() { ",crank_kpa,mark\n" } else { ",mark\n" };
        }
        while self.at_s(self.next).is_some_and(|at_s| at_s <= now_s) {
            self.line(self.next, &mut text);
            self.next += 1;
        }
        bytes.extend_from_slice(text.as_bytes());
        match self.at_s(self.next) {
            None if text.is_empty() => None,
            next => Some(next.unwrap_or(now_s)),
        }
    }
}
