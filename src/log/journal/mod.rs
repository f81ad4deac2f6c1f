//! A log as it is written: rows that survive a crash, a full disk and a pulled plug.
//!
//! Rows go into memory at once, into the file a few times a second and onto the disk once a second.
//! The file holds whole rows only, as far as the system lets itself be told; a row that could not be
//! written is either still waiting or counted as given up. No clock is read here: the caller says
//! what time it is.
//!
//! ```
//! use evenbreath::log::journal::{Columns, Journal, JournalRow, Start};
//! # let folder = std::env::temp_dir().join(format!("evenbreath-doc-{}", std::process::id()));
//! # std::fs::create_dir_all(&folder).unwrap();
//! # let path = folder.join("idle.csv");
//! let columns = Columns { absolute: false, crank: false, seq: true };
//! let start = Start { columns, head: vec![("device".into(), "box".into())] };
//! let mut journal = Journal::create(&path, &start)?;
//! journal.row(&JournalRow {
//!     time_s: 0.02,
//!     rpm: Some(848.1),
//!     kpa: [Some(57.21), Some(55.9)],
//!     crank_kpa: None,
//!     seq: Some(1),
//!     host_s: 0.0213,
//!     mark: "",
//! });
//! journal.tick(0.2)?;
//! let closed = journal.close().map_err(|(_, error)| error)?;
//! assert_eq!((closed.rows, closed.not_written), (1, 0));
//! # std::fs::remove_dir_all(&folder).unwrap();
//! # Ok::<(), evenbreath::log::journal::JournalError>(())
//! ```

mod backlog;
mod disk;
mod error;
mod name;
#[cfg(test)]
mod tests;
mod text;

pub use error::JournalError;
pub use name::{default_name, next_free};

use backlog::Backlog;
use disk::{Answer, Store, SyncThread};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// What is buffered goes into the file after this time, s.
const WRITE_S: f64 = 0.2;
/// A file that refused is tried again after this time, s.
const RETRY_S: f64 = 1.0;
/// What is in the file goes onto the disk after this time, s.
const SYNC_S: f64 = 1.0;

/// The most bytes of rows that wait while the file cannot be written.
const MOST_WAITING: usize = 32 << 20;

/// Which columns a log has besides `time_s`, `rpm`, the two pressures, `host_s` and `mark`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Columns {
    /// The pressures are absolute (`map1_kpa`, `map2_kpa`), not below atmosphere (`vac1_kpa`,
    /// `vac2_kpa`).
    pub absolute: bool,
    /// There is `crank_kpa`.
    pub crank: bool,
    /// There is `seq`, the number of the sentence.
    pub seq: bool,
}

/// What stands above the rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    /// The columns.
    pub columns: Columns,
    /// The `# key: value` lines, in this order. Line breaks become blanks.
    pub head: Vec<(String, String)>,
}

/// One row. What is `None` or not finite leaves its field empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JournalRow<'a> {
    /// Time of the sample, s.
    pub time_s: f64,
    /// Engine speed, rev/min.
    pub rpm: Option<f64>,
    /// Vacuums or absolute pressures of side 1 and 2, kPa.
    pub kpa: [Option<f64>; 2],
    /// Crankcase below atmosphere, kPa.
    pub crank_kpa: Option<f64>,
    /// Number of the sentence, running on where the wire's own number wraps.
    pub seq: Option<u64>,
    /// The host's own time since the start, s; NaN where no sample came.
    pub host_s: f64,
    /// Mark; empty for none. Line breaks become blanks, and what is beyond 2000 characters is cut.
    pub mark: &'a str,
}

/// Where the rows are. `taken` is the sum of `in_file`, `waiting` and `given_up`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Rows taken.
    pub taken: u64,
    /// Rows in the file.
    pub in_file: u64,
    /// Rows in memory.
    pub waiting: u64,
    /// Rows given up because more than 32 MiB waited.
    pub given_up: u64,
    /// Rows of those in the file of which the system could not say that they reached the disk.
    pub in_doubt: u64,
}

