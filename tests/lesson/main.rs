//! Lessons on the model engine: their logs against what was true.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod classroom;
mod judged;
mod told;
