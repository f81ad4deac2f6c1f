//! Pure functions on slices of f64: fit to be a crate of their own, they know nothing of engines.

pub mod correlated;
pub mod decision;
mod lowband;
pub mod multiple;
pub mod regression;
pub mod robust;
pub mod student;
pub mod summary;
pub mod uncertainty;
