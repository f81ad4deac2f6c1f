//! Stretches of steady engine speed.

use serde::Serialize;

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
}
