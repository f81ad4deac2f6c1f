//! A clock that runs forward: coarse stamps spread, steps back left out, gaps named.

use super::order::{longest_forward, median_step};
use super::plan::Clock;
use super::rows::{Bad, Batch, Why};
use crate::sample::{Column, Conversion, Digest, Remark, RowNumbers};
use crate::units::Seconds;
use std::ops::Range;

/// A clock is coarse when more than this part of all rows repeats the stamp of the row above.
const COARSE: f64 = 0.1;
/// Rows out of order beyond this part are sorted where their stamps are dates.
const DISORDER: f64 = 0.05;
/// A clock with steps up to this, s, is fine enough for everything here: a fifth of the time between
/// two firings of four cylinders at 3000 rev/min, `120 / (4 * 3000)` s.
const FINE_S: f64 = 0.002;
/// A step of more than this many usual steps of the clock is a gap.
const GAP: f64 = 10.0;

const DAY: f64 = 86_400.0;
/// No log is longer, s: about three years.
const LONGEST_S: f64 = 1e8;

/// Makes the time of a batch strictly increasing. Rows that cannot be placed are left out and
/// added to the bad ones.
pub(super) fn settle(batch: &mut Batch<Column>, clock: &Clock, remarks: &mut Vec<Remark>) {
    if let Clock::Stamp { dated: false, .. } = clock {
        unwrap_midnight(&mut batch.time_s);
    }
    let stamps = matches!(clock, Clock::Stamp { dated: true, .. });
    if let Some(zero) = zero(&batch.time_s, clock, stamps) {
        batch.time_s.converts(Conversion::Since(zero));
        batch.bad.iter_mut().for_each(|bad| bad.at_s -= zero);
        batch.marks.iter_mut().for_each(|mark| mark.at_s -= zero);
    }
    let mut steps = Steps::of(&batch.time_s);
    let (repeats, backs) = steps.count();
    if repeats + backs > 0 {
        let coarse = repeats >= 3 && repeats as f64 > COARSE * batch.time_s.len() as f64;
        // This takes all times at once: which row to keep hangs on all the others.
        let mut time_s = batch.time_s.to_vec();
        put_in_order(batch, &mut time_s, coarse, stamps, remarks);
        if coarse {
            spread(&mut time_s, remarks);
        }
        batch.time_s = Column::from(time_s);
        steps = Steps::of(&batch.time_s);
    }
    gaps(&steps, remarks);
}

/// Since when times are counted anew. Stamps and seconds since 1970 say nothing as log time: from the first row
/// on, and where rows are out of order, from the earliest.
fn zero(time_s: &Column, clock: &Clock, stamps: bool) -> Option<f64> {
    let first = time_s.first()?;
    if stamps {
        return time_s.range().map(|(earliest, _)| earliest);
    }
    if matches!(clock, Clock::Stamp { .. }) {
        return Some(first);
    }
    if first.abs() <= LONGEST_S {
        return None;
    }
    // The first may be a slip: taken from the others, a number far beyond them would leave nothing of them.
    let mut three = [first, time_s.at(time_s.len() / 2), time_s.last()?];
    three.sort_by(f64::total_cmp);
    let usual = three[1];
    let near = (first - usual).abs() <= LONGEST_S;
    (usual.abs() > LONGEST_S).then_some(if near { first } else { usual })
}

/// The steps from each time to the next, with what is known of them piece by piece.
struct Steps<'a> {
    time_s: &'a Column,
    pieces: Vec<Piece>,
}

/// The shortest and the longest of the steps to the times of a piece.
struct Piece {
    samples: Range<usize>,
    shortest: f64,
    longest: f64,
}

impl Steps<'_> {
    fn of(time_s: &Column) -> Steps<'_> {
        let (mut cursor, mut last) = (time_s.cursor(), f64::NAN);
        let piece = |(samples, digest): (Range<usize>, Digest)| {
            let (shortest, longest) = if digest.straight && digest.first < digest.last {
                // Steps of one length, but for rounding.
                let step = (digest.last - digest.first) / (samples.len() - 1) as f64;
                (0.5 * step, 1.5 * step)
            } else {
                extreme_steps(cursor.rest_of_piece(samples.start))
            };
            // Without a time before it the first step is no number, and neither end of the rest.
            let first = digest.first - last;
            last = digest.last;
            Piece { samples, shortest: shortest.min(first), longest: longest.max(first) }
        };
        let pieces = time_s.digests().map(piece).collect();
        Steps { time_s, pieces }
    }

    /// Shows the times at both ends of the steps to the samples of some pieces.
    fn each(&self, worth: impl Fn(&Piece) -> bool, mut seen: impl FnMut(f64, f64)) {
        for piece in self.pieces.iter().filter(|piece| worth(piece)) {
            let from = piece.samples.start.saturating_sub(1);
            let times = self.time_s.window(from..piece.samples.end);
            times.windows(2).for_each(|pair| seen(pair[0], pair[1]));
        }
    }

    /// How many rows repeat the stamp above them, and how many step back.
    fn count(&self) -> (usize, usize) {
        let (mut repeats, mut backs) = (0, 0);
        self.each(
            |piece| piece.shortest <= 0.0,
            |last, time| {
                repeats += usize::from(time == last);
                backs += usize::from(time < last);
            },
        );
        (repeats, backs)
    }
}

