//! False readings found, counted, located, and kept out of the statistics.
//!
//! Nothing is filled in: what is judged false becomes 'no reading'.

use super::cycles::STANDSTILL_RPM;
use crate::sample::{Remark, Track};
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
    let mut remarks = Vec::new();
    let time = &track.time_s;
    if let Some(rpm) = &mut track.rpm {
        remarks.extend(clean_pickup(time, rpm));
    }
    for (column, name) in [(&mut track.vac1_kpa, "vacuum 1"), (&mut track.vac2_kpa, "vacuum 2")] {
        if let Some(column) = column {
            if let Some(rpm) = &track.rpm {
                remarks.extend(take_out_stuck(time, column, rpm, name));
            }
            remarks.extend(take_out_rail(time, column, name));
        }
    }
    for (column, name) in
        [(&mut track.flow1_kpa, "airflow meter 1"), (&mut track.flow2_kpa, "airflow meter 2")]
    {
        if let Some(column) = column {
            if let Some(rpm) = &track.rpm {
                remarks.extend(take_out_stuck(time, column, rpm, name));
            }
            remarks.extend(take_out_top(time, column, name));
        }
    }
    remarks
}

/// Doubled, halved and wild readings of the ignition pick-up.
fn clean_pickup(time: &[f64], rpm: &mut [f64]) -> Option<Remark> {
    let mut false_at = Vec::new();
    let mut level = f64::NAN;
    let mut stops = standstills(time, rpm).into_iter().peekable();
    for k in 0..rpm.len() {
        let reading = rpm[k];
        if !reading.is_finite() {
            continue;
        }
        while stops.next_if(|stop| stop.end <= k).is_some() {}
        if stops.peek().is_some_and(|stop| stop.contains(&k)) {
            level = reading;
            continue;
        }
        // Only a jump from the last good reading is worth a look at the neighbourhood.
        if (reading - level).abs() <= 0.5 * PICKUP_SHARE * level {
            level = reading;
            continue;
        }
        if is_false(time, rpm, k) {
            false_at.push(k);
        } else {
            level = reading;
        }
    }
    for k in &false_at {
        rpm[*k] = f64::NAN;
    }
    let at: Vec<f64> = false_at.iter().map(|k| time[*k]).collect();
    (!at.is_empty()).then(|| {
        let text = format!(
            "{} speed reading{} far from the neighbours (doubled, halved or missed pulses) left out",
            at.len(),
            if at.len() == 1 { "" } else { "s" }
        );
        Remark::new("rpm_outlier", at.len(), &at, text)
    })
}

/// Where the engine stands still: readings below any running speed for longer than pulses are missed.
///
/// Repeats of one value count once in the neighbourhood, so that the zeros of an engine that stops
/// from one reading to the next would have only the running ones before them for neighbours.
fn standstills(time: &[f64], rpm: &[f64]) -> Vec<Range<usize>> {
    let readings: Vec<usize> = (0..rpm.len()).filter(|k| rpm[*k].is_finite()).collect();
    let changes = readings.windows(2).filter(|pair| rpm[pair[0]] != rpm[pair[1]]).count();
    let span = time.last().zip(time.first()).map_or(0.0, |(last, first)| last - first);
    // A slow channel holds a false zero until it speaks again.
    let speaks_s = span / (changes + 1) as f64;
    let least_s = STOPPED_S.max(STOPPED_RUNS * speaks_s.min(NEIGHBOURHOOD_S));
    readings
        .chunk_by(|a, b| (rpm[*a] < STANDSTILL_RPM) == (rpm[*b] < STANDSTILL_RPM))
        .map(|run| run[0]..run[run.len() - 1] + 1)
        .filter(|run| rpm[run.start] < STANDSTILL_RPM)
        .filter(|run| time[run.end - 1] - time[run.start] >= least_s)
        .collect()
}

