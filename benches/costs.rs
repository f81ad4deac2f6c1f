//! What the program costs as the work grows: a table of time and memory by rows, the picture of an hour,
//! the start, the size of the binary, and instructions a row.
//!
//! `cargo bench --bench costs` goes up to 10^7 rows (`-- --largest 8` to 10^8: 2.8 GB of disk, and as much
//! memory as the table says). Instructions are counted by callgrind, where valgrind is there. It fails when
//! a limit is broken.

mod made;
mod measured;

use evenbreath::charts::{self, Frame};
use evenbreath::findings::{Conditions, balance};
use evenbreath::log::{ReadOptions, read_path};
use evenbreath::signal;
use made::hour::{ROWS, log_of_an_hour};
use measured::{judged, peak_mb, secs, timed};
use std::fs::{self, File};
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};

/// Largest power of ten of rows, unless asked otherwise.
const LARGEST: u32 = 7;
/// Rows from which one run has to do.
const ONE_RUN: usize = 3_000_000;
/// Rounds, of which the best counts: it is the one that other processes disturbed least.
const ROUNDS: usize = 5;
/// The picture of an hour, ms.
const MOST_PICTURE_MS: f64 = 150.0;
/// From the start to the first output, ms.
const MOST_START_MS: f64 = 15.0;
/// The binary, MB of 10^6 bytes.
const MOST_BINARY_MB: f64 = 8.0;
/// Rows of the two logs whose instructions are counted: the difference is free of what every run costs.
const COUNTED: [usize; 2] = [100_000, 200_000];

const PROGRAM: &str = env!("CARGO_BIN_EXE_evenbreath");

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().collect();
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !words.iter().any(|word| word == "--bench") {
        println!("costs: nothing is timed without --bench");
        return ExitCode::SUCCESS;
    }
    let asked = words.iter().position(|word| word == "--largest").and_then(|at| words.get(at + 1));
    let largest = asked.map_or(LARGEST, |word| word.parse().expect("--largest takes a number"));
    table(largest);
    instructions();
    let kept = [picture(), start(), size()];
    if kept.iter().all(|kept| *kept) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// A log of so many rows: the first of the hour's, or the hour again and again with its clock going on.
fn log_of(rows: usize) -> PathBuf {
    let hour = log_of_an_hour();
    let path = hour.with_file_name(format!("rows-{rows}.csv"));
    let mut out = BufWriter::new(File::create(&path).expect("target/tmp can be written to"));
    let (mut left, mut hours) = (rows, 0.0);
    while left > 0 {
        let lines = BufReader::new(File::open(&hour).expect("the hour is there")).lines();
        for line in lines.map(|line| line.expect("the hour is text")) {
            let number = line.split_once(',').and_then(|(time, rest)| {
                time.parse::<f64>().ok().map(|time| (time + 3600.0 * hours, rest))
            });
            let written = match number {
                Some(_) if left == 0 => break,
                Some((time, rest)) => {
                    left -= 1;
                    writeln!(out, "{time:.3},{rest}")
                }
                // The heading stands once.
                None if hours == 0.0 => writeln!(out, "{line}"),
                None => Ok(()),
            };
            written.expect("the disk has room");
        }
        hours += 1.0;
    }
    out.flush().expect("the disk has room");
    path
}

fn command(log: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command.args(["balance", "--json"]).arg(log).stdout(Stdio::null()).stderr(Stdio::null());
    command
}

fn run(command: &mut Command) {
    // A log of a second holds no plateau: that takes its time as well.
    command.status().expect("the program starts");
}

/// Time and memory by the number of rows at 1 kHz.
fn table(largest: u32) {
    println!("rows           MB of log      s    ns a row   MB of memory");
    for power in 3..=largest {
        let rows = 10_usize.pow(power);
        let log = log_of(rows);
        let rounds = if rows > ONE_RUN { 1 } else { ROUNDS };
        let time = (0..rounds).map(|_| timed(|| run(&mut command(&log)))).min();
        let seconds = time.map_or(0.0, secs);
        let megabytes = fs::metadata(&log).map_or(0.0, |data| data.len() as f64 / 1e6);
        let memory = peak_mb(&mut command(&log)).map_or("-".into(), |mb| format!("{mb:.1}"));
        let each = 1e9 * seconds / rows as f64;
        println!("{rows:<12} {megabytes:>11.2} {seconds:>6.3} {each:>11.0} {memory:>14}");
        fs::remove_file(&log).expect("a log of ours can be removed");
    }
}

/// Instructions a row, by callgrind.
fn instructions() {
    let counts = COUNTED.map(|rows| {
        let log = log_of(rows);
        let counted = Command::new("valgrind")
            .args([
                "--tool=callgrind",
                "--callgrind-out-file=/dev/null",
                PROGRAM,
                "balance",
                "--json",
            ])
            .arg(&log)
            .stdout(Stdio::null())
            .output();
        fs::remove_file(&log).expect("a log of ours can be removed");
        let said = String::from_utf8_lossy(&counted.ok()?.stderr).into_owned();
        let total = said.lines().find_map(|line| line.split_once("Collected : "))?.1;
        total.trim().parse::<f64>().ok()
    });
    match counts {
        [Some(few), Some(many)] => {
            let each = (many - few) / (COUNTED[1] - COUNTED[0]) as f64;
            println!(
                "instructions   {each:.0} a row, {:.1} million at {} rows",
                few / 1e6,
                COUNTED[0]
            );
        }
        _ => println!("instructions   not counted: no valgrind on this system"),
    }
}

/// The balance of an hour as a PNG file, from the finding on.
fn picture() -> bool {
    let log = read_path(&log_of_an_hour(), &ReadOptions::default()).expect("the hour can be read");
    let conditions = Conditions::default();
    let signal = signal::prepare(log.track, conditions.cylinders);
    let finding = balance::find(&signal, &conditions);
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("hour.png");
    let draw = || {
        charts::balance(&path, &Frame::default(), &signal, &finding, &conditions.sides)
            .expect("the hour can be drawn");
    };
    let best = (0..ROUNDS).map(|_| timed(draw)).min().map_or(f64::INFINITY, secs);
    let line = format!(
        "picture        {:.0} ms for {ROWS} rows (limit {MOST_PICTURE_MS}; best of {ROUNDS})",
        1e3 * best
    );
    judged(&line, 1e3 * best <= MOST_PICTURE_MS)
}

/// From the start of the program to the end of its shortest answer.
fn start() -> bool {
    let mut version = Command::new(PROGRAM);
    version.arg("--version").stdout(Stdio::null());
    let best = (0..20).map(|_| timed(|| run(&mut version))).min().map_or(f64::INFINITY, secs);
    let line = format!("start          {:.1} ms (limit {MOST_START_MS})", 1e3 * best);
    judged(&line, 1e3 * best <= MOST_START_MS)
}

fn size() -> bool {
    let bytes = fs::metadata(PROGRAM).map_or(f64::INFINITY, |data| data.len() as f64);
    let line = format!("binary         {:.1} MB (limit {MOST_BINARY_MB})", bytes / 1e6);
    judged(&line, bytes / 1e6 <= MOST_BINARY_MB)
}
