//! The zero of an airflow meter: what it reads with no flow.
//!
//! Stretches with the engine off show it. Between two of them it is taken to move along a straight line,
//! before the first and after the last to stand where it was, within the limit of its drift.

use crate::findings::Conditions;
use crate::findings::balance::LEVEL;
use crate::findings::resolution;
use crate::sample::Column;
use crate::signal::Signal;
use crate::signal::cycles;
use crate::signal::plateaus::{Kind, Plateau};
use crate::statistics::correlated::mean_interval;
use crate::statistics::summary;

/// Fewest blocks of a stretch with the engine off.
const LEAST_BLOCKS: usize = 4;
/// An engine that runs down or is cranked draws air before its speed tells, s.
const ENDS_S: f64 = 0.5;
/// Blocks this many scatters from the middle one hold such a draught, or a hand at the meter.
const DRAUGHT_SCATTERS: f64 = 6.0;

/// What a meter reads with the engine off, at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Seen {
    at_s: f64,
    kpa: f64,
    u_kpa: f64,
    dof: f64,
}

/// The zero of one meter.
#[derive(Debug, Clone, PartialEq)]
pub struct Zero {
    seen: Vec<Seen>,
    /// Limit of the zero where it was not seen, kPa.
    limit_kpa: f64,
    /// Limit of its drift beyond where it was seen, kPa.
    drift_kpa: f64,
    /// Standard deviation of a single reading with the engine off, kPa; 0 where that was not seen.
    pub noise_kpa: f64,
}

impl Zero {
    /// Finds the zero of a meter from its readings (kPa, one a sample); the limit of the conditions stands
    /// in where the engine is never off.
    pub fn find(signal: &Signal, column: &Column, conditions: &Conditions) -> Zero {
        let time_s = &signal.track.time_s;
        let blocks = cycles::averages(&signal.cycles, time_s, column, |_, kpa| kpa);
        let off = signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff);
        let (mut seen, mut variances) = (Vec::new(), Vec::new());
        for plateau in off {
            let still = still(signal, plateau, &blocks);
            let (Some(first), Some(last)) = (still.first(), still.last()) else { continue };
            let own: Vec<f64> = still.iter().map(|k| blocks[*k]).collect();
            let Some(mean) = mean_interval(&own, LEVEL) else { continue };
            let rows = (row(signal, *first), row(signal, last + 1));
            let read = |k: &usize| column.iter_over(row(signal, *k)..row(signal, k + 1));
            let read: Vec<f64> = still.iter().flat_map(read).filter(|v| v.is_finite()).collect();
            variances.extend(summary::variance(&read));
            seen.push(Seen {
                at_s: 0.5 * (plateau.from_s + plateau.to_s),
                kpa: mean.mean,
                u_kpa: mean.u.hypot(resolution::of_column(column, rows)),
                dof: mean.dof,
            });
        }
        let noise_kpa = summary::mean(&variances).map_or(0.0, f64::sqrt);
        let limit_kpa = conditions.flow_zero_limit_kpa;
        Zero { seen, limit_kpa, drift_kpa: conditions.flow_drift_limit_kpa, noise_kpa }
    }

    /// The engine was off at some time of the log.
    pub fn is_seen(&self) -> bool {
        !self.seen.is_empty()
    }

    /// The stretches before and after a time, and the weight of the one after.
    fn around(&self, at_s: f64) -> Option<(&Seen, &Seen, f64)> {
        let after = self.seen.partition_point(|seen| seen.at_s < at_s);
        let last = self.seen.get(after.saturating_sub(1))?;
        let next = self.seen.get(after).unwrap_or(last);
        let span = next.at_s - last.at_s;
        let weight = if span > 0.0 { ((at_s - last.at_s) / span).clamp(0.0, 1.0) } else { 0.0 };
        Some((last, next, weight))
    }

    /// The zero at a time, kPa.
    pub fn kpa_at(&self, at_s: f64) -> f64 {
        let on_line = |(last, next, w): (&Seen, &Seen, f64)| last.kpa + w * (next.kpa - last.kpa);
        self.around(at_s).map_or(0.0, on_line)
    }

    /// Its standard uncertainty there, kPa, and the degrees of freedom of that.
    pub fn u_at(&self, at_s: f64) -> (f64, f64) {
        let Some((last, next, weight)) = self.around(at_s) else {
            return (self.limit_kpa / 3.0_f64.sqrt(), f64::INFINITY);
        };
        if weight == 0.0 {
            return (last.u_kpa, last.dof);
        }
        let u = ((1.0 - weight) * last.u_kpa).hypot(weight * next.u_kpa);
        (u, last.dof.min(next.dof))
    }

    /// Standard uncertainty by the drift up to a time, kPa: none between two stretches with the engine off, nor
    /// where the zero is known by its limit only.
    pub fn drift_at(&self, at_s: f64) -> f64 {
        let (Some(first), Some(last)) = (self.seen.first(), self.seen.last()) else { return 0.0 };
        let between = first.at_s <= at_s && at_s <= last.at_s;
        if between { 0.0 } else { self.drift_kpa / 3.0_f64.sqrt() }
    }
}

/// Blocks of a stretch with the engine off in which nothing flows; none where they are too few.
fn still(signal: &Signal, plateau: &Plateau, blocks: &[f64]) -> Vec<usize> {
    let cycles = &signal.cycles;
    let inside = |k: &usize| {
        cycles.from_s[*k] >= plateau.from_s + ENDS_S && cycles.to_s[*k] <= plateau.to_s - ENDS_S
    };
    let own = (plateau.first_block..plateau.end_block).filter(inside);
    let own: Vec<usize> = own.filter(|k| blocks[*k].is_finite()).collect();
    let values: Vec<f64> = own.iter().map(|k| blocks[*k]).collect();
    let (Some(middle), Some(mad)) = (summary::median(&values), summary::mad(&values)) else {
        return Vec::new();
    };
    let calm = |k: &usize| mad == 0.0 || (blocks[*k] - middle).abs() <= DRAUGHT_SCATTERS * mad;
    let still: Vec<usize> = own.into_iter().filter(calm).collect();
    if still.len() < LEAST_BLOCKS { Vec::new() } else { still }
}

/// First sample of a block; the end of the log after the last.
fn row(signal: &Signal, block: usize) -> usize {
    let starts = &signal.cycles.sample;
    starts.get(block).map_or(signal.track.len(), |row| *row as usize)
}
