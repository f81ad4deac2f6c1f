//! Averages over whole engine cycles.
//!
//! The vacuum at a carburettor swings by kilopascals with every intake stroke. The engine phase
//! `phi = integral n/120 dt` (a cycle is two turns) is cut at whole cycles, and every channel is
//! averaged over each cycle: time-weighted, by the trapezoid rule, with the ends interpolated.
//! What remains moves only when the engine does.

use super::links::Outages;
use crate::cores::{MANY_SAMPLES, both};
use crate::sample::{Column, Mark, Track};

/// Averages over consecutive blocks of whole engine cycles: the series of all statistics.
///
/// All vectors have one entry a block. A channel the log does not have is `None`; a block in which
/// a channel had no usable reading holds NaN.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Cycles {
    /// Start of each block, s.
    pub from_s: Vec<f64>,
    /// End of each block, s.
    pub to_s: Vec<f64>,
    /// Index of the first sample at or after the start of each block.
    pub sample: Vec<u32>,
    /// Engine cycles in each block (0 where the engine stood still).
    pub cycles: Vec<f64>,
    /// Engine speed, rev/min; 0 where the engine stood still.
    pub rpm: Option<Vec<f64>>,
    /// Vacuum of side 1, kPa.
    pub vac1_kpa: Option<Vec<f64>>,
    /// Vacuum of side 2, kPa.
    pub vac2_kpa: Option<Vec<f64>>,
    /// Crankcase below atmosphere, kPa.
    pub crank_kpa: Option<Vec<f64>>,
}

impl Cycles {
    /// Number of blocks.
    pub fn len(&self) -> usize {
        self.from_s.len()
    }

    /// True when there is no block.
    pub fn is_empty(&self) -> bool {
        self.from_s.is_empty()
    }

    /// Middle of a block, s.
    pub fn middle_s(&self, block: usize) -> f64 {
        0.5 * (self.from_s[block] + self.to_s[block])
    }
}

/// Below this speed, rev/min, the engine stands still or is being cranked.
pub const STANDSTILL_RPM: f64 = 60.0;
/// From this many samples a cycle on, a block is one cycle.
const SAMPLES_A_CYCLE: f64 = 4.0;
/// Otherwise as many whole cycles as hold this many samples.
const SAMPLES_A_BLOCK: f64 = 8.0;
/// Samples further apart than this many sampling intervals have a gap between them.
const GAP_INTERVALS: f64 = 6.0;
/// A block needs readings over this share of its length.
const LEAST_COVER: f64 = 0.9;

/// Cuts a track into blocks of whole cycles and averages every channel over them.
///
/// `speeds` begins a way along the log: called with one stretch of samples after the other, the number of
/// the first and the times of all, s, it fills in the engine speeds, rev/min (NaN: no reading), so that a
/// long log needs no column of its own for them. `interval_s` is the usual time between samples;
/// `with_speed` says whether the speed was measured at all. Where there is less than one sample a
/// cycle no average over a cycle exists, and every sample is a block of its own. Where the engine
/// stands still, blocks have the length of [`SAMPLES_A_BLOCK`] samples and no cycles.
pub fn cut<S: FnMut(usize, &[f64], &mut [f64])>(
    track: &Track,
    speeds: impl Fn() -> S,
    interval_s: f64,
    with_speed: bool,
) -> Cycles {
    let fastest_rpm = fastest(track.rpm.as_ref());
    let (time_s, marks) = (&track.time_s, &track.marks);
    match blocks(time_s, marks, &speeds, fastest_rpm, interval_s, with_speed) {
        Some(blocks) => averaged_and(track, blocks, |_| ()).0,
        None => one_a_sample(track, speeds(), interval_s, with_speed),
    }
}

/// The fastest reading of a pick-up, rev/min; absent where there is none.
pub fn fastest(rpm: Option<&Column>) -> Option<f64> {
    rpm.and_then(Column::range).map(|(_, fastest)| fastest)
}

