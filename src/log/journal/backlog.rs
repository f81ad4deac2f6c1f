//! Rows on their way into the file: whole rows only, whatever the disk does.

use super::disk::Store;
use memchr::{memchr, memchr_iter, memrchr};
use std::io;

/// Rows are given up by this part of the room at a time, or each new row would move all the others.
const GIVEN_UP_AT_ONCE: usize = 16;

/// Rows that wait, and how much of the file is sound.
#[derive(Debug, Default)]
pub(super) struct Backlog {
    /// The most bytes that wait.
    pub room: usize,
    /// Whole rows that wait, oldest first.
    text: Vec<u8>,
    /// Rows in `text`.
    rows: u64,
    /// Bytes of the file up to the end of the last whole row.
    sound: u64,
    /// What stands in the file behind that.
    behind: Behind,
    /// Rows given up since a row in the file last said so.
    unsaid: u64,
    /// Rows in the file.
    pub in_file: u64,
    /// Rows given up.
    pub given_up: u64,
}

/// What stands in the file behind the last whole row.
#[derive(Debug, Default)]
enum Behind {
    /// Nothing.
    #[default]
    Nothing,
    /// The first bytes of a row that could not be cut off: the rest of it comes next.
    Torn { row: Vec<u8>, there: usize },
    /// Nobody knows: nothing was reported as written, and the file could not be cut. A line end
    /// makes whatever it is a row of its own.
    Unknown,
}

/// A row that is to say how many were given up before it.
struct Note {
    /// Where it stands in the text that waits.
    at: usize,
    bytes: usize,
    /// The end of its row with the note in it.
    row_end: usize,
}

impl Backlog {
    /// Nothing waits; there is room for so many bytes.
    pub fn new(room: usize) -> Self {
        Backlog { room, ..Backlog::default() }
    }

    /// Rows that wait.
    pub fn waiting(&self) -> u64 {
        self.rows + u64::from(matches!(self.behind, Behind::Torn { .. }))
    }

    /// The head of a new file, all of it or an error.
    pub fn head(&mut self, store: &mut dyn Store, head: &[u8]) -> io::Result<()> {
        match pour(store, head) {
            (written, None) => self.sound = written as u64,
            (_, Some(error)) => return Err(error),
        }
        Ok(())
    }

    /// Takes a row that `write` appends, line end and all.
    pub fn take(&mut self, write: impl FnOnce(&mut Vec<u8>)) {
        write(&mut self.text);
        self.rows += 1;
        if self.text.len() > self.room {
            self.give_up();
        }
    }

    /// Gives the oldest rows up. A row that is partly in the file is not among them.
    fn give_up(&mut self) {
        let least = (self.room / GIVEN_UP_AT_ONCE).min(self.text.len() - 1);
        let cut = memchr(b'\n', &self.text[least..]).map_or(self.text.len(), |at| least + at + 1);
        let rows = memchr_iter(b'\n', &self.text[..cut]).count() as u64;
        self.text.drain(..cut);
        self.rows -= rows;
        self.given_up += rows;
        self.unsaid += rows;
    }

    /// Writes all that waits. What an error leaves unwritten goes on waiting.
    ///
    /// Errors: what the system says of the first write that failed.
    pub fn write(&mut self, store: &mut dyn Store) -> io::Result<()> {
        self.mend(store)?;
        if self.rows == 0 {
            return Ok(());
        }
        let note = self.note();
        let (written, error) = pour(store, &self.text);
        let whole = memrchr(b'\n', &self.text[..written]).map_or(0, |at| at + 1);
        let rows = memchr_iter(b'\n', &self.text[..whole]).count() as u64;
        self.in_file += rows;
        self.rows -= rows;
        self.sound += whole as u64;
        let mut used = whole;
        if error.is_some() && store.set_len(self.sound).is_err() {
            self.behind = Behind::Unknown;
            if written > whole {
                let end = memchr(b'\n', &self.text[whole..]).map_or(0, |at| whole + at + 1);
                let row = self.text[whole..end].to_vec();
                self.behind = Behind::Torn { row, there: written - whole };
                self.rows -= 1;
                used = end;
            }
        }
        match note {
            Some(note) if used < note.row_end => {
                self.text.drain(note.at..note.at + note.bytes);
            }
            Some(_) => self.unsaid = 0,
            None => {}
        }
        self.text.drain(..used);
        error.map_or(Ok(()), Err)
    }

    /// Brings the end of the file back to the end of a row.
    fn mend(&mut self, store: &mut dyn Store) -> io::Result<()> {
        match &mut self.behind {
            Behind::Nothing => Ok(()),
            Behind::Torn { row, there } => {
                let (written, error) = pour(store, &row[*there..]);
                *there += written;
                let Some(error) = error else {
                    self.sound += row.len() as u64;
                    self.in_file += 1;
                    self.behind = Behind::Nothing;
                    return Ok(());
                };
                if store.set_len(self.sound).is_ok() {
                    *there = 0;
                }
                Err(error)
            }
            Behind::Unknown => {
                if let (_, Some(error)) = pour(store, b"\n") {
                    return Err(error);
                }
                self.sound = store.len()?;
                self.behind = Behind::Nothing;
                Ok(())
            }
        }
    }

    /// Puts the number of rows given up into the mark of the first row without one.
    fn note(&mut self) -> Option<Note> {
        if self.unsaid == 0 {
            return None;
        }
        // The mark is the last field: one that is empty leaves a comma at the end of the row.
        let end = memchr_iter(b'\n', &self.text)
            .find(|end| end.checked_sub(1).is_some_and(|last| self.text[last] == b','))?;
        let plural = if self.unsaid == 1 { "" } else { "s" };
        let note = format!("note {} row{plural} not written", self.unsaid);
        self.text.splice(end..end, note.bytes());
        Some(Note { at: end, bytes: note.len(), row_end: end + note.len() + 1 })
    }
}

/// Writes until all is written or the file refuses; returns the bytes that went in.
fn pour(store: &mut dyn Store, bytes: &[u8]) -> (usize, Option<io::Error>) {
    let mut written = 0;
    while written < bytes.len() {
        match store.write(&bytes[written..]) {
            Ok(0) => return (written, Some(io::ErrorKind::WriteZero.into())),
            Ok(count) => written += count.min(bytes.len() - written),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return (written, Some(error)),
        }
    }
    (written, None)
}
