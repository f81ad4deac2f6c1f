//! False readings found, counted, located, and kept out of the statistics.
//!
//! Nothing is filled in: what is judged false becomes 'no reading'.

use super::cycles::STANDSTILL_RPM;
use crate::sample::{Column, Cursor, Digest, Remark, Track};
use std::ops::Range;

/// A reading this far from the median of its neighbours, as a share of it, may be a doubled or
/// halved pick-up pulse; an engine's flywheel cannot do that within a few readings.
const PICKUP_SHARE: f64 = 0.15;
/// Readings on each side that make the neighbourhood (Hampel's window has 2 x 4 + 1).
const NEIGHBOURS: usize = 4;
/// The neighbourhood must lie within this time on each side, s: over a longer time an engine can
/// change its speed as it likes.
const NEIGHBOURHOOD_S: f64 = 1.0;
/// Times the scaled median absolute deviation beyond which a reading is false (Hampel 1974).
const PICKUP_SIGMAS: f64 = 4.0;
/// No pulse is missed for this long with the engine running, s.
const STOPPED_S: f64 = 0.5;
/// ... nor for this many times the time between changes of the readings.
const STOPPED_RUNS: f64 = 3.0;
/// A vacuum that repeats one value this long with the engine running is stuck, s.
const STUCK_S: f64 = 3.0;
/// A channel slower than the logger repeats values; stuck is this many times its usual run.
const STUCK_RUNS: usize = 25;
/// Share of samples at the extreme value from which a channel counts as saturated.
const RAIL_SHARE: f64 = 0.05;
/// Distinct values below which 'the extreme value' means nothing.
const RAIL_LEAST_VALUES: usize = 12;

/// Takes false readings out of the track and says what was taken out.
pub fn clean(track: &mut Track) -> Vec<Remark> {
    let time = &track.time_s;
    let speed = track.rpm.as_mut().and_then(|rpm| clean_pickup(time, rpm));
    let vacuums = [&mut track.vac1_kpa, &mut track.vac2_kpa];
    let flows = [&mut track.flow1_kpa, &mut track.flow2_kpa];
    let pressures = clean_pressures(time, track.rpm.as_ref(), vacuums, flows);
    speed.into_iter().chain(pressures).collect()
}

/// As [`clean`], of the pressures alone; the speed is clean already.
pub(super) fn clean_pressures(
    time: &Column,
    rpm: Option<&Column>,
    vacuums: [&mut Option<Column>; 2],
    flows: [&mut Option<Column>; 2],
) -> Vec<Remark> {
    let mut remarks = Vec::new();
    for (column, name) in vacuums.into_iter().zip(["vacuum 1", "vacuum 2"]) {
        if let Some(column) = column {
            remarks.extend(rpm.and_then(|rpm| take_out_stuck(time, column, rpm, name)));
            remarks.extend(take_out_rail(time, column, name));
        }
    }
    for (column, name) in flows.into_iter().zip(["airflow meter 1", "airflow meter 2"]) {
        if let Some(column) = column {
            remarks.extend(rpm.and_then(|rpm| take_out_stuck(time, column, rpm, name)));
            remarks.extend(take_out_top(time, column, name));
        }
    }
    remarks
}

/// Doubled, halved and wild readings of the ignition pick-up.
pub(super) fn clean_pickup(time: &Column, rpm: &mut Column) -> Option<Remark> {
    let false_at = wrong_pulses(time, rpm);
    let at: Vec<f64> = false_at.iter().map(|k| time.at(*k)).collect();
    let mut left = false_at.iter().peekable();
    let holds_some = |samples: &Range<usize>, _: &Digest| {
        false_at
            .get(false_at.partition_point(|k| *k < samples.start))
            .is_some_and(|k| *k < samples.end)
    };
    rpm.take_out(holds_some, |k, _| left.next_if(|next| **next == k).is_some());
    (!at.is_empty()).then(|| {
        let text = format!(
            "{} speed reading{} far from the neighbours (doubled, halved or missed pulses) left out",
            at.len(),
            if at.len() == 1 { "" } else { "s" }
        );
        Remark::new("rpm_outlier", at.len(), &at, text)
    })
}

