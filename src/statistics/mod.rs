//! Pure functions on slices of f64: fit to be a crate of their own, they know nothing of engines.

pub mod changes;
pub mod correlated;
pub mod decision;
pub mod known_errors;
pub mod student;
pub mod summary;
