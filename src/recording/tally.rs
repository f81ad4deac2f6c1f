//! What became of everything that was heard.

use crate::sources::event::Rejection;
use serde::Serialize;

/// Counts of a recording. Rows and lost sentences together are the sentences that the box counted from
/// the first that was heard to the last.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Tally {
    /// Samples that became rows.
    pub rows: u64,
    /// Sentences that never came, or came garbled: the box's own numbers tell.
    pub lost: u64,
    /// Lines that could not be read.
    pub garbled: u64,
    /// Sentences with a right checksum about numbers that fit nothing.
    pub implausible: u64,
    /// Sentences that came again or too late.
    pub repeated: u64,
    /// Sentences of another kind.
    pub unknown: u64,
    /// Samples that came before anybody knew what their codes mean, and never learned it.
    pub not_converted: u64,
    /// Readings that no converter or sensor can give, left empty in their rows.
    pub beyond_range: u64,
    /// Times another box spoke than before.
    pub other_boxes: u64,
    /// Times the box began anew.
    pub restarts: u64,
    /// Times the link was lost.
    pub links_lost: u64,
    /// Marks written, those of the program itself too.
    pub marks: u64,
    /// Bytes heard.
    pub bytes: u64,
}

impl Tally {
    pub(super) fn reject(&mut self, rejection: Rejection) {
        match rejection {
            Rejection::Garbled => self.garbled += 1,
            Rejection::Implausible => self.implausible += 1,
            Rejection::Repeated => self.repeated += 1,
            Rejection::Unknown => self.unknown += 1,
        }
    }
}