/// Samples whose speed is wrong, in their order.
fn wrong_pulses(time: &Column, rpm: &Column) -> Vec<usize> {
    let mut false_at = Vec::new();
    let mut level = f64::NAN;
    let mut stops = standstills(time, rpm).into_iter().peekable();
    let mut near = Neighbourhood { time: time.cursor(), rpm: rpm.cursor(), samples: rpm.len() };
    // Only a jump from the last good reading is worth a look at the neighbourhood.
    let calm = |reading: f64, level: f64| (reading - level).abs() <= 0.5 * PICKUP_SHARE * level;
    let mut values = rpm.cursor();
    for (samples, digest) in rpm.digests() {
        let steady = calm(digest.high, digest.low) && calm(digest.first, level);
        if digest.is_empty() || (steady && digest.low >= STANDSTILL_RPM) {
            level = if digest.is_empty() { level } else { digest.last };
            continue;
        }
        for k in samples {
            let reading = values.at(k);
            if !reading.is_finite() {
                continue;
            }
            while stops.next_if(|stop| stop.end <= k).is_some() {}
            let stopped = stops.peek().is_some_and(|stop| stop.contains(&k));
            if !stopped && !calm(reading, level) && near.shows_false(k) {
                false_at.push(k);
            } else {
                level = reading;
            }
        }
    }
    false_at
}

/// Where the engine stands still: readings below any running speed for longer than pulses are missed.
///
/// Repeats of one value count once in the neighbourhood, so that the zeros of an engine that stops
/// from one reading to the next would have only the running ones before them for neighbours.
fn standstills(time: &Column, rpm: &Column) -> Vec<Range<usize>> {
    let span = time.last().zip(time.first()).map_or(0.0, |(last, first)| last - first);
    // A slow channel holds a false zero until it speaks again.
    let speaks_s = span / (changes(rpm) + 1) as f64;
    let least_s = STOPPED_S.max(STOPPED_RUNS * speaks_s.min(NEIGHBOURHOOD_S));
    let mut stops: Vec<Range<usize>> = Vec::new();
    let mut open = false;
    for (samples, digest) in rpm.digests() {
        if digest.is_empty() || digest.low >= STANDSTILL_RPM {
            open &= digest.is_empty();
            continue;
        }
        for (k, reading) in samples.clone().zip(rpm.iter_over(samples)) {
            if !reading.is_finite() {
                continue;
            }
            let stands = reading < STANDSTILL_RPM;
            match stops.last_mut().filter(|_| stands && open) {
                Some(stop) => stop.end = k + 1,
                None if stands => stops.push(k..k + 1),
                None => {}
            }
            open = stands;
        }
    }
    stops.retain(|stop| time.at(stop.end - 1) - time.at(stop.start) >= least_s);
    stops
}

/// Readings that differ from the one before them.
fn changes(column: &Column) -> usize {
    let (mut changes, mut last) = (0, f64::NAN);
    for (_, digest) in column.digests().filter(|(_, digest)| !digest.is_empty()) {
        changes += digest.changes as usize + usize::from(!last.is_nan() && digest.first != last);
        last = digest.last;
    }
    changes
}

/// The speeds around a sample.
struct Neighbourhood<'a> {
    time: Cursor<'a>,
    rpm: Cursor<'a>,
    samples: usize,
}

