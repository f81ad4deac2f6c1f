//! The sample logs are what the model makes, byte for byte.
//!
//! `cargo test --test sample_logs` makes every log again and compares it with the committed file;
//! with `EVENBREATH_WRITE_SAMPLES=1` it writes them instead.

mod canonical;
mod car;
mod flow;
mod foreign;
mod hunt;
mod readme;
mod tee;
mod truth;
mod tuning;

use car::Log;
use serde_json::{Map, Value};
use std::path::PathBuf;
use std::sync::OnceLock;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sample-logs")
}

/// Every log, made once for all tests.
fn all() -> &'static [Log] {
    static LOGS: OnceLock<Vec<Log>> = OnceLock::new();
    LOGS.get_or_init(|| {
        let mut logs = canonical::logs();
        logs.extend(foreign::logs());
        logs.extend(tee::logs());
        logs.extend(hunt::logs());
        logs.extend(tuning::logs());
        logs.extend(flow::logs());
        logs
    })
}

fn truth_text(logs: &[Log]) -> String {
    let entries: Map<String, Value> =
        logs.iter().map(|log| (log.name.to_string(), log.truth.clone())).collect();
    serde_json::to_string_pretty(&entries).expect("plain values") + "\n"
}

fn hold_or_write(name: &str, bytes: &[u8]) {
    let path = folder().join(name);
    if std::env::var_os("EVENBREATH_WRITE_SAMPLES").is_some() {
        std::fs::write(&path, bytes).expect("sample-logs can be written");
    }
    let committed = std::fs::read(&path).unwrap_or_default();
    let differs = committed.iter().zip(bytes).position(|(a, b)| a != b);
    assert!(
        committed == bytes,
        "{name} is not what the generator makes: {} and {} bytes, first difference at {differs:?}; \
         EVENBREATH_WRITE_SAMPLES=1 writes it anew",
        committed.len(),
        bytes.len(),
    );
}

#[test]
fn logs_are_what_the_generator_makes() {
    let logs = all();
    for log in logs {
        hold_or_write(log.name, &log.bytes);
        assert!(log.bytes.len() < 400_000, "{} has {} bytes", log.name, log.bytes.len());
    }
    hold_or_write("truth.json", truth_text(logs).as_bytes());
    hold_or_write("README.md", readme::page(logs).as_bytes());
}

#[test]
fn every_log_in_the_folder_has_its_truth() {
    let text = std::fs::read_to_string(folder().join("truth.json")).unwrap();
    let truth: Map<String, Value> = serde_json::from_str(&text).unwrap();
    let mut found: Vec<String> = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".csv"))
        .collect();
    found.sort();
    assert_eq!(found, truth.keys().cloned().collect::<Vec<String>>());
}

#[test]
fn verdicts_are_well_clear_of_their_limits() {
    // A log whose truth lay on a limit could not hold the program to a verdict.
    for log in all() {
        for plateau in log.truth["plateaus"].as_array().into_iter().flatten() {
            let settled = plateau["verdict"] != "not_settled";
            if let Some(difference) = plateau["difference_kpa"].as_f64().filter(|_| settled) {
                let margin = (difference.abs() - car::TOLERANCE_KPA).abs();
                assert!(margin > 0.5, "{}: {difference} kPa", log.name);
            }
        }
        if let Some(drop) = log.truth["drop_rpm"].as_f64() {
            let idle = log.truth["idle_rpm"].as_f64().unwrap();
            let margin = (drop.abs() - 20.0_f64.max(0.025 * idle)).abs();
            assert!(margin > 15.0, "{}: {drop} rev/min", log.name);
        }
    }
}

#[test]
fn the_scenes_are_what_they_claim() {
    let logs = all();
    let truth = |name: &str| &logs.iter().find(|log| log.name == name).unwrap().truth;
    let differences = |name: &str| -> Vec<f64> {
        let plateaus = truth(name)["plateaus"].as_array().unwrap();
        plateaus.iter().filter_map(|plateau| plateau["difference_kpa"].as_f64()).collect()
    };
    let before = differences("balance-before.csv");
    assert!(before[..3].iter().all(|kpa| (kpa - 4.0).abs() < 0.5), "{before:?}");
    // Far enough beyond the tolerance of 3 % to be settled.
    let ratio = truth("flow-meters.csv")["flow1_over_flow2"].as_f64().unwrap();
    assert!((0.86..0.94).contains(&ratio), "{ratio}");
    let after = differences("balance-after.csv");
    assert!(after.len() == 5 && after.iter().all(|kpa| kpa.abs() < 0.3), "{after:?}");
    for (name, verdict) in [
        ("breather-sealed.csv", "sealed"),
        ("breather-leaking.csv", "not_sealed_or_blocked"),
        ("breather-revs-rise.csv", "revs_rise"),
        ("crankcase-leaking.csv", "not_sealed"),
        ("crankcase-blocked.csv", "blocked"),
        ("balance-no-zero.csv", "not_settled"),
        ("hunt.csv", "leaks"),
        ("flow-meters.csv", "out_of_tolerance"),
    ] {
        assert_eq!(truth(name)["verdict"], verdict, "{name}");
    }
}