/// Hampel's test on distinct neighbours: a value held over several rows counts once.
fn is_false(time: &[f64], rpm: &[f64], k: usize) -> bool {
    let near_in_time = |j: &usize| (time[*j] - time[k]).abs() <= NEIGHBOURHOOD_S;
    // At the ends of a log the other side has to do for both.
    let before = distinct(rpm, k, 2 * NEIGHBOURS, (0..k).rev().take_while(near_in_time));
    let wanted = NEIGHBOURS.max(2 * NEIGHBOURS - before.len());
    let after = distinct(rpm, k, wanted, (k + 1..rpm.len()).take_while(near_in_time));
    let kept = NEIGHBOURS.max(2 * NEIGHBOURS - after.len()).min(before.len());
    let before = before[..kept].to_vec();
    let mut near: Vec<f64> = before.into_iter().chain(after).collect();
    if near.len() <= NEIGHBOURS {
        return false;
    }
    let median = median(&mut near);
    let mut apart: Vec<f64> = near.iter().map(|v| (v - median).abs()).collect();
    let scale = 1.4826 * self::median(&mut apart);
    let deviation = (rpm[k] - median).abs();
    deviation > PICKUP_SHARE * median && deviation > PICKUP_SIGMAS * scale
}

/// Median of a few values.
fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 { values[middle] } else { 0.5 * (values[middle - 1] + values[middle]) }
}

/// The next readings along `walk`, runs of one value taken once; the run of reading `k` is skipped.
fn distinct(rpm: &[f64], k: usize, wanted: usize, walk: impl Iterator<Item = usize>) -> Vec<f64> {
    let mut found = Vec::with_capacity(wanted);
    let mut last = rpm[k];
    for value in walk.map(|j| rpm[j]).filter(|v| v.is_finite()) {
        if value != last {
            found.push(value);
            last = value;
            if found.len() == wanted {
                break;
            }
        }
    }
    found
}

fn take_out_stuck(time: &[f64], column: &mut [f64], rpm: &[f64], name: &str) -> Option<Remark> {
    // With most values in runs of one, a run of 25 is long; a channel held four rows needs 100.
    let runs = 1 + column.windows(2).filter(|pair| pair[0] != pair[1]).count();
    // A channel that never changes has no usual run: no steps by which to tell what it resolves.
    let usual = if runs == 1 { 1 } else { (column.len() / runs).max(1) };
    let mut stuck = long_runs(column, STUCK_RUNS * usual);
    let turning =
        |run: &Range<usize>| rpm[run.clone()].iter().filter(|n| **n > 0.0).count() * 2 > run.len();
    stuck.retain(|run| time[run.end - 1] - time[run.start] >= STUCK_S && turning(run));
    let count: usize = stuck.iter().map(Range::len).sum();
    for run in &stuck {
        column[run.clone()].fill(f64::NAN);
    }
    let at: Vec<f64> = stuck.iter().map(|run| time[run.start]).collect();
    (count > 0).then(|| {
        let text = format!(
            "{name} repeats one value on {count} samples with the engine running: stuck, left out; look at the sensor and its plug"
        );
        Remark::new("stuck_sensor", count, &at, text)
    })
}

/// Runs of one value over more than `length` samples.
///
/// Such a run holds a sample whose number is a multiple of `length`, and the sample before it: only
/// there is it worth looking.
fn long_runs(column: &[f64], length: usize) -> Vec<Range<usize>> {
    let mut runs = Vec::new();
    let mut at = length;
    while at < column.len() {
        let value = column[at];
        let mut end = at + 1;
        if value.is_finite() && column[at - 1] == value {
            let same = |v: &&f64| **v == value;
            let from = at - column[..at].iter().rev().take_while(same).count();
            end = at + column[at..].iter().take_while(same).count();
            if end - from > length {
                runs.push(from..end);
            }
        }
        at = end.div_ceil(length) * length;
    }
    runs
}

