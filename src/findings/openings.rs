//! When the filler was open: from marks, or from the data alone.

use super::breather::TimesFrom;
use crate::sample::Meaning;
use crate::signal::Signal;
use crate::signal::cycles::{Cycles, STANDSTILL_RPM};
use crate::statistics::{changes, summary};
use std::ops::Range;

/// Shortest and longest time that a cap stays off in a test, s.
const OFF_S: std::ops::RangeInclusive<f64> = 3.0..=60.0;
/// Idle needed before the cap comes off and after it is back on, s.
const IDLE_S: f64 = 4.0;
/// The idle comes back to within this share of the drop.
const COMES_BACK: f64 = 0.35;
/// A mark and an edge in the data this near each other are one event, s.
const FORGOTTEN_S: f64 = 4.0;
/// Speeds above this are no idle, rev/min (common practice, no published source).
const IDLE_LIMIT_RPM: f64 = 1300.0;
/// No cap makes an idle fall by more than this share and lets it live.
const MOST_DROP: f64 = 0.4;
/// A drop found in the data must be this share of the idle at the least.
const LEAST_DROP: f64 = 0.012;
/// Manifold vacuum must fall by this with the drop, kPa.
const LEAST_VACUUM_KPA: f64 = 0.15;

/// One opening of the filler.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Times {
    /// Cap off, s.
    pub off_s: f64,
    /// Cap on again, s.
    pub on_s: Option<f64>,
    /// Where the times come from.
    pub from: TimesFrom,
}

/// Why there is no opening.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoOpening {
    /// The log holds no engine speed.
    NoSpeed,
    /// Steps, but none that comes back: a fan, a lamp or a drift does that.
    OnlyUnreturned,
    /// No step at all.
    None,
}

/// The missing cap test in words.
pub fn sentence(why: NoOpening) -> String {
    let how = "Idle 15 s, cap off 10 s, cap on 10 s, two or three times, with the marks 'cap off' and 'cap on'.";
    match why {
        NoOpening::NoSpeed => format!(
            "Not settled: the log holds no engine speed, and its vacuum shows no ripple to take it from. Connect the pick-up, or log 100 rows a second and more. {how}"
        ),
        NoOpening::OnlyUnreturned => format!(
            "Not settled: no cap test found. The speed steps but does not come back, which a fan, a lamp or a drift does too. {how}"
        ),
        NoOpening::None => {
            format!("Not settled: no cap test found, and the log has no 'cap off' mark. {how}")
        }
    }
}

/// Finds the openings, in the order of time.
pub fn find(signal: &Signal) -> Result<Vec<Times>, NoOpening> {
    let Some(rpm) = &signal.cycles.rpm else { return Err(NoOpening::NoSpeed) };
    let mut seen: Vec<Times> = running(&signal.cycles, rpm)
        .into_iter()
        .filter(|run| can_show(&signal.cycles, run))
        .flat_map(|run| returning_drops(&Bins::of(&signal.cycles, rpm, run)))
        .collect();
    let mut marked = from_marks(signal);
    if marked.is_empty() {
        return match (seen.is_empty(), signal.steps.is_empty()) {
            (false, _) => Ok(seen),
            (true, false) => Err(NoOpening::OnlyUnreturned),
            (true, true) => Err(NoOpening::None),
        };
    }
    // Who marked the cap coming off and forgot it going on: the data may know.
    for opening in marked.iter_mut().filter(|opening| opening.on_s.is_none()) {
        let near = |t: &Times| (t.off_s - opening.off_s).abs() <= FORGOTTEN_S;
        if let Some(at) = seen.iter().position(near) {
            opening.on_s = seen.swap_remove(at).on_s;
        }
    }
    Ok(marked)
}

fn from_marks(signal: &Signal) -> Vec<Times> {
    let mut found: Vec<Times> = Vec::new();
    for mark in &signal.track.marks {
        match mark.meaning {
            Meaning::CapOff => {
                found.push(Times { off_s: mark.at.0, on_s: None, from: TimesFrom::Mark });
            }
            Meaning::CapOn => {
                if let Some(last) = found.last_mut()
                    && last.on_s.is_none()
                {
                    last.on_s = Some(mark.at.0);
                }
            }
            _ => {}
        }
    }
    found
}

/// Unbroken runs of blocks with the engine running.
pub(super) fn running(cycles: &Cycles, rpm: &[f64]) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for k in (0..rpm.len()).filter(|k| rpm[*k] >= STANDSTILL_RPM) {
        match runs.last_mut() {
            Some(run) if run.end == k && cycles.from_s[k] - cycles.to_s[k - 1] < 1.0 => {
                run.end = k + 1;
            }
            _ => runs.push(k..k + 1),
        }
    }
    runs
}

/// Speed and vacuum in bins of a second: short enough for an edge, long enough to calm a hunt.
struct Bins {
    from_s: f64,
    rpm: Vec<f64>,
    vacuum: Vec<f64>,
}

/// Length of a bin, s.
const BIN_S: f64 = 1.0;
/// Bins of baseline on each side of an opening.
const BASE: usize = IDLE_S as usize;
/// Bins after an edge in which the engine settles.
const SETTLE: usize = 2;
/// While the cap is off the speed stays below the idle by this share of the drop.
const STAYS_LOW: f64 = 0.4;
/// A drop stands out when it is this many times the scatter of baselines.
const STANDS_OUT: f64 = 4.0;

