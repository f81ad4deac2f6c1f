//! Findings as text for a person and as JSON for a program.
//!
//! Every function returns a finished `String`; where it goes is the business of the commands. A
//! number for a person stands between its limits (low - value - high) or beside words that say
//! what its spread is. What was not measured is absent.

pub mod balance;
pub mod breather;
pub mod cautions;
pub mod compare;
pub mod facts;
pub mod flow;
pub mod handover;
pub mod hunt;
pub mod inspection;
pub mod json;
pub mod layout;
pub mod page;
pub mod pair_match;
pub mod rows;
mod screws;

pub use facts::LogFacts;
pub use inspection::Inspection;
pub use page::Page;
