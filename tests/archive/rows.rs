//! What the rows say, in what order, and that every format says the same.

use crate::logs::{file, folder, idle, openings, swapped};
use crate::run::run;
use crate::table::{Table, json};
use serde_json::Value;
use std::fs;
use std::path::Path;

/// A club's folder: two cars, the largest log first, files that are no logs beside them.
fn club(name: &str) -> String {
    let folder = folder(name);
    for car in ["alpha", "beta", ".hidden"] {
        fs::create_dir(folder.join(car)).unwrap();
    }
    file(&folder, "alpha/1-long.csv", idle(6.0, 240));
    file(&folder, "alpha/2.CSV", swapped(0.4));
    file(&folder, "alpha/3.txt", idle(6.0, 20));
    file(&folder, "beta/1.csv", idle(0.2, 20));
    file(&folder, "beta/2.csv", "time_s,rpm,vac1_kpa,vac2_kpa\n");
    file(&folder, "beta/10.csv", idle(-6.0, 20));
    file(&folder, "beta/picture.png", b"\x89PNG");
    file(&folder, "beta/notes.md", "no log");
    file(&folder, ".hidden/1.csv", idle(6.0, 20));
    file(&folder, "beta/.hidden.csv", idle(6.0, 20));
    folder.to_str().unwrap().to_string()
}

fn ends(table: &Table) -> Vec<String> {
    let end = |log: &String| {
        let parts: Vec<&str> = log.rsplit('/').take(2).collect();
        format!("{}/{}", parts[1], parts[0])
    };
    table.texts("log").iter().map(end).collect()
}

#[test]
fn a_row_a_log_in_the_order_of_the_names_every_time() {
    let club = club("archive-order");
    let first = run(&["balance", &club, "--json"]).good();
    let table = json(&first);
    let want = [
        "alpha/1-long.csv",
        "alpha/2.CSV",
        "alpha/3.txt",
        "beta/1.csv",
        "beta/10.csv",
        "beta/2.csv",
    ];
    assert_eq!(ends(&table), want);
    for _ in 0..3 {
        assert_eq!(run(&["balance", &club, "--json"]).good().out, first.out);
    }
    // Files named one by one, twice and the wrong way round, are the same logs.
    let named: Vec<String> = table.texts("log").into_iter().rev().collect();
    let mut args = vec!["balance", "--json", &club];
    args.extend(named.iter().map(String::as_str));
    assert_eq!(run(&args).good().out, first.out);
}

#[test]
fn the_row_is_what_the_log_by_itself_says() {
    let club = club("archive-same");
    let table = json(&run(&["balance", &club, "--json"]).good());
    let log = &table.texts("log")[1];
    let one = run(&["balance", log, "--json"]).good().json();
    let plateau = &one["plateaus"][0];
    let at = |name: &str| table.column(name)[1].clone();
    for name in
        ["low_kpa", "high_kpa", "difference_kpa", "u_kpa", "rpm", "cycles", "from_s", "open"]
    {
        assert_eq!(at(name), plateau[name], "{name}");
    }
    for name in ["verdict", "say", "tolerance_kpa"] {
        assert_eq!(at(name), one[name], "{name}");
    }
    assert_eq!(at("rows"), one["log"]["rows"]);
    assert_eq!(at("zero_method"), one["zero"]["method"]);
    assert_eq!(at("plateau_verdict"), plateau["verdict"]);
    assert_eq!(at("bytes"), Value::from(fs::metadata(log).unwrap().len()));
    assert_eq!((at("carb1"), at("error")), (Value::from("Front"), Value::Null));
}

#[test]
fn csv_json_lines_and_parquet_hold_the_same() {
    let club = club("archive-formats");
    let base = Path::new(&club).parent().unwrap().join("archive-formats-rows");
    let _ = fs::remove_dir_all(&base);
    fs::create_dir(&base).unwrap();
    for question in ["balance", "breather"] {
        let table = json(&run(&[question, &club, "--json"]).good());
        let into = |ending: &str| {
            let path = base.join(format!("{question}.{ending}"));
            run(&[question, &club, "--rows", path.to_str().unwrap()]).good();
            path
        };
        assert_eq!(Table::of_parquet(&into("parquet")), table);
        assert_eq!(Table::of_json(&fs::read_to_string(into("jsonl")).unwrap()), table);
        let csv = fs::read(into("csv")).unwrap();
        assert_eq!(Table::of_csv(&csv, &table), table);
        assert_eq!(run(&[question, &club, "--csv"]).good().out.as_bytes(), csv);
    }
}