impl Neighbourhood<'_> {
    /// Hampel's test on distinct neighbours: a value held over several rows counts once.
    fn shows_false(&mut self, k: usize) -> bool {
        // At the ends of a log the other side has to do for both.
        let before = self.distinct(k, 2 * NEIGHBOURS, (0..k).rev());
        let wanted = NEIGHBOURS.max(2 * NEIGHBOURS - before.len());
        let after = self.distinct(k, wanted, k + 1..self.samples);
        let kept = NEIGHBOURS.max(2 * NEIGHBOURS - after.len()).min(before.len());
        let before = before[..kept].to_vec();
        let mut near: Vec<f64> = before.into_iter().chain(after).collect();
        if near.len() <= NEIGHBOURS {
            return false;
        }
        let median = median(&mut near);
        let mut apart: Vec<f64> = near.iter().map(|v| (v - median).abs()).collect();
        let scale = 1.4826 * self::median(&mut apart);
        let deviation = (self.rpm.at(k) - median).abs();
        deviation > PICKUP_SHARE * median && deviation > PICKUP_SIGMAS * scale
    }

    /// The next readings along `walk` that are near in time, runs of one value taken once; the run of
    /// reading `k` is skipped.
    fn distinct(&mut self, k: usize, wanted: usize, walk: impl Iterator<Item = usize>) -> Vec<f64> {
        let mut found = Vec::with_capacity(wanted);
        let (at_s, mut last) = (self.time.at(k), self.rpm.at(k));
        for j in walk {
            if (self.time.at(j) - at_s).abs() > NEIGHBOURHOOD_S {
                break;
            }
            let value = self.rpm.at(j);
            if value.is_finite() && value != last {
                found.push(value);
                last = value;
                if found.len() == wanted {
                    break;
                }
            }
        }
        found
    }
}

/// Median of a few values.
fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 { values[middle] } else { 0.5 * (values[middle - 1] + values[middle]) }
}

fn take_out_stuck(time: &Column, column: &mut Column, rpm: &Column, name: &str) -> Option<Remark> {
    let stuck = stuck_runs(time, column, rpm);
    let count: usize = stuck.iter().map(Range::len).sum();
    let at: Vec<f64> = stuck.iter().map(|run| time.at(run.start)).collect();
    let overlaps = |samples: &Range<usize>, _: &Digest| {
        let first = stuck.partition_point(|run| run.end <= samples.start);
        stuck.get(first).is_some_and(|run| run.start < samples.end)
    };
    let mut runs = stuck.iter().peekable();
    column.take_out(overlaps, |k, _| {
        while runs.next_if(|run| run.end <= k).is_some() {}
        runs.peek().is_some_and(|run| run.contains(&k))
    });
    (count > 0).then(|| {
        let text = format!(
            "{name} repeats one value on {count} samples with the engine running: stuck, left out; look at the sensor and its plug"
        );
        Remark::new("stuck_sensor", count, &at, text)
    })
}

/// Where a channel repeats one value for longer than it usually does, with the engine running.
fn stuck_runs(time: &Column, column: &Column, rpm: &Column) -> Vec<Range<usize>> {
    // With most values in runs of one, a run of 25 is long; a channel held four rows needs 100.
    let runs = 1 + parted(column);
    // A channel that never changes has no usual run: no steps by which to tell what it resolves.
    let usual = if runs == 1 { 1 } else { (column.len() / runs).max(1) };
    let mut stuck = long_runs(column, STUCK_RUNS * usual);
    let turning = |run: &Range<usize>| {
        rpm.iter_over(run.clone()).filter(|n| *n > 0.0).count() * 2 > run.len()
    };
    stuck.retain(|run| time.at(run.end - 1) - time.at(run.start) >= STUCK_S && turning(run));
    stuck
}

/// Values that are not equal to the one before them.
fn parted(column: &Column) -> usize {
    let inside: usize = column.digests().map(|(_, digest)| digest.parted as usize).sum();
    let starts = column.digests().skip(1).map(|(samples, _)| samples.start);
    inside + starts.filter(|start| column.at(start - 1) != column.at(*start)).count()
}

