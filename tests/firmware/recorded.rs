//! The whole way: firmware, wire, `record`, log.

use crate::drive::{Drive, session};
use crate::workshop::{Left, SimulatedBox, firmware, folder, has_tools};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// First numbers of a box whose counters wrap early: seq after 536 samples, micros after 5 s.
const NEAR_THE_WRAPS: [&str; 2] = ["FIRST_SEQ=65000", "FIRST_MICROS=4289967295"];

/// A row of the log that holds a sample.
#[derive(Debug, Clone, Copy)]
struct Row {
    time_s: f64,
    rpm: Option<f64>,
    vacuum_kpa: [f64; 2],
    seq: u64,
}

/// What `record` made of a drive.
struct Recorded {
    head: Vec<String>,
    rows: Vec<Row>,
    summary: Value,
    left: Left,
}

/// Records a box until after the end of its drive.
fn record(name: &str, elf: &Path, drive: &Drive, speed: f64, options: &[&str]) -> Recorded {
    let log = folder(name).join("log.csv");
    if log.exists() {
        std::fs::remove_file(&log).unwrap();
    }
    let mut simulated = SimulatedBox::start(name, elf, drive, speed);
    let output = Command::new(env!("CARGO_BIN_EXE_evenbreath"))
        .args(["record".into(), log.clone(), "--port".into(), PathBuf::from(&simulated.terminal)])
        .args(["--seconds", &(drive.lasts_s + 1.0).to_string(), "--json"])
        .args(options)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{name}: {said}");
    let text = std::fs::read_to_string(&log).unwrap();
    let (head, body): (Vec<&str>, Vec<&str>) = text.lines().partition(|line| line.starts_with('#'));
    assert_eq!(body[0], "time_s,rpm,vac1_kpa,vac2_kpa,seq,host_s,mark");
    Recorded {
        head: head.into_iter().map(str::to_string).collect(),
        rows: body[1..].iter().filter_map(|line| row(line)).collect(),
        summary: serde_json::from_slice(&output.stdout).unwrap(),
        left: simulated.left(),
    }
}

/// A row; `None` for one that exists for its mark alone.
fn row(line: &str) -> Option<Row> {
    let fields: Vec<&str> = line.split(',').collect();
    let [time, rpm, vac1, vac2, seq, ..] = fields[..] else { panic!("{line}") };
    (!seq.is_empty()).then(|| Row {
        time_s: time.parse().unwrap(),
        rpm: (!rpm.is_empty()).then(|| rpm.parse().unwrap()),
        vacuum_kpa: [vac1, vac2].map(|field| field.parse().unwrap()),
        seq: seq.parse().unwrap(),
    })
}

impl Recorded {
    fn count(&self, key: &str) -> usize {
        self.summary[key].as_u64().unwrap() as usize
    }

    /// Means from one log time to another, s: speed, rev/min (NaN without any), and both vacuums.
    fn means(&self, from_s: f64, to_s: f64) -> (f64, [f64; 2]) {
        let rows: Vec<&Row> =
            self.rows.iter().filter(|row| (from_s..to_s).contains(&row.time_s)).collect();
        let speeds: Vec<f64> = rows.iter().filter_map(|row| row.rpm).collect();
        let vacuum = |side: usize| {
            rows.iter().map(|row| row.vacuum_kpa[side]).sum::<f64>() / rows.len() as f64
        };
        (speeds.iter().sum::<f64>() / speeds.len() as f64, [vacuum(0), vacuum(1)])
    }

    fn undisturbed(&self) {
        for key in ["garbled", "implausible", "repeated", "unknown", "restarts", "not_written"] {
            assert_eq!(self.count(key), 0, "{key}: {}", self.summary);
        }
        assert!(self.head.contains(&"# device: two-hose-box 1".to_string()), "{:?}", self.head);
        assert_eq!(self.rows.len(), self.count("rows"));
        assert!(self.rows.windows(2).all(|pair| {
            let (count, seconds) = (pair[1].seq - pair[0].seq, pair[1].time_s - pair[0].time_s);
            (seconds - count as f64 * 0.005).abs() < 2e-6
        }));
    }
}