/// What a log holds at its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Closed {
    /// Rows in the file.
    pub rows: u64,
    /// Rows taken that are not in it.
    pub not_written: u64,
    /// Rows of those in the file that may not have reached the disk.
    pub in_doubt: u64,
}

/// A log that is being written.
///
/// Dropped without [`Journal::close`], it still writes what it holds, and says nothing.
pub struct Journal {
    path: PathBuf,
    columns: Columns,
    store: Box<dyn Store>,
    sync: SyncThread,
    backlog: Backlog,
    taken: u64,
    in_doubt: u64,
    /// Rows of which the disk has answered, well or badly.
    answered: u64,
    /// Rows of which the disk was asked.
    asked: u64,
    written_s: Option<f64>,
    asked_s: Option<f64>,
    failing: bool,
    closed: bool,
    /// An error that waits for the next tick.
    unsaid: Option<JournalError>,
}

impl Journal {
    /// Makes the file and writes its heading row. A file that is there already is left alone.
    ///
    /// Errors: [`JournalError::Exists`], [`JournalError::Folder`], [`JournalError::NoFolder`],
    /// [`JournalError::Create`].
    pub fn create(path: &Path, start: &Start) -> Result<Journal, JournalError> {
        let file = disk::create(path).map_err(|source| cannot_create(path, source))?;
        match Journal::on(Box::new(file), path, start) {
            Ok(journal) => {
                disk::sync_folder(path);
                Ok(journal)
            }
            Err(error) => {
                // Made a moment ago and no log yet: the name stays free.
                let _ = std::fs::remove_file(path);
                Err(error)
            }
        }
    }

