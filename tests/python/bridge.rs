//! The way to Python and back: a question goes to a script as JSON, the answer comes back as JSON
//! with every number written as Python's `repr` of it, which names one f64 and no other.

use serde_json::Value;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

/// What a script answered.
pub struct Answer {
    script: String,
    answer: Value,
}

impl Answer {
    /// The numbers under this name.
    #[track_caller]
    pub fn list(&self, name: &str) -> Vec<f64> {
        let found = self.answer.get(name).and_then(Value::as_array);
        let Some(values) = found else { panic!("{}: no list `{name}`", self.script) };
        let number = |v: &Value| v.as_str().and_then(|s| s.parse().ok());
        let numbers: Option<Vec<f64>> = values.iter().map(number).collect();
        numbers.unwrap_or_else(|| panic!("{}: `{name}` is not all numbers", self.script))
    }

    /// The whole numbers under this name.
    #[track_caller]
    pub fn places(&self, name: &str) -> Vec<usize> {
        self.list(name).into_iter().map(|v| v as usize).collect()
    }

    /// The only number under this name.
    #[track_caller]
    pub fn one(&self, name: &str) -> f64 {
        let list = self.list(name);
        assert_eq!(list.len(), 1, "{}: `{name}`", self.script);
        list[0]
    }
}

/// Asks a script in this folder; `None`, with a loud line, where Python or a package is missing.
pub fn ask(script: &str, question: &Value) -> Option<Answer> {
    let python = python(script)?;
    let output = run(&python, script, &question.to_string());
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{script} failed:\n{said}");
    let answer = serde_json::from_slice(&output.stdout).unwrap();
    Some(Answer { script: script.into(), answer })
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/python")
}

/// Runs a script of this folder without leaving compiled files beside it.
fn run(python: &Path, script: &str, question: &str) -> Output {
    let mut child = start(python, script).unwrap();
    // Written from a thread of its own: a script may answer before it has read everything.
    let mut stdin = child.stdin.take().unwrap();
    let question = question.to_string();
    let writer = std::thread::spawn(move || stdin.write_all(question.as_bytes()));
    let output = child.wait_with_output().unwrap();
    // A script that failed has closed its end: its own words say why, not the broken pipe.
    let _ = writer.join().unwrap();
    output
}

fn start(python: &Path, script: &str) -> std::io::Result<std::process::Child> {
    Command::new(python)
        .args(["-B", "-W", "ignore::DeprecationWarning"])
        .arg(folder().join(script))
        // The tests run side by side already.
        .env("OMP_NUM_THREADS", "1")
        .env("OPENBLAS_NUM_THREADS", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
}

/// The Python that has every package in its pinned version, found once.
fn python(script: &str) -> Option<PathBuf> {
    static FOUND: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    match FOUND.get_or_init(find) {
        Ok(python) => Some(python.clone()),
        Err(lacking) => {
            let line = format!(
                "SKIPPED: tests/python/{script} was NOT COMPARED: {lacking}. To have it: python3 -m venv \
                 target/outside-venv && target/outside-venv/bin/pip install -r tests/outside/requirements.txt\n"
            );
            assert!(std::env::var_os("EVENBREATH_OUTSIDE_REQUIRED").is_none(), "{line}");
            // Past the test runner, which keeps what a passing test prints to itself.
            let _ = std::io::stderr().write_all(line.as_bytes());
            None
        }
    }
}

/// `EVENBREATH_PYTHON`, else the environment that `.ci/run` makes, else the machine's own.
fn find() -> Result<PathBuf, String> {
    let made = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside-venv/bin/python");
    let python = match std::env::var_os("EVENBREATH_PYTHON") {
        Some(named) => PathBuf::from(named),
        None if made.exists() => made,
        None => PathBuf::from("python3"),
    };
    let child = start(&python, "packages.py");
    let output = child.and_then(|child| child.wait_with_output());
    let shown = python.display();
    let output = output.map_err(|e| format!("`{shown}` cannot be run: {e}"))?;
    let lacking = String::from_utf8_lossy(&output.stdout).trim().to_string();
    match (output.status.success(), lacking.is_empty()) {
        (true, true) => Ok(python),
        (true, false) => Err(format!("`{shown}` lacks {lacking}")),
        (false, _) => Err(format!("`{shown}`: {}", String::from_utf8_lossy(&output.stderr).trim())),
    }
}
