//! What cannot be used is refused with one clear sentence, code 2, and nothing left behind.

use crate::logs::{dirty, file, folder, idle, openings};
use crate::run::{Run, run};
use std::fs;
use std::path::Path;

const COMMANDS: [&str; 4] = ["balance", "breather", "inspect", "match"];

/// Refused by every command that reads a log, in words that hold all of `words`.
fn refused_by_all(log: &str, words: &[&str]) {
    for command in COMMANDS {
        let run = run(&[command, log]).refused();
        for word in words {
            assert!(run.err.contains(word), "{command}: no {word:?} in {}", run.err);
        }
        assert!(run.err.contains("\nhelp: "), "{command}: what to do? {}", run.err);
    }
}

#[test]
fn no_such_file() {
    refused_by_all("nowhere/at-all.csv", &["nowhere/at-all.csv"]);
}

#[test]
fn a_directory() {
    let folder = folder("fault-directory");
    refused_by_all(folder.to_str().unwrap(), &["directory"]);
}

#[test]
fn an_empty_file() {
    let folder = folder("fault-empty");
    refused_by_all(&file(&folder, "empty.csv", ""), &["empty"]);
}

#[test]
fn a_binary_file() {
    let folder = folder("fault-binary");
    let bytes: Vec<u8> =
        (0..4096u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let png = [b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".as_slice(), &bytes].concat();
    refused_by_all(&file(&folder, "picture.csv", png), &["picture.csv"]);
}

#[test]
fn a_heading_without_rows() {
    let folder = folder("fault-bare");
    let log = file(&folder, "bare.csv", "time_s,rpm,vac1_kpa,vac2_kpa,mark\n");
    refused_by_all(&log, &["no usable row"]);
}

#[test]
fn a_missing_role_is_named_with_what_to_type() {
    let folder = folder("fault-role");
    let without = |drop: usize| -> String {
        let cut = |line: &str| -> String {
            let fields: Vec<&str> = line.split(',').collect();
            let kept = fields.iter().enumerate().filter(|(k, _)| *k != drop);
            kept.map(|(_, field)| *field).collect::<Vec<_>>().join(",") + "\n"
        };
        idle(1.0, 20).lines().filter(|line| !line.starts_with('#')).map(cut).collect()
    };
    let one_sided = file(&folder, "one.csv", without(3));
    let refused = run(&["balance", &one_sided]).refused();
    assert!(refused.err.contains("vacuum of side 2"), "{}", refused.err);
    assert!(refused.err.contains("--columns \"vac2="), "{}", refused.err);
    run(&["breather", &one_sided]).good();
    run(&["inspect", &one_sided]).good();
    let timeless = file(&folder, "timeless.csv", without(0));
    assert!(run(&["balance", &timeless]).refused().err.contains("time"));
}

#[test]
fn too_many_bad_rows_unless_lenient() {
    let folder = folder("fault-dirty");
    let log = file(&folder, "dirty.csv", dirty());
    assert!(run(&["balance", &log]).refused().err.contains("--lenient"));
    let value = run(&["balance", &log, "--lenient", "--json"]).good().json();
    let bad = value["log"]["bad_rows"].as_u64().unwrap();
    let want = dirty().lines().filter(|line| line.starts_with('?')).count();
    assert_eq!(bad, want as u64);
}

#[test]
fn no_chart_is_left_behind_by_an_error() {
    let folder = folder("fault-chart");
    let chart = folder.join("chart.png");
    let empty = file(&folder, "empty.csv", "");
    run(&["balance", &empty, "--chart", chart.to_str().unwrap()]).refused();
    let log = file(&folder, "log.csv", idle(3.0, 20));
    let nowhere = folder.join("no-such-folder").join("chart.svg");
    let refused = run(&["balance", &log, "--chart", nowhere.to_str().unwrap()]).refused();
    assert!(refused.err.contains("chart.svg"), "{}", refused.err);
    let left: Vec<_> = fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");
}

#[test]
fn a_chart_ending_that_cannot_be_drawn() {
    let folder = folder("fault-ending");
    let log = file(&folder, "log.csv", idle(3.0, 20));
    for (name, word) in [("chart.pdf", ".pdf"), ("chart", ".png")] {
        let chart = folder.join(name);
        let refused = run(&["balance", &log, "--chart", chart.to_str().unwrap()]).refused();
        assert!(refused.err.contains(word), "{}", refused.err);
        assert!(!chart.exists());
    }
}

fn with_profile(folder: &Path, profile: &str) -> Run {
    let log = file(folder, "log.csv", idle(3.0, 20));
    let profile = file(folder, "car.toml", profile);
    run(&["balance", &log, "--profile", &profile, "--json"])
}

#[test]
fn profiles_that_cannot_be_used() {
    let folder = folder("fault-profile");
    for (profile, words) in [
        ("car = 'Blue'\ncylnders = 4\n", ["line 2", "\"cylinders\""]),
        ("tolerance = '10 stone'\n", ["line 1", "stone"]),
        ("cylinders = 'four'\n", ["line 1", "four"]),
        ("cylinders = \n", ["line 1", "car.toml"]),
    ] {
        let refused = with_profile(&folder, profile).refused();
        for word in words {
            assert!(refused.err.contains(word), "no {word:?} in {}", refused.err);
        }
    }
    let log = file(&folder, "log.csv", idle(3.0, 20));
    let refused = run(&["balance", &log, "--profile", "nowhere.toml"]).refused();
    assert!(refused.err.contains("nowhere.toml"), "{}", refused.err);
}

#[test]
fn values_that_make_no_sense() {
    let folder = folder("fault-values");
    let log = file(&folder, "log.csv", openings(60.0));
    for (flag, value, word) in [
        ("--baro", "760", "hPa"),
        ("--baro", "29.8 ells", "inHg"),
        ("--tolerance", "0", "10 mmHg"),
        ("--tolerance", "-3", "must be above zero"),
        ("--tolerance", "60", "at most 50 kPa"),
        ("--cylinders", "1", "2 to 16"),
        ("--units", "ells", "mmHg"),
        ("--chart-width", "5", "600"),
        ("--idle-target", "NaN", "200 to 3000"),
    ] {
        let argument = format!("{flag}={value}");
        let refused = run(&["balance", &log, &argument]).refused();
        assert!(refused.err.contains(word), "{argument}: {}", refused.err);
    }
}

#[test]
fn a_value_below_zero_is_a_value() {
    let folder = folder("fault-negative");
    let log = file(&folder, "log.csv", idle(3.0, 20));
    for (command, flag, value, words) in [
        ("balance", "--tolerance", "-1", "must be above zero"),
        ("balance", "--tolerance", "-1 mmHg", "must be above zero"),
        ("balance", "--idle-target", "-5", "must be above zero"),
        ("balance", "--cylinders", "-4", "whole number"),
        ("balance", "--baro", "-100.8 kPa", "no barometric pressure"),
        ("breather", "--threshold", "-5", "more than 0"),
    ] {
        let refused = run(&[command, &log, flag, value]).refused();
        assert!(refused.err.contains(words), "{flag} {value}: {}", refused.err);
        assert!(!refused.err.contains("tip:"), "{flag} {value}: {}", refused.err);
    }
}

#[test]
fn one_name_for_both_sides() {
    let folder = folder("fault-names");
    let log = file(&folder, "log.csv", idle(3.0, 20));
    for command in ["balance", "compare"] {
        let logs: &[&str] = if command == "compare" { &[&log, &log] } else { &[&log] };
        let args = [&[command], logs, &["--carb1", "X", "--carb2", "X"]].concat();
        let refused = run(&args).refused();
        assert!(refused.err.contains("both sides are called \"X\""), "{}", refused.err);
        assert!(refused.err.contains("\nhelp: give them different names"), "{}", refused.err);
    }
    let same = file(&folder, "same.csv", idle(3.0, 20).replace("carb1: Front", "carb1: Rear"));
    run(&["balance", &same]).refused();
    run(&["balance", &same, "--carb2", "Aft"]).good();
}

#[test]
fn standard_input_twice() {
    assert!(run(&["compare", "-", "-"]).refused().err.contains("only once"));
}

#[test]
fn no_command_shows_where_to_start() {
    let run = run(&[]);
    assert_eq!(run.code, 2);
    for word in [
        "demo",
        "record LOG",
        "inspect LOG",
        "balance LOG",
        "breather LOG",
        "compare BEFORE AFTER",
        "match LOG",
    ] {
        assert!(run.err.contains(&format!("evenbreath {word}")), "{}", run.err);
    }
    assert!(run.err.lines().count() <= 25, "short: {}", run.err);
    assert!(!run.err.contains("help:"), "cut in two: {}", run.err);
}
