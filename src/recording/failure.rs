//! Why a recording cannot go on.

use crate::log::journal::JournalError;
use thiserror::Error;

/// Why a recording cannot go on. The last semicolon parts what was found from what to do.
#[derive(Debug, Error)]
pub enum Failure {
    /// The file cannot be made.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The box names a sensor that nobody knows.
    #[error(
        "the box says its sensor is {sensor:?}, whose volts are not known here; name a sensor with the \
         same data sheet with --sensor"
    )]
    UnknownSensor {
        /// What it says.
        sensor: String,
    },
    /// One absolute sensor and one that measures against the atmosphere.
    #[error(
        "one sensor measures absolute pressure and the other against the atmosphere, so they are no \
         pair; build the box with two of a kind, or name the right one with --sensor"
    )]
    UnlikeSensors,
    /// The box never said what its codes mean.
    #[error(
        "{seconds} s of samples came, and the box has not said what its codes mean ($EBI); see \
         firmware-notes/wire-protocol.md"
    )]
    NoInfo {
        /// How long it was waited for, s.
        seconds: f64,
    },
    /// Another box than at the start.
    #[error(
        "another box speaks on the port ({name}), with other sensors or another converter than the one \
         this log began with; end here and record to a new file"
    )]
    AnotherBox {
        /// Its name.
        name: String,
    },
}