/// Runs of one value over more than `length` samples.
///
/// Of a run across the ends of pieces at least one piece holds more than half, or nothing else: where no
/// piece does, there is none.
fn long_runs(column: &Column, length: usize) -> Vec<Range<usize>> {
    let may_hold = |(_, digest): (Range<usize>, Digest)| {
        2 * digest.longest_run as usize > length || digest.parted == 0
    };
    let held: Vec<bool> = column.digests().map(may_hold).collect();
    // Its neighbours hold the rest of it.
    let worth = |number: usize| {
        let near = number.saturating_sub(1)..(number + 2).min(held.len());
        held[near].iter().any(|held| *held)
    };
    let mut runs: Vec<Range<usize>> = Vec::new();
    let (mut from, mut last) = (0, f64::NAN);
    for (number, (samples, _)) in column.digests().enumerate() {
        if !worth(number) {
            // Where no run goes on into it.
            if samples.start - from > length {
                runs.push(from..samples.start);
            }
            (from, last) = (samples.end, f64::NAN);
            continue;
        }
        for (k, value) in samples.clone().zip(column.iter_over(samples)) {
            if value != last {
                if k - from > length {
                    runs.push(from..k);
                }
                (from, last) = (k, value);
            }
        }
    }
    if column.len() - from > length {
        runs.push(from..column.len());
    }
    runs.retain(|run| column.at(run.start).is_finite());
    runs
}

/// The samples at one value.
struct At {
    count: usize,
    /// Times of the first of them, s.
    first_s: Vec<f64>,
}

impl At {
    fn of(time: &Column, column: &Column, value: f64) -> At {
        let mut at = At { count: 0, first_s: Vec::new() };
        for (samples, _) in column.digests().filter(|(_, digest)| holds(digest, value)) {
            for (k, own) in samples.clone().zip(column.iter_over(samples)) {
                if own == value {
                    at.count += 1;
                    if at.first_s.len() < Remark::PLACES {
                        at.first_s.push(time.at(k));
                    }
                }
            }
        }
        at
    }
}

/// The value can be among those of a piece.
fn holds(digest: &Digest, value: f64) -> bool {
    (digest.low..=digest.high).contains(&value)
}

/// A channel that spends much of its time at its largest or smallest value has hit a rail.
fn take_out_rail(time: &Column, column: &mut Column, name: &str) -> Option<Remark> {
    let (low, high) = column.range()?;
    let total = column.len() - column.missing();
    let (rail, at) = [high, low]
        .into_iter()
        .filter(|extreme| extreme.abs() > 2.0)
        .map(|extreme| (extreme, At::of(time, column, extreme)))
        .find(|(_, at)| at.count as f64 / total as f64 > RAIL_SHARE)?;
    if few_values(column) {
        return None;
    }
    // Cycles with more than a little of their length at the rail have no average any more, since
    // what is cut off there would bias it.
    column.take_out(|_, digest| holds(digest, rail), |_, value| value == rail);
    Some(Remark::of_pressures("saturated", at.count, &at.first_s, |say| {
        format!(
            "{name} stands at {}, the end of its range, on {} of {total} samples: saturated; averages over them are not to be trusted, use a sensor with more range",
            say.pressure(rail, 2),
            at.count
        )
    }))
}

/// A meter that spends much of its time at its largest reading has hit the end of its range. Its smallest
/// is no such end: with the engine off it rests there.
fn take_out_top(time: &Column, column: &mut Column, name: &str) -> Option<Remark> {
    let (low, high) = column.range()?;
    let total = column.len() - column.missing();
    // A meter that is connected the other way round hits the lower end.
    let top = if high.abs() >= low.abs() { high } else { low };
    let at = At::of(time, column, top);
    if at.count as f64 <= RAIL_SHARE * total as f64 || few_values(column) {
        return None;
    }
    column.take_out(|_, digest| holds(digest, top), |_, value| value == top);
    Some(Remark::of_pressures("saturated", at.count, &at.first_s, |say| {
        format!(
            "{name} stands at {}, the end of its range, on {} of {total} samples: saturated; averages over them are not to be trusted, use a meter with more range",
            say.pressure(top, 3),
            at.count
        )
    }))
}