/// The first half of [`cut`]: blocks whose channels are still to be averaged, for which no channel is needed; none
/// where there is less than one sample a cycle. Where no speed is above `fastest_rpm` that may be known at once.
pub fn blocks<S: FnMut(usize, &[f64], &mut [f64])>(
    time_s: &Column,
    marks: &[Mark],
    speeds: impl Fn() -> S,
    fastest_rpm: Option<f64>,
    interval_s: f64,
    with_speed: bool,
) -> Option<Cycles> {
    let may_be_slow = fastest_rpm.is_none_or(|fastest| fastest * interval_s > 120.0);
    if may_be_slow && slower_than_the_cycles(time_s, speeds(), interval_s) {
        return None;
    }
    let mut cutter = Cutter {
        interval_s,
        gap_s: GAP_INTERVALS * interval_s,
        outages: Outages::of(marks),
        block: None,
        sample: 0,
        before: (f64::NAN, f64::NAN),
        done: Cycles { rpm: with_speed.then(Vec::new), ..Cycles::default() },
    };
    along(time_s, speeds(), |times, speeds| cutter.go_along(times, speeds));
    Some(cutter.done)
}

/// The second half of [`cut`]: the channels averaged, and meanwhile something done with the blocks on another core.
pub fn averaged_and<R: Send>(
    track: &Track,
    mut blocks: Cycles,
    meanwhile: impl FnOnce(&Cycles) -> R + Send,
) -> (Cycles, R) {
    let averages = |column: &Option<Column>| {
        column.as_ref().map(|column| averages(&blocks, &track.time_s, column, |_, value| value))
    };
    let channels = || [&track.vac1_kpa, &track.vac2_kpa, &track.crank_kpa].map(averages);
    let much = track.len() >= MANY_SAMPLES;
    let (done, channels) = both(much, || meanwhile(&blocks), channels);
    [blocks.vac1_kpa, blocks.vac2_kpa, blocks.crank_kpa] = channels;
    (blocks, done)
}

/// Shows all samples, stretch by stretch: their times and their speeds.
fn along(
    time_s: &Column,
    mut speeds: impl FnMut(usize, &[f64], &mut [f64]),
    mut seen: impl FnMut(&[f64], &[f64]),
) {
    let (mut clock, mut own, mut at) = (time_s.cursor(), Vec::new(), 0);
    while at < time_s.len() {
        let times = clock.rest_of_piece(at);
        own.resize(times.len(), f64::NAN);
        speeds(at, times, &mut own);
        seen(times, &own);
        at += times.len();
    }
}

/// True when the usual running speed leaves less than one sample a cycle.
fn slower_than_the_cycles(
    time_s: &Column,
    speeds: impl FnMut(usize, &[f64], &mut [f64]),
    interval_s: f64,
) -> bool {
    let (mut sum, mut count) = (0.0, 0.0);
    along(time_s, speeds, |_, speeds| {
        for n in speeds.iter().filter(|n| **n >= STANDSTILL_RPM) {
            sum += n;
            count += 1.0;
        }
    });
    count > 0.0 && sum / count * interval_s > 120.0
}

