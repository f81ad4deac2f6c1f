//! `record` as it runs, on a pseudo-terminal with a box behind it that counts what it sends.
//!
//! In every test rows and counted losses have to make up what was sent, exactly.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]
#![cfg(unix)]

mod bench_box;
mod closed;
mod crashes;
mod disks;
mod keys;
mod lines;
mod links;
mod noise;
mod recorder;
