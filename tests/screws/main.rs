//! Tuning by the program's word on the model engine, which knows nothing of how the word is found.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod learned;
mod session;
mod tables;