/// The shortest and the longest step between times, side by side: in one lane each would wait for the last.
fn extreme_steps(times: &[f64]) -> (f64, f64) {
    const LANES: usize = 8;
    let (mut shortest, mut longest) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    let later = times.get(1..).unwrap_or_default();
    let (together, rest) = later.as_chunks::<LANES>();
    for (from, to) in times.as_chunks::<LANES>().0.iter().zip(together) {
        for lane in 0..LANES {
            let step = to[lane] - from[lane];
            shortest[lane] = if step < shortest[lane] { step } else { shortest[lane] };
            longest[lane] = if step > longest[lane] { step } else { longest[lane] };
        }
    }
    let before = &times[later.len() - rest.len()..];
    let steps = || before.iter().zip(rest).map(|(from, to)| to - from);
    (
        shortest.into_iter().chain(steps()).fold(f64::INFINITY, f64::min),
        longest.into_iter().chain(steps()).fold(f64::NEG_INFINITY, f64::max),
    )
}

/// A time of day falls back by a day at midnight, and on a dial of twelve hours at one o'clock.
fn unwrap_midnight(time_s: &mut Column) {
    let dial = time_s.range().is_none_or(|(_, latest)| latest < 13.0 * 3600.0);
    let (mut turns, mut last) = (0.0, f64::NEG_INFINITY);
    let unwrapped = time_s.iter().map(|time| {
        let back = last - time;
        if back > 0.9 * DAY && back <= DAY {
            turns += DAY;
        } else if dial && back > 0.45 * DAY && back <= 0.5 * DAY {
            turns += 0.5 * DAY;
        }
        last = time;
        time + turns
    });
    *time_s = unwrapped.collect();
}

/// Leaves out the fewest rows so that time runs forward; sorts where dates say what comes first.
fn put_in_order(
    batch: &mut Batch<Column>,
    time_s: &mut Vec<f64>,
    coarse: bool,
    stamps: bool,
    remarks: &mut Vec<Remark>,
) {
    let mut keep = longest_forward(time_s, !coarse);
    let out = keep.iter().filter(|keep| !**keep).count();
    if stamps && out as f64 > DISORDER * keep.len() as f64 && mostly_distinct(time_s) {
        let (_, backs) = Steps::of(&batch.time_s).count();
        sort(batch, time_s);
        keep = longest_forward(time_s, true);
        let text = format!(
            "the rows are out of order ({backs} steps back); each carries its own date and time, so they were sorted"
        );
        remarks.push(Remark::new("sorted", backs, &[], text));
    }
    let mut last = f64::NEG_INFINITY;
    let rows: Vec<u32> = batch.row.iter().collect();
    for (index, kept) in keep.iter().enumerate() {
        let (at_s, row) = (time_s[index], rows[index]);
        if *kept {
            last = at_s;
            continue;
        }
        let why = if at_s == last { Why::Repeated } else { Why::Backward };
        if !batch.examples.iter().any(|(known, _)| *known == why) {
            let text = match why {
                Why::Repeated => format!("repeats the stamp {at_s:.3} s of the row above"),
                _ if at_s < last => format!("steps back in time, from {last:.3} s to {at_s:.3} s"),
                _ => format!("is stamped {at_s:.3} s, later than the rows below it"),
            };
            batch.examples.push((why, text));
        }
        let line = batch.line_of(row);
        batch.bad.push(Bad { row, line, at_s, why });
    }
    fn kept<T>(values: impl Iterator<Item = T>, keep: &[bool]) -> impl Iterator<Item = T> {
        values.zip(keep).filter(|(_, keep)| **keep).map(|(value, _)| value)
    }
    *time_s = kept(time_s.iter().copied(), &keep).collect();
    batch.row = kept(rows.into_iter(), &keep).collect();
    for channel in &mut batch.channels {
        *channel = kept(channel.iter(), &keep).collect();
    }
}

