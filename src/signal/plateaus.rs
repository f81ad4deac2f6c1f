//! Stretches of steady engine speed.
//!
//! A verdict belongs to a steady speed. The cycle-averaged speed is partitioned at its change
//! points, neighbours that do not differ by anything that matters are joined, what is too short or
//! still moving is dropped, and the settling at both ends is trimmed by the data.

use super::cycles::{Cycles, STANDSTILL_RPM};
use super::steadiness::{is_steady, median};
use crate::statistics::changes;
use serde::Serialize;
use std::ops::Range;

/// What a plateau is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// The engine runs at a steady speed.
    Running,
    /// The engine stands still and both sensors see the atmosphere.
    EngineOff,
}

/// A stretch of steady engine speed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plateau {
    /// Running or engine off.
    pub kind: Kind,
    /// First block of the cycle series.
    #[serde(skip)]
    pub first_block: usize,
    /// One past the last block.
    #[serde(skip)]
    pub end_block: usize,
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// First data row, counted from 0.
    pub from_row: u32,
    /// Last data row.
    pub to_row: u32,
    /// Mean speed, rev/min; 0 with the engine off, absent without a speed.
    pub rpm: Option<f64>,
    /// Engine cycles.
    pub cycles: u64,
}

/// A lasting step of speed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// When, s.
    pub at_s: f64,
    /// First data row after the step.
    pub at_row: u32,
    /// Settled speed before, rev/min.
    pub before_rpm: f64,
    /// Settled speed after, rev/min.
    pub after_rpm: f64,
    /// The speed jumped; a slow change is a ramp.
    pub sharp: bool,
}

/// A plateau lasts at least this long, s.
pub const LEAST_S: f64 = 3.0;
/// A plateau holds at least this many readings of the speed.
const LEAST_READINGS: usize = 6;
/// A difference below this does not part two plateaus, and a level counts as reached within it:
/// the smallest idle drop that counts, rev/min (common practice, no published source).
const SAME_RPM: f64 = 20.0;
/// The same as a share of the level, for high speeds and where vacuum stands in for speed.
const SAME_SHARE: f64 = 0.01;
/// A first average within this share of it has arrived; another one is still part of the settling.
const ARRIVED_SHARE: f64 = 0.25;
/// A stretch that is not steady is looked at in halves, down to this length, s.
const LEAST_PART_S: f64 = 8.0;
/// Settling takes no longer than this, s, nor than a fifth of the stretch.
const SETTLING_LIMIT_S: f64 = 10.0;
/// Settling is judged on averages over this time, s.
const SETTLING_S: f64 = 0.7;
/// A last value further off than this many scatters has left the level.
const LEAVING_SCATTERS: f64 = 3.5;
/// A step makes half its way within this time, s, or it is a ramp.
const SHARP_S: f64 = 4.0;
/// Two levels differ when they are this many standard errors apart.
const SAME_SIGMAS: f64 = 3.5;
/// A dip or a flare between two equal levels is bridged up to this length, s.
const BLIP_S: f64 = 5.0;
/// The engine is off for at least this long, s.
const LEAST_OFF_S: f64 = 0.5;
/// A vacuum rests while it is this near its level, kPa: two steps of a converter of 10 bits over 115 kPa.
const REST_KPA: f64 = 0.25;
/// Engine-off vacuum is below this, kPa.
const ATMOSPHERE_KPA: f64 = 4.0;
/// Blocks further apart than this, s, and more than their own length, do not belong together.
const APART_S: f64 = 2.0;

/// A series of levels: one entry for each new reading of the speed.
///
/// A channel slower than the logger repeats its last value; the repeats carry no information and
/// would pass for perfect correlation, so that each run of one value is one entry.
struct Levels {
    value: Vec<f64>,
    /// First block of each entry, and one past the last block as closing entry.
    block: Vec<usize>,
    /// Floor of what parts two levels, in the units of the series.
    floor: f64,
}

