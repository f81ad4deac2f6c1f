//! The sample logs are what the model makes, byte for byte.
//!
//! `cargo test --test sample_logs` makes every log again and compares it with the committed file;
//! with `EVENBREATH_WRITE_SAMPLES=1` it writes them instead.

mod canonical;
mod car;
mod truth;

use car::Log;
use serde_json::{Map, Value};
use std::path::PathBuf;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sample-logs")
}

fn all() -> Vec<Log> {
    canonical::logs()
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
    for log in &logs {
        hold_or_write(log.name, &log.bytes);
        assert!(log.bytes.len() < 400_000, "{} has {} bytes", log.name, log.bytes.len());
    }
    hold_or_write("truth.json", truth_text(&logs).as_bytes());
}
