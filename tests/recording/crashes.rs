//! A program that is killed at any moment.

use crate::bench_box::BenchBox;
use crate::recorder::{Recorder, folder, seqs};
use evenbreath::log::{ReadOptions, read_path};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// Sentences a second.
const HZ: u64 = 1_000;
/// What may be missing at the end of the file: the last second.
const MISSING: u64 = HZ;

/// Kills a recording after a random time, and gives how many of the sentences sent are not in the
/// file; `None` where it was killed before there was one.
fn killed(folder: &Path, run: usize, random: &mut Pcg64) -> Option<u64> {
    let mut the_box = BenchBox::new(folder, HZ);
    let port = the_box.plug(&format!("port-{run}"));
    let log = folder.join(format!("log-{run}.csv"));
    let recorder = Recorder::on_port(&log, &port);
    the_box.introduce();
    the_box.run(Duration::from_millis(random.random_range(0..900)));
    let sent = the_box.sent;
    recorder.kill();
    if !log.exists() {
        return None;
    }
    let seqs = seqs(&log);
    // Every row from the first to the last is there, once.
    let whole: Vec<u64> = (0..seqs.len() as u64).collect();
    assert_eq!(seqs, whole, "run {run}");
    let Some(last) = seqs.last() else { return Some(sent) };
    let read = read_path(&log, &ReadOptions::default());
    let read = read.unwrap_or_else(|error| panic!("run {run}: {error}"));
    assert_eq!(read.rows, seqs.len(), "run {run}");
    let torn = !std::fs::read(&log).unwrap().ends_with(b"\n");
    assert_eq!(read.bad_rows, usize::from(torn), "run {run}: a torn row is said, and nothing else");
    Some(sent - 1 - last)
}

#[test]
fn two_hundred_kills_leave_files_that_read_and_lack_a_second_at_most() {
    let folder = folder("kills");
    let (worst, runs, without) = (AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0));
    std::thread::scope(|scope| {
        for quarter in 0..4 {
            let (folder, worst, runs, without) = (&folder, &worst, &runs, &without);
            scope.spawn(move || {
                let mut random = Pcg64::seed_from_u64(quarter);
                for run in 0..50 {
                    let run = quarter as usize * 50 + run;
                    match killed(folder, run, &mut random) {
                        None => without.fetch_add(1, Ordering::Relaxed),
                        Some(missing) => worst.fetch_max(missing, Ordering::Relaxed),
                    };
                    runs.fetch_add(1, Ordering::Relaxed);
                }
            });
        }
    });
    let (worst, runs, without) = (worst.into_inner(), runs.into_inner(), without.into_inner());
    println!(
        "kill -9: {runs} runs, {without} before the file, at most {worst} of {HZ} a second missing"
    );
    assert_eq!(runs, 200);
    assert!(without < 100, "{without} runs were killed before they had begun");
    assert!(worst <= MISSING, "{worst} sentences are missing");
}
