//! Measurement for engines that breathe through two carburettors.
//!
//! A sample walks through the rooms in one direction, and nobody sends it back:
//!
//! ```text
//! sources --> recording <--> log ----> signal ----> findings ----> charts --> report
//! (cable,     (session,      (files,   (cleaning,   (balance,                 live, cli
//!  replay,     guide)         journal)  cycles,      breather,
//!  model                                plateaus)    compare)
//!  box)                                    |            |
//!    engine (the model)                 sensors     statistics   gas    <- pure functions on slices
//!
//! units, sample: the words that every room speaks
//! ```
//!
//! * [`units`], [`sample`]: quantities, marks, columns of samples, remarks.
//! * [`statistics`], [`gas`]: pure functions on slices; they know nothing of engines.
//! * [`engine`]: a physical model that makes logs with known truth.
//! * [`sources`]: bytes from a serial box, or from what stands in for it, to events.
//! * [`recording`]: events to a log as they come, everything counted; the guide through the work.
//! * [`log`]: from bytes to columns: dialect, who is who, bad rows counted; and the journal that
//!   writes logs.
//! * [`sensors`]: the zero and the matching of the pair.
//! * [`signal`]: cleaning, cycle averages, plateaus, ripple.
//! * [`findings`]: from signals to plain result structs with intervals and verdicts.
//! * [`charts`]: draws finished numbers. [`report`]: text and JSON. [`live`]: the page of a recording that
//!   runs, and its server. [`cli`]: the commands.

pub mod charts;
pub mod cli;
pub mod cores;
pub mod engine;
pub mod findings;
pub mod gas;
pub mod live;
pub mod log;
pub mod recording;
pub mod report;
pub mod sample;
pub mod sensors;
pub mod signal;
pub mod sources;
pub mod statistics;
pub mod units;
