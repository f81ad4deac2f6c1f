//! Logs of real machines, made by nobody on this project, from the file to plateaus and findings.
//!
//! They lie in `../shared/real-logs` beside the repository (or beside the folder that holds a work
//! tree of it), with a README that names the source of each and lists what is in it; the figures
//! here are that README's. Without the folder these tests say that they were not run, and where
//! `CI` is set they fail instead.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use evenbreath::findings::balance::ZeroMethod;
use evenbreath::findings::breather::BreatherVerdict;
use evenbreath::findings::{Conditions, balance, breather};
use evenbreath::log::{self, Log, ReadOptions, Role};
use evenbreath::signal::plateaus::{Kind, Plateau, Step};
use evenbreath::signal::{self, Signal};
use evenbreath::statistics::correlated::{MeanInterval, mean_interval};
use std::path::{Path, PathBuf};

/// The folder, or a loud word that it is not there.
fn folder() -> Option<PathBuf> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let places = ["../shared/real-logs", "../../shared/real-logs"].map(|place| here.join(place));
    let found = places.iter().find(|place| place.is_dir()).cloned();
    if found.is_none() {
        let what = "../shared/real-logs is missing: the real logs were NOT TRIED";
        assert!(std::env::var_os("CI").is_none(), "{what}");
        eprintln!("NOT RUN: {what}");
    }
    found
}

/// Reads a log as `inspect` does; `columns` as for its `--columns`.
fn read(name: &str, columns: Option<&str>) -> Option<Log> {
    let path = folder()?.join(name);
    let options = ReadOptions { columns: columns.map(String::from), ..ReadOptions::default() };
    Some(log::read_path(&path, &options).unwrap_or_else(|e| panic!("{name}: {e}")))
}

fn signal(name: &str) -> Option<Signal> {
    read(name, None).map(|log| signal::prepare(log.track, 4))
}

fn running(signal: &Signal) -> Vec<&Plateau> {
    signal.plateaus.iter().filter(|plateau| plateau.kind == Kind::Running).collect()
}

/// Rows may be off by this many: the engine speed of these logs is held for about four.
const ROWS: u32 = 4;
/// Speeds may be off by this much, rev/min.
const RPM: f64 = 3.0;

/// Mean speed of the samples in these rows, straight from the column.
fn mean_speed(signal: &Signal, rows: std::ops::RangeInclusive<u32>) -> f64 {
    let (row, rpm) = (&signal.track.row, signal.track.rpm.as_ref().unwrap());
    let inside = row.iter().zip(rpm).filter(|(row, rpm)| rows.contains(row) && rpm.is_finite());
    let (sum, count) = inside.fold((0.0, 0.0), |(sum, count), (_, rpm)| (sum + rpm, count + 1.0));
    sum / count
}

/// The one running plateau that holds this row.
#[track_caller]
fn plateau_at(signal: &Signal, row: u32) -> Plateau {
    let found = running(signal);
    let holds = |plateau: &&&Plateau| (plateau.from_row..=plateau.to_row).contains(&row);
    let Some(plateau) = found.iter().find(holds) else {
        panic!("no plateau at row {row}: {found:#?}");
    };
    (*plateau).clone()
}

#[test]
fn every_log_is_read_and_made_ready() {
    for (name, columns, rows) in [
        ("idle7.csv", None, 1930),
        ("idle15.csv", None, 1207),
        ("idle27.csv", None, 2112),
        ("live6.csv", None, 2287),
        ("pair-barometers.csv", None, 10_045),
        // Its columns are named in a language of their own: no guess would be fair.
        ("decimal-comma-quoted.csv", Some("time=DRME_OCR_UTC_DTE,map1=DRME_DRU"), 213),
        ("utf16-preamble.csv", None, 10),
    ] {
        let Some(log) = read(name, columns) else { return };
        assert_eq!((log.rows, log.bad_rows), (rows, 0), "{name}");
        assert!(log.track.time_s.to_vec().windows(2).all(|pair| pair[0] < pair[1]), "{name}");
        let signal = signal::prepare(log.track, 4);
        assert_eq!(signal.track.len(), rows, "{name}");
        for plateau in &signal.plateaus {
            assert!(plateau.from_s < plateau.to_s, "{name}: {plateau:?}");
            assert!(plateau.to_row < rows as u32, "{name}: {plateau:?}");
        }
    }
}

