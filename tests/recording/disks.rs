//! Disks that are full, and folders that may not be written to.

use crate::bench_box::BenchBox;
use crate::recorder::{Recorder, command, ended, folder, lines, seqs, until};
use evenbreath::log::{ReadOptions, read_path};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A small disk of its own.
struct SmallDisk(PathBuf);

impl SmallDisk {
    /// Mounts it; `None` where that is not allowed here.
    fn mount(at: &Path, options: &str) -> Option<Self> {
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", options, "tmpfs"]).arg(at);
        let mounted = mount.output().is_ok_and(|output| output.status.success());
        if !mounted {
            // Written past the capture of the test's output: a skip has to be loud.
            let line =
                "SKIPPED: tests/recording/disks.rs: a small disk cannot be mounted (it needs root)";
            let _ = writeln!(std::io::stderr(), "{line}");
            assert!(
                std::env::var_os("EVENBREATH_DISKS_REQUIRED").is_none(),
                "a small disk is needed"
            );
        }
        mounted.then(|| SmallDisk(at.into()))
    }

    fn remount(&self, options: &str) {
        let options = format!("remount,{options}");
        let status = Command::new("mount").args(["-o", &options]).arg(&self.0).status().unwrap();
        assert!(status.success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

#[test]
fn a_full_disk_is_said_and_what_waited_is_written_when_there_is_room() {
    let at = folder("full");
    let Some(disk) = SmallDisk::mount(&at, "size=64k") else { return };
    let ports = folder("full-ports");
    let mut the_box = BenchBox::new(&ports, 1_000);
    let port = the_box.plug("port");
    let recorder = Recorder::on_port(&at.join("log.csv"), &port);
    the_box.introduce();
    the_box.send(1_000);
    recorder.holds_sentence(999);
    the_box.send(4_000);
    until("the disk to be full", || std::fs::metadata(&recorder.log).unwrap().len() > 60_000);
    // What is in the file by then reads.
    let read = read_path(&recorder.log, &ReadOptions::default()).unwrap();
    assert!(read.rows > 1_000 && read.bad_rows == 0);
    disk.remount("size=4m");
    recorder.holds_sentence(4_999);
    let log = recorder.log.clone();
    let ended = recorder.interrupt();
    println!("full disk, then room: {}", ended.summary);
    assert!(ended.err.contains("cannot be written"), "{}", ended.err);
    assert_eq!(
        (ended.count("rows"), ended.count("lost"), ended.count("not_written")),
        (5_000, 0, 0)
    );
    assert_eq!(seqs(&log), (0..5_000).collect::<Vec<u64>>());
}

#[test]
fn a_disk_that_stays_full_leaves_whole_rows_and_a_count() {
    let at = folder("stays-full");
    let Some(_disk) = SmallDisk::mount(&at, "size=64k") else { return };
    let ports = folder("stays-full-ports");
    let mut the_box = BenchBox::new(&ports, 1_000);
    let port = the_box.plug("port");
    let recorder = Recorder::on_port(&at.join("log.csv"), &port);
    the_box.introduce();
    the_box.send(5_000);
    until("the disk to be full", || {
        std::fs::metadata(&recorder.log).is_ok_and(|file| file.len() > 60_000)
    });
    let log = recorder.log.clone();
    let ended = recorder.interrupt();
    println!("full disk: {}", ended.summary);
    ended.makes_up(5_000);
    let in_file = seqs(&log);
    assert_eq!(in_file, (0..in_file.len() as u64).collect::<Vec<u64>>());
    assert_eq!(in_file.len() as u64 + ended.count("not_written"), 5_000);
    assert_eq!(lines(&log).len(), in_file.len(), "whole rows only");
    assert!(ended.summary["trouble"].as_str().unwrap().contains("not"), "{ended:?}");
}

#[test]
fn a_folder_that_may_not_be_written_to_is_an_error_before_anything_is_recorded() {
    let at = folder("read-only");
    let Some(_disk) = SmallDisk::mount(&at, "size=64k,ro") else { return };
    let ports = folder("read-only-ports");
    let mut the_box = BenchBox::new(&ports, 1_000);
    let port = the_box.plug("port");
    let args = ["--port", port.to_str().unwrap()];
    let ended = ended(command(&at.join("log.csv"), &args).output().unwrap());
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.err.contains("cannot be made") && ended.err.contains("help:"), "{}", ended.err);
}

#[test]
fn a_log_is_never_written_over() {
    let folder = folder("exists");
    let log = folder.join("idle.csv");
    std::fs::write(&log, "precious").unwrap();
    std::fs::write(folder.join("idle-2.csv"), "").unwrap();
    let ended = ended(command(&log, &["--model", "--seconds", "1"]).output().unwrap());
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.contains("idle-3.csv"), "{}", ended.err);
    assert_eq!(std::fs::read_to_string(&log).unwrap(), "precious");
}
