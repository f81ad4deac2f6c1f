//! The running difference for the page: means over whole engine cycles, so that the intake pulses of the
//! two sides do not hide what a screw does, thinned to twenty points a second whatever the logger's rate.

use serde::{Serialize, Serializer};
use std::collections::VecDeque;

/// A point covers this much log time, s.
const BUCKET_S: f64 = 0.05;
/// The means cover the whole cycles that reach this far, s ...
const SPAN_S: f64 = 0.5;
/// ... and this far where no speed tells how long a cycle is, s.
const BLIND_SPAN_S: f64 = 1.0;
/// Slower than this the engine is being cranked, and has no cycle worth the name, rev/min.
const SLOWEST_RPM: f64 = 200.0;
/// A gap in the log that is longer than this parts the trace, s.
const GAP_S: f64 = 1.0;
/// Log times are rounded to the microsecond: this share of a bit of time is a fiftieth of that.
const ROUNDING: f64 = 4e-7;
/// Samples a mean is made of at most: the span at the fastest box.
const MOST: usize = 4096;

/// A reading of the pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Log time, s.
    pub time_s: f64,
    /// Speed, rev/min; NaN where there is none.
    pub rpm: f64,
    /// Vacuum of side 1 and of side 2, kPa; NaN where there is none.
    pub vac_kpa: [f64; 2],
}

/// A point of the trace: least, mean and greatest of the running mean within its bit of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Log time of its end, s.
    pub at_s: f64,
    /// Least, kPa.
    pub low_kpa: f64,
    /// Mean, kPa.
    pub value_kpa: f64,
    /// Greatest, kPa.
    pub high_kpa: f64,
}

impl Serialize for Point {
    /// Four numbers, to the tenth of a millisecond and the pascal: it goes over the wire thirty times a second.
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let fine = |value: f64, per_one: f64| (value * per_one).round() / per_one;
        (
            fine(self.at_s, 1e4),
            fine(self.low_kpa, 1e3),
            fine(self.value_kpa, 1e3),
            fine(self.high_kpa, 1e3),
        )
            .serialize(to)
    }
}

/// Makes points of readings, each read once and dropped once.
#[derive(Debug, Clone, Default)]
pub struct Trace {
    held: VecDeque<Pair>,
    sum_kpa: [f64; 2],
    last_s: Option<f64>,
    ends_s: Option<f64>,
    bucket: Option<Bucket>,
}

#[derive(Debug, Clone, Copy)]
struct Bucket {
    low_kpa: f64,
    sum_kpa: f64,
    high_kpa: f64,
    count: f64,
}

impl Trace {
    /// The log time of the newest reading, s.
    pub fn last_s(&self) -> Option<f64> {
        self.last_s
    }

    /// The means of the two sides over the newest whole cycles, kPa; `None` before there is a reading.
    pub fn means_kpa(&self) -> Option<[f64; 2]> {
        let count = self.held.len() as f64;
        (count > 0.0).then(|| self.sum_kpa.map(|sum| sum / count))
    }

    /// Takes a reading; gives the point that it has brought to an end. `error_kpa` is what sensor 1 reads
    /// above sensor 2 at equal vacuum. A pair with one reading missing, or time that does not go on, is
    /// left out.
    pub fn take(&mut self, pair: Pair, error_kpa: f64) -> Option<Point> {
        let sound = pair.vac_kpa.iter().all(|kpa| kpa.is_finite()) && pair.time_s.is_finite();
        if !sound || self.last_s.is_some_and(|last| pair.time_s <= last) {
            return None;
        }
        if self.last_s.is_some_and(|last| pair.time_s - last > GAP_S) {
            *self = Trace::default();
        }
        self.last_s = Some(pair.time_s);
        self.hold(pair);
        let means = self.means_kpa()?;
        let value = means[0] - means[1] - error_kpa;
        let ends_s = *self.ends_s.get_or_insert(next(pair.time_s));
        let mut ended = None;
        if pair.time_s >= ends_s - ROUNDING * BUCKET_S {
            ended = self.bucket.take().map(|bucket| bucket.point(ends_s));
            self.ends_s = Some(next(pair.time_s));
        }
        self.bucket = Some(Bucket::with(self.bucket, value));
        ended
    }

