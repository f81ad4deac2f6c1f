//! Balance of the two carburettors, plateau by plateau.

use crate::statistics::decision::Verdict;
use serde::Serialize;

/// How the zero difference of the pair was taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ZeroMethod {
    /// Mean difference with the engine off.
    EngineOff,
    /// Both sensors on one tap.
    Tee,
    /// Hoses exchanged.
    Swap,
    /// Nothing available: the sensors' specification stands in.
    None,
}

/// The zero of the pair.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ZeroUsed {
    /// How it was found.
    pub method: ZeroMethod,
    /// Sensor 1 reads this much more vacuum than sensor 2 at equal vacuum, kPa.
    pub offset_kpa: f64,
    /// Standard uncertainty of the offset, kPa.
    pub u_kpa: f64,
}

/// The throttle to open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Open {
    /// The throttle of side 1.
    Carb1,
    /// The throttle of side 2.
    Carb2,
    /// Neither.
    None,
}

/// Balance on one plateau of steady speed. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlateauBalance {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Mean speed, rev/min; absent when neither a pick-up nor the ripple gives it.
    pub rpm: Option<f64>,
    /// Engine cycles averaged.
    pub cycles: u64,
    /// Mean vacuum of side 1 as read, kPa.
    pub vac1_kpa: f64,
    /// Mean vacuum of side 2 as read, kPa.
    pub vac2_kpa: f64,
    /// Peak-to-peak swing of side 1 within a cycle, kPa; absent when the log is too slow.
    pub ripple1_kpa: Option<f64>,
    /// Peak-to-peak swing of side 2 within a cycle, kPa; absent when the log is too slow.
    pub ripple2_kpa: Option<f64>,
    /// Vacuum 1 less vacuum 2, corrected for the zero, kPa.
    pub difference_kpa: f64,
    /// Lower end of the interval, kPa.
    pub low_kpa: f64,
    /// Upper end of the interval, kPa.
    pub high_kpa: f64,
    /// Combined standard uncertainty, kPa.
    pub u_kpa: f64,
    /// Effective degrees of freedom; absent when unbounded.
    pub dof: Option<f64>,
    /// Throttle opening of side 1 over that of side 2.
    pub air1_over_air2: f64,
    /// Lower end of the ratio's interval.
    pub air_low: f64,
    /// Upper end of the ratio's interval.
    pub air_high: f64,
    /// Verdict against the tolerance.
    pub verdict: Verdict,
    /// The throttle to open, or none.
    pub open: Open,
    /// Seconds more of log that would settle the verdict; absent when time alone cannot.
    pub needs_s: Option<f64>,
}

/// What a log says of the balance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Balance {
    /// The zero taken out.
    pub zero: ZeroUsed,
    /// Tolerance on the difference, kPa.
    pub tolerance_kpa: f64,
    /// One entry a plateau, in the order of time.
    pub plateaus: Vec<PlateauBalance>,
    /// Verdict over all plateaus.
    pub verdict: Verdict,
    /// One plain sentence.
    pub say: String,
    /// Causes to check, likeliest first.
    pub causes: Vec<String>,
}