impl Levels {
    fn of(series: &[f64], blocks: Range<usize>, floor: f64) -> Self {
        let (mut value, mut block) = (Vec::new(), Vec::new());
        let mut at = blocks.start;
        for run in series[blocks.clone()].chunk_by(|a, b| a == b) {
            value.push(run[0]);
            block.push(at);
            at += run.len();
        }
        block.push(blocks.end);
        Levels { value, block, floor }
    }

    /// The largest difference from `level` that does not matter.
    fn same(&self, level: f64) -> f64 {
        self.floor.max(SAME_SHARE * level.abs())
    }
}

/// A stretch of entries of one level.
#[derive(Debug, Clone)]
struct Stretch {
    entries: Range<usize>,
    mean: f64,
}

/// Finds the plateaus of a cycle series, running and engine off, in the order of time.
///
/// `series` is what tells one engine state from another, block by block: the speed, or the mean
/// vacuum where there is no speed.
pub fn find(cycles: &Cycles, series: &[f64]) -> Vec<Plateau> {
    with_standstills(cycles, series, running(cycles, series))
}

/// The plateaus with the engine running, for which the channels need not be averaged yet where `series` is the
/// speed.
pub fn running(cycles: &Cycles, series: &[f64]) -> Vec<Plateau> {
    let turning = stretches(cycles, series).into_iter().filter(|(_, running)| *running);
    turning.flat_map(|(blocks, _)| running_plateaus(cycles, series, blocks)).collect()
}

/// Adds those with the engine off to the plateaus with the engine running.
pub fn with_standstills(
    cycles: &Cycles,
    series: &[f64],
    mut plateaus: Vec<Plateau>,
) -> Vec<Plateau> {
    for (blocks, _) in stretches(cycles, series).into_iter().filter(|(_, running)| !running) {
        let blocks = at_rest(cycles, blocks);
        if is_engine_off(cycles, &blocks) {
            plateaus.push(plateau(cycles, Kind::EngineOff, blocks));
        }
    }
    plateaus.sort_by_key(|plateau| plateau.first_block);
    plateaus
}

/// Maximal ranges of blocks without a gap in which the engine either runs or stands still.
fn stretches(cycles: &Cycles, series: &[f64]) -> Vec<(Range<usize>, bool)> {
    let state = |k: usize| {
        let standing = match &cycles.rpm {
            Some(rpm) => rpm[k] < STANDSTILL_RPM,
            None => series[k].abs() < ATMOSPHERE_KPA,
        };
        (series[k].is_finite() || standing).then_some(!standing && cycles.cycles[k] > 0.0)
    };
    let mut found: Vec<(Range<usize>, bool)> = Vec::new();
    for k in 0..cycles.len() {
        let Some(running) = state(k) else { continue };
        match found.last_mut() {
            Some((range, same)) if *same == running && joined(cycles, range.end - 1, k) => {
                range.end = k + 1;
            }
            _ => found.push((k..k + 1, running)),
        }
    }
    found
}

fn joined(cycles: &Cycles, before: usize, after: usize) -> bool {
    let gap = cycles.from_s[after] - cycles.to_s[before];
    after == before + 1 && gap <= APART_S.max(cycles.to_s[before] - cycles.from_s[before])
}

/// Where both vacuums stay: a pick-up shows a start late, and a manifold empties slowly after a stop,
/// so that the ends of a standstill hold readings of a running engine.
fn at_rest(cycles: &Cycles, mut blocks: Range<usize>) -> Range<usize> {
    for column in [&cycles.vac1_kpa, &cycles.vac2_kpa].into_iter().flatten() {
        let values = &column[blocks.clone()];
        let read = || values.iter().copied().filter(|v| v.is_finite());
        let level = median(read());
        let scatter = 1.4826 * median(read().map(|v| (v - level).abs()));
        let reach = REST_KPA.max(LEAVING_SCATTERS * scatter);
        let rests = |v: &f64| (v - level).abs() <= reach;
        let Some(first) = values.iter().position(rests) else { continue };
        let last = values.iter().rposition(rests).unwrap_or(first);
        blocks = blocks.start + first..blocks.start + last + 1;
    }
    blocks
}