#[test]
fn a_log_with_rows_shorter_than_its_headings_keeps_its_columns() {
    // Rows of live6.csv are three fields short of the headings.
    let (Some(log), Some(folder)) = (read("live6.csv", None), folder()) else { return };
    let text = std::fs::read_to_string(folder.join("live6.csv")).unwrap();
    let mut lines = text
        .lines()
        .filter(|line| !line.is_empty())
        .map(|line| line.split(',').map(str::trim).collect::<Vec<_>>());
    let headings = lines.next().unwrap();
    let place = |heading: &str| headings.iter().position(|h| *h == heading).unwrap();
    let (rpm, map) = (place("ENGINE_RPM ()"), place("INTAKE_MANIFOLD_PRESSURE ()"));
    let taken = |role: Role| log.taken.iter().find(|t| t.role == role).map(|t| t.heading.trim());
    assert_eq!(taken(Role::Rpm), Some("ENGINE_RPM ()"));
    assert_eq!(taken(Role::Map1), Some("INTAKE_MANIFOLD_PRESSURE ()"));
    let (speeds, vacuums) = (log.track.rpm.unwrap(), log.track.vac1_kpa.unwrap());
    for (k, fields) in lines.enumerate() {
        assert_eq!(speeds.at(k), fields[rpm].parse::<f64>().unwrap(), "row {k}");
        let kpa = log.baro.kpa - vacuums.at(k);
        assert!((kpa - fields[map].parse::<f64>().unwrap()).abs() < 1e-9, "row {k}: {kpa} kPa");
    }
}

#[test]
fn a_long_idle_is_one_plateau_without_a_step() {
    // Listed: rows 25 to 1929, 651.2 rev/min, no lasting step, two short blips.
    let Some(signal) = signal("idle7.csv") else { return };
    let found = running(&signal);
    assert_eq!(found.len(), 1, "{found:#?}");
    assert!(found[0].from_row.abs_diff(25) <= ROWS, "{:?}", found[0]);
    assert!(found[0].to_row.abs_diff(1929) <= ROWS, "{:?}", found[0]);
    assert!((found[0].rpm.unwrap() - 651.2).abs() <= RPM, "{:?}", found[0]);
    assert!(signal.steps.is_empty(), "{:?}", signal.steps);
}

/// Listed plateaus of idle15.csv: 40-245, 270-414, 432-819, 845-925, 1040-1206.
///
/// The start of the first is not held: it is found at row 25 where 40 is listed, because rows 25 to
/// 39 lie 14 rev/min below what follows, less than the 20 that part two plateaus. Between the dips at 926-941 and
/// 996-1007, outside every listed plateau, one more is found.
#[test]
fn a_load_that_comes_and_goes_is_followed() {
    let Some(signal) = signal("idle15.csv") else { return };
    let listed = [(None, 40, 245), (Some(270), 270, 414), (Some(432), 432, 819)];
    let later = [(Some(845), 845, 925), (Some(1040), 1040, 1206)];
    for (start, first, last) in listed.into_iter().chain(later) {
        let plateau = plateau_at(&signal, (first + last) / 2);
        if let Some(start) = start {
            assert!(plateau.from_row.abs_diff(start) <= ROWS, "{start}: {plateau:?}");
        }
        assert!(plateau.from_row <= first + ROWS, "{first}: {plateau:?}");
        assert!(plateau.to_row.abs_diff(last) <= ROWS, "{last}: {plateau:?}");
        let speed = mean_speed(&signal, first..=last);
        assert!((plateau.rpm.unwrap() - speed).abs() <= RPM, "{speed}: {plateau:?}");
    }
    // Listed: steps up at rows 246 and 820, lasting drops at 415 (858 to 654 rev/min) and 1025.
    let steps = [(246, 1.0), (415, -1.0), (820, 1.0), (1025, -1.0)];
    assert_eq!(signal.steps.len(), steps.len(), "{:#?}", signal.steps);
    for (step, (row, way)) in signal.steps.iter().zip(steps) {
        assert!(step.at_row.abs_diff(row) <= ROWS, "{row}: {step:?}");
        assert!((step.after_rpm - step.before_rpm) * way > 150.0, "{row}: {step:?}");
        assert!(step.sharp, "{step:?}");
    }
    assert!((signal.steps[1].before_rpm - 858.0).abs() <= RPM, "{:?}", signal.steps[1]);
    assert!((signal.steps[1].after_rpm - 654.0).abs() <= RPM, "{:?}", signal.steps[1]);
}

