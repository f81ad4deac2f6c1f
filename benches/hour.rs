//! One hour of log at 1 kHz, and every sample log: is the program as fast and as small as it has to
//! be?
//!
//! `cargo bench --bench hour` makes the log in `target/tmp` the first time (about 100 MB, half a
//! minute), then times in turn a bare loop that reads the file's numbers and throws them away, and
//! the whole of `balance --json`. It fails when a limit is broken.

mod made;
mod measured;

use made::hour::{ROWS, log_of_an_hour};
use measured::{judged, peak_mb, secs, timed};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::Duration;

/// Rounds, of which the best counts: it is the one that other processes disturbed least.
const ROUNDS: usize = 5;
/// The whole program may take this many times as long as the bare loop.
const MOST_TIMES: f64 = 1.5;
/// Peak memory, MB of 10^6 bytes.
const MOST_MB: f64 = 250.0;
/// A command on a sample log, without charts, s.
const INSTANT_S: f64 = 0.1;

const PROGRAM: &str = env!("CARGO_BIN_EXE_evenbreath");

fn main() -> ExitCode {
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !std::env::args().any(|word| word == "--bench") {
        println!("hour: nothing is timed without --bench");
        return ExitCode::SUCCESS;
    }
    let kept = [hour(), samples()];
    if kept.iter().all(|kept| *kept) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// The hour's log: time beside the bare loop, and memory.
fn hour() -> bool {
    let path = log_of_an_hour();
    let bytes = std::fs::metadata(&path).map_or(0, |data| data.len());
    println!("log           {} ({ROWS} rows, {:.1} MB)", path.display(), bytes as f64 / 1e6);
    let (mut bare, mut whole) = (Duration::MAX, Duration::MAX);
    let before = processor_ticks();
    for round in 1..=ROUNDS {
        let (one, other) = (timed(|| bare_loop(&path)), timed(|| balance(&path)));
        println!("round {round}       bare {:.3} s   balance {:.3} s", secs(one), secs(other));
        (bare, whole) = (bare.min(one), whole.min(other));
    }
    let times = secs(whole) / secs(bare);
    println!("bare loop     {:.3} s, best of {ROUNDS}", secs(bare));
    println!("balance       {:.3} s, best of {ROUNDS}", secs(whole));
    if let (Some(before), Some(after)) = (before, processor_ticks()) {
        let [own, children] = [0, 1].map(|k| after[k] - before[k]);
        let share = children as f64 / own.max(1) as f64;
        println!("processor     {share:.2} times that of the bare loop, over all {ROUNDS} rounds");
    }
    let fast =
        judged(&format!("ratio         {times:.2} (limit {MOST_TIMES})"), times <= MOST_TIMES);
    let small = match peak_mb(&mut balance_command(&path)) {
        Some(mb) => judged(&format!("peak memory   {mb:.1} MB (limit {MOST_MB})"), mb <= MOST_MB),
        None => {
            println!("peak memory   not measured: no /proc on this system");
            true
        }
    };
    fast && small
}

/// Processor time so far of this process and of the children that have ended, in the kernel's ticks:
/// other processes on the machine lengthen the wall time of a run, this one hardly.
fn processor_ticks() -> Option<[u64; 2]> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    // Fields 14 to 17 of proc(5): user and system time of its own, then of its children.
    let after_name = text.rsplit_once(')')?.1;
    let ticks: Vec<u64> =
        after_name.split_whitespace().skip(11).take(4).filter_map(|t| t.parse().ok()).collect();
    let [user, system, children_user, children_system] = ticks.try_into().ok()?;
    Some([user + system, children_user + children_system])
}

/// The least that any program does that reads the numbers of this file by the csv crate.
fn bare_loop(path: &Path) {
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).expect("the log is there");
    let mut record = csv::ByteRecord::new();
    while reader.read_byte_record(&mut record).expect("the log is well formed") {
        for field in record.iter().take(4).filter(|field| !field.is_empty()) {
            let text = std::str::from_utf8(field).expect("numbers are ASCII");
            let value: f64 = text.parse().expect("the field is a number");
            black_box(value);
        }
    }
}

fn balance_command(path: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command.args(["balance", "--json"]).arg(path).stdout(Stdio::null());
    command
}

fn balance(path: &Path) {
    let status = balance_command(path).status().expect("the program starts");
    assert!(status.success(), "balance gave {status}");
}

/// Every command on every sample log it is made for, from start to exit.
fn samples() -> bool {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    let mut logs: Vec<PathBuf> = std::fs::read_dir(&folder)
        .expect("the sample logs are there")
        .map(|entry| entry.expect("the folder can be read").path())
        .filter(|path| path.extension().is_some_and(|end| end == "csv"))
        .collect();
    logs.sort();
    let mut kept = true;
    for command in ["balance", "breather", "inspect"] {
        let times = logs.iter().map(|log| (best(command, &[log]), log));
        let slowest = times.max_by_key(|(time, _)| *time).expect("there is a sample log");
        let name = slowest.1.file_name().unwrap_or_default().display();
        kept &= instant(command, slowest.0, &format!("slowest of {}: {name}", logs.len()));
    }
    let pair = ["balance-before.csv", "balance-after.csv"].map(|name| folder.join(name));
    let time = best("compare", &[&pair[0], &pair[1]]);
    instant("compare", time, "balance-before.csv, balance-after.csv") && kept
}

fn instant(command: &str, time: Duration, on: &str) -> bool {
    let line = format!("{command:<13} {:.3} s (limit {INSTANT_S}; {on})", secs(time));
    judged(&line, secs(time) <= INSTANT_S)
}

fn best(command: &str, logs: &[&PathBuf]) -> Duration {
    let run = || {
        let mut program = Command::new(PROGRAM);
        program.arg(command).args(logs).stdout(Stdio::null()).stderr(Stdio::null());
        // Some logs are too poor for some commands; that takes its time as well.
        program.status().expect("the program starts");
    };
    (0..ROUNDS).map(|_| timed(run)).min().unwrap_or(Duration::MAX)
}
