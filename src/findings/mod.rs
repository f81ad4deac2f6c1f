//! From signals to plain results: a number, its interval, a verdict by a stated rule, and the
//! sentence that a person needs. A finding knows no terminal, no chart and no clock.

pub mod advice;
pub mod air_share;
pub mod balance;
pub mod breather;
pub mod cap_fit;
pub mod compare;
pub mod crankcase;
pub mod flow;
pub mod hunt;
pub mod idle_drop;
pub mod idle_vacuum;
pub mod in_step;
pub mod leak_size;
mod line_words;
pub mod one_sensor;
pub mod openings;
mod pair_line;
pub mod pair_match;
pub mod resolution;
pub mod screws;
pub mod stretches;
pub mod strokes;
mod swing;
pub mod tee_run;
pub mod zero;

use crate::sensors::matching::TeeRun;
pub use crate::statistics::decision::Verdict;
use serde::Serialize;

/// What the user calls the two sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sides {
    /// Name of side 1, such as `Front`.
    pub one: String,
    /// Name of side 2, such as `Rear`.
    pub two: String,
}

impl Default for Sides {
    fn default() -> Self {
        Sides { one: "carburettor 1".into(), two: "carburettor 2".into() }
    }
}

/// What is known of the car and asked of the work.
#[derive(Debug, Clone, PartialEq)]
pub struct Conditions {
    /// The user's names for the sides.
    pub sides: Sides,
    /// Cylinders of the engine, both sides together.
    pub cylinders: u32,
    /// Numbers of the cylinders that carburettor 1 feeds; none where nobody said.
    pub carb1_cylinders: Vec<u32>,
    /// Barometric pressure, kPa.
    pub baro_kpa: f64,
    /// Standard uncertainty of the barometric pressure, kPa.
    pub u_baro_kpa: f64,
    /// Tolerance on the difference, kPa.
    pub tolerance_kpa: f64,
    /// Smallest idle drop that counts, rev/min; the default rule when absent.
    pub threshold_rpm: Option<f64>,
    /// Idle speed wanted, rev/min.
    pub idle_target_rpm: Option<f64>,
    /// The tracts are joined by a balance pipe.
    pub balance_pipe: bool,
    /// Limit of one sensor's offset, kPa, where no zero is to be had.
    pub sensor_offset_limit_kpa: f64,
    /// Limit of one sensor's gain error as a fraction of reading.
    pub sensor_gain_limit: f64,
    /// Limit by which one sensor's offset may drift after a tee run, kPa.
    pub sensor_drift_limit_kpa: f64,
    /// Most by which one side may pass more air than the other by the airflow meters, as a fraction.
    pub flow_tolerance: f64,
    /// Limit of the error of one airflow meter's constant as a fraction of the flow.
    pub flow_meter_limit: f64,
    /// Limit of one airflow meter's zero, kPa, where the log does not show it.
    pub flow_zero_limit_kpa: f64,
    /// Limit by which one airflow meter's zero may have drifted before the engine was first off and after it was last
    /// off, kPa.
    pub flow_drift_limit_kpa: f64,
    /// The tee run of the pair, when there is one.
    pub tee_run: Option<TeeRun>,
}

impl Default for Conditions {
    fn default() -> Self {
        Conditions {
            sides: Sides::default(),
            cylinders: 4,
            carb1_cylinders: Vec::new(),
            baro_kpa: crate::units::STANDARD_ATMOSPHERE.0,
            u_baro_kpa: 1.5,
            tolerance_kpa: 1.3,
            threshold_rpm: None,
            idle_target_rpm: None,
            balance_pipe: false,
            sensor_offset_limit_kpa: 1.0,
            sensor_gain_limit: 0.02,
            // 'Offset stability' of an MPX4115A, 0.5 % of its span of 100 kPa (data sheet MPX4115A/D).
            sensor_drift_limit_kpa: 0.5,
            // 3 % (common practice, no published source).
            flow_tolerance: 0.03,
            // Two meters of one make, not calibrated (judgement, no published source).
            flow_meter_limit: 0.02,
            // Largest error of an MPXV7002 over its range of 4 kPa, 6.25 % (its data sheet, from memory).
            flow_zero_limit_kpa: 0.25,
            // Some minutes, the meter warmed by the engine (judgement, no published source).
            flow_drift_limit_kpa: 0.001,
            tee_run: None,
        }
    }
}
