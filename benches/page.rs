//! The page in a real browser against its limits: sample to screen at 1 kHz with three clients, load of the
//! page, first paint, weight.
//!
//! `cargo bench --bench page`; it needs node, chromium and `npm ci` in `tests/browser`, and ends with exit 1
//! where a limit of `tests/browser/speed.test.mjs` is broken.

use std::path::Path;
use std::process::{Command, ExitCode};

fn main() -> ExitCode {
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !std::env::args().any(|word| word == "--bench") {
        println!("page: nothing is timed without --bench");
        return ExitCode::SUCCESS;
    }
    let chromium = std::env::var("EVENBREATH_CHROMIUM").unwrap_or("/usr/bin/chromium".into());
    let status = Command::new("node")
        .args(["--test", "--test-concurrency=1", "--test-reporter=spec", "speed.test.mjs"])
        .env("EVENBREATH_PROGRAM", env!("CARGO_BIN_EXE_evenbreath"))
        .env("EVENBREATH_CHROMIUM", chromium)
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser"))
        .status();
    match status {
        Ok(status) if status.success() => ExitCode::SUCCESS,
        Ok(_) => ExitCode::FAILURE,
        Err(error) => {
            println!("page: node cannot be started ({error})");
            ExitCode::FAILURE
        }
    }
}
