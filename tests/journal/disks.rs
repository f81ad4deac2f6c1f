//! Real files: names that are taken, folders that refuse, disks that fill.

use crate::{COLUMNS, Folder, row, start};
use evenbreath::log::journal::{Closed, Journal, JournalError, next_free};
use evenbreath::log::{ReadOptions, read_path};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

fn refused(path: &Path) -> JournalError {
    Journal::create(path, &start(COLUMNS)).err().unwrap()
}

#[test]
fn a_log_is_never_written_over() {
    let folder = Folder::new("taken");
    let path = folder.file("idle.csv");
    fs::write(&path, "mine\n").unwrap();
    fs::write(folder.file("idle-2.csv"), "mine too\n").unwrap();
    let error = refused(&path);
    let JournalError::Exists { free, .. } = &error else { panic!("{error}") };
    assert_eq!(*free, folder.file("idle-3.csv"));
    assert_eq!(fs::read_to_string(&path).unwrap(), "mine\n");
    Journal::create(free, &start(COLUMNS)).unwrap().close().unwrap();
    assert_eq!(next_free(&path), folder.file("idle-4.csv"));
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_nowhere_takes_its_name() {
    let folder = Folder::new("link");
    std::os::unix::fs::symlink(folder.file("gone"), folder.file("idle.csv")).unwrap();
    let error = refused(&folder.file("idle.csv"));
    let JournalError::Exists { free, .. } = &error else { panic!("{error}") };
    assert_eq!(*free, folder.file("idle-2.csv"));
}

#[test]
fn what_cannot_be_made_is_said_with_what_to_do() {
    let folder = Folder::new("refused");
    let inside = folder.file("no").join("such").join("idle.csv");
    fs::write(folder.file("file"), "").unwrap();
    for (path, found) in [
        (inside, "there is no folder"),
        (folder.0.clone(), "is a folder"),
        (folder.file("file").join("idle.csv"), "cannot be made"),
        (PathBuf::from("/proc/idle.csv"), "cannot be made"),
    ] {
        let text = refused(&path).to_string();
        let (what, next) = text.rsplit_once("; ").unwrap();
        assert!(what.contains(found) && next.contains("name"), "{text}");
    }
}

#[test]
fn rows_are_in_the_file_after_a_tick() {
    let folder = Folder::new("tick");
    let path = folder.file("idle.csv");
    let mut journal = Journal::create(&path, &start(COLUMNS)).unwrap();
    let rows = || fs::read_to_string(&path).unwrap().lines().count() - 3;
    assert_eq!(rows(), 0, "the heading row is there at once");
    for k in 0..50 {
        journal.row(&row(k, ""));
        journal.tick(0.02 * k as f64).unwrap();
    }
    // Written at 0, 0.2, 0.4, 0.6 and 0.8 s.
    assert_eq!((rows(), journal.counts().in_file, journal.counts().waiting), (41, 41, 9));
    // As after kill -9: nothing is closed, nothing is dropped.
    std::mem::forget(journal);
    let log = read_path(&path, &ReadOptions::default()).unwrap();
    assert_eq!((log.rows, log.bad_rows), (41, 0));
}

/// A file system of its own, gone when dropped.
struct Mount(Folder);

impl Mount {
    /// `None`, loudly, where nobody may mount here.
    fn new(name: &str, options: &str) -> Option<Mount> {
        let folder = Folder::new(name);
        let done = Command::new("mount")
            .args(["-t", "tmpfs", "-o", options, "tmpfs"])
            .arg(&folder.0)
            .output();
        if done.is_ok_and(|done| done.status.success()) {
            return Some(Mount(folder));
        }
        // Written past the capture of the test's output: a skip has to be loud.
        let _ = writeln!(std::io::stderr(), "SKIPPED: {name}: a tmpfs may not be mounted here");
        assert!(std::env::var_os("EVENBREATH_DISKS_REQUIRED").is_none(), "{name} is needed");
        None
    }

    fn remount(&self, options: &str) {
        let options = format!("remount,{options}");
        let done = Command::new("mount").args(["-o", &options]).arg(&self.0.0).status();
        assert!(done.unwrap().success(), "mount -o {options}");
    }
}

impl Drop for Mount {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0.0).status();
    }
}

#[test]
fn a_disk_that_fills_keeps_whole_rows_and_the_others_wait() {
    let Some(mount) = Mount::new("full", "size=64k") else { return };
    let path = mount.0.file("idle.csv");
    let mut journal = Journal::create(&path, &start(COLUMNS)).unwrap();
    let mut refusals = 0;
    for k in 0..5000u64 {
        journal.row(&row(k, if k % 100 == 7 { "cap off" } else { "" }));
        if let Err(error) = journal.tick(0.02 * k as f64) {
            assert!(matches!(error, JournalError::Write { .. }), "{error}");
            refusals += 1;
        }
    }
    let counts = journal.counts();
    assert!(refusals > 50 && counts.waiting > 2000 && counts.in_file > 900, "{counts:?}");
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.ends_with('\n'));
    let log = read_path(&path, &ReadOptions::default()).unwrap();
    assert_eq!((log.rows as u64, log.bad_rows), (counts.in_file, 0));
    mount.remount("size=4m");
    journal.tick(200.0).unwrap();
    assert_eq!(journal.counts().in_file, 5000);
    assert_eq!(journal.close().unwrap(), Closed { rows: 5000, not_written: 0, in_doubt: 0 });
    let log = read_path(&path, &ReadOptions::default()).unwrap();
    assert_eq!((log.rows, log.bad_rows, log.track.marks.len()), (5000, 0, 50));
}

#[test]
fn a_disk_that_stays_full_is_said_at_the_end() {
    let Some(mount) = Mount::new("stays-full", "size=16k") else { return };
    let path = mount.0.file("idle.csv");
    let mut journal = Journal::create(&path, &start(COLUMNS)).unwrap();
    (0..1000).for_each(|k| journal.row(&row(k, "")));
    let (closed, error) = journal.close().unwrap_err();
    assert_eq!(closed.rows + closed.not_written, 1000);
    assert!(matches!(error, JournalError::Ended { .. }), "{error}");
    let log = read_path(&path, &ReadOptions::default()).unwrap();
    assert_eq!((log.rows as u64, log.bad_rows), (closed.rows, 0));
    // Not even a heading row: no empty file is left to stand in the way.
    let other = mount.0.file("other.csv");
    assert!(matches!(refused(&other), JournalError::Create { .. }));
    assert!(!other.exists());
}

#[test]
fn a_folder_that_may_only_be_read_is_said() {
    let Some(mount) = Mount::new("read-only", "size=64k") else { return };
    mount.remount("ro");
    let text = refused(&mount.0.file("idle.csv")).to_string();
    assert!(text.contains("cannot be made") && text.contains("may be written to"), "{text}");
}
