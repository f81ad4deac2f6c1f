//! From samples as they come to a log and what is known so far.
//!
//! ```text
//! events --> session --> journal (rows and marks, everything counted)
//!               |  \---> window (the last minute, and what the zero needs) --> figures so far
//!             guide (the order of the work, step by step)
//! ```
//!
//! Nothing here knows a clock or a terminal, so a page can drive it as the command line does.

mod failure;
pub mod guide;
pub mod lesson;
pub mod readings;
pub mod session;
pub mod tally;
pub mod window;

pub use failure::Failure;
