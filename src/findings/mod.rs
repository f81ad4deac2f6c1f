//! From signals to plain results: a number, its interval, a verdict by a stated rule, and the
//! sentence that a person needs. A finding knows no terminal, no chart and no clock.

pub mod balance;
pub mod breather;
pub mod compare;

use serde::Serialize;

/// What the user calls the two sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sides {
    /// Name of side 1, such as `Front`.
    pub one: String,
    /// Name of side 2, such as `Rear`.
    pub two: String,
}

impl Default for Sides {
    fn default() -> Self {
        Sides { one: "carburettor 1".into(), two: "carburettor 2".into() }
    }
}
