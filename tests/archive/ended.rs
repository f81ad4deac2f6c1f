//! Work that is ended before its end leaves whole rows.

use crate::logs::{file, folder, idle};
use crate::run::binary;
use crate::table::Table;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const LOGS: usize = 1500;
/// Nothing that is waited for takes longer than this on a busy machine.
const PATIENCE: Duration = Duration::from_secs(120);

/// A folder of many names for one log, and the file for the rows.
fn begun(name: &str, ending: &str) -> (Child, PathBuf) {
    let folder = folder(name);
    let logs = folder.join("logs");
    fs::create_dir(&logs).unwrap();
    let log = file(&folder, "log.csv", idle(6.0, 60));
    for number in 0..LOGS {
        fs::hard_link(&log, logs.join(format!("{number:04}.csv"))).unwrap();
    }
    let rows = folder.join(format!("rows.{ending}"));
    let mut command = binary();
    command.arg("balance").arg(&logs).arg("--rows").arg(&rows).arg("--json");
    let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    (child, rows)
}

fn send(signal: &str, child: &Child) {
    let pid = child.id().to_string();
    assert!(Command::new("kill").args([signal, &pid]).status().unwrap().success());
}

/// Waits until some rows are out, then sends the signal; gives the exit code.
fn interrupted(child: &mut Child, signal: &str) -> Option<i32> {
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    for _ in 0..5 {
        line.clear();
        assert!(out.read_line(&mut line).unwrap() > 0, "it ended too early");
    }
    send(signal, child);
    // The pipe is emptied, or the program would wait for its reader.
    std::io::copy(&mut out, &mut std::io::sink()).unwrap();
    let start = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return status.code();
        }
        assert!(start.elapsed() < PATIENCE, "it does not end");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn whole_rows_in_order(table: &Table, least: usize) {
    let logs = table.texts("log");
    assert!((least..LOGS).contains(&logs.len()), "{} rows", logs.len());
    for (number, log) in logs.iter().enumerate() {
        assert!(log.ends_with(&format!("/{number:04}.csv")), "{log}");
    }
    assert!(table.texts("verdict").iter().all(|verdict| verdict == "out_of_tolerance"));
}

#[test]
fn an_interrupt_leaves_whole_rows_and_says_how_many() {
    let (mut child, rows) = begun("archive-interrupt", "jsonl");
    assert_eq!(interrupted(&mut child, "-INT"), Some(130));
    let mut said = String::new();
    std::io::Read::read_to_string(&mut child.stderr.take().unwrap(), &mut said).unwrap();
    let text = fs::read_to_string(&rows).unwrap();
    assert!(text.ends_with('\n'));
    let table = Table::of_json(&text);
    whole_rows_in_order(&table, 5);
    let counted = format!("interrupted: {} of {LOGS} logs", table.rows.len());
    assert!(said.contains(&counted), "{said}");
}

#[test]
fn an_interrupted_parquet_file_can_be_read() {
    let (mut child, rows) = begun("archive-interrupt-parquet", "parquet");
    assert_eq!(interrupted(&mut child, "-TERM"), Some(130));
    whole_rows_in_order(&Table::of_parquet(&rows), 5);
}

#[test]
fn a_program_that_is_killed_leaves_whole_lines() {
    let (mut child, rows) = begun("archive-killed", "csv");
    assert_eq!(interrupted(&mut child, "-KILL"), None);
    let text = fs::read_to_string(&rows).unwrap();
    assert!(text.ends_with('\n'));
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let lines: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert!((5..LOGS).contains(&lines.len()), "{} rows", lines.len());
    for (number, line) in lines.iter().enumerate() {
        assert!(line[0].ends_with(&format!("/{number:04}.csv")), "{line:?}");
    }
}

#[test]
fn a_reader_that_has_seen_enough_ends_the_work() {
    let (mut child, rows) = begun("archive-head", "jsonl");
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut String::new()).unwrap();
    drop(out);
    assert!(child.wait().unwrap().success());
    whole_rows_in_order(&Table::of_json(&fs::read_to_string(Path::new(&rows)).unwrap()), 1);
}