/// Engine off: standing still, and every vacuum that was measured near zero.
fn is_engine_off(cycles: &Cycles, blocks: &Range<usize>) -> bool {
    let near_zero = |column: &Option<Vec<f64>>| {
        column.as_ref().is_none_or(|v| {
            let read = || v[blocks.clone()].iter().copied().filter(|v| v.is_finite());
            read().next().is_some() && median(read()).abs() < ATMOSPHERE_KPA
        })
    };
    let long = cycles.to_s[blocks.end - 1] - cycles.from_s[blocks.start] >= LEAST_OFF_S;
    long && near_zero(&cycles.vac1_kpa) && near_zero(&cycles.vac2_kpa)
}

fn running_plateaus(cycles: &Cycles, series: &[f64], blocks: Range<usize>) -> Vec<Plateau> {
    let floor = if cycles.rpm.is_some() { SAME_RPM } else { 0.0 };
    let levels = Levels::of(series, blocks, floor);
    let length = |s: &Stretch| {
        cycles.to_s[levels.block[s.entries.end] - 1] - cycles.from_s[levels.block[s.entries.start]]
    };
    let mut parts = cut_at_changes(&levels);
    join_equals(&levels, &mut parts);
    bridge_blips(&levels, &mut parts, &length);
    let mut found = Vec::new();
    // A stretch that moves too much for one plateau may still hold shorter ones: a warming idle.
    let level = |at: Option<usize>| at.and_then(|at| parts.get(at)).map(|part| part.mean);
    let around = |k: usize| [level(k.checked_sub(1)), level(Some(k + 1))];
    let mut left: Vec<(Stretch, [Option<f64>; 2])> =
        parts.iter().enumerate().map(|(k, part)| (part.clone(), around(k))).rev().collect();
    while let Some((part, around)) = left.pop() {
        let Some(settled) = trim(&levels, part.entries.clone(), length(&part)) else { continue };
        let settled = stretch(&levels, settled);
        let (values, span_s) = (&levels.value[settled.entries.clone()], length(&settled));
        let enough = values.len() >= LEAST_READINGS && span_s >= LEAST_S;
        if enough && is_steady(values, span_s, |level| levels.same(level), around) {
            let blocks = levels.block[settled.entries.start]..levels.block[settled.entries.end];
            found.push(plateau(cycles, Kind::Running, blocks));
            // What is cut off for longer than any settling takes is another level, or a ramp to it.
            let ahead = part.entries.start..settled.entries.start;
            let behind = settled.entries.end..part.entries.end;
            let beside = Some(settled.mean);
            for (cut, around) in [(behind, [beside, around[1]]), (ahead, [around[0], beside])] {
                let cut = stretch(&levels, cut);
                if !cut.entries.is_empty() && length(&cut) > SETTLING_LIMIT_S {
                    left.push((cut, around));
                }
            }
        } else if length(&part) >= 2.0 * LEAST_PART_S {
            let middle = part.entries.start + part.entries.len() / 2;
            let first = stretch(&levels, part.entries.start..middle);
            let second = stretch(&levels, middle..part.entries.end);
            let means = [first.mean, second.mean];
            left.push((second, [Some(means[0]), around[1]]));
            left.push((first, [around[0], Some(means[1])]));
        }
    }
    found.sort_by_key(|plateau: &Plateau| plateau.first_block);
    found
}

fn stretch(levels: &Levels, entries: Range<usize>) -> Stretch {
    let values = &levels.value[entries.clone()];
    Stretch { mean: values.iter().sum::<f64>() / values.len().max(1) as f64, entries }
}

fn cut_at_changes(levels: &Levels) -> Vec<Stretch> {
    let mut edges = vec![0];
    edges.extend(changes::changes(&levels.value));
    edges.push(levels.value.len());
    edges.windows(2).map(|w| stretch(levels, w[0]..w[1])).collect()
}

