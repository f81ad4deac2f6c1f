//! The sample logs, written again by the journal: every figure and every mark comes back.

use crate::Folder;
use evenbreath::log::journal::{Columns, Journal, JournalRow, Start};
use evenbreath::log::{Log, ReadOptions, read_path};
use evenbreath::sample::Column;
use std::path::Path;

fn of(path: &Path) -> Log {
    read_path(path, &ReadOptions::default()).unwrap()
}

/// Writes a log again, sample by sample, each mark on the first sample that is not before it.
fn rewrite(log: &Log, path: &Path) -> u64 {
    let track = &log.track;
    let columns = Columns { absolute: false, crank: track.crank_kpa.is_some(), seq: true };
    let head = vec![
        ("baro_kpa".to_string(), log.baro.kpa.to_string()),
        ("cylinders".to_string(), "4".to_string()),
    ];
    let mut journal = Journal::create(path, &Start { columns, head }).unwrap();
    let mut marks = track.marks.iter().peekable();
    for (k, time_s) in track.time_s.iter().enumerate() {
        let at = |column: &Option<Column>| column.as_ref().map(|column| column.at(k));
        let row = JournalRow {
            time_s,
            rpm: at(&track.rpm),
            kpa: [at(&track.vac1_kpa), at(&track.vac2_kpa)],
            crank_kpa: at(&track.crank_kpa),
            seq: Some(k as u64),
            host_s: time_s,
            mark: marks.next_if(|mark| mark.at.0 <= time_s).map_or("", |mark| &mark.text),
        };
        journal.row(&row);
        journal.tick(0.02 * k as f64).unwrap();
    }
    assert!(marks.next().is_none(), "two marks on one sample");
    journal.close().unwrap().rows
}

fn near(one: &Option<Column>, two: &Option<Column>, within: f64) -> bool {
    let same = |(a, b): (f64, f64)| a.is_nan() && b.is_nan() || (a - b).abs() <= within;
    match (one, two) {
        (Some(one), Some(two)) => one.len() == two.len() && one.iter().zip(two).all(same),
        (one, two) => one.is_none() && two.is_none(),
    }
}

#[test]
fn every_sample_log_written_again_reads_as_before() {
    let folder = Folder::new("rewritten");
    let (mut logs, mut samples) = (0, 0);
    for entry in std::fs::read_dir("sample-logs").unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|ending| ending != "csv") {
            continue;
        }
        let original = of(&path);
        let copy = folder.file(path.file_name().unwrap().to_str().unwrap());
        assert_eq!(rewrite(&original, &copy), original.rows as u64);
        let again = of(&copy);
        let name = path.display();
        assert_eq!((again.rows, again.bad_rows), (original.rows, 0), "{name}");
        let (one, two) = (&original.track, &again.track);
        let times = |log: &Log| Some(log.track.time_s.clone());
        assert!(near(&times(&original), &times(&again), 0.51e-6), "{name}: time");
        assert!(near(&one.rpm, &two.rpm, 0.051), "{name}: speed");
        assert!(near(&one.vac1_kpa, &two.vac1_kpa, 0.000_51), "{name}: vacuum 1");
        assert!(near(&one.vac2_kpa, &two.vac2_kpa, 0.000_51), "{name}: vacuum 2");
        assert!(near(&one.crank_kpa, &two.crank_kpa, 0.000_51), "{name}: crankcase");
        let marks = |log: &Log| -> Vec<String> {
            log.track.marks.iter().map(|mark| mark.text.clone()).collect()
        };
        assert_eq!(marks(&original), marks(&again), "{name}");
        logs += 1;
        samples += again.rows;
    }
    assert!(logs >= 20 && samples > 60_000, "{logs} logs, {samples} samples");
}
