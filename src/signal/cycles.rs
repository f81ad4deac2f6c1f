//! Averages over whole engine cycles.

/// Averages over consecutive blocks of whole engine cycles: the series of all statistics.
///
/// All vectors have one entry a block. A channel the log does not have is `None`; a block in which
/// a channel had no usable reading holds NaN.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Cycles {
    /// Start of each block, s.
    pub from_s: Vec<f64>,
    /// End of each block, s.
    pub to_s: Vec<f64>,
    /// Index of the first sample at or after the start of each block.
    pub sample: Vec<u32>,
    /// Engine cycles in each block (0 where the engine stood still).
    pub cycles: Vec<f64>,
    /// Engine speed, rev/min; 0 where the engine stood still.
    pub rpm: Option<Vec<f64>>,
    /// Vacuum of side 1, kPa.
    pub vac1_kpa: Option<Vec<f64>>,
    /// Vacuum of side 2, kPa.
    pub vac2_kpa: Option<Vec<f64>>,
    /// Crankcase below atmosphere, kPa.
    pub crank_kpa: Option<Vec<f64>>,
}

impl Cycles {
    /// Number of blocks.
    pub fn len(&self) -> usize {
        self.from_s.len()
    }

    /// True when there is no block.
    pub fn is_empty(&self) -> bool {
        self.from_s.is_empty()
    }

    /// Middle of a block, s.
    pub fn middle_s(&self, block: usize) -> f64 {
        0.5 * (self.from_s[block] + self.to_s[block])
    }
}