/// Joins neighbours that differ by less than matters, the most alike pair first.
fn join_equals(levels: &Levels, parts: &mut Vec<Stretch>) {
    let scale = changes::noise(&levels.value);
    // Standard deviation of a mean of n values of first-order noise: sigma / ((1 - rho) sqrt n).
    let long_run = scale.sigma / (1.0 - scale.rho).max(0.05);
    while parts.len() > 1 {
        let apart = |pair: &[Stretch]| {
            let error = long_run
                * (1.0 / pair[0].entries.len() as f64 + 1.0 / pair[1].entries.len() as f64).sqrt();
            let difference = (pair[1].mean - pair[0].mean).abs();
            let matters = levels.same(pair[0].mean).max(SAME_SIGMAS * error);
            difference / matters.max(f64::MIN_POSITIVE)
        };
        let nearest = parts
            .windows(2)
            .map(apart)
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .filter(|(_, apart)| *apart < 1.0);
        let Some((at, _)) = nearest else { return };
        let joined = parts[at].entries.start..parts[at + 1].entries.end;
        parts[at] = stretch(levels, joined);
        parts.remove(at + 1);
    }
}

/// Joins equal levels across a short dip or flare.
fn bridge_blips(levels: &Levels, parts: &mut Vec<Stretch>, length: &dyn Fn(&Stretch) -> f64) {
    let mut at = 0;
    while at + 2 < parts.len() {
        let (before, blip, after) = (&parts[at], &parts[at + 1], &parts[at + 2]);
        let equal = (after.mean - before.mean).abs() < levels.same(before.mean);
        let held = length(before).min(length(after));
        if equal && length(blip) <= BLIP_S.min(held) {
            let joined = before.entries.start..after.entries.end;
            parts[at] = stretch(levels, joined);
            parts.drain(at + 1..at + 3);
        } else {
            at += 1;
        }
    }
}

/// Cuts the settling off the start, and the leaving off the end.
///
/// Settled is what stays as near the level of the stretch as its averages over [`SETTLING_S`] do
/// for most of the time. The first average inside is dropped too where part of it is settling.
fn trim(levels: &Levels, entries: Range<usize>, span_s: f64) -> Option<Range<usize>> {
    let values = &levels.value[entries.clone()];
    let width = (SETTLING_S * values.len() as f64 / span_s.max(SETTLING_S)).floor() as usize;
    let width = width.max(1);
    if values.len() < 4 * width {
        return None;
    }
    let averages: Vec<f64> =
        values.chunks_exact(width).map(|chunk| chunk.iter().sum::<f64>() / width as f64).collect();
    let (level, reach, end) = settled_end(levels, &averages)?;
    let settled = |v: &f64| (v - level).abs() <= reach;
    let window = (0.2 * span_s).min(SETTLING_LIMIT_S) / span_s * averages.len() as f64;
    let window = (window as usize).min(averages.len());
    let outside = averages[..window].iter().rposition(|v| !settled(v));
    let arrived = (averages[0] - level).abs() <= ARRIVED_SHARE * reach;
    let first = match outside {
        None if arrived || entries.start == 0 => 0,
        None => width,
        Some(last_outside) => (last_outside + 2) * width,
    };
    let mut last = if end == averages.len() { values.len() } else { end * width };
    // The averages end before the last values, and the last of them may hold a few of the leaving.
    let spread = 1.4826 * median(values[..last].iter().map(|v| (v - level).abs()));
    let gone = |v: f64| (v - level).abs() > (LEAVING_SCATTERS * spread).max(levels.same(level));
    while last > first && gone(values[last - 1]) {
        last -= 1;
    }
    (first < last).then(|| entries.start + first..entries.start + last)
}

/// Level of a series of averages, how far a settled one may be from it, and the end of the last
/// settled one.
///
/// A throttle that leaves the level slowly takes both with it: what is left is judged again until
/// nothing more goes.
fn settled_end(levels: &Levels, averages: &[f64]) -> Option<(f64, f64, usize)> {
    let mut end = averages.len();
    loop {
        let late = &averages[end / 4..end];
        let level = median(late.iter().copied());
        let scatter = 1.4826 * median(late.iter().map(|v| (v - level).abs()));
        let reach = (2.5 * scatter).max(levels.same(level));
        let settled = averages[..end].iter().rposition(|v| (v - level).abs() <= reach)? + 1;
        if settled == end {
            return Some((level, reach, end));
        }
        end = settled;
    }
}