/// Whether an opening can show in blocks of this length: not where they are longer than any opening on average, as
/// with a clock that jumps by ages, whose bins no memory holds.
fn can_show(cycles: &Cycles, run: &Range<usize>) -> bool {
    cycles.to_s[run.end - 1] - cycles.from_s[run.start] <= OFF_S.end() * run.len() as f64
}

impl Bins {
    fn of(cycles: &Cycles, rpm: &[f64], run: Range<usize>) -> Self {
        let from_s = cycles.from_s[run.start];
        let count = ((cycles.to_s[run.end - 1] - from_s) / BIN_S) as usize;
        let mut sums = vec![[0.0; 4]; count];
        for k in run {
            let Some(bin) = sums.get_mut(((cycles.middle_s(k) - from_s) / BIN_S) as usize) else {
                continue;
            };
            bin[0] += rpm[k];
            bin[1] += 1.0;
            for side in [&cycles.vac1_kpa, &cycles.vac2_kpa].into_iter().flatten() {
                if side[k].is_finite() {
                    bin[2] += side[k];
                    bin[3] += 1.0;
                }
            }
        }
        let (mut speed, mut vacuum) = (Vec::with_capacity(count), Vec::with_capacity(count));
        for [rpm, n, vac, m] in sums {
            // A bin without a block of its own (slow logger) takes its neighbour's values.
            speed.push(if n > 0.0 { rpm / n } else { speed.last().copied().unwrap_or(f64::NAN) });
            vacuum.push(if m > 0.0 { vac / m } else { vacuum.last().copied().unwrap_or(f64::NAN) });
        }
        Bins { from_s, rpm: speed, vacuum }
    }

    fn time(&self, bin: usize) -> f64 {
        self.from_s + bin as f64 * BIN_S
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Scatter of a mean of [`BASE`] bins, from differences of neighbours so that steps do not inflate it.
fn scatter(values: &[f64]) -> f64 {
    summary::sd_of_neighbours(values) / (BASE as f64).sqrt()
}

/// A drop that comes back, in bins.
struct Candidate {
    off: usize,
    on: usize,
    weight: f64,
}

/// Drops that come back, with the manifold vacuum falling and rising in step.
///
/// Unmetered air weakens the mixture at an unchanged throttle: the speed falls and so does the
/// vacuum. A load that an idle control answers, or a throttle that moves, moves them apart. Edges
/// are proposed freely by change points of the binned speed; what makes a pair of them an opening
/// is the size, the return and the vacuum.
fn returning_drops(bins: &Bins) -> Vec<Times> {
    let sigma = changes::noise(&bins.rpm).sigma;
    if bins.rpm.iter().any(|v| !v.is_finite()) || sigma <= 0.0 {
        return Vec::new();
    }
    let penalty = 2.0 * (bins.rpm.len() as f64).ln() * sigma * sigma;
    let edges = changes::partition(&bins.rpm, penalty);
    let limits = (STANDS_OUT * scatter(&bins.rpm), STANDS_OUT * scatter(&bins.vacuum));
    let mut candidates: Vec<Candidate> = Vec::new();
    for (i, off) in edges.iter().enumerate() {
        let pairs = edges[i + 1..].iter().filter_map(|on| candidate(bins, *off, *on, limits));
        candidates.extend(pairs);
    }
    candidates.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let mut chosen: Vec<Candidate> = Vec::new();
    for candidate in candidates {
        let apart = |c: &Candidate| candidate.on + BASE <= c.off || c.on + BASE <= candidate.off;
        if chosen.iter().all(apart) {
            chosen.push(candidate);
        }
    }
    chosen.sort_by_key(|c| c.off);
    let times = |c: Candidate| Times {
        off_s: bins.time(c.off),
        on_s: Some(bins.time(c.on)),
        from: TimesFrom::Data,
    };
    chosen.into_iter().map(times).collect()
}

/// Judges a pair of edges.
fn candidate(bins: &Bins, off: usize, on: usize, limits: (f64, f64)) -> Option<Candidate> {
    let inside = (off + SETTLE).min(on - 1)..on;
    if !OFF_S.contains(&((on - off) as f64 * BIN_S)) || off < BASE {
        return None;
    }
    let back = on + SETTLE..on + SETTLE + BASE;
    let levels = |column: &[f64]| {
        Some([
            mean(&column[off - BASE..off]),
            mean(&column[inside.clone()]),
            mean(column.get(back.clone())?),
        ])
    };
    let [before, open, after] = levels(&bins.rpm)?;
    let drop = 0.5 * (before + after) - open;
    let returns = (after - before).abs() <= COMES_BACK * drop;
    let vacuum_falls = bins.vacuum.iter().all(|v| v.is_nan()) || {
        let [before, open, after] = levels(&bins.vacuum)?;
        0.5 * (before + after) - open >= LEAST_VACUUM_KPA.max(limits.1)
    };
    let stays_low = bins.rpm[inside.clone()]
        .windows(SETTLE)
        .all(|pair| mean(pair) < 0.5 * (before + after) - STAYS_LOW * drop);
    let is_idle = before <= IDLE_LIMIT_RPM && drop <= MOST_DROP * before;
    let is_one = is_idle
        && drop >= (LEAST_DROP * before).max(limits.0)
        && returns
        && stays_low
        && vacuum_falls;
    is_one.then(|| Candidate { off, on, weight: drop * ((on - off) as f64).sqrt() })
}
