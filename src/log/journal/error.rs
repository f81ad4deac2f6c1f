//! Why a log could not be written: what was found, where, and what to do.

use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// Why a log could not be written.
#[derive(Debug, Error)]
pub enum JournalError {
    /// A file of that name is there.
    #[error("{} exists, and a log is never written over; record to {} or to another name", .path.display(), .free.display())]
    Exists {
        /// The name asked for.
        path: PathBuf,
        /// The next free one.
        free: PathBuf,
    },
    /// The name is that of a folder.
    #[error("{} is a folder; name a file in it", .path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// The folder is not there.
    #[error("{} cannot be made, for there is no folder {}; make the folder or name another", .path.display(), .folder.display())]
    NoFolder {
        /// The log.
        path: PathBuf,
        /// The folder that is missing.
        folder: PathBuf,
    },
    /// The file cannot be made, or not even its heading row can be written.
    #[error("{} cannot be made ({source}); name a file in a folder that may be written to and has room", .path.display())]
    Create {
        /// The log.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Rows could not be written; they wait and are tried again.
    #[error(
        "{} cannot be written ({source}), {waiting} rows wait in memory and {given_up} were given up; \
         make room on the disk or put it back, and the rows that wait are written",
        .path.display()
    )]
    Write {
        /// The log.
        path: PathBuf,
        /// Rows that wait.
        waiting: u64,
        /// Rows that were given up so far.
        given_up: u64,
        /// What the system says.
        source: io::Error,
    },
    /// Rows were written, and the system cannot say that they reached the disk.
    #[error(
        "rows {from_row} to {to_row} of {} may not have reached the disk ({source}); \
         the disk may be failing, so read the log back and copy it to another",
        .path.display()
    )]
    Sync {
        /// The log.
        path: PathBuf,
        /// First row in doubt, counted from 1 under the heading row.
        from_row: u64,
        /// Last row in doubt.
        to_row: u64,
        /// What the system says.
        source: io::Error,
    },
    /// The log ends without its last rows.
    #[error(
        "{} ends with {written} rows written and {not_written} not ({source}); \
         what is in it can be read, so copy it, make room and record again",
        .path.display()
    )]
    Ended {
        /// The log.
        path: PathBuf,
        /// Rows in the file.
        written: u64,
        /// Rows that are not.
        not_written: u64,
        /// What the system says.
        source: io::Error,
    },
}

impl JournalError {
    /// Why, in the words of the system where there are any.
    pub fn why(&self) -> String {
        match self {
            JournalError::Write { source, .. } | JournalError::Ended { source, .. }
                if source.kind() == io::ErrorKind::StorageFull =>
            {
                "the disk is full".into()
            }
            JournalError::Create { source, .. }
            | JournalError::Write { source, .. }
            | JournalError::Sync { source, .. }
            | JournalError::Ended { source, .. } => source.to_string(),
            JournalError::Exists { .. } => "the name is taken".into(),
            JournalError::Folder { .. } => "it is a folder".into(),
            JournalError::NoFolder { .. } => "its folder is missing".into(),
        }
    }
}
