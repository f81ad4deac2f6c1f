//! The binary from end to end: what goes in on the command line, what comes out.
#![allow(clippy::unwrap_used, reason = "a test that cannot set up its own files should stop")]

mod answers;
mod contract;
mod faults;
mod flow;
mod logs;
mod poor;
mod readme;
mod run;
mod tee;
mod terminal;