fn plateau(cycles: &Cycles, kind: Kind, blocks: Range<usize>) -> Plateau {
    let (first, last) = (blocks.start, blocks.end - 1);
    let (from_s, to_s) = (cycles.from_s[first], cycles.to_s[last]);
    let turned: f64 = cycles.cycles[blocks.clone()].iter().sum();
    let rpm = match (kind, &cycles.rpm) {
        (Kind::EngineOff, _) => Some(0.0),
        (Kind::Running, Some(rpm)) => Some(time_weighted(cycles, rpm, &blocks)),
        (Kind::Running, None) => None,
    };
    Plateau {
        kind,
        first_block: blocks.start,
        end_block: blocks.end,
        from_s,
        to_s,
        from_row: cycles.sample[first],
        to_row: cycles.sample.get(blocks.end).map_or(u32::MAX, |next| next.saturating_sub(1)),
        rpm,
        cycles: turned.round() as u64,
    }
}

fn time_weighted(cycles: &Cycles, column: &[f64], blocks: &Range<usize>) -> f64 {
    let (mut sum, mut total) = (0.0, 0.0);
    for k in blocks.clone().filter(|k| column[*k].is_finite()) {
        let width = cycles.to_s[k] - cycles.from_s[k];
        sum += column[k] * width;
        total += width;
    }
    sum / total
}

/// Lasting steps: neighbouring running plateaus whose settled speeds differ.
pub fn steps(cycles: &Cycles, plateaus: &[Plateau]) -> Vec<Step> {
    let running: Vec<&Plateau> = plateaus.iter().filter(|p| p.kind == Kind::Running).collect();
    running
        .windows(2)
        .filter_map(|pair| {
            let (before_rpm, after_rpm) = (pair[0].rpm?, pair[1].rpm?);
            let lasting = (after_rpm - before_rpm).abs() > SAME_RPM.max(SAME_SHARE * before_rpm);
            let start = departure(cycles, pair[0], pair[1], before_rpm, after_rpm)?;
            lasting.then(|| Step {
                at_s: cycles.from_s[start],
                at_row: cycles.sample[start],
                before_rpm,
                after_rpm,
                sharp: is_sharp(cycles, start, before_rpm, after_rpm),
            })
        })
        .collect()
}

/// The block at which the speed leaves the old level for good: the last one on the old side of
/// half-way is found first, and from there the way back to the old level.
fn departure(
    cycles: &Cycles,
    before: &Plateau,
    after: &Plateau,
    from_rpm: f64,
    to_rpm: f64,
) -> Option<usize> {
    let rpm = cycles.rpm.as_ref()?;
    let progress = |k: usize| (rpm[k] - from_rpm) / (to_rpm - from_rpm);
    let matters = SAME_RPM.max(SAME_SHARE * from_rpm);
    let left = (matters / (to_rpm - from_rpm).abs()).min(0.25);
    let crossing = (before.end_block..after.first_block)
        .rev()
        .find(|k| progress(*k) < 0.5)
        .map_or(before.end_block, |k| k + 1);
    let on_the_way = |k: &usize| progress(*k) > left;
    let start = (before.end_block..crossing).rev().take_while(on_the_way).last();
    Some(start.unwrap_or(crossing))
}

/// Half the way is made within [`SHARP_S`], wherever on the way: where a slow change leaves the
/// old level is lost in the scatter.
fn is_sharp(cycles: &Cycles, start: usize, from_rpm: f64, to_rpm: f64) -> bool {
    let Some(rpm) = &cycles.rpm else { return false };
    let progress = |k: usize| ((rpm[k] - from_rpm) / (to_rpm - from_rpm)).clamp(0.0, 1.0);
    let Some(half) = (start..cycles.len()).find(|k| progress(*k) >= 0.5) else { return false };
    let soon = |from: usize, to: usize| cycles.from_s[to] - cycles.to_s[from] <= SHARP_S;
    (0..half).rev().take_while(|before| soon(*before, half)).any(|before| {
        let gained = |after: usize| progress(after) - progress(before) >= 0.5;
        (half..cycles.len()).take_while(|after| soon(before, *after)).any(gained)
    })
}
