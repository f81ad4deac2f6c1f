//! The zero of an airflow meter: what it reads with no flow.
//!
//! Stretches with the engine off show it. Between two of them it is taken to move along a straight line,
//! before the first and after the last to stand still.

use crate::findings::resolution;
use crate::signal::Signal;
use crate::signal::cycles;
use crate::signal::plateaus::{Kind, Plateau};
use crate::statistics::correlated::mean_interval;
use crate::statistics::summary;

/// Fewest blocks of a stretch with the engine off.
const LEAST_BLOCKS: usize = 4;

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
    /// Standard deviation of a single reading with the engine off, kPa; 0 where that was not seen.
    pub noise_kpa: f64,
}

impl Zero {
    /// Finds the zero of a meter from its readings (kPa, one a sample); `limit_kpa` stands in where
    /// the engine is never off.
    pub fn find(signal: &Signal, column: &[f64], limit_kpa: f64) -> Zero {
        let time_s = &signal.track.time_s;
        let blocks = cycles::averages(&signal.cycles, time_s, |k| column[k]);
        let off = signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff);
        let (mut seen, mut variances) = (Vec::new(), Vec::new());
        for plateau in off {
            let rows = rows(signal, plateau);
            let own = &blocks[plateau.first_block..plateau.end_block];
            let own: Vec<f64> = own.iter().copied().filter(|v| v.is_finite()).collect();
            let Some(mean) = mean_interval(&own, 0.95).filter(|_| own.len() >= LEAST_BLOCKS) else {
                continue;
            };
            let read: Vec<f64> =
                column[rows.0..rows.1].iter().copied().filter(|v| v.is_finite()).collect();
            variances.extend(summary::variance(&read));
            seen.push(Seen {
                at_s: 0.5 * (plateau.from_s + plateau.to_s),
                kpa: mean.mean,
                u_kpa: mean.u.hypot(resolution::of_column(column, rows)),
                dof: mean.dof,
            });
        }
        let noise_kpa = summary::mean(&variances).map_or(0.0, f64::sqrt);
        Zero { seen, limit_kpa, noise_kpa }
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
}

/// Samples of a plateau: from, one past the last.
fn rows(signal: &Signal, plateau: &Plateau) -> (usize, usize) {
    let starts = &signal.cycles.sample;
    let at = |block: usize| starts.get(block).map_or(signal.track.len(), |row| *row as usize);
    (at(plateau.first_block), at(plateau.end_block))
}