fn mostly_distinct(time_s: &[f64]) -> bool {
    let mut sorted = time_s.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    sorted.len() as f64 >= 0.95 * time_s.len() as f64
}

fn sort(batch: &mut Batch<Column>, time_s: &mut Vec<f64>) {
    let mut order: Vec<usize> = (0..time_s.len()).collect();
    order.sort_by(|a, b| time_s[*a].total_cmp(&time_s[*b]));
    fn permuted<T: Copy>(values: &[T], order: &[usize]) -> Vec<T> {
        order.iter().map(|index| values[*index]).collect()
    }
    *time_s = permuted(time_s, &order);
    let rows: Vec<u32> = batch.row.iter().collect();
    batch.row = permuted(&rows, &order).into_iter().collect();
    for channel in batch.channels.iter_mut().filter(|c| !c.is_empty()) {
        *channel = Column::from(permuted(&channel.to_vec(), &order));
    }
}

/// A stretch of rows with one stamp.
struct Run {
    from: usize,
    rows: usize,
    stamp: f64,
}

/// Spreads the rows of each stamp evenly up to the next stamp.
///
/// Before a gap and after the last stamp the usual spacing is used. Rows before the clock starts to
/// run (an engine time that stands at 0) are laid before its first step at the usual spacing.
fn spread(time_s: &mut [f64], remarks: &mut Vec<Remark>) {
    let mut runs: Vec<Run> = Vec::new();
    for (index, time) in time_s.iter().enumerate() {
        match runs.last_mut() {
            Some(run) if run.stamp == *time => run.rows += 1,
            _ => runs.push(Run { from: index, rows: 1, stamp: *time }),
        }
    }
    let stamps: Vec<f64> = runs.iter().map(|run| run.stamp).collect();
    let mut lengths: Vec<usize> = runs.iter().map(|run| run.rows).collect();
    let middle = lengths.len() / 2;
    let usual_rows = *lengths.select_nth_unstable(middle).1 as f64;
    let Some(step) = median_step(stamps.len(), |at| stamps[at]) else {
        return spread_single(time_s, remarks);
    };
    let usual = step / usual_rows;
    let mut stood = Vec::new();
    for (number, run) in runs.iter().enumerate() {
        let rows = &mut time_s[run.from..run.from + run.rows];
        let next = stamps.get(number + 1).copied();
        let span = next.map_or(f64::INFINITY, |next| next - run.stamp);
        let count = run.rows as f64;
        let crowded = count > 2.5 * usual_rows * (span / step).max(1.0);
        let (start, spacing) = match next {
            Some(next) if crowded && number == 0 => (next - count * usual, usual),
            Some(_) if span <= 5.0 * step => (run.stamp, span / count),
            Some(_) => (run.stamp, usual.min(span / count)),
            None => (run.stamp, usual),
        };
        if crowded && span.is_finite() {
            stood.push(run.stamp);
        }
        rows.iter_mut().enumerate().for_each(|(i, time)| *time = start + spacing * i as f64);
    }
    // Rounding must not make two stamps equal.
    for index in 1..time_s.len() {
        if time_s[index] <= time_s[index - 1] {
            time_s[index] = time_s[index - 1].next_up();
        }
    }
    if step > FINE_S {
        let repeats = time_s.len() - runs.len();
        remarks.push(Remark::new("coarse_clock", repeats, &[], coarse(usual_rows, step)));
    }
    if !stood.is_empty() {
        let text = "the clock stood still while rows went on; their times are a guess";
        remarks.push(Remark::new("clock_stood", stood.len(), &stood, text));
    }
}

fn coarse(usual_rows: f64, step: f64) -> String {
    let rows =
        if usual_rows > 1.0 { format!("about {usual_rows:.0} rows") } else { "some rows".into() };
    let decimals = match step {
        s if s < 0.1 => 3,
        s if s < 1.0 => 2,
        _ => 1,
    };
    format!(
        "the clock is coarse: {rows} share a stamp and the next is {step:.3} s later; rows were spread evenly between stamps, so times are good to {step:.decimals$} s only"
    )
}

/// One stamp for the whole log: only the order is known.
fn spread_single(time_s: &mut [f64], remarks: &mut Vec<Remark>) {
    let first = time_s.first().copied().unwrap_or(0.0);
    time_s.iter_mut().enumerate().for_each(|(i, time)| *time = first + i as f64);
    let text = "every row has the same time; rows were laid one second apart, so times, rates and everything by the second are meaningless";
    remarks.push(Remark::new("clock_stood", time_s.len(), &[], text));
}

