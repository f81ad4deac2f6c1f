//! Running the binary.

use std::io::Write;
use std::process::{Command, Stdio};

/// How a run ended.
#[derive(Debug)]
pub struct Run {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// The binary, on a page of 80 columns unless the test says otherwise.
pub fn binary() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_evenbreath"));
    command.env("COLUMNS", "80").env_remove("NO_COLOR").stdin(Stdio::null());
    command
}

/// Runs it to the end.
pub fn finish(command: &mut Command) -> Run {
    let output = command.output().unwrap();
    Run {
        code: output.status.code().expect("the program was killed"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs it with these arguments.
pub fn run(args: &[&str]) -> Run {
    finish(binary().args(args))
}

/// Runs it with this on standard input.
pub fn fed(args: &[&str], input: &str) -> Run {
    let mut child = binary()
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_string();
    let feeder = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let output = child.wait_with_output().unwrap();
    feeder.join().unwrap().unwrap();
    Run {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

impl Run {
    /// The run did its work.
    pub fn good(self) -> Self {
        assert_eq!(self.code, 0, "{}", self.err);
        self
    }

    /// The run could not do its work: code 2, nothing on standard output, `error:` and `help:`
    /// once each, and no word of a panic.
    pub fn refused(self) -> Self {
        assert_eq!(self.code, 2, "{}{}", self.out, self.err);
        assert_eq!(self.out, "", "an answer beside an error");
        assert!(self.err.starts_with("error: "), "{}", self.err);
        assert_eq!(self.err.matches("error:").count(), 1, "{}", self.err);
        assert!(!self.err.contains("panicked"), "{}", self.err);
        self
    }

    /// The JSON document on standard output.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}: {}", self.out))
    }
}
