//! The page that is handed over, made and checked by the binary: what is in it, and what a check finds.
#![allow(clippy::unwrap_used, reason = "a test that cannot set up its own files should stop")]

mod checked;
mod job;
mod written;
