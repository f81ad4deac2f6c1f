//! Our figures against general libraries for Python, called here and now on the same inputs.
//!
//! Inputs are made here from a seed and go to a script in `tests/python`; each check prints how many
//! figures it compared and the largest deviation. The packages and their versions stand in
//! `tests/outside/requirements.txt`. Where Python or a package is missing the checks say so aloud
//! and pass; with `EVENBREATH_OUTSIDE_REQUIRED` set, as `.ci/run` does, they fail instead.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "python/bridge.rs"]
mod bridge;
#[path = "coverage/candidates.rs"]
mod candidates;
#[path = "python/changes.rs"]
mod changes;
#[path = "outside/difference.rs"]
mod difference;
#[path = "python/equivalence.rs"]
mod equivalence;
#[path = "python/errors_in_both.rs"]
mod errors_in_both;
#[path = "python/gas.rs"]
mod gas;
#[path = "python/means.rs"]
mod means;
#[path = "python/multiple.rs"]
mod multiple;
#[path = "python/regression.rs"]
mod regression;
#[path = "python/ripple.rs"]
mod ripple;
#[path = "python/robust.rs"]
mod robust;
#[path = "python/rows.rs"]
mod rows;
#[path = "coverage/series.rs"]
mod series;
#[path = "python/student.rs"]
mod student;
#[path = "outside/tally.rs"]
mod tally;

/// Seed of every series here; a failure repeats exactly.
const SEED: u64 = 20_261_126;
/// Largest relative deviation where nothing is said of it.
const NINE_DIGITS: f64 = 1e-9;