/// Least and greatest reading and the number of readings; none of no reading.
fn range(column: &[f64]) -> Option<(f64, f64, usize)> {
    // Independent lanes, or each comparison would wait for the one before it.
    const LANES: usize = 8;
    let (mut low, mut high) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    let mut count = 0;
    for chunk in column.chunks(LANES) {
        for ((value, low), high) in chunk.iter().zip(&mut low).zip(&mut high) {
            let read = value.is_finite();
            count += usize::from(read);
            *low = if read && *value < *low { *value } else { *low };
            *high = if read && *value > *high { *value } else { *high };
        }
    }
    let low = low.into_iter().fold(f64::INFINITY, f64::min);
    let high = high.into_iter().fold(f64::NEG_INFINITY, f64::max);
    (count > 0).then_some((low, high, count))
}

/// A channel that spends much of its time at its largest or smallest value has hit a rail.
fn take_out_rail(time: &[f64], column: &mut [f64], name: &str) -> Option<Remark> {
    let (low, high, total) = range(column)?;
    let share =
        |extreme: f64| column.iter().filter(|v| **v == extreme).count() as f64 / total as f64;
    let rail = [high, low]
        .into_iter()
        .find(|extreme| extreme.abs() > 2.0 && share(*extreme) > RAIL_SHARE)?;
    if few_values(column) {
        return None;
    }
    let at: Vec<f64> =
        column.iter().zip(time).filter(|(v, _)| **v == rail).map(|(_, t)| *t).collect();
    // Cycles with more than a little of their length at the rail have no average any more, since
    // what is cut off there would bias it.
    for value in column.iter_mut().filter(|v| **v == rail) {
        *value = f64::NAN;
    }
    Some(Remark::of_pressures("saturated", at.len(), &at, |say| {
        format!(
            "{name} stands at {}, the end of its range, on {} of {total} samples: saturated; averages over them are not to be trusted, use a sensor with more range",
            say.pressure(rail, 2),
            at.len()
        )
    }))
}

/// A meter that spends much of its time at its largest reading has hit the end of its range. Its smallest
/// is no such end: with the engine off it rests there.
fn take_out_top(time: &[f64], column: &mut [f64], name: &str) -> Option<Remark> {
    let (low, high, total) = range(column)?;
    // A meter that is connected the other way round hits the lower end.
    let top = if high.abs() >= low.abs() { high } else { low };
    let at: Vec<f64> =
        column.iter().zip(time).filter(|(v, _)| **v == top).map(|(_, t)| *t).collect();
    if at.len() as f64 <= RAIL_SHARE * total as f64 || few_values(column) {
        return None;
    }
    for value in column.iter_mut().filter(|v| **v == top) {
        *value = f64::NAN;
    }
    Some(Remark::of_pressures("saturated", at.len(), &at, |say| {
        format!(
            "{name} stands at {}, the end of its range, on {} of {total} samples: saturated; averages over them are not to be trusted, use a meter with more range",
            say.pressure(top, 3),
            at.len()
        )
    }))
}

fn few_values(column: &[f64]) -> bool {
    let mut seen: Vec<f64> = Vec::with_capacity(RAIL_LEAST_VALUES);
    for value in column.iter().filter(|v| v.is_finite()) {
        if !seen.contains(value) {
            seen.push(*value);
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
                assert_eq!(long_runs(&column, length), runs, "{length} {column:?}");
            }
        }
        assert!(found > 1000, "only {found} runs put to the test");
    }

    #[test]
    fn the_range_is_that_of_the_readings_alone() {
        for column in columns() {
            let mut read: Vec<f64> = column.iter().copied().filter(|v| v.is_finite()).collect();
            read.sort_by(f64::total_cmp);
            let plain = read.first().zip(read.last()).map(|(a, b)| (*a, *b, read.len()));
            assert_eq!(range(&column), plain, "{column:?}");
        }
    }
}