/// Listed for idle27.csv: 714, 688, then a ramp of -45 rev/min over rows 480 to 545 (30 s, no
/// sharp step), then 651.
///
/// The ends of the ramp are not held: the second plateau is found to last until row 503 and the
/// last to begin at row 515, both inside the ramp as it is listed.
#[test]
fn a_slow_settling_has_its_levels() {
    let Some(signal) = signal("idle27.csv") else { return };
    for (row, rpm) in [(140, 714.0), (350, 688.0), (1300, 651.0)] {
        let plateau = plateau_at(&signal, row);
        assert!((plateau.rpm.unwrap() - rpm).abs() <= RPM, "{rpm}: {plateau:?}");
    }
    let last = plateau_at(&signal, 1300);
    assert!(last.from_row <= 545 + ROWS && last.to_row + ROWS >= 2111, "{last:?}");
    assert!(in_ramp(&signal).len() <= 1, "{:?}", signal.steps);
}

fn in_ramp(signal: &Signal) -> Vec<&Step> {
    signal.steps.iter().filter(|step| (470..=555).contains(&step.at_row)).collect()
}

#[test]
fn a_ramp_of_half_a_minute_is_no_sharp_step() {
    let Some(signal) = signal("idle27.csv") else { return };
    assert!(in_ramp(&signal).iter().all(|step| !step.sharp), "{:?}", in_ramp(&signal));
}

#[test]
fn no_cap_test_is_found_where_there_was_none() {
    for name in ["idle7.csv", "idle27.csv"] {
        let Some(signal) = signal(name) else { return };
        let found = breather::find(&signal, &Conditions::default());
        assert!(found.openings.is_empty(), "{name}: {:#?}", found.openings);
        assert_eq!((found.verdict, found.drop_rpm), (BreatherVerdict::NotSettled, None), "{name}");
    }
    let Some(signal) = signal("idle15.csv") else { return };
    let found = breather::find(&signal, &Conditions::default());
    assert_eq!(found.verdict, BreatherVerdict::NotSettled, "{}", found.say);
}

#[test]
fn a_load_that_comes_and_goes_is_no_cap_test() {
    let Some(signal) = signal("idle15.csv") else { return };
    let found = breather::find(&signal, &Conditions::default());
    assert!(found.openings.is_empty(), "{:#?}", found.openings);
}

#[test]
fn a_real_pair_of_sensors_has_its_zero() {
    // Listed: p1 - p2 = 0.432 hPa, wandering from 0.33 to 0.60, white noise 0.038 hPa. More
    // pressure is less vacuum.
    let Some(signal) = signal("pair-barometers.csv") else { return };
    let zero = balance::find(&signal, &Conditions::default()).zero;
    assert_eq!(zero.method, ZeroMethod::EngineOff);
    assert!((zero.offset_kpa + 0.0432).abs() < 0.0005, "{zero:?}");
    // White noise alone would leave 0.038/sqrt(10045) hPa; the wandering leaves far more.
    assert!(zero.u_kpa > 5.0 * 0.0038 / 10_045.0_f64.sqrt(), "{zero:?}");
}

#[test]
fn the_mean_speed_of_a_real_idle_has_an_honest_interval() {
    // Listed: standard error naive 0.14 rev/min, honest about 1.05 (33 independent samples).
    let Some(signal) = signal("idle7.csv") else { return };
    let plateau = running(&signal)[0];
    let blocks = plateau.first_block..plateau.end_block;
    let rpm = &signal.cycles.rpm.as_ref().unwrap()[blocks];
    let MeanInterval { mean, u, low, high, .. } = mean_interval(rpm, 0.95).unwrap();
    assert!((mean - 651.2).abs() <= RPM && low < mean && mean < high, "{mean} in {low} to {high}");
    assert!((0.5..=2.0).contains(&u), "{u}");
}
