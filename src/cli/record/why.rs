//! Why no row came, in words.

use super::args::RecordArgs;
use crate::recording::session::{Finished, Session};
use crate::recording::tally::Tally;

/// What is known of a source that brought no row.
struct Heard<'a> {
    tally: Tally,
    waiting: u64,
    introduced: bool,
    source: &'a str,
    args: &'a RecordArgs,
}

/// After the end: what was heard instead of samples, and what to do.
pub fn nothing_came(finished: &Finished, source: &str, args: &RecordArgs) -> String {
    let tally = finished.tally;
    let (waiting, introduced) = (tally.not_converted, finished.info.is_some());
    Heard { tally, waiting, introduced, source, args }.words()
}

/// While it goes on.
pub fn nothing_yet(session: &Session, source: &str, args: &RecordArgs) -> String {
    let (tally, waiting) = (session.tally(), session.waiting() as u64);
    if waiting > 0 {
        return "samples come; waiting for the box to say what their codes mean".into();
    }
    let introduced = session.info().is_some();
    Heard { tally, waiting, introduced, source, args }.words()
}

impl Heard<'_> {
    fn words(&self) -> String {
        let (source, bytes) = (self.source, self.tally.bytes);
        if self.waiting > 0 {
            return format!(
                "{} samples came from {source}, and the box never said what their codes mean; let it \
                 send $EBI on start and every 10 s, see firmware-notes/wire-protocol.md",
                self.waiting
            );
        }
        if self.introduced {
            return format!(
                "{source} said who it is and then nothing; look at the sensors and at the firmware's \
                 timer"
            );
        }
        if self.args.source.stdin {
            return format!(
                "{bytes} bytes of {source}, and no sentence of a box and no line 't,rpm,v1,v2' among \
                 them; for another table, 'evenbreath inspect' reads files"
            );
        }
        if bytes == 0 {
            return format!("nothing was heard from {source}; is the box on, its cable whole?");
        }
        let unknown = self.tally.unknown;
        if unknown > self.tally.garbled {
            return format!(
                "{source} speaks another language: {unknown} sentences, none of a box; is it the \
                 right port?"
            );
        }
        format!(
            "{bytes} bytes came from {source}, and no line of them can be read; most likely the box \
             speaks at another speed than {} baud, so give its own with --baud",
            self.args.source.baud
        )
    }
}
