//! The hunt against the model engine, which knows no estimator: who leaks is known, and how much.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod scene;
mod tables;
mod verdicts;
