//! From columns of samples to a series on which statistics are allowed: cleaned readings, whole
//! engine cycles, plateaus of steady speed, ripple.

pub mod cycles;
