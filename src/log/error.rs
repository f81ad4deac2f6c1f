//! Why a log could not be read: what was found, where, and what to do.

use thiserror::Error;

/// Why a log could not be read.
#[derive(Debug, Error)]
pub enum ReadError {
    /// No such file.
    #[error("{name}: there is no such file; check the path")]
    NotFound {
        /// The input.
        name: String,
    },
    /// A directory.
    #[error("{name} is a folder; name one log file in it")]
    Directory {
        /// The input.
        name: String,
    },
    /// The system refuses.
    #[error("{name} cannot be read ({source}); check its permissions and the disk it is on")]
    Unreadable {
        /// The input.
        name: String,
        /// What the system says.
        source: std::io::Error,
    },
    /// No bytes, or nothing but blanks.
    #[error("{name} is empty; a log needs a heading row and at least one row of samples under it")]
    Empty {
        /// The input.
        name: String,
    },
    /// Not text.
    #[error("{name} is not text but {found}; {advice}")]
    Binary {
        /// The input.
        name: String,
        /// What it seems to be.
        found: String,
        /// What to do.
        advice: String,
    },
    /// No row that could be kept.
    #[error("{name} has no usable row: {detail}")]
    NoUsableRow {
        /// The input.
        name: String,
        /// What was found and what to do.
        detail: String,
    },
    /// A column that is needed is not there.
    #[error("{name}: no column for {needed} among {headings}; name it, such as {example}")]
    MissingRole {
        /// The input.
        name: String,
        /// What was needed.
        needed: String,
        /// The headings found.
        headings: String,
        /// What to type.
        example: String,
    },
    /// Two columns with an equal claim.
    #[error("{name}: {first:?} and {second:?} could both be {role}; say which, such as {example}")]
    Ambiguous {
        /// The input.
        name: String,
        /// What is wanted.
        role: &'static str,
        /// One candidate.
        first: String,
        /// The other.
        second: String,
        /// What to type.
        example: String,
    },
    /// Pressures whose values are possible as vacuum and as absolute pressure alike.
    #[error(
        "{name}: {headings} (about {typical}) could be vacuum below atmosphere or absolute pressure, two equally good guesses with opposite advice, and no row with the engine off tells them apart; say which: {vacuum} for vacuum, or {absolute} for absolute pressure"
    )]
    AmbiguousKind {
        /// The input.
        name: String,
        /// The columns, as they are typed in `--columns`.
        headings: String,
        /// Typical values of the running engine.
        typical: String,
        /// What to type for vacuum.
        vacuum: String,
        /// What to type for absolute pressure.
        absolute: String,
    },
    /// More than one row in twenty is bad.
    #[error(
        "{name}: {bad} of {total} rows cannot be used, more than 5 %; the first is {first}; mend the file, or read on without these rows with --lenient"
    )]
    TooManyBad {
        /// The input.
        name: String,
        /// Bad rows.
        bad: usize,
        /// All rows.
        total: usize,
        /// Where and what the first one is.
        first: String,
    },
    /// The headings do not fit the rows.
    #[error("{name}: {detail}")]
    Shape {
        /// The input.
        name: String,
        /// What was found and what to do.
        detail: String,
    },
    /// The text of `--columns` cannot be used.
    #[error("--columns {text:?}: {detail}")]
    BadColumns {
        /// The text given.
        text: String,
        /// What is wrong and what to type.
        detail: String,
    },
    /// A pressure whose unit is neither given nor to be told from its values.
    #[error(
        "{name}: {heading:?} names no unit and its values (about {typical}) are no vacuum or pressure of a running engine in kPa; give the unit, such as {example}"
    )]
    NoUnit {
        /// The input.
        name: String,
        /// The column.
        heading: String,
        /// A typical value as it stands in the file.
        typical: String,
        /// What to type.
        example: String,
    },
}
