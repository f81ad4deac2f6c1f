//! From columns of samples to a series on which statistics are allowed: cleaned readings, whole
//! engine cycles, plateaus of steady speed, ripple.

pub mod cycles;
pub mod plateaus;

use crate::sample::{Remark, Track};
use cycles::Cycles;
use plateaus::{Plateau, Step};

/// A log made ready for the findings.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Signal {
    /// Cleaned samples: what was judged false is NaN, and counted in the remarks.
    pub track: Track,
    /// Averages over whole engine cycles.
    pub cycles: Cycles,
    /// Stretches of steady speed and of engine off, in the order of time.
    pub plateaus: Vec<Plateau>,
    /// Lasting steps of speed.
    pub steps: Vec<Step>,
    /// Median sampling rate, Hz.
    pub sample_rate_hz: f64,
    /// Speed from the ripple of the vacuum, rev/min; absent when the log is too slow or too calm.
    pub ripple_rpm: Option<f64>,
    /// Resultant length of the sample phases within an intake pulse (0 spread evenly, 1 in step).
    pub aliasing_r: Option<f64>,
    /// What the cleaning saw.
    pub remarks: Vec<Remark>,
}