fn gaps(steps: &Steps, remarks: &mut Vec<Remark>) {
    let mut cursor = steps.time_s.cursor();
    let Some(step) = median_step(steps.time_s.len(), |at| cursor.glance(at)) else { return };
    let limit = (GAP * step).max(1.0);
    let mut gaps: Vec<(f64, f64)> = Vec::new();
    steps.each(
        |piece| piece.longest > limit,
        |from, to| {
            if to - from > limit {
                gaps.push((from, to - from));
            }
        },
    );
    let Some((from, longest)) = gaps.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)) else {
        return;
    };
    let places: Vec<f64> = gaps.iter().map(|(from, _)| *from).collect();
    let text = format!(
        "the log has {}, the longest {longest:.1} s after {from:.2} s",
        if gaps.len() == 1 { "a gap".to_string() } else { format!("{} gaps", gaps.len()) }
    );
    remarks.push(Remark::new("gap", gaps.len(), &places, text));
}

/// The log time of a mark: that of its row, or its own where the row was left out but its stamp
/// fits between its neighbours, or that of the last row before it.
pub(super) fn mark_time(row: u32, at_s: f64, rows: &RowNumbers, time_s: &Column) -> Seconds {
    let after = rows.before(row);
    let next = (after < rows.len()).then(|| time_s.at(after));
    if let Some(own) = next.filter(|_| rows.of(after) == row) {
        return Seconds(own);
    }
    let before = after.checked_sub(1).map(|i| time_s.at(i));
    let fits =
        at_s.is_finite() && before.is_none_or(|t| t <= at_s) && next.is_none_or(|t| at_s <= t);
    Seconds(if fits { at_s } else { before.or(next).unwrap_or(0.0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_and_a_repeat_are_seen_wherever_a_piece_of_the_column_ends() {
        for at in [5, 8191, 8192, 8193, 12_000] {
            let even = |k: usize| k as f64 / 1000.0;
            let gap: Vec<f64> =
                (0..20_000).map(|k| even(k) + if k < at { 0.0 } else { 20.0 }).collect();
            let (batch, remarks) = settled(&gap);
            assert_eq!(batch.time_s.len(), 20_000);
            assert!(
                remarks.iter().any(|remark| remark.text.contains("the longest 20.0 s")),
                "{at}"
            );
            let repeat: Vec<f64> =
                (0..20_000).map(|k| even(if k < at { k } else { k - 1 })).collect();
            let (batch, _) = settled(&repeat);
            assert_eq!((batch.time_s.len(), batch.bad.len()), (19_999, 1), "{at}");
        }
    }

    #[test]
    fn a_first_time_far_beyond_the_others_takes_nothing_from_them() {
        let (batch, _) = settled(&[3e46, 0.02, 0.04, 0.06, 0.08]);
        assert_eq!(batch.time_s, vec![0.02, 0.04, 0.06, 0.08]);
        // A slip before seconds since 1970.
        let (batch, _) = settled(&[3e46, 1.7e9, 1.7e9 + 0.5, 1.7e9 + 1.0]);
        assert_eq!(batch.time_s.len(), 3);
        assert_eq!(batch.time_s.at(2) - batch.time_s.at(0), 1.0);
        let (batch, _) = settled(&[1.7e9, 1.7e9 + 0.5, 1.7e9 + 1.0]);
        assert_eq!(batch.time_s, vec![0.0, 0.5, 1.0]);
        let (batch, _) = settled(&[3e46; 5]);
        assert_eq!(batch.time_s, vec![0.0, 1.0, 2.0, 3.0, 4.0]);
    }

    fn settled(time_s: &[f64]) -> (Batch<Column>, Vec<Remark>) {
        let mut batch = Batch {
            time_s: time_s.to_vec().into(),
            row: (0..time_s.len() as u32).collect(),
            ..Batch::default()
        };
        batch.channels[0] = (0..time_s.len()).map(|i| i as f64).collect();
        let clock = Clock::Number {
            field: 0,
            format: crate::log::numbers::Format::POINT,
            unit: crate::units::TimeUnit::Second,
        };
        let mut remarks = Vec::new();
        settle(&mut batch, &clock, &mut remarks);
        (batch, remarks)
    }

    #[test]
    fn one_repeated_and_one_backward_stamp_are_bad_rows() {
        let mut time: Vec<f64> = (0..60).map(|i| f64::from(i) * 0.02).collect();
        time[20] = time[19];
        time[40] = 0.1;
        let (batch, remarks) = settled(&time);
        let bad: Vec<(u32, Why)> = batch.bad.iter().map(|b| (b.row, b.why)).collect();
        assert_eq!(bad, [(20, Why::Repeated), (40, Why::Backward)]);
        assert_eq!((batch.time_s.len(), batch.channels[0].at(20)), (58, 21.0));
        assert!(remarks.is_empty());
    }

    #[test]
    fn a_coarse_clock_is_spread_up_to_the_next_stamp() {
        let time = [0.0, 0.0, 0.0, 0.0, 2.0, 2.0, 2.0, 4.0, 4.0, 4.0, 4.0];
        let (batch, remarks) = settled(&time);
        assert_eq!(batch.time_s.window(0..5), [0.0, 0.5, 1.0, 1.5, 2.0]);
        assert_eq!(batch.time_s.window(7..11), [4.0, 4.5, 5.0, 5.5]);
        assert_eq!((batch.bad.len(), remarks[0].code, remarks[0].count), (0, "coarse_clock", 8));
    }

    #[test]
    fn stamps_to_the_millisecond_are_no_coarse_clock() {
        // 1,234 rows a second, each stamped to the nearest step.
        let rounded = |step: f64| -> Vec<f64> {
            (0..2000).map(|i| (f64::from(i) / 1234.0 / step).round() * step).collect()
        };
        let (batch, remarks) = settled(&rounded(0.001));
        assert_eq!((batch.bad.len(), remarks), (0, vec![]));
        assert!(batch.time_s.to_vec().windows(2).all(|p| p[1] > p[0]));
        for (time, said) in [
            (rounded(0.004), "about 5 rows share a stamp"),
            (rounded(0.004), "good to 0.004 s only"),
            (rounded(0.04), "good to 0.040 s only"),
            (rounded(0.25), "good to 0.25 s only"),
            // 1.2 rows to a step of 10 ms.
            ((0..500).map(|i| (f64::from(i) / 1.2).round() * 0.01).collect(), "some rows share"),
            ((0..500).map(|i| (f64::from(i) / 1.2).round() * 0.01).collect(), "to 0.010 s only"),
        ] {
            let (_, remarks) = settled(&time);
            assert_eq!(remarks[0].code, "coarse_clock");
            assert!(remarks[0].text.contains(said), "{said}: {}", remarks[0].text);
        }
    }

    #[test]
    fn a_clock_that_stands_before_the_start_is_laid_before_it() {
        let time: Vec<f64> =
            [0.0; 20].into_iter().chain((1..30).flat_map(|s| [f64::from(s); 2])).collect();
        let (batch, remarks) = settled(&time);
        assert_eq!((batch.time_s.at(19), batch.time_s.at(0)), (0.5, -9.0));
        assert!(remarks.iter().any(|r| r.code == "clock_stood"));
        assert!(batch.time_s.to_vec().windows(2).all(|p| p[1] > p[0]));
    }

    #[test]
    fn midnight_and_the_twelve_hour_dial() {
        let mut time = Column::from(vec![DAY - 1.0, DAY - 0.5, 0.0, 0.5]);
        unwrap_midnight(&mut time);
        assert_eq!(time, vec![DAY - 1.0, DAY - 0.5, DAY, DAY + 0.5]);
        let mut time = Column::from(vec![46_799.0, 3600.0, 3601.0]);
        unwrap_midnight(&mut time);
        assert_eq!(time, vec![46_799.0, 46_800.0, 46_801.0]);
    }

    #[test]
    fn gaps_are_named() {
        let time: Vec<f64> =
            (0..50).map(|i| f64::from(i) * 0.1 + if i > 20 { 600.0 } else { 0.0 }).collect();
        let (batch, remarks) = settled(&time);
        assert_eq!((batch.bad.len(), remarks[0].code, remarks[0].at_s[0]), (0, "gap", 2.0));
    }

    #[test]
    fn marks_of_rows_left_out_keep_a_place() {
        let rows: RowNumbers = [0, 1, 3].into_iter().collect();
        let time = Column::from(vec![0.0, 1.0, 3.0]);
        assert_eq!(mark_time(1, f64::NAN, &rows, &time), Seconds(1.0));
        assert_eq!(mark_time(2, 2.0, &rows, &time), Seconds(2.0));
        assert_eq!(mark_time(2, 99.0, &rows, &time), Seconds(1.0));
        assert_eq!(mark_time(9, f64::NAN, &rows, &time), Seconds(3.0));
    }
}
