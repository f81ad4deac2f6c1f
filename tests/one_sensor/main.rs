//! One sensor moved from side to side on the model engine, which knows no estimator: the true
//! difference is that of both tracts at every moment, of which the log holds one at a time.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod scene;
mod tables;
mod verdicts;
