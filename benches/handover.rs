//! The page that is handed over, from five logs of a whole job to the file, against its limit of a second.
//!
//! `cargo bench --bench handover`; it ends with exit 1 where the limit is broken.

use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::{Duration, Instant};

const LIMIT: Duration = Duration::from_secs(1);
const RUNS: usize = 11;
const LOGS: [(&str, &str); 5] = [
    ("--breather-before", "breather-leaking.csv"),
    ("--before", "balance-before.csv"),
    ("--hunt", "hunt.csv"),
    ("--breather-after", "breather-sealed.csv"),
    ("--after", "balance-after.csv"),
];

fn main() -> ExitCode {
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !std::env::args().any(|word| word == "--bench") {
        println!("handover: nothing is timed without --bench");
        return ExitCode::SUCCESS;
    }
    let page = Path::new(env!("CARGO_TARGET_TMPDIR")).join("handover.html");
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    let written = |command: &mut Command| {
        for (option, log) in LOGS {
            command.arg(option).arg(samples.join(log));
        }
        command.arg("--out").arg(&page);
    };
    let checked = |command: &mut Command| {
        command.arg("--verify").arg(&page).arg("--logs-in").arg(&samples);
    };
    let all = [timed("written", written), timed("checked", checked)];
    if all.into_iter().all(|good| good) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Runs `report` so often; says the median and the slowest, and whether that kept the limit.
fn timed(what: &str, arguments: impl Fn(&mut Command)) -> bool {
    let mut took = Vec::new();
    for _ in 0..RUNS {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenbreath"));
        command.arg("report");
        arguments(&mut command);
        let start = Instant::now();
        match command.output() {
            Ok(output) if output.status.success() => took.push(start.elapsed()),
            Ok(output) => {
                println!("handover, {what}: {}", String::from_utf8_lossy(&output.stderr));
                return false;
            }
            Err(error) => {
                println!("handover, {what}: cannot be started ({error})");
                return false;
            }
        }
    }
    took.sort();
    let (median, slowest) = (took[RUNS / 2], took[RUNS - 1]);
    let kept = slowest <= LIMIT;
    println!(
        "handover, {what}: median {:.0} ms, slowest of {RUNS} {:.0} ms, limit {:.0} ms{}",
        1000.0 * median.as_secs_f64(),
        1000.0 * slowest.as_secs_f64(),
        1000.0 * LIMIT.as_secs_f64(),
        if kept { "" } else { ": BROKEN" }
    );
    kept
}
