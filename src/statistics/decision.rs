//! Decision rule of ISO 14253-1 in its default form: conformity or non-conformity is stated only
//! when the whole interval lies on one side of the limit.

use serde::Serialize;

/// Outcome of a comparison of an interval with a tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The whole interval lies inside the tolerance.
    InTolerance,
    /// The whole interval lies outside the tolerance.
    OutOfTolerance,
    /// The interval crosses a limit: neither is proven.
    NotSettled,
}