#[test]
fn the_log_is_what_was_driven_and_lacks_nothing() {
    if !has_tools("the_log_is_what_was_driven_and_lacks_nothing") {
        return;
    }
    let drive = session();
    let recorded = record("recorded", &firmware("recorded", &NEAR_THE_WRAPS), &drive, 3.0, &[]);
    recorded.undisturbed();
    assert_eq!(recorded.count("lost"), 0);
    assert_eq!(recorded.count("rows"), recorded.left.samples);
    // Through both wraps: seq and time go on.
    assert_eq!(recorded.rows[0].seq, 65_000);
    let last = recorded.rows.last().unwrap();
    assert_eq!(last.seq, 65_000 + recorded.left.samples as u64 - 1);
    assert!(last.time_s > 30.9, "{last:?}");

    let (_, zero) = recorded.means(0.5, 2.9);
    for (from_s, to_s) in [(9.0, 16.0), (17.0, 21.0), (23.0, 27.0)] {
        let (rpm, kpa) = recorded.means(from_s, to_s);
        let (true_rpm, true_kpa) = drive.means(from_s, to_s);
        println!("{from_s} to {to_s} s: {rpm:.2} rev/min of {true_rpm:.2}");
        assert!((rpm / true_rpm - 1.0).abs() < 0.005, "{from_s} s: {rpm}, not {true_rpm}");
        for side in 0..2 {
            let off = kpa[side] - zero[side] - true_kpa[side];
            println!("    side {}: off by {off:.3} kPa of {:.3}", side + 1, true_kpa[side]);
            assert!(off.abs() < 0.3, "{from_s} s, side {side}: off by {off} kPa");
        }
    }
}

#[test]
fn what_the_box_could_not_send_is_counted_as_lost() {
    if !has_tools("what_the_box_could_not_send_is_counted_as_lost") {
        return;
    }
    let drive = Drive::even(8.0, [4_600.0, 2_500.0], 850.0, 2.0);
    let choices = [NEAR_THE_WRAPS[0], NEAR_THE_WRAPS[1], "BAUD=57600"];
    let recorded = record("recorded-slow", &firmware("recorded-slow", &choices), &drive, 2.0, &[]);
    recorded.undisturbed();
    assert_eq!(recorded.count("rows"), recorded.left.samples);
    let (first, last) = (recorded.rows[0].seq, recorded.rows.last().unwrap().seq);
    assert!(recorded.count("lost") > 100, "{}", recorded.summary);
    assert_eq!(recorded.count("rows") + recorded.count("lost"), (last - first + 1) as usize);
}

#[test]
fn a_change_of_rate_loses_nothing() {
    if !has_tools("a_change_of_rate_loses_nothing") {
        return;
    }
    let drive = Drive::even(4.0, [4_600.0, 2_500.0], 850.0, 2.0);
    let elf = firmware("recorded-rate", &NEAR_THE_WRAPS);
    let recorded = record("recorded-rate", &elf, &drive, 1.0, &["--rate", "50"]);
    assert_eq!(recorded.left.answers, 1);
    for key in ["lost", "garbled", "implausible", "repeated", "unknown", "restarts", "not_written"]
    {
        assert_eq!(recorded.count(key), 0, "{key}: {}", recorded.summary);
    }
    assert_eq!(recorded.count("rows"), recorded.left.samples);
    let spaced = |pair: &[Row], by_s: f64| (pair[1].time_s - pair[0].time_s - by_s).abs() < 2e-6;
    let rows = &recorded.rows;
    assert!(rows.windows(2).rev().take(50).all(|pair| spaced(pair, 0.02)), "{:?}", rows.last());
}