/// Every sample as a block that reaches half-way to its neighbours: [`cut`] where there is less than one a cycle.
pub fn one_a_sample(
    track: &Track,
    speeds: impl FnMut(usize, &[f64], &mut [f64]),
    interval_s: f64,
    with_speed: bool,
) -> Cycles {
    let mut speed = Vec::with_capacity(track.len());
    along(&track.time_s, speeds, |_, own| speed.extend_from_slice(own));
    // A slow log: its times take little memory.
    let t = track.time_s.to_vec();
    let outages = Outages::of(&track.marks);
    let reach = 0.5 * GAP_INTERVALS * interval_s;
    let edge = |k: usize, other: Option<usize>, sign: f64| {
        // The log says nothing of the time before its first sample and after its last.
        let half = other.map_or(0.0, |j| 0.5 * (t[j] - t[k]).abs());
        let parted = other.is_some_and(|j| outages.part(t[k.min(j)], t[k.max(j)]));
        t[k] + sign * half.min(if parted { 0.5 * interval_s } else { reach })
    };
    let last = t.len().saturating_sub(1);
    let from_s: Vec<f64> = (0..t.len()).map(|k| edge(k, k.checked_sub(1), -1.0)).collect();
    let to_s: Vec<f64> = (0..t.len()).map(|k| edge(k, (k < last).then_some(k + 1), 1.0)).collect();
    let running = |k: usize| speed[k] >= STANDSTILL_RPM;
    let cycles = (0..t.len())
        .map(|k| if running(k) { speed[k] / 120.0 * (to_s[k] - from_s[k]) } else { 0.0 })
        .collect();
    let rpm = speed.iter().map(|n| if *n >= STANDSTILL_RPM { *n } else { 0.0 }).collect();
    Cycles {
        from_s,
        to_s,
        sample: (0..t.len() as u32).collect(),
        cycles,
        rpm: with_speed.then_some(rpm),
        vac1_kpa: track.vac1_kpa.as_ref().map(Column::to_vec),
        vac2_kpa: track.vac2_kpa.as_ref().map(Column::to_vec),
        crank_kpa: track.crank_kpa.as_ref().map(Column::to_vec),
    }
}

/// Cuts a log into blocks, sample by sample.
struct Cutter {
    interval_s: f64,
    /// What is longer parts two samples, s.
    gap_s: f64,
    outages: Outages,
    block: Option<Block>,
    /// The number of the next sample, and time and speed of the one before it.
    sample: usize,
    before: (f64, f64),
    done: Cycles,
}

impl Cutter {
    /// Goes on to the samples that follow.
    fn go_along(&mut self, times: &[f64], speeds: &[f64]) {
        let mut at = 0;
        while at < times.len() {
            self.go_to(times[at], speeds[at]);
            at += 1 + self.fill_on(&times[at..], &speeds[at..]);
        }
    }

    /// Goes on behind the first of these samples, which is the last so far, as long as that does nothing but fill
    /// the open block; returns by how many. Few samples end a block: the others must cost little.
    fn fill_on(&mut self, times: &[f64], speeds: &[f64]) -> usize {
        let Some(mut open) = self.block.take_if(|_| self.outages.is_empty()) else { return 0 };
        let mut filled = 0;
        for (t, n) in times.windows(2).zip(speeds.windows(2)) {
            let seconds = t[1] - t[0];
            let (running, turning) = turning(n[0], n[1]);
            let goes_on = open.running == running && seconds <= self.gap_s;
            if !(goes_on && open.is_far(turning, seconds)) {
                break;
            }
            open.fill(turning, seconds);
            filled += 1;
        }
        self.sample += filled;
        self.before = (times[filled], speeds[filled]);
        self.block = Some(open);
        filled
    }

    /// Goes on to the next sample.
    fn go_to(&mut self, t1: f64, n1: f64) {
        let (t0, n0) = std::mem::replace(&mut self.before, (t1, n1));
        self.sample += 1;
        if self.sample == 1 {
            return;
        }
        let parted = t1 - t0 > self.gap_s || self.outages.part(t0, t1);
        let (running, turning) = turning(n0, n1);
        self.block = self.block.take().filter(|open| open.running == running && !parted);
        if parted {
            return;
        }
        let mut at = t0;
        while at < t1 {
            let open = self.block.get_or_insert_with(|| {
                let first = if at == t0 { self.sample - 2 } else { self.sample - 1 };
                Block::open(at, first, running, length(running, turning, self.interval_s))
            });
            let whole = open.length_left(turning, t1 - at);
            let to = whole.map_or(t1, |needed| at + needed);
            open.fill(turning, to - at);
            at = to;
            if whole.is_some()
                && let Some(full) = self.block.take()
            {
                full.close(at, &mut self.done);
            }
        }
    }
}

