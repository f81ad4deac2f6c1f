//! Logs that cannot be used, folders without any, options that make no sense.

use crate::logs::{file, folder, idle};
use crate::run::{Run, run};
use crate::table::{Table, json};
use serde_json::Value;
use std::fs;

/// Every cell of a row but these is null.
fn nothing_else(table: &Table, row: usize) {
    for (name, value) in table.headings.iter().zip(&table.rows[row]) {
        let kept = ["log", "bytes", "error"].contains(&name.as_str());
        assert!(kept || value.is_null(), "{name}: {value}");
    }
}

#[test]
fn one_broken_log_does_not_stop_the_rest() {
    let folder = folder("archive-broken");
    let logs = [
        file(&folder, "a.csv", idle(6.0, 20)),
        file(&folder, "b-binary.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01"),
        file(&folder, "c-empty.csv", ""),
        file(&folder, "d-one-side.csv", "time_s,rpm,vac1_kpa\n0,850,55\n0.1,850,55\n"),
        file(&folder, "e.csv", idle(0.2, 20)),
        folder.join("f-missing.csv").to_str().unwrap().to_string(),
    ];
    let mut args = vec!["balance", "--json"];
    args.extend(logs.iter().map(String::as_str));
    let table = json(&run(&args).good());
    let errors = table.texts("error");
    let said = ["", "is not text", "is empty", "side 2", "", "no such file"];
    for (row, (error, words)) in errors.iter().zip(said).enumerate() {
        assert_eq!(error.is_empty(), words.is_empty(), "{error}");
        assert!(error.contains(words), "{error}");
        if !words.is_empty() {
            nothing_else(&table, row);
        }
    }
    assert_eq!(table.column("bytes")[2], Value::from(0));
    assert_eq!(table.column("bytes")[5], Value::Null);
    args.push("--exit-code");
    assert_eq!(run(&args).code, 2, "the worst is a log that could not be used");
    let all_broken = run(&["balance", &logs[1], &logs[2], "--json"]);
    assert_eq!((all_broken.code, json(&all_broken).rows.len()), (2, 2));
}

fn refused(args: &[&str], words: &[&str]) -> Run {
    let refused = run(args).refused();
    assert!(refused.err.contains("\nhelp: "), "what to do? {}", refused.err);
    for word in words {
        assert!(refused.err.contains(word), "no {word:?} in {}", refused.err);
    }
    refused
}

#[test]
fn a_folder_without_a_log_is_said_to_be_one() {
    let folder = folder("archive-none");
    let path = folder.to_str().unwrap();
    refused(&["balance", path], &["no log in", ".csv, .tsv or .txt"]);
    file(&folder, "picture.png", "x");
    refused(&["breather", path], &["no log in"]);
    assert_eq!(run(&["balance"]).code, 2);
}

#[test]
fn what_is_for_one_log_is_refused_with_many() {
    let folder = folder("archive-refused");
    file(&folder, "a.csv", idle(6.0, 20));
    let path = folder.to_str().unwrap();
    let chart = folder.join("x.svg");
    refused(&["balance", path, "--chart", chart.to_str().unwrap()], &["--chart", "one log"]);
    assert!(!chart.exists());
    refused(&["breather", path, "--budget"], &["--budget", "one log"]);
    refused(&["balance", "-", path], &["standard input"]);
    let ending = run(&["balance", path, "--rows", "x.xls"]);
    assert_eq!(ending.code, 2);
    assert!(ending.err.contains(".csv, .jsonl or .parquet"), "{}", ending.err);
    assert_eq!(run(&["balance", path, "--csv", "--json"]).code, 2);
}

#[test]
fn a_file_that_is_there_is_not_written_over() {
    let folder = folder("archive-there");
    let log = file(&folder, "a.csv", idle(6.0, 20));
    let before = fs::read(&log).unwrap();
    // A slip of the pen: the log itself as the file for the rows.
    refused(&["balance", folder.to_str().unwrap(), "--rows", &log], &["is there already"]);
    assert_eq!(fs::read(&log).unwrap(), before);
    let nowhere = folder.join("no/such/rows.parquet");
    refused(&["balance", &log, "--rows", nowhere.to_str().unwrap()], &["cannot write to"]);
}
