//! The program: parse, run, say what went wrong.

use clap::Parser;
use evenbreath::cli::{self, Cli};
use std::process::ExitCode;

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) if error.use_stderr() => {
            cli::message(error.render().to_string().trim_end());
            return ExitCode::from(2);
        }
        Err(help) => help.exit(),
    };
    match cli::run(&cli) {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            let (what, next) = failure.parts();
            cli::message(&format!("error: {what}"));
            if let Some(next) = next {
                cli::message(&format!("help: {next}"));
            }
            ExitCode::from(failure.code())
        }
    }
}
