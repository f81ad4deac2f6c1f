//! Every sample log, run through the binary: held to its expected answer and to what was true.
//!
//! `NAME.csv` in `sample-logs/` has `NAME.expected.json` beside it: the commands and all that they
//! answer. `EVENBREATH_WRITE_EXPECTED=1 cargo test --test golden` writes these files anew; look at
//! the difference before committing it. That an answer is *right* is not their business: the truth
//! is in `sample-logs/truth.json`, which the engine model wrote and no analysis has touched.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "golden/compare.rs"]
mod compare;
#[path = "golden/truth.rs"]
mod truth;

use evenbreath::statistics::student;
use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs")
}

/// Names of the logs, in order.
fn logs() -> Vec<String> {
    let entries = std::fs::read_dir(folder()).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".csv"))
        .collect();
    names.sort();
    assert!(names.len() >= 12, "only {} logs: the test looks elsewhere", names.len());
    names
}

/// The truth of every log, by its name.
fn truths() -> Map<String, Value> {
    serde_json::from_str(&std::fs::read_to_string(folder().join("truth.json")).unwrap()).unwrap()
}

/// The commands that a log is for, as typed at the top of the repository.
fn commands(log: &str) -> Vec<String> {
    let truths = truths();
    let first = truths[log]["command"].as_str().unwrap();
    let mut typed = vec![format!("evenbreath {first} sample-logs/{log} --json")];
    if log == "balance-after.csv" {
        typed.push(format!(
            "evenbreath compare sample-logs/balance-before.csv sample-logs/{log} --json"
        ));
    }
    typed
}

/// What a command writes to standard output; it must do its work without a word on standard error.
fn answer(command: &str) -> String {
    let words: Vec<&str> = command.split(' ').skip(1).collect();
    let output = Command::new(env!("CARGO_BIN_EXE_evenbreath"))
        .args(words)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success() && err.is_empty(), "{command}: {} {err}", output.status);
    String::from_utf8(output.stdout).unwrap()
}

fn document(command: &str) -> Value {
    let text = answer(command);
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{command}: {e}: {text}"))
}

#[test]
fn answers_are_as_expected() {
    let mut faults = Vec::new();
    for log in logs() {
        let runs: Vec<Value> = commands(&log)
            .iter()
            .map(|command| json!({ "command": command, "output": document(command) }))
            .collect();
        let found = Value::Array(runs);
        let path = folder().join(log.replace(".csv", ".expected.json"));
        if std::env::var_os("EVENBREATH_WRITE_EXPECTED").is_some() {
            std::fs::write(&path, serde_json::to_string_pretty(&found).unwrap() + "\n").unwrap();
        }
        let Ok(text) = std::fs::read_to_string(&path) else {
            faults.push(format!("{log} has no {}", path.display()));
            continue;
        };
        let expected: Value = serde_json::from_str(&text).unwrap();
        faults.extend(compare::differences(&expected, &found).iter().map(|d| format!("{log}{d}")));
    }
    let advice = "EVENBREATH_WRITE_EXPECTED=1 writes the expectations anew";
    assert!(faults.is_empty(), "{}\n{advice}", faults.join("\n"));
}

#[test]
fn every_expectation_has_its_log() {
    for entry in std::fs::read_dir(folder()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if let Some(stem) = name.strip_suffix(".expected.json") {
            assert!(folder().join(format!("{stem}.csv")).exists(), "{name} has no log");
        }
    }
}

/// JCGM 100 5.1.2 and G.4.1: the rows shown make up the uncertainty and its degrees of freedom.
#[test]
fn the_rows_of_a_budget_make_up_its_uncertainty() {
    let mut compared = 0;
    for command in logs().iter().flat_map(|log| commands(log)) {
        let answer = document(&command);
        for plateau in answer["plateaus"].as_array().into_iter().flatten() {
            add_up(&command, plateau, "kpa");
            compared += 1;
        }
    }
    assert!(compared >= 20, "only {compared} budgets: the test looks elsewhere");
}

#[test]
fn the_rows_of_a_budget_make_up_the_uncertainty_of_the_idle_drop() {
    let mut names = Vec::new();
    for command in logs().iter().flat_map(|log| commands(log)) {
        let answer = document(&command);
        let Some(rows) = answer["budget"].as_array() else { continue };
        let number = |key: &str| answer[key].as_f64();
        let Some((low, high)) = number("low_rpm").zip(number("high_rpm")) else {
            assert!(rows.is_empty() && answer["u_rpm"].is_null(), "{command}: {answer}");
            continue;
        };
        let dof = add_up(&command, &answer, "rpm");
        // The reach of the interval is the coverage factor times the uncertainty (JCGM 100, G.3).
        let reach = student::coverage_factor(0.95, dof).unwrap() * number("u_rpm").unwrap();
        assert!((reach / (0.5 * (high - low)) - 1.0).abs() < 1e-4, "{command}: {reach}, {answer}");
        names.extend(rows.iter().map(|row| row["name"].as_str().unwrap().to_string()));
    }
    for name in
        ["repeatability of the speed", "answer of engine, edges, other loads", "between repeats"]
    {
        assert!(names.iter().any(|found| found == name), "{name} in no budget: {names:?}");
    }
}

