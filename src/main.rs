//! The program: parse, run, say what went wrong.

use clap::Parser;
use evenbreath::cli::{self, Cli};
use std::process::ExitCode;

fn main() -> ExitCode {
    match cli::run(&Cli::parse()) {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            let (what, next) = failure.parts();
            cli::message(&format!("error: {what}"));
            if let Some(next) = next {
                cli::message(&format!("help: {next}"));
            }
            ExitCode::from(2)
        }
    }
}
