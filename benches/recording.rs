//! A recording against its limits: what it costs at 1 kHz, how late a sample is, how many sentences a
//! second it takes, and how its memory grows over an hour's worth of samples.
//!
//! `cargo bench --bench recording`; ends with exit 1 where a limit is broken. It needs pseudo-terminals
//! and `/proc`, so Linux.

#[cfg(target_os = "linux")]
#[path = "recording/linux.rs"]
mod linux;

fn main() -> std::process::ExitCode {
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !std::env::args().any(|word| word == "--bench") {
        println!("recording: nothing is timed without --bench");
        return std::process::ExitCode::SUCCESS;
    }
    #[cfg(target_os = "linux")]
    return linux::measure();
    #[cfg(not(target_os = "linux"))]
    {
        println!("SKIPPED: pseudo-terminals and /proc are needed");
        std::process::ExitCode::SUCCESS
    }
}
