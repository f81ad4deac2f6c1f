//! The figures of a recording that runs are those of its log: the same code on the same samples.

use evenbreath::findings::screws::Memory;
use evenbreath::findings::{Conditions, balance};
use evenbreath::live::so_far;
use evenbreath::log::{ReadOptions, read_path};
use evenbreath::recording::window::{Window, WindowRow};
use evenbreath::sample::{Column, RowNumbers, Track};
use evenbreath::signal;
use std::path::Path;

fn track(name: &str) -> Track {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs").join(name);
    read_path(&path, &ReadOptions::default()).unwrap().track
}

/// A log up to a time, as if it had been stopped then.
fn until(track: &Track, end_s: f64) -> Track {
    let rows = track.time_s.partition_point(|time| time <= end_s);
    let cut = |column: &Option<Column>| column.as_ref().map(|c| c.window(0..rows).into());
    Track {
        time_s: track.time_s.window(0..rows).into(),
        rpm: cut(&track.rpm),
        vac1_kpa: cut(&track.vac1_kpa),
        vac2_kpa: cut(&track.vac2_kpa),
        crank_kpa: None,
        flow1_kpa: None,
        flow2_kpa: None,
        row: RowNumbers::all(rows),
        marks: track.marks.iter().filter(|mark| mark.at.0 <= end_s).cloned().collect(),
    }
}

/// What a recording keeps of it, sample by sample and mark by mark.
fn fed(track: &Track, recent_s: f64) -> Window {
    let mut window = Window::lasting(recent_s);
    let mut marks = track.marks.iter().peekable();
    for (k, time_s) in track.time_s.iter().enumerate() {
        let of = |column: &Option<Column>| column.as_ref().map_or(f64::NAN, |column| column.at(k));
        let vac_kpa = [of(&track.vac1_kpa), of(&track.vac2_kpa)];
        window.take(WindowRow { time_s, rpm: of(&track.rpm), vac_kpa });
        while let Some(mark) = marks.next_if(|mark| mark.at.0 <= time_s) {
            window.mark(mark.clone());
        }
    }
    window
}

fn close(a: f64, b: f64, what: &str) {
    assert!((a - b).abs() <= 1e-9, "{what}: {a} live, {b} in the log");
}

#[test]
fn live_figures_are_those_of_the_log_to_a_billionth() {
    let conditions = Conditions::default();
    let mut compared = 0;
    for (name, ends_s) in [
        ("balance-before.csv", [14.0, 22.5, 30.0, 48.0, 57.0]),
        ("balance-after.csv", [15.0, 25.0, 33.3, 50.0, 55.0]),
        ("balance-swap.csv", [12.0, 20.0, 30.0, 40.0, 50.0]),
        ("balance-no-zero.csv", [8.0, 10.0, 15.0, 20.0, 25.0]),
    ] {
        let whole = track(name);
        for end_s in ends_s {
            let log = until(&whole, end_s);
            let live = so_far::judge(fed(&log, 60.0).track(), &conditions, &mut Memory::default());
            let batch = balance::find(&signal::prepare(log, conditions.cylinders), &conditions);
            let latest = batch.plateaus.iter().max_by(|a, b| a.to_s.total_cmp(&b.to_s));
            assert_eq!(live.zero, batch.zero.method, "{name} at {end_s} s");
            let Some(steady) = live.steady else { continue };
            let latest = latest.unwrap();
            let at = |what: &str| format!("{name} at {end_s} s, {what}");
            let interval = live.difference.unwrap();
            close(interval.value_kpa, latest.difference_kpa, &at("difference"));
            close(interval.low_kpa, latest.low_kpa, &at("low"));
            close(interval.high_kpa, latest.high_kpa, &at("high"));
            close(steady.air1_over_air2, latest.air1_over_air2, &at("air"));
            close(steady.u_kpa, latest.u_kpa, &at("uncertainty"));
            assert_eq!((live.needs_s, steady.verdict), (latest.needs_s, latest.verdict));
            compared += 1;
        }
    }
    assert!(compared >= 10, "only {compared} moments had something steady");
}

#[test]
fn a_shorter_window_judges_its_own_samples_and_those_of_the_zero() {
    let conditions = Conditions::default();
    let log = until(&track("balance-before.csv"), 120.0);
    let window = fed(&log, 8.0);
    let kept = window.track();
    let mut log_kept = log.clone();
    // The same samples taken out of the log: those within 45 s of the start and of the marks, and the last.
    let times = kept.time_s.to_vec();
    let rows: Vec<usize> =
        (0..log.time_s.len()).filter(|k| times.contains(&log.time_s.at(*k))).collect();
    let pick = |column: &Option<Column>| {
        column.as_ref().map(|column| rows.iter().map(|k| column.at(*k)).collect::<Column>())
    };
    log_kept.time_s = rows.iter().map(|k| log.time_s.at(*k)).collect();
    log_kept.row = rows.iter().map(|k| log.row.of(*k)).collect();
    (log_kept.rpm, log_kept.vac1_kpa, log_kept.vac2_kpa) =
        (pick(&log.rpm), pick(&log.vac1_kpa), pick(&log.vac2_kpa));
    assert!(
        rows.len() < log.time_s.len(),
        "the window has dropped nothing, and the test shows nothing"
    );
    let newest = log.time_s.last().unwrap();
    let since = window.since(newest - 8.0);
    assert!(since.first().unwrap().time_s <= newest - 7.9, "the last 8 s are kept");
    let live = so_far::judge(kept, &conditions, &mut Memory::default());
    let batch = balance::find(&signal::prepare(log_kept, conditions.cylinders), &conditions);
    let latest = batch.plateaus.iter().max_by(|a, b| a.to_s.total_cmp(&b.to_s)).unwrap();
    let steady = live.steady.unwrap();
    close(steady.difference_kpa, latest.difference_kpa, "difference");
    close(steady.low_kpa, latest.low_kpa, "low");
    close(steady.high_kpa, latest.high_kpa, "high");
}