#[test]
fn each_plateau_gets_its_row_when_asked() {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/balance-before.csv");
    let sample = sample.to_str().unwrap();
    let one = run(&["balance", sample, "--json"]).good().json();
    let each = run(&["balance", sample, "--each-plateau", "--csv"]).good();
    let like = json(&run(&["balance", sample, sample, "--json"]).good());
    assert_eq!(like.rows.len(), 1);
    let table = Table::of_csv(each.out.as_bytes(), &like);
    assert_eq!(table.headings, like.headings);
    let plateaus = one["plateaus"].as_array().unwrap();
    let want: Vec<Value> = plateaus.iter().map(|p| p["difference_kpa"].clone()).collect();
    assert_eq!((want.len(), table.column("difference_kpa")), (3, want));
    assert_eq!(table.column("plateau"), [1, 2, 3].map(Value::from));
    // Without it the row has the idle.
    assert_eq!(like.column("plateau"), [Value::from(1)]);
}

#[test]
fn breather_drops_stand_in_rows_too() {
    let folder = folder("archive-breather");
    file(&folder, "a.csv", openings(60.0));
    file(&folder, "b.csv", openings(0.0));
    let path = folder.to_str().unwrap();
    let asked = run(&["breather", path, "--json", "--exit-code"]);
    let table = json(&asked);
    assert_eq!(table.texts("verdict"), ["sealed", "not_sealed_or_blocked"]);
    assert_eq!(asked.code, 10);
    let one = run(&["breather", &table.texts("log")[0], "--json"]).good().json();
    for name in ["drop_rpm", "low_rpm", "high_rpm", "idle_rpm", "threshold_rpm"] {
        assert_eq!(table.column(name)[0], one[name], "{name}");
    }
    let higher = json(&run(&["breather", path, "--json", "--threshold", "100"]).good());
    assert_ne!(higher.texts("verdict")[0], "sealed");
}

#[test]
fn columns_are_called_by_what_they_hold_and_its_unit() {
    let club = club("archive-columns");
    for question in ["balance", "breather"] {
        let table = json(&run(&[question, &club, "--json"]).good());
        for (at, name) in table.headings.iter().enumerate() {
            let fraction = table.rows.iter().any(|row| row[at].is_f64());
            let pure = ["air1_over_air2", "air_low", "air_high", "dof"].contains(&name.as_str())
                || name.starts_with("probability");
            let unit = ["_s", "_hz", "_kpa", "rpm", "_percent"].iter().any(|u| name.ends_with(u));
            assert!(!fraction || pure || unit, "{name} has no unit");
        }
        assert_eq!(table.headings[..2], ["log", "bytes"]);
    }
}

#[test]
fn a_table_for_a_person_and_the_worst_log_as_the_code() {
    let club = club("archive-table");
    let shown = run(&["balance", &club]).good().out;
    let first = "6 logs: 3 out of tolerance; 1 not settled; 1 in tolerance; 1 could not be used.\n";
    assert!(shown.starts_with(first), "{shown}");
    assert!(shown.contains("\nCould not be used\n- "), "{shown}");
    assert!(shown.lines().all(|line| line.chars().count() <= 80), "{shown}");
    assert_eq!(shown.lines().filter(|line| line.ends_with("  out of tolerance")).count(), 3);
    assert_eq!(run(&["balance", &club, "--exit-code"]).code, 2);
    let alpha = format!("{club}/alpha");
    assert_eq!(run(&["balance", &alpha, "--exit-code"]).code, 10);
    let one = [format!("{club}/alpha/2.CSV"), format!("{club}/beta/1.csv")];
    assert_eq!(run(&["balance", &one[0], &one[1], "--exit-code"]).code, 11);
    assert_eq!(run(&["balance", &one[0], "--csv", "--exit-code"]).code, 0);
}
