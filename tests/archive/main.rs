//! One question put to many logs, from the command line to the rows.
#![allow(clippy::unwrap_used, reason = "a test that cannot set up its own files should stop")]

mod broken;
#[cfg(unix)]
mod ended;
#[allow(dead_code, reason = "shared with the tests of one log")]
#[path = "../cli/logs.rs"]
mod logs;
#[cfg(unix)]
mod names;
mod rows;
#[allow(dead_code, reason = "shared with the tests of one log")]
#[path = "../cli/run.rs"]
mod run;
mod table;