    /// Starts a log on a file that is empty.
    fn on(mut store: Box<dyn Store>, path: &Path, start: &Start) -> Result<Journal, JournalError> {
        let mut backlog = Backlog::new(MOST_WAITING);
        let sync = backlog
            .head(store.as_mut(), &text::head(start))
            .and_then(|()| store.syncer())
            .and_then(SyncThread::start)
            .map_err(|source| JournalError::Create { path: path.to_path_buf(), source })?;
        Ok(Journal {
            path: path.to_path_buf(),
            columns: start.columns,
            store,
            sync,
            backlog,
            taken: 0,
            in_doubt: 0,
            answered: 0,
            asked: 0,
            written_s: None,
            asked_s: None,
            failing: false,
            closed: false,
            unsaid: None,
        })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Takes a row into memory; never fails and never waits. Where more than 32 MiB wait, the oldest
    /// rows are given up, and the first row that is written after them says how many.
    pub fn row(&mut self, row: &JournalRow) {
        let columns = self.columns;
        self.taken += 1;
        self.backlog.take(|out| text::row(out, columns, row));
    }

    /// Writes what waits where 200 ms have gone since the last write, and asks a thread for a sync
    /// once a second. `now_s` is any clock that runs forward, s; called every 50 ms or sooner, rows
    /// are in the file within 250 ms.
    ///
    /// Errors: [`JournalError::Write`], and nothing is lost yet: the next attempt is a second later;
    /// [`JournalError::Sync`], once for the rows in doubt.
    pub fn tick(&mut self, now_s: f64) -> Result<(), JournalError> {
        while let Some(answer) = self.sync.answer() {
            self.hear(answer);
        }
        let pause_s = if self.failing { RETRY_S } else { WRITE_S };
        let mut outcome = Ok(());
        if self.backlog.waiting() > 0 && is_due(self.written_s, now_s, pause_s) {
            self.written_s = Some(now_s);
            outcome = self.write();
        }
        if self.backlog.in_file > self.asked
            && is_due(self.asked_s, now_s, SYNC_S)
            && self.sync.ask(self.backlog.in_file)
        {
            self.asked = self.backlog.in_file;
            self.asked_s = Some(now_s);
        }
        outcome.and_then(|()| self.unsaid.take().map_or(Ok(()), Err))
    }

    /// Where the rows are.
    pub fn counts(&self) -> Counts {
        Counts {
            taken: self.taken,
            in_file: self.backlog.in_file,
            waiting: self.backlog.waiting(),
            given_up: self.backlog.given_up,
            in_doubt: self.in_doubt,
        }
    }

    /// Writes what waits, waits for the disk and ends the log.
    ///
    /// Errors: [`JournalError::Ended`] where rows are missing, [`JournalError::Sync`] where some are
    /// in doubt; what the file holds is told in either case.
    pub fn close(mut self) -> Result<Closed, (Closed, JournalError)> {
        self.closed = true;
        let outcome = self.backlog.write(self.store.as_mut());
        for answer in self.sync.finish(self.backlog.in_file) {
            self.hear(answer);
        }
        let counts = self.counts();
        let not_written = counts.waiting + counts.given_up;
        let closed = Closed { rows: counts.in_file, not_written, in_doubt: counts.in_doubt };
        let error = match (outcome, self.unsaid.take()) {
            (Err(source), _) => {
                let (path, written) = (self.path.clone(), closed.rows);
                Some(JournalError::Ended { path, written, not_written, source })
            }
            (Ok(()), in_doubt) => in_doubt,
        };
        error.map_or(Ok(closed), |error| Err((closed, error)))
    }

    fn write(&mut self) -> Result<(), JournalError> {
        let outcome = self.backlog.write(self.store.as_mut());
        self.failing = outcome.is_err();
        outcome.map_err(|source| {
            let (waiting, given_up) = (self.backlog.waiting(), self.backlog.given_up);
            JournalError::Write { path: self.path.clone(), waiting, given_up, source }
        })
    }

    /// Takes in what the disk says. After a failed sync the system may count pages as clean that
    /// never reached the disk, so that a later sync that works proves nothing for the rows before:
    /// they stay in doubt (Rebello et al., Can applications recover from fsync failures?, USENIX ATC
    /// 2020; from memory).
    fn hear(&mut self, answer: Answer) {
        let from_row = self.answered + 1;
        let new = answer.rows.saturating_sub(self.answered);
        self.answered = answer.rows;
        let source = match answer.outcome {
            Err(source) if new > 0 => source,
            _ => return,
        };
        self.in_doubt += new;
        let from_row = match &self.unsaid {
            Some(JournalError::Sync { from_row, .. }) => *from_row,
            _ => from_row,
        };
        let (path, to_row) = (self.path.clone(), answer.rows);
        self.unsaid = Some(JournalError::Sync { path, from_row, to_row, source });
    }
}

impl Drop for Journal {
    fn drop(&mut self) {
        if !self.closed {
            let _ = self.backlog.write(self.store.as_mut());
        }
    }
}

/// True where so much time has gone since; a clock that steps back does not stop the writing.
fn is_due(since_s: Option<f64>, now_s: f64, pause_s: f64) -> bool {
    // The caller's sums of steps may fall short of the pause by a rounding.
    const ROUNDING_S: f64 = 1e-6;
    since_s.is_none_or(|since_s| !(since_s..since_s + pause_s - ROUNDING_S).contains(&now_s))
}

/// Says whether a log of this name can be made now, and leaves nothing behind: an error after the
/// engine was started for it comes too late.
///
/// # Errors
/// As [`Journal::create`].
pub fn check_name(path: &Path) -> Result<(), JournalError> {
    disk::create(path).map_err(|source| cannot_create(path, source))?;
    // A file that cannot be taken away again is found when the log is made.
    let _ = std::fs::remove_file(path);
    Ok(())
}

fn cannot_create(path: &Path, source: io::Error) -> JournalError {
    let path = path.to_path_buf();
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    match source.kind() {
        _ if path.is_dir() => JournalError::Folder { path },
        ErrorKind::AlreadyExists => JournalError::Exists { free: next_free(&path), path },
        ErrorKind::NotFound if folder.is_some_and(|folder| !folder.is_dir()) => {
            let folder = folder.map(Path::to_path_buf).unwrap_or_default();
            JournalError::NoFolder { path, folder }
        }
        _ => JournalError::Create { path, source },
    }
}
