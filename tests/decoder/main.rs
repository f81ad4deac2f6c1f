//! The decoder of the wire against a box that is known sentence by sentence, and a cable that
//! damages what it carries.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]
mod cable;
mod counters;
mod lines;
