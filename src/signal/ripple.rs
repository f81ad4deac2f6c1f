//! Engine speed from the ripple of the vacuum.

use crate::sample::Track;

/// placeholder
pub fn speed(_track: &Track, _interval_s: f64, _cylinders: u32) -> Option<f64> {
    None
}