/// Averages of what a column says over the blocks of a log, by the trapezoid rule with the ends
/// interpolated; NaN where readings cover too little of a block.
///
/// `value` makes of a time, s, and a reading what is averaged.
pub fn averages(
    cycles: &Cycles,
    time_s: &Column,
    column: &Column,
    value: impl Fn(f64, f64) -> f64,
) -> Vec<f64> {
    let (mut clock, mut readings) = (time_s.cursor(), column.cursor());
    let samples = time_s.len();
    let mut average = |block: usize| {
        let (from, to) = (cycles.from_s[block], cycles.to_s[block]);
        let mut at = (cycles.sample[block] as usize).saturating_sub(1);
        let mut mean = Mean { from, to, integral: 0.0, covered: 0.0 };
        let mut t0 = clock.at(at);
        let mut before = value(t0, readings.at(at));
        at += 1;
        while at < samples && t0 < to {
            // A block lies in one piece of a column, or in two.
            let (times, values) = (clock.rest_of_piece(at), readings.rest_of_piece(at));
            at += times.len().min(values.len());
            for (t1, reading) in times.iter().zip(values) {
                if t0 >= to {
                    break;
                }
                let after = value(*t1, *reading);
                mean.add((t0, before), (*t1, after));
                (t0, before) = (*t1, after);
            }
        }
        mean.value()
    };
    (0..cycles.len()).map(&mut average).collect()
}

/// The mean of straight lines between readings over a block, while it is taken.
struct Mean {
    from: f64,
    to: f64,
    integral: f64,
    covered: f64,
}

impl Mean {
    /// Adds the line between two readings, each with its time, as far as it lies in the block.
    #[inline]
    fn add(&mut self, (t0, before): (f64, f64), (t1, after): (f64, f64)) {
        // The mean of a straight line is its value in the middle.
        let (width, middle) = if t0 >= self.from && t1 <= self.to {
            (t1 - t0, 0.5 * (before + after))
        } else {
            let (begin, end) = (t0.max(self.from), t1.min(self.to));
            let share = (0.5 * (begin + end) - t0) / (t1 - t0);
            ((end - begin).max(0.0), before + share * (after - before))
        };
        if middle.is_finite() {
            self.integral += middle * width;
            self.covered += width;
        }
    }

    fn value(&self) -> f64 {
        let whole = self.covered > 0.0 && self.covered >= LEAST_COVER * (self.to - self.from);
        if whole { self.integral / self.covered } else { f64::NAN }
    }
}

/// Whether the engine runs between two samples, by their speeds, and its cycles a second.
#[inline]
fn turning(n0: f64, n1: f64) -> (bool, f64) {
    let running = n0 >= STANDSTILL_RPM && n1 >= STANDSTILL_RPM;
    (running, if running { (n0 + n1) * (0.5 / 120.0) } else { 0.0 })
}

/// Cycles (running) or seconds (standing still) that a block opened here shall hold.
fn length(running: bool, turning: f64, interval_s: f64) -> f64 {
    if !running {
        return SAMPLES_A_BLOCK * interval_s;
    }
    let samples_a_cycle = 1.0 / (turning * interval_s);
    if samples_a_cycle >= SAMPLES_A_CYCLE {
        1.0
    } else {
        (SAMPLES_A_BLOCK / samples_a_cycle).ceil()
    }
}

/// A block being filled.
struct Block {
    from: f64,
    sample: u32,
    running: bool,
    length: f64,
    phase: f64,
}

impl Block {
    fn open(from: f64, sample: usize, running: bool, length: f64) -> Self {
        Block { from, sample: sample as u32, running, length, phase: 0.0 }
    }

    /// What fills the block in a second.
    fn rate(&self, turning: f64) -> f64 {
        if self.running { turning } else { 1.0 }
    }

    /// True when the block cannot be full within `available` seconds: [`Block::length_left`] without
    /// its division, by a margin that is wider than any rounding.
    #[inline]
    fn is_far(&self, turning: f64, available: f64) -> bool {
        self.length - self.phase > self.rate(turning) * available * (1.0 + 1e-6)
    }

    /// Seconds until the block is full, when that comes within `available` seconds.
    fn length_left(&self, turning: f64, available: f64) -> Option<f64> {
        let needed = (self.length - self.phase) / self.rate(turning);
        // Rounding must not leave a sliver of a block behind.
        (needed <= available * (1.0 + 1e-12)).then_some(needed.min(available))
    }