fn few_values(column: &Column) -> bool {
    let mut seen: Vec<f64> = Vec::with_capacity(RAIL_LEAST_VALUES);
    for value in column.iter().filter(|v| v.is_finite()) {
        if !seen.contains(&value) {
            seen.push(value);
            if seen.len() == RAIL_LEAST_VALUES {
                return false;
            }
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::Packer;
    use rand::{Rng, SeedableRng};

    /// Columns of few values and gaps, so that runs of all lengths come up.
    fn columns() -> impl Iterator<Item = Vec<f64>> {
        let mut random = rand_pcg::Pcg64::seed_from_u64(4);
        (0..3000).map(move |_| {
            let n = random.random_range(0..60);
            let mut value = 0.0;
            (0..n)
                .map(|_| {
                    if random.random_bool(0.3) {
                        value = [-1.0, 0.0, 2.5, f64::NAN][random.random_range(0..4)];
                    }
                    value
                })
                .collect()
        })
    }

    #[test]
    fn long_runs_are_those_that_a_walk_over_all_samples_finds() {
        let mut found = 0;
        for column in columns() {
            for length in 1..9 {
                let mut from = 0;
                let mut runs = Vec::new();
                for run in column.chunk_by(|a, b| a == b) {
                    if run.len() > length && run[0].is_finite() {
                        runs.push(from..from + run.len());
                    }
                    from += run.len();
                }
                found += runs.len();
                for piece in [1, 7, 60] {
                    let packed = in_pieces(&column, piece);
                    assert_eq!(long_runs(&packed, length), runs, "{length} {piece} {column:?}");
                }
            }
        }
        assert!(found > 1000, "only {found} runs put to the test");
    }

    /// A column in pieces of some length.
    fn in_pieces(values: &[f64], length: usize) -> Column {
        let (mut whole, mut piece) = (Packer::default(), Packer::default());
        for part in values.chunks(length) {
            part.iter().for_each(|value| piece.push(*value));
            whole.append(&mut piece);
        }
        whole.finish()
    }

    /// An idle with a stop, false pulses, a stuck sensor and one at its rail.
    fn dirty(seed: u64) -> [Vec<f64>; 4] {
        let mut random = rand_pcg::Pcg64::seed_from_u64(seed);
        let n = 3000;
        let stuck = random.random_range(0..n - 500);
        let stops = random.random_range(0..n - 200);
        let time: Vec<f64> = (0..n).map(|k| k as f64 * 0.02).collect();
        let mut rpm: Vec<f64> =
            (0..n).map(|k| 850.0 + (40.0 * (k as f64 * 0.01).sin()).round()).collect();
        rpm[stops..stops + 200].fill(0.0);
        for _ in 0..20 {
            rpm[random.random_range(0..n)] *= [0.5, 2.0, f64::NAN][random.random_range(0..3)];
        }
        let mut one: Vec<f64> =
            (0..n).map(|_| random.random_range(5000..6000) as f64 / 100.0).collect();
        one[stuck..stuck + 300].fill(57.25);
        let two = one.iter().map(|v| f64::min(*v, 59.0)).collect();
        [time, rpm, one, two]
    }

    #[test]
    fn what_is_false_does_not_hang_on_the_pieces_of_a_column() {
        let mut codes = Vec::new();
        for seed in 0..40 {
            let columns = dirty(seed);
            let cleaned = [2, 37, 1000, 5000].map(|length| {
                let [time_s, rpm, one, two] =
                    [0, 1, 2, 3].map(|k: usize| in_pieces(&columns[k], length));
                let [rpm, vac1_kpa, vac2_kpa] = [rpm, one, two].map(Some);
                let mut track = Track { time_s, rpm, vac1_kpa, vac2_kpa, ..Track::default() };
                let remarks = clean(&mut track);
                let holes = [&track.rpm, &track.vac1_kpa, &track.vac2_kpa].map(|column| {
                    let column = column.as_ref().unwrap().iter();
                    column.map(|value| value.to_bits()).collect::<Vec<u64>>()
                });
                (remarks, holes)
            });
            assert!(cleaned.iter().all(|one| one == &cleaned[0]), "{seed}: {:?}", cleaned[0].0);
            codes.extend(cleaned[0].0.iter().map(|remark| remark.code));
        }
        for code in ["rpm_outlier", "stuck_sensor", "saturated"] {
            assert!(codes.iter().filter(|own| **own == code).count() >= 30, "{code}: {codes:?}");
        }
    }
}
