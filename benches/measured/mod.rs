//! What the benches ask of a run of the program: how long, how much memory, and whether a limit was kept.
#![allow(dead_code, reason = "each bench that shares this file uses its own part")]

use std::process::Command;
use std::time::{Duration, Instant};

/// Prints a line with its judgement.
pub fn judged(line: &str, kept: bool) -> bool {
    println!("{line}  {}", if kept { "kept" } else { "BROKEN" });
    kept
}

/// Seconds of a time.
pub fn secs(time: Duration) -> f64 {
    time.as_secs_f64()
}

/// How long some work takes.
pub fn timed(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

/// The highest resident memory of a command, MB of 10^6 bytes: the kernel's own high-water mark, read
/// again and again until the process ends. None where the system does not tell.
pub fn peak_mb(command: &mut Command) -> Option<f64> {
    let mut child = command.spawn().expect("the program starts");
    let status = format!("/proc/{}/status", child.id());
    let mut peak = None;
    while child.try_wait().expect("the program can be waited for").is_none() {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let kib = text.lines().find_map(|line| line.strip_prefix("VmHWM:")).and_then(|rest| {
            rest.trim().strip_suffix("kB").and_then(|number| number.trim().parse::<f64>().ok())
        });
        peak = kib.map(|kib| kib * 1024.0 / 1e6).or(peak);
        std::thread::sleep(Duration::from_micros(500));
    }
    peak
}
