//! Arithmetic that anybody can do again: four-stroke timing, units of pressure, and a change point
//! of the literature. The source stands beside each table.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "arithmetic/firing.rs"]
mod firing;
#[path = "arithmetic/nile.rs"]
mod nile;
#[path = "arithmetic/pressure.rs"]
mod pressure;
#[path = "outside/tally.rs"]
mod tally;

/// Fails unless `found` is within this share of `expected`.
#[track_caller]
fn near(what: &str, found: f64, expected: f64, relative: f64) {
    let off = (found - expected).abs();
    assert!(off <= relative * expected.abs(), "{what}: {found} against {expected}");
}