    /// Fills it for some seconds.
    #[inline]
    fn fill(&mut self, turning: f64, seconds: f64) {
        self.phase += self.rate(turning) * seconds;
    }

    /// Puts it with the blocks that are done.
    fn close(self, to: f64, done: &mut Cycles) {
        let cycles = if self.running { self.length } else { 0.0 };
        done.from_s.push(self.from);
        done.to_s.push(to);
        done.sample.push(self.sample);
        done.cycles.push(cycles);
        if let Some(rpm) = &mut done.rpm {
            rpm.push(120.0 * cycles / (to - self.from));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};

    /// Integral from the start of the log to `to_s` of straight lines between samples.
    fn integral(time: &[f64], column: &[f64], to_s: f64) -> f64 {
        let mut sum = 0.0;
        for k in 1..time.len() {
            let end = time[k].min(to_s);
            if end > time[k - 1] {
                let slope = (column[k] - column[k - 1]) / (time[k] - time[k - 1]);
                let at_end = column[k - 1] + slope * (end - time[k - 1]);
                sum += 0.5 * (column[k - 1] + at_end) * (end - time[k - 1]);
            }
        }
        sum
    }

    #[test]
    fn blocks_hold_whole_cycles_and_the_trapezoid_mean_of_every_channel() {
        for (rate, seed) in [(30.0, 1), (100.0, 2), (1000.0, 3)] {
            let mut random = rand_pcg::Pcg64::seed_from_u64(seed);
            let mut draw =
                |middle: f64, reach: f64| middle + reach * random.random_range(-1.0..1.0);
            let time: Vec<f64> =
                (0..2000).map(|k| (f64::from(k) + draw(0.0, 0.3)) / rate).collect();
            let rpm: Vec<f64> = (0..2000).map(|_| draw(900.0, 50.0)).collect();
            let vac1: Vec<f64> = (0..2000).map(|_| draw(55.0, 6.0)).collect();
            let crank: Vec<f64> = (0..2000).map(|_| draw(0.2, 0.1)).collect();
            let track = Track {
                time_s: time.clone().into(),
                vac1_kpa: Some(vac1.clone().into()),
                crank_kpa: Some(crank.clone().into()),
                ..Track::default()
            };
            let cycles = cut(
                &track,
                || {
                    |at: usize, _: &[f64], own: &mut [f64]| {
                        own.copy_from_slice(&rpm[at..][..own.len()])
                    }
                },
                1.0 / rate,
                true,
            );
            assert!(cycles.len() > 10, "{rate} Hz: {} blocks", cycles.len());
            let [afterwards, crank_after] = [&track.vac1_kpa, &track.crank_kpa].map(|column| {
                averages(&cycles, &track.time_s, column.as_ref().unwrap(), |_, value| value)
            });
            for k in 0..cycles.len() {
                let (from, to) = (cycles.from_s[k], cycles.to_s[k]);
                let over = |column| integral(&time, column, to) - integral(&time, column, from);
                for (column, found, again) in [
                    (&vac1, &cycles.vac1_kpa, &afterwards),
                    (&crank, &cycles.crank_kpa, &crank_after),
                ] {
                    let found = found.as_ref().unwrap()[k];
                    assert!((again[k] - found).abs() < 1e-9, "{rate} Hz, {k}: {}", again[k]);
                    assert!((found - over(column) / (to - from)).abs() < 1e-8, "{rate} Hz, {k}");
                }
                // The phase takes the mean speed of two samples between them.
                let steps: Vec<f64> =
                    rpm.windows(2).map(|pair| 0.5 * (pair[0] + pair[1])).collect();
                let turned: f64 = (0..steps.len())
                    .map(|j| (time[j + 1].min(to) - time[j].max(from)).max(0.0) * steps[j] / 120.0)
                    .sum();
                assert!((turned - cycles.cycles[k]).abs() < 1e-9, "{rate} Hz, {k}: {turned}");
                assert!(turned.round() >= 1.0 && (turned - turned.round()).abs() < 1e-9);
            }
        }
    }
}
