//! Logs as the journal writes them: on disks that fail, cut at every byte, and read again.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod cuts;
mod disks;
mod kills;
mod outages;
mod rewritten;

use evenbreath::log::journal::{Columns, Journal, JournalRow, Start};
use std::path::{Path, PathBuf};

const COLUMNS: Columns = Columns { absolute: false, crank: false, seq: true };

fn start(columns: Columns) -> Start {
    let head = [("device", "box"), ("baro_kpa", "100.8")];
    Start { columns, head: head.map(|(key, value)| (key.into(), value.into())).to_vec() }
}

/// A row of an idling engine at 50 Hz.
fn row(k: u64, mark: &str) -> JournalRow<'_> {
    let turn = 0.9 * k as f64;
    JournalRow {
        time_s: 0.02 * k as f64,
        rpm: Some(850.0 + turn.sin()),
        kpa: [Some(57.0 + 3.0 * turn.sin()), Some(56.5 + 3.0 * turn.cos())],
        crank_kpa: Some(0.02),
        seq: Some(k),
        host_s: 0.021 + 0.02 * k as f64,
        mark,
    }
}

/// A row for a mark alone.
fn only_mark(time_s: f64, mark: &str) -> JournalRow<'_> {
    JournalRow {
        time_s,
        rpm: None,
        kpa: [None, None],
        crank_kpa: None,
        seq: None,
        host_s: f64::NAN,
        mark,
    }
}

/// A folder of its own under the system's, empty.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("evenbreath-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Folder(path)
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The text that these rows leave.
fn text(name: &str, columns: Columns, rows: &[JournalRow]) -> String {
    let folder = Folder::new(name);
    let path = folder.file("log.csv");
    written(&path, columns, rows);
    std::fs::read_to_string(&path).unwrap()
}

fn written(path: &Path, columns: Columns, rows: &[JournalRow]) {
    let mut journal = Journal::create(path, &start(columns)).unwrap();
    rows.iter().for_each(|row| journal.row(row));
    assert_eq!(journal.close().unwrap().rows, rows.len() as u64);
}