    fn hold(&mut self, pair: Pair) {
        self.held.push_back(pair);
        let span_s = span(pair.rpm);
        let aged = |held: &Pair| pair.time_s - held.time_s >= span_s;
        while self.held.len() > MOST || self.held.front().is_some_and(aged) {
            self.held.pop_front();
        }
        // Summed anew: a running sum would carry its rounding, and one bad reading, for ever.
        self.sum_kpa = [0, 1].map(|side| self.held.iter().map(|held| held.vac_kpa[side]).sum());
    }
}

/// Whole cycles of two turns that reach at least [`SPAN_S`] back, s.
fn span(rpm: f64) -> f64 {
    if rpm.is_nan() || rpm < SLOWEST_RPM {
        return BLIND_SPAN_S;
    }
    let cycle_s = 120.0 / rpm;
    (SPAN_S / cycle_s).ceil() * cycle_s
}

/// The end of the bit of time that begins at or before a time. A time that falls on an end, but for its
/// rounding, begins the next one.
fn next(time_s: f64) -> f64 {
    ((time_s / BUCKET_S + ROUNDING).floor() + 1.0) * BUCKET_S
}

impl Bucket {
    fn with(before: Option<Bucket>, kpa: f64) -> Bucket {
        let none = Bucket { low_kpa: kpa, sum_kpa: 0.0, high_kpa: kpa, count: 0.0 };
        let b = before.unwrap_or(none);
        Bucket {
            low_kpa: b.low_kpa.min(kpa),
            sum_kpa: b.sum_kpa + kpa,
            high_kpa: b.high_kpa.max(kpa),
            count: b.count + 1.0,
        }
    }

    fn point(self, at_s: f64) -> Point {
        let value_kpa = self.sum_kpa / self.count;
        Point { at_s, low_kpa: self.low_kpa, value_kpa, high_kpa: self.high_kpa }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// A side that pulses once a turn, the other half a turn later, at 850 rev/min and 1 kHz.
    fn run(seconds: f64, rpm: f64, step_at_s: f64) -> Vec<Point> {
        let mut trace = Trace::default();
        let turns = 850.0 / 60.0;
        (0..(seconds * 1000.0) as usize)
            .filter_map(|k| {
                let time_s = k as f64 / 1000.0;
                let pulse = 8.0 * (TAU * turns * time_s).sin();
                let more = if time_s < step_at_s { 0.0 } else { 2.0 };
                let vac_kpa = [57.0 + more + pulse, 56.0 - pulse];
                trace.take(Pair { time_s, rpm, vac_kpa }, 0.25)
            })
            .collect()
    }

    #[test]
    fn pulses_of_sixteen_kilopascals_leave_a_trace_that_is_flat() {
        let points = run(10.0, 850.0, f64::INFINITY);
        assert_eq!(points.len(), 199, "twenty a second");
        for point in points.iter().filter(|point| point.at_s > 1.0) {
            assert!((point.value_kpa - 0.75).abs() < 0.15, "{point:?}");
            assert!(point.low_kpa <= point.value_kpa && point.value_kpa <= point.high_kpa);
        }
        // Without the length of a cycle the pulses are seen: the mean is over no whole number of them.
        let blind = run(10.0, f64::NAN, f64::INFINITY);
        let widest = blind.iter().skip(20).map(|p| p.high_kpa - p.low_kpa).fold(0.0, f64::max);
        assert!(widest > 0.2, "{widest}");
    }

    #[test]
    fn a_step_arrives_within_the_span() {
        let points = run(10.0, 850.0, 5.0);
        let at = |s: f64| points.iter().find(|point| point.at_s >= s).unwrap().value_kpa;
        assert!((at(4.9) - 0.75).abs() < 0.15 && (at(5.7) - 2.75).abs() < 0.15);
    }

    #[test]
    fn a_gap_parts_the_trace_and_bad_readings_are_left_out() {
        let mut trace = Trace::default();
        let pair = |time_s, one| Pair { time_s, rpm: f64::NAN, vac_kpa: [one, 50.0] };
        for k in 0..100 {
            trace.take(pair(f64::from(k) * 0.01, 52.0), 0.0);
        }
        assert_eq!(trace.take(pair(1.0, f64::NAN), 0.0), None);
        assert_eq!(trace.take(pair(0.5, 90.0), 0.0), None);
        assert_eq!(trace.means_kpa(), Some([52.0, 50.0]));
        trace.take(pair(9.0, 60.0), 0.0);
        assert_eq!(trace.means_kpa(), Some([60.0, 50.0]), "what was before the gap is gone");
    }
}
