//! Pure functions on slices of f64: fit to be a crate of their own, they know nothing of engines.

pub mod autoregression;
pub mod changes;
pub mod cholesky;
pub mod correlated;
pub mod decision;
pub mod draws;
pub mod known_errors;
mod level_noise;
mod lowband;
pub mod moments;
pub mod multiple;
pub mod normal_equations;
mod partition;
pub mod propagation;
pub mod recursive;
pub mod regression;
pub mod robust;
pub mod student;
pub mod summary;
pub mod uncertainty;
mod wave;
