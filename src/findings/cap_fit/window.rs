//! The idle around the openings that is fitted.

use crate::findings::openings::Times;
use crate::signal::Signal;
use crate::signal::cycles::STANDSTILL_RPM;
use crate::statistics::summary;
use std::ops::Range;

/// Idle used before the first opening and after the last, s.
const MARGIN_S: f64 = 30.0;

/// The unbroken running stretch around the openings, with a margin that ends at `limits`, s.
pub fn around(
    signal: &Signal,
    rpm: &[f64],
    openings: &[Times],
    limits: (Option<f64>, Option<f64>),
) -> Option<Range<usize>> {
    let cycles = &signal.cycles;
    let first = openings.first()?.off_s;
    let last = openings.last().map(|o| o.on_s.unwrap_or(o.off_s))?;
    let begin = limits.0.unwrap_or(f64::NEG_INFINITY).max(first - MARGIN_S);
    let end = limits.1.unwrap_or(f64::INFINITY).min(last + MARGIN_S);
    let joined = |a: usize, b: usize| cycles.from_s[b] - cycles.to_s[a] < 1.0;
    let runs = |k: usize| rpm[k] >= STANDSTILL_RPM;
    let seed = (0..cycles.len()).find(|k| cycles.to_s[*k] >= first && runs(*k))?;
    let mut from = seed;
    while from > 0 && runs(from - 1) && joined(from - 1, from) && cycles.from_s[from - 1] > begin {
        from -= 1;
    }
    let mut to = seed + 1;
    while to < cycles.len() && runs(to) && joined(to - 1, to) && cycles.to_s[to] < end {
        to += 1;
    }
    // A start of the engine or a held speed in the margin is no idle: the margin ends there.
    let idle = summary::median(&rpm[from..to])?;
    let idles = |k: &usize| (rpm[*k] - idle).abs() < 0.5 * idle;
    let from = (from..seed).rev().take_while(idles).last().unwrap_or(seed);
    let to = (seed..to).take_while(idles).last()? + 1;
    Some(from..to)
}
