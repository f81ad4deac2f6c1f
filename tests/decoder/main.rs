//! The decoder of the wire against a box that is known sentence by sentence, and a cable that
//! damages what it carries.

mod cable;
mod counters;
mod lines;