/// Holds the rows of `budget` to the uncertainty beside it, and gives its degrees of freedom.
fn add_up(command: &str, finding: &Value, unit: &str) -> f64 {
    let (mut squares, mut fourths) = (0.0, 0.0);
    for row in finding["budget"].as_array().unwrap() {
        let u = row[format!("u_{unit}")].as_f64().unwrap();
        squares += u * u;
        fourths += row["dof"].as_f64().map_or(0.0, |dof| u.powi(4) / dof);
    }
    let near = |found: f64, key: &str| {
        let shown = finding[key].as_f64().unwrap();
        assert!((found / shown - 1.0).abs() < 1e-4, "{command}, {key}: {found}, {finding}");
    };
    near(squares.sqrt(), &format!("u_{unit}"));
    if finding["dof"].is_null() {
        return f64::INFINITY;
    }
    near(squares * squares / fourths, "dof");
    squares * squares / fourths
}

/// Keys whose value may be absent because nothing measured it.
const MAY_BE_ABSENT: [&str; 17] = [
    "dof",
    "needs_s",
    "needs_openings",
    "ripple1_kpa",
    "ripple2_kpa",
    "tau_s",
    "crank_closed_kpa",
    "crank_open_kpa",
    // Of a suspect that does not leak, that is settled, or whose air does not go into a tract.
    "into",
    "needs_trials",
    "hole_mm",
    "hole_low_mm",
    "hole_high_mm",
    // Of an idle as it should be that nobody has turned a screw of, or one that is not settled.
    "screws",
    "proposal",
    // Of a log without airflow meters, or whose meters did not change places.
    "flow",
    "meter1_over_meter2",
];
/// ... and those that are absent where there was no cap test.
const OF_A_CAP_TEST: [&str; 8] = [
    "probability_sealed",
    "idle_rpm",
    "drop_rpm",
    "low_rpm",
    "high_rpm",
    "u_rpm",
    "drop_percent",
    "vacuum_change_kpa",
];

#[test]
fn no_document_holds_nan() {
    for command in logs().iter().flat_map(|log| commands(log)) {
        let text = answer(&command);
        let words = text.split(|c: char| !c.is_alphanumeric());
        let bad = words.filter(|word| ["nan", "inf", "infinity"].contains(&&*word.to_lowercase()));
        assert_eq!(bad.collect::<Vec<_>>(), Vec::<&str>::new(), "{command}");
        // JSON cannot hold NaN; a writer that meets one may write `null` instead.
        let document: Value = serde_json::from_str(&text).unwrap();
        let no_cap = document["openings"].as_array().is_some_and(Vec::is_empty);
        for place in compare::absent(&document) {
            let key = place.rsplit('.').next().unwrap();
            let may = MAY_BE_ABSENT.contains(&key) || (no_cap && OF_A_CAP_TEST.contains(&key));
            assert!(may, "{command}: {place} is absent");
        }
    }
}

#[test]
fn verdicts_are_those_that_follow_from_the_truth() {
    for (log, truth) in truths() {
        let found = document(&commands(&log)[0]);
        assert_eq!(found["verdict"], truth["verdict"], "{log}: {}", found["say"]);
        let Some(method) = truth.get("zero_method") else { continue };
        assert_eq!(&found["zero"]["method"], method, "{log}");
        for (plateau, stretches) in truth::matched(&log, &found, &truth) {
            for stretch in stretches {
                assert_eq!(plateau["verdict"], stretch["verdict"], "{log}: {stretch}");
            }
        }
    }
}

/// Of so many intervals of 95 % one misses by chance.
const A_MISS_IN: usize = 20;

#[test]
fn truths_lie_within_the_intervals() {
    let mut held = Vec::new();
    for (log, truth) in truths() {
        let found = document(&commands(&log)[0]);
        held.extend(truth::differences(&log, &found, &truth));
        held.extend(truth::drop(&log, &found, &truth));
        held.extend(truth::pair_errors(&log, &found, &truth));
        held.extend(truth::hunt(&log, &found, &truth));
        held.extend(truth::screws(&log, &found, &truth));
        held.extend(truth::flow(&log, &found, &truth));
    }
    assert!(held.len() >= 20, "only {} intervals were compared", held.len());
    let missed: Vec<String> =
        held.iter().filter(|one| one.half_widths_off() > 1.0).map(truth::Held::told).collect();
    println!("{} of {} truths lie in their intervals", held.len() - missed.len(), held.len());
    assert!(
        missed.len() <= held.len().div_ceil(A_MISS_IN),
        "of {} intervals:\n{}",
        held.len(),
        missed.join("\n")
    );
    for one in &held {
        assert!(one.half_widths_off() <= 2.0, "{}", one.told());
    }
}

#[test]
fn openings_are_found_where_the_cap_moved() {
    // People press about half a second late; an edge found in the data alone is blurred by the
    // time in which the engine slows.
    for (log, truth) in truths() {
        let Some(true_openings) = truth.get("openings").and_then(Value::as_array) else { continue };
        let found = document(&commands(&log)[0]);
        let openings = found["openings"].as_array().unwrap();
        assert_eq!(openings.len(), true_openings.len(), "{log}");
        for (opening, true_one) in openings.iter().zip(true_openings) {
            for edge in ["off_s", "on_s"] {
                let late = opening[edge].as_f64().unwrap() - true_one[edge].as_f64().unwrap();
                assert!(late.abs() <= 2.0, "{log}: {edge} is {late} s off");
            }
        }
    }
}
