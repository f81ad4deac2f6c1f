//! Checks against figures from outside the project; the source stands beside each.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "coverage/candidates.rs"]
#[allow(dead_code, reason = "only Newey-West has fixed figures from outside")]
mod candidates;
#[path = "outside/difference.rs"]
mod difference;
#[path = "outside/equivalence.rs"]
mod equivalence;
#[path = "outside/gum.rs"]
mod gum;
#[path = "outside/lines.rs"]
mod lines;
#[path = "outside/measurement.rs"]
mod measurement;
#[path = "outside/newey_west.rs"]
mod newey_west;
#[path = "outside/tally.rs"]
mod tally;
#[path = "outside/univariate.rs"]
mod univariate;

/// Fixture under `tests/outside/`.
fn fixture(name: &str) -> String {
    let path = format!("{}/tests/outside/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"))
}
