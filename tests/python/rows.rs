//! Rows of many logs: what DuckDB reads in the three formats against what each log by itself says.

use crate::bridge::ask;
use crate::tally::Tally;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Numbers that are compared, with where they stand in the document of one log.
const NUMBERS: [(&str, &str); 8] = [
    ("rows", "/log/rows"),
    ("duration_s", "/log/duration_s"),
    ("tolerance_kpa", "/tolerance_kpa"),
    ("zero_offset_kpa", "/zero/offset_kpa"),
    ("low_kpa", "/plateaus/0/low_kpa"),
    ("high_kpa", "/plateaus/0/high_kpa"),
    ("difference_kpa", "/plateaus/0/difference_kpa"),
    ("dof", "/plateaus/0/dof"),
];

/// Sample logs whose first plateau is their idle, under names that a careless writer would break.
const LOGS: [(&str, &str); 5] = [
    ("balance-before.csv", "a, before.csv"),
    ("balance-after.csv", "b \"after\".csv"),
    ("balance-swap.csv", "c\nswap.csv"),
    ("gauges-inhg.csv", "d é.csv"),
    ("balance-too-short.csv", "e.csv"),
];

fn program(args: &[&str]) -> Vec<u8> {
    let output = Command::new(env!("CARGO_BIN_EXE_evenbreath")).args(args).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

fn club() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("python-rows");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(folder.join("logs")).unwrap();
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    for (from, to) in LOGS {
        fs::copy(samples.join(from), folder.join("logs").join(to)).unwrap();
    }
    fs::write(folder.join("logs/f empty.csv"), "").unwrap();
    folder
}

#[test]
fn an_sql_engine_reads_every_format() {
    let folder = club();
    let path = |name: &str| folder.join(name).to_str().unwrap().to_string();
    let files = ["parquet", "csv", "jsonl"].map(|ending| (ending, path(&format!("rows.{ending}"))));
    for (_, file) in &files {
        program(&["balance", &path("logs"), "--rows", file]);
    }
    let mut texts: Vec<[Value; 3]> = Vec::new();
    let mut alone: Vec<Value> = Vec::new();
    for (_, name) in LOGS {
        let log = path(&format!("logs/{name}"));
        let document: Value =
            serde_json::from_slice(&program(&["balance", &log, "--json"])).unwrap();
        texts.push([json!(log), document["verdict"].clone(), Value::Null]);
        alone.push(document);
    }
    let empty = path("logs/f empty.csv");
    let why = "is empty; a log needs a heading row and at least one row of samples under it";
    texts.push([json!(empty), Value::Null, json!(format!("{empty} {why}"))]);
    let heading = fs::read_to_string(&files[1].1).unwrap();
    let columns: Vec<&str> = heading.lines().next().unwrap().split(',').collect();
    let mut question = json!({
        "columns": columns,
        "numbers": NUMBERS.map(|(name, _)| name),
        "texts": texts,
    });
    for (ending, file) in &files {
        question[ending] = json!(file);
    }
    let Some(answer) = ask("rows.py", &question) else { return };
    let mut tally = Tally::new("rows of many logs (DuckDB, three formats)");
    for (ending, _) in &files {
        tally.same("columns", answer.one(&format!("{ending}_columns_as_asked")), 1.0);
        tally.same("texts", answer.one(&format!("{ending}_texts_as_asked")), 1.0);
        for (name, pointer) in NUMBERS {
            let found = answer.list(&format!("{ending}_{name}"));
            assert_eq!(found.len(), LOGS.len() + 1);
            for (row, document) in alone.iter().enumerate() {
                match document.pointer(pointer).and_then(Value::as_f64) {
                    Some(number) => {
                        tally.near(&format!("{ending} {name}"), found[row], number, 0.0)
                    }
                    None => tally.same(&format!("{ending} {name}"), found[row].is_nan(), true),
                }
            }
            tally.same("a log that is empty", found[LOGS.len()].is_nan(), true);
        }
    }
    let high = |d: &&Value| {
        let number = |pointer: &str| d.pointer(pointer).and_then(Value::as_f64);
        d["verdict"] == "out_of_tolerance"
            && number("/plateaus/0/low_kpa") > number("/tolerance_kpa")
    };
    let high = alone.iter().filter(high).count() as f64;
    assert!(high >= 1.0);
    tally.same("a question in SQL", answer.one("high_on_side_1"), high);
}
