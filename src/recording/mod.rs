//! From samples as they come to a log and what is known so far.

pub mod guide;
