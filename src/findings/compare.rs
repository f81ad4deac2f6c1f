//! Before and after: how far the work has brought the pair.

use super::balance::Balance;
use serde::Serialize;

/// Change at one speed. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Mean speed of the two plateaus compared, rev/min; absent without a speed.
    pub rpm: Option<f64>,
    /// Difference before, kPa.
    pub before_kpa: f64,
    /// Difference after, kPa.
    pub after_kpa: f64,
    /// Lower end of the change in the size of the difference (after less before), kPa.
    pub low_kpa: f64,
    /// Upper end of the change, kPa.
    pub high_kpa: f64,
    /// The size of the difference has fallen, beyond doubt.
    pub improved: bool,
}

/// Two logs side by side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// Finding of the first log.
    pub before: Balance,
    /// Finding of the second log.
    pub after: Balance,
    /// One entry a speed that both logs hold.
    pub change: Vec<Change>,
    /// One plain sentence.
    pub say: String,
}
