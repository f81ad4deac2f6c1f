//! What a crankcase sensor adds to the idle drop.
//!
//! With the cap off the crankcase is at the atmosphere, so that the open filler is the sensor's own
//! zero. With the cap on, a sealed system pulls the crankcase below that, a leak leaves it near, and
//! a blocked breather lets the gas that blows by the pistons push it above.

use super::balance::LEVEL;
use super::cap_fit::CapFit;
use crate::signal::Signal;
use crate::statistics::correlated::{MeanInterval, mean_interval};

/// Time around an edge that belongs to neither state, s.
const EDGE_S: f64 = 1.5;
/// A crankcase this far above the atmosphere is pushed up, kPa: beyond the steps of a cheap sensor.
const PUSHED_KPA: f64 = 0.02;

/// Crankcase below the atmosphere, kPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crankcase {
    /// With the cap on.
    pub closed_kpa: f64,
    /// With the cap off, as read.
    pub open_kpa: f64,
    /// Upper end of the interval of closed less open.
    high_kpa: f64,
}

impl Crankcase {
    /// The crankcase is above the atmosphere with the cap on, beyond doubt.
    pub fn pushed_up(&self) -> bool {
        self.high_kpa < -PUSHED_KPA
    }
}

/// Means with the cap on and off; none without a sensor or without both states.
pub fn find(signal: &Signal, fit: &CapFit) -> Option<Crankcase> {
    let cycles = &signal.cycles;
    let crank = cycles.crank_kpa.as_ref()?;
    let (mut closed, mut open) = (Vec::new(), Vec::new());
    for k in fit.blocks.iter().cloned().flatten().filter(|k| crank[*k].is_finite()) {
        let at = cycles.middle_s(k);
        let near_edge = fit.openings.iter().any(|o| {
            (at - o.off_s).abs() < EDGE_S || o.on_s.is_some_and(|on| (at - on).abs() < EDGE_S)
        });
        if near_edge {
            continue;
        }
        let off = fit.openings.iter().any(|o| at > o.off_s && o.on_s.is_none_or(|on| at < on));
        if off { open.push(crank[k]) } else { closed.push(crank[k]) }
    }
    let interval = |values: &[f64]| mean_interval(values, LEVEL);
    let (closed, open): (MeanInterval, MeanInterval) = (interval(&closed)?, interval(&open)?);
    let reach = (closed.high - closed.mean).hypot(open.high - open.mean);
    Some(Crankcase {
        closed_kpa: closed.mean,
        open_kpa: open.mean,
        high_kpa: closed.mean - open.mean + reach,
    })
}
