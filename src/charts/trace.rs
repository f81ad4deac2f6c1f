//! From a series by engine cycle to the lines that are drawn.

use super::scale::{Clock, Range};
use super::sheet::Point;
use crate::signal::Signal;
use crate::signal::cycles::Cycles;
use crate::signal::plateaus::Kind;

/// A stretch of a series without a break: (log time s, value).
pub(super) type Run = Vec<(f64, f64)>;

/// Cuts a series into runs: at missing values, where `skip` says so, and at gaps of the log.
///
/// A gap is a pause longer than the longer of the two blocks at its ends.
pub(super) fn runs(cycles: &Cycles, skip: &[bool], value: impl Fn(usize) -> f64) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let mut open = false;
    for block in 0..cycles.len().min(cycles.to_s.len()) {
        let (at, value) = (cycles.middle_s(block), value(block));
        let skipped = skip.get(block).copied().unwrap_or(false);
        if skipped || !Range::drawable(at) || !Range::drawable(value) {
            open = false;
            continue;
        }
        if open && !gap_before(cycles, block) {
            if let Some(run) = runs.last_mut() {
                run.push((at, value));
            }
        } else {
            runs.push(vec![(at, value)]);
            open = true;
        }
    }
    runs
}

fn gap_before(cycles: &Cycles, block: usize) -> bool {
    let length = |k: usize| cycles.to_s[k] - cycles.from_s[k];
    let pause = cycles.from_s[block] - cycles.to_s[block - 1];
    pause > length(block).max(length(block - 1))
}

/// For each block, whether the engine stood still. There the vacuums are none, and the sensors'
/// zero is told elsewhere.
pub(super) fn standing(signal: &Signal) -> Vec<bool> {
    let cycles = &signal.cycles;
    let rpm = cycles.rpm.as_deref();
    let off: Vec<_> = signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff).collect();
    (0..cycles.len().min(cycles.to_s.len()))
        .map(|block| {
            let at = cycles.middle_s(block);
            rpm.and_then(|rpm| rpm.get(block)).is_some_and(|rpm| *rpm == 0.0)
                || off.iter().any(|p| p.from_s <= at && at <= p.to_s)
        })
        .collect()
}

/// The range of the values of all runs.
pub(super) fn extent<'a>(runs: impl IntoIterator<Item = &'a Run>) -> Option<Range> {
    Range::of(runs.into_iter().flatten().map(|(_, value)| *value))
}

/// The range of log time of a signal, from 0 where it starts soon after; `None` without a block.
pub(super) fn time_range(signal: &Signal) -> Option<Range> {
    let cycles = &signal.cycles;
    let plateaus = signal.plateaus.iter().flat_map(|p| [p.from_s, p.to_s]);
    let range = Range::of(cycles.from_s.iter().chain(&cycles.to_s).copied().chain(plateaus))?;
    let soon = range.low() > 0.0 && range.low() < 0.03 * range.high();
    Some(if soon { range.join(Range::of([0.0, range.high()])) } else { range })
}

/// A run thinned to what the eye can tell: of each column of pixels the first point, the lowest, the
/// highest and the last, in their order, so that no spike is lost.
pub(super) fn thinned(points: impl IntoIterator<Item = Point>) -> Vec<Point> {
    let mut kept = Vec::new();
    let mut column: Option<Column> = None;
    for (order, point) in points.into_iter().enumerate() {
        match &mut column {
            Some(open) if open.x == point.0.floor() => open.add(order, point),
            _ => {
                if let Some(full) = column.replace(Column::new(order, point)) {
                    full.close(&mut kept);
                }
            }
        }
    }
    if let Some(last) = column {
        last.close(&mut kept);
    }
    kept
}

struct Column {
    x: f64,
    first: (usize, Point),
    low: (usize, Point),
    high: (usize, Point),
    last: (usize, Point),
}

impl Column {
    fn new(order: usize, point: Point) -> Column {
        let entry = (order, point);
        Column { x: point.0.floor(), first: entry, low: entry, high: entry, last: entry }
    }

    fn add(&mut self, order: usize, point: Point) {
        let entry = (order, point);
        if point.1 < self.low.1.1 {
            self.low = entry;
        }
        if point.1 > self.high.1.1 {
            self.high = entry;
        }
        self.last = entry;
    }

    fn close(self, kept: &mut Vec<Point>) {
        let mut entries = [self.first, self.low, self.high, self.last];
        entries.sort_by_key(|(order, _)| *order);
        let mut previous = None;
        for (order, point) in entries {
            if previous != Some(order) {
                kept.push(point);
            }
            previous = Some(order);
        }
    }
}

/// What is known of one series: its runs, ready for a panel.
pub(super) struct Series {
    /// The runs in the order of time.
    pub runs: Vec<Run>,
}

impl Series {
    /// One column of the cycle series with a factor for its unit; `None` where the log lacks the
    /// column or it holds no value.
    pub fn of(
        signal: &Signal,
        skip: &[bool],
        column: Option<&[f64]>,
        factor: f64,
    ) -> Option<Series> {
        let column = column?;
        let at = |block: usize| column.get(block).copied().unwrap_or(f64::NAN) * factor;
        let runs = runs(&signal.cycles, skip, at);
        (!runs.is_empty()).then_some(Series { runs })
    }

    /// Range of its values.
    pub fn extent(&self) -> Option<Range> {
        extent(&self.runs)
    }
}

/// Picture points of a run, thinned.
pub(super) fn points(run: &Run, clock: &Clock, place: impl Fn(f64, f64) -> Point) -> Vec<Point> {
    thinned(run.iter().map(|(t, value)| place(clock.at(*t), *value)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cycles(from_s: Vec<f64>, length: f64) -> Cycles {
        let to_s = from_s.iter().map(|t| t + length).collect();
        Cycles { from_s, to_s, ..Cycles::default() }
    }

    #[test]
    fn lines_break_at_missing_values_gaps_and_skipped_blocks() {
        let cycles = cycles(vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 9.0, 10.0], 1.0);
        let values = [1.0, 1.0, f64::NAN, 1.0, 1.0, 1.0, 1.0, f64::INFINITY];
        let skip = [false, false, false, false, true, false, false, false];
        let lengths: Vec<_> = runs(&cycles, &skip, |k| values[k]).iter().map(Vec::len).collect();
        assert_eq!(lengths, [2, 1, 1, 1]);
    }

    #[test]
    fn thinning_keeps_every_extreme() {
        let n = 100_000;
        let spike = 31_415;
        let series = (0..n).map(|k| {
            let noise = f64::from((k * 7919) % 101) / 101.0;
            (f64::from(k) / 100.0, if k == spike { 50.0 } else { noise })
        });
        let kept = thinned(series);
        assert!(kept.len() <= 4 * 1001, "{}", kept.len());
        assert!(kept.iter().any(|p| p.1 == 50.0));
        assert!(kept.windows(2).all(|w| w[0].0 <= w[1].0));
        assert_eq!(kept.iter().filter(|p| p.0 < 1.0).map(|p| p.1).fold(f64::MAX, f64::min), 0.0);
    }

    #[test]
    fn few_points_stay_as_they_are() {
        let few = vec![(0.2, 1.0), (0.4, 3.0), (0.6, 2.0), (5.0, 2.0)];
        assert_eq!(thinned(few.clone()), few);
    }
}
