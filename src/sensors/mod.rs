//! The zero and the matching of the sensor pair.

pub mod conversion;
pub mod matching;
pub mod transfer;
