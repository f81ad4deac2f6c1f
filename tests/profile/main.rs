//! `profile new` and `profile check`, from the command line to the file and back.
#![allow(clippy::unwrap_used, reason = "a test that cannot set up its own files should stop")]

#[cfg(unix)]
mod asked;
#[allow(dead_code, reason = "shared with the tests of one log")]
#[path = "../cli/logs.rs"]
mod logs;
#[allow(dead_code, reason = "shared with the tests of one log")]
#[path = "../cli/run.rs"]
mod run;
mod written;
