//! Every broken shape of a log, each with what it must give beside it.
//!
//! `tests/faults/NAME.csv` is read and held against `tests/faults/NAME.expect`:
//!
//! ```text
//! columns: TEXT | lenient          how it is read
//! error: WORDS                     it must fail, and the sentence holds these words
//! rows: N, bad: N                  rows kept and left out
//! remark: CODE COUNT [WORDS]       a remark with this code and count whose text holds the words
//! first: CODE                      the first remark has this code
//! no remark: CODE                  no remark has this code
//! taken: WORDS                     a column was taken so
//! mark: WORDS SECOND               a mark with these words at this second
//! time: A B C                      the first times
//! vac1: VALUE, vac2: VALUE         the first value, kPa
//! empty: vac1 N                    N rows without a reading
//! absent: rpm                      the channel is not there
//! baro: SOURCE                     where the barometric pressure comes from
//! ```

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use evenbreath::findings::{Conditions, balance, breather};
use evenbreath::log::{Log, ReadOptions, read_path};
use evenbreath::sample::Column;
use evenbreath::signal::prepare;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

fn fixtures() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/faults");
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "csv"))
        .collect();
    found.sort();
    found
}

fn column<'a>(log: &'a Log, name: &str) -> Option<&'a Column> {
    match name {
        "rpm" => log.track.rpm.as_ref(),
        "vac1" => log.track.vac1_kpa.as_ref(),
        "vac2" => log.track.vac2_kpa.as_ref(),
        other => panic!("no channel {other}"),
    }
}

/// What is wrong with one expectation; `None` where it holds.
fn fault(log: &Log, key: &str, value: &str) -> Option<String> {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
    let (first, rest) = value.split_once(' ').unwrap_or((value, ""));
    let found = match key {
        "rows" => log.rows.to_string(),
        "bad" => log.bad_rows.to_string(),
        "baro" => format!("{:?}", log.baro.from),
        "remark" => {
            let (count, words) = rest.split_once(' ').unwrap_or((rest, ""));
            let fits = |r: &&evenbreath::sample::Remark| {
                r.code == first && r.count.to_string() == count && r.text.contains(words)
            };
            return match log.remarks.iter().find(fits) {
                Some(_) => None,
                None => Some(format!("remarks are {:#?}", log.remarks)),
            };
        }
        "first" => log.remarks.first().map_or(String::new(), |r| r.code.to_string()),
        "no remark" => {
            let there = log.remarks.iter().find(|r| r.code == value);
            return there.map(|r| r.text.clone());
        }
        "taken" => {
            let good = log.taken.iter().any(|taken| taken.text.contains(value));
            return (!good).then(|| format!("taken is {:?}", log.taken));
        }
        "mark" => {
            let (words, second) = value.rsplit_once(' ').unwrap();
            let second: f64 = second.parse().unwrap();
            let good = log.track.marks.iter().any(|m| m.text == words && near(m.at.0, second));
            return (!good).then(|| format!("marks are {:?}", log.track.marks));
        }
        "time" => {
            let expected: Vec<f64> = value.split(' ').map(|t| t.parse().unwrap()).collect();
            let times = log.track.time_s.window(0..expected.len());
            let good = times.iter().zip(&expected).all(|(a, b)| near(*a, *b));
            return (!good).then(|| format!("times are {times:?}"));
        }
        "vac1" | "vac2" => {
            let expected: f64 = value.parse().unwrap();
            let found = column(log, key).map(|values| values.at(0));
            return (!found.is_some_and(|v| near(v, expected))).then(|| format!("{found:?}"));
        }
        "empty" => {
            let values = column(log, first).unwrap();
            let empty = values.iter().filter(|v| v.is_nan()).count().to_string();
            return (empty != rest).then_some(empty);
        }
        "absent" => return column(log, value).map(|values| format!("{values:?}")),
        other => panic!("unknown expectation {other}"),
    };
    (found != value).then_some(found)
}

#[test]
fn every_broken_shape_gives_what_stands_beside_it() {
    let (mut wrong, mut checked) = (Vec::new(), 0);
    for path in fixtures() {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let expect = std::fs::read_to_string(path.with_extension("expect")).unwrap();
        let pairs = || expect.lines().map(|l| l.split_once(": ").unwrap_or((l, "")));
        let options = ReadOptions {
            columns: pairs().find(|(key, _)| *key == "columns").map(|(_, v)| v.to_string()),
            lenient: pairs().any(|(key, _)| key == "lenient"),
            ..ReadOptions::default()
        };
        let errors: Vec<&str> = pairs().filter(|(k, _)| *k == "error").map(|(_, v)| v).collect();
        match read_path(&path, &options) {
            Ok(_) if !errors.is_empty() => wrong.push(format!("{name}: read without an error")),
            Ok(log) => {
                let checks = pairs().filter(|(key, _)| !matches!(*key, "columns" | "lenient"));
                for (key, value) in checks {
                    checked += 1;
                    if let Some(found) = fault(&log, key, value) {
                        wrong.push(format!("{name}: {key} should be {value}, but {found}"));
                    }
                }
                assert!(
                    log.track.time_s.to_vec().windows(2).all(|pair| pair[1] > pair[0]),
                    "{name}"
                );
            }
            Err(error) => {
                let said = error.to_string();
                checked += 1;
                if errors.is_empty() || !errors.iter().all(|words| said.contains(words)) {
                    wrong.push(format!("{name}: the error is: {said}"));
                }
                let its_name =
                    said.contains(&*path.to_string_lossy()) || said.contains("--columns");
                assert!(its_name && !said.contains('\n'), "{name}: {said}");
            }
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
    assert!(checked > 100, "only {checked} checks");
}

/// A thread that panics may be one that nobody waits for: the hook sees all of them.
#[test]
fn no_shape_makes_any_thread_panic() {
    static PANICS: AtomicUsize = AtomicUsize::new(0);
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |what| {
        PANICS.fetch_add(1, Ordering::Relaxed);
        before(what);
    }));
    let mut judged = 0;
    for path in fixtures() {
        for lenient in [false, true] {
            let options = ReadOptions { lenient, ..ReadOptions::default() };
            let Ok(log) = read_path(&path, &options) else { continue };
            let signal = prepare(log.track, 4);
            let conditions = Conditions { baro_kpa: log.baro.kpa, ..Conditions::default() };
            balance::find(&signal, &conditions);
            breather::find(&signal, &conditions);
            judged += 1;
        }
    }
    assert_eq!(PANICS.load(Ordering::Relaxed), 0);
    assert!(judged > 100, "only {judged} readings");
}

#[test]
fn what_is_no_file_is_said() {
    let options = ReadOptions::default();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let said = read_path(&folder, &options).unwrap_err().to_string();
    assert!(said.contains("is a folder") && said.contains("name one log file"), "{said}");
    let said = read_path(&folder.join("none.csv"), &options).unwrap_err().to_string();
    assert!(said.contains("no such file") && said.contains("none.csv"), "{said}");
}
