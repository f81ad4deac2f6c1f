//! The words that every room speaks: columns of samples, marks and remarks.

mod column;
mod conversion;
mod cursor;
mod digest;
mod mark;
mod packed;
mod packer;
mod remark;
mod row_numbers;
mod store;

pub use column::Column;
pub use conversion::Conversion;
pub use cursor::{Cursor, Values};
pub use digest::{Digest, extent};
pub use mark::{Mark, Meaning};
pub use packer::Packer;
pub use remark::{Remark, Wording};
pub use row_numbers::RowNumbers;

use crate::units::Seconds;

/// The columns of a log: one entry a sample, all of the same length.
///
/// Inside a column 'no reading' is NaN; a column that the log does not have is `None`. Neither
/// ever reaches a finding: there, what was not measured is absent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Track {
    /// Log time, s, strictly increasing.
    pub time_s: Column,
    /// Engine speed, rev/min.
    pub rpm: Option<Column>,
    /// Vacuum of side 1 below atmosphere, kPa, positive.
    pub vac1_kpa: Option<Column>,
    /// Vacuum of side 2 below atmosphere, kPa, positive.
    pub vac2_kpa: Option<Column>,
    /// Crankcase below atmosphere, kPa, positive.
    pub crank_kpa: Option<Column>,
    /// Differential pressure of airflow meter 1, on the mouth of carburettor 1, kPa.
    pub flow1_kpa: Option<Column>,
    /// Differential pressure of airflow meter 2, on the mouth of carburettor 2, kPa.
    pub flow2_kpa: Option<Column>,
    /// Data row of each sample, counted from 0 at the first row under the header.
    pub row: RowNumbers,
    /// Marks in the order of time.
    pub marks: Vec<Mark>,
}

impl Track {
    /// Number of samples.
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    /// True when there is no sample.
    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    /// From the first sample to the last, s; 0 for fewer than two samples.
    pub fn duration(&self) -> Seconds {
        match (self.time_s.first(), self.time_s.last()) {
            (Some(first), Some(last)) => Seconds(last - first),
            _ => Seconds(0.0),
        }
    }
}
