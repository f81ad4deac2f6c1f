//! Many logs: fast enough, and no more memory for a thousand than for twenty?
//!
//! `cargo bench --bench archive` makes 1,000 logs of 60 s at 100 Hz in `target/tmp` the first time
//! (about 130 MB, a minute), then times `balance` and `breather` over all of them into a Parquet file.
//! It fails when a limit is broken. A hundred of the logs are recordings of the model engine, each with
//! another state of tune, another zero and another seed; each stands there ten times.
//!
//! `cargo bench --bench archive -- --club FOLDER` makes the archive of the README instead: 10,000 short
//! logs of forty cars, five recordings a car, each under fifty names.

mod made;
mod measured;

use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Row, Script, Settings, record};
use evenbreath::units::Seconds;
use measured::{judged, peak_mb};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

const LOGS: usize = 1000;
const RECORDINGS: usize = 100;
const FEW: usize = 20;
/// All logs, s, on two cores.
const MOST_S: f64 = 6.0;
/// Peak memory over all logs may be this many times that over a few, and this much more, MB of 10^6
/// bytes: rows of one group, paths.
const MOST_TIMES: f64 = 1.2;
const MOST_MORE_MB: f64 = 8.0;
/// Rounds, of which the best counts: it is the one that other processes disturbed least.
const ROUNDS: usize = 3;

const CARS: usize = 40;
const VISITS: usize = 5;
const NAMES: usize = 50;

const PROGRAM: &str = env!("CARGO_BIN_EXE_evenbreath");

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().collect();
    if let Some(at) = words.iter().position(|word| word == "--club") {
        club(Path::new(words.get(at + 1).expect("--club FOLDER")));
        return ExitCode::SUCCESS;
    }
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !words.iter().any(|word| word == "--bench") {
        println!("archive: nothing is timed without --bench");
        return ExitCode::SUCCESS;
    }
    let folder = thousand();
    let kept = [fast("balance", &folder), fast("breather", &folder), flat(&folder)];
    if kept.iter().all(|kept| *kept) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Half of the log with the hoses on their own taps, half with them swapped, engine off before it.
fn recording(lasts_s: f64, rate_hz: f64, number: usize, tune: [f64; 2]) -> Vec<Row> {
    let (on, at) = (0.1 * lasts_s, Seconds);
    let half = 0.5 * (on + lasts_s) + 1.0;
    let script = Script::stopped(at(lasts_s))
        .mark(at(0.0), "engine off")
        .marked(at(on), Action::EngineOn, "engine on")
        .act(at(half - 1.0), Action::HosesOff)
        .marked(at(half), Action::HosesSwapped, "hoses swapped");
    let zero = 0.1 * (number % 11) as f64 - 0.5;
    let vacuum = [Sensor::default().with(zero, 1.006), Sensor::default().with(-0.3, 0.995)];
    let sensors = SensorBox { rate_hz, jitter_s: 0.0, vacuum, ..SensorBox::default() };
    let settings = Settings { idle_area_mm2: tune, ..Settings::default() };
    record(&settings, &sensors, &script, 4000 + number as u64).rows
}

/// Does the work for each number on every core; the numbers are independent.
fn on_every_core(count: usize, work: impl Fn(usize) + Sync) {
    let next = AtomicUsize::new(0);
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= count {
                        break;
                    }
                    work(number);
                }
            });
        }
    });
}

/// The folder of the thousand logs, made where it is not there yet.
fn thousand() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("thousand-logs");
    if folder.is_dir() {
        return folder;
    }
    println!("making      {}", folder.display());
    let part = folder.with_extension("part");
    let _ = fs::remove_dir_all(&part);
    fs::create_dir_all(&part).expect("target/tmp can be written to");
    on_every_core(RECORDINGS, |number| {
        let turned = 0.012 * number as f64 - 0.6;
        let text = made::text(&recording(60.0, 100.0, number, [10.6 + turned, 10.6 - turned]));
        for copy in 0..LOGS / RECORDINGS {
            let name = format!("{:04}.csv", copy * RECORDINGS + number);
            fs::write(part.join(name), &text).expect("the disk has room");
        }
    });
    fs::rename(&part, &folder).expect("target/tmp can be written to");
    folder
}

/// The archive of the README: each car goes out of tune from visit to visit, some faster.
fn club(folder: &Path) {
    fs::create_dir_all(folder).expect("the folder can be made");
    on_every_core(CARS * VISITS, |number| {
        let (car, visit) = (number / VISITS, number % VISITS);
        let turned = 0.004 * (car % 25) as f64 * (visit + 1) as f64;
        let rows = recording(32.0, 20.0, number, [10.6 - turned, 10.6 + turned]);
        let into = folder.join(format!("car-{:03}", car + 1));
        fs::create_dir_all(&into).expect("the folder can be made");
        for copy in 0..NAMES {
            let day = format!("20{:02}-{:02}-{:02}", 21 + visit, 1 + copy / 5, 2 + 6 * (copy % 5));
            let head = format!("# started: {day}T09:30:00Z\n# engine: car {}\n", car + 1);
            let body = made::text(&rows);
            let body = String::from_utf8(body).expect("a log is text");
            let body = body.replacen("# engine: model\n", "", 1);
            fs::write(into.join(format!("{day}.csv")), head + &body).expect("the disk has room");
        }
    });
    println!("{} logs in {}", CARS * VISITS * NAMES, folder.display());
}

fn rows_file() -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("archive-rows.parquet");
    let _ = fs::remove_file(&path);
    path
}

fn command(question: &str, logs: &[PathBuf]) -> Command {
    let mut command = Command::new(PROGRAM);
    command.arg(question).args(logs).arg("--rows").arg(rows_file());
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command
}

fn fast(question: &str, folder: &Path) -> bool {
    let logs = [folder.to_path_buf()];
    let run = || {
        let start = Instant::now();
        let status = command(question, &logs).status().expect("the program starts");
        assert!(status.success(), "{question} gave {status}");
        start.elapsed()
    };
    let best = (0..ROUNDS).map(|_| run()).min().unwrap_or(Duration::MAX).as_secs_f64();
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let line = format!(
        "{question:<11} {best:.2} s for {LOGS} logs of 60 s at 100 Hz (limit {MOST_S} on two cores, here \
         {cores}; best of {ROUNDS})"
    );
    judged(&line, best <= MOST_S)
}

/// Peak memory over all logs beside that over a few.
fn flat(folder: &Path) -> bool {
    let few: Vec<PathBuf> = (0..FEW).map(|k| folder.join(format!("{k:04}.csv"))).collect();
    let (Some(few), Some(all)) = (
        peak_mb(&mut command("balance", &few)),
        peak_mb(&mut command("balance", &[folder.to_path_buf()])),
    ) else {
        println!("memory      not measured: no /proc on this system");
        return true;
    };
    let limit = MOST_TIMES * few + MOST_MORE_MB;
    let line = format!(
        "memory      {all:.1} MB for {LOGS} logs, {few:.1} MB for {FEW} (limit {limit:.1})"
    );
    judged(&line, all <= limit)
}
