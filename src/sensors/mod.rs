//! The zero and the matching of the sensor pair.
