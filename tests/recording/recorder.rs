//! The program at work, and what it says at its end.

use crate::bench_box::STARTING;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

/// Nothing that is waited for takes longer than this on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

/// A recording that runs.
pub struct Recorder {
    child: Child,
    /// The log it writes.
    pub log: PathBuf,
}

/// A recording that has ended.
#[derive(Debug)]
pub struct Ended {
    pub code: Option<i32>,
    pub err: String,
    pub summary: Value,
}

/// An empty folder of this name.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("recording-{name}"));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// Waits until something is so.
pub fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    let start = Instant::now();
    while !is_so() {
        assert!(start.elapsed() < PATIENCE, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// The program, to record into a log and to give its summary as JSON.
pub fn command(log: &Path, args: &[&str]) -> Command {
    let mut command = spoken(log);
    command.arg("--json").args(args);
    command
}

/// The program, to record into a log and to speak to a person.
pub fn spoken(log: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_evenbreath"));
    command.arg("record").arg(log).env("COLUMNS", "200");
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

impl Recorder {
    pub fn start(log: &Path, args: &[&str]) -> Self {
        let _no_port_is_made = STARTING.lock().unwrap();
        Recorder { child: command(log, args).spawn().unwrap(), log: log.into() }
    }

    pub fn on_port(log: &Path, port: &Path) -> Self {
        Self::start(log, &["--port", port.to_str().unwrap()])
    }

    /// Waits until the newest row is that of a sentence.
    pub fn holds_sentence(&self, seq: u64) {
        until(&format!("sentence {seq} in {}", self.log.display()), || {
            last_seq(&self.log).is_some_and(|last| last >= seq)
        });
    }

    pub fn is_running(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// Sends it a signal by its name.
    pub fn signal(&self, name: &str) {
        let status = Command::new("kill").args(["-s", name, &self.child.id().to_string()]).status();
        assert!(status.unwrap().success());
    }

    /// Waits for its end.
    pub fn wait(self) -> Ended {
        ended(self.child.wait_with_output().unwrap())
    }

    /// Ends it as Ctrl-C does.
    pub fn interrupt(self) -> Ended {
        self.signal("INT");
        self.wait()
    }

    /// Ends it without a word.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

pub fn ended(output: Output) -> Ended {
    let summary = serde_json::from_slice(&output.stdout).unwrap_or(Value::Null);
    let err = String::from_utf8(output.stderr).unwrap();
    Ended { code: output.status.code(), err, summary }
}

impl Ended {
    /// A count of the summary.
    pub fn count(&self, key: &str) -> u64 {
        self.summary[key].as_u64().unwrap_or_else(|| panic!("no {key}: {self:?}"))
    }

    /// Rows and losses are what was sent.
    pub fn makes_up(&self, sent: u64) {
        assert_eq!(self.count("rows") + self.count("lost"), sent, "{self:?}");
    }
}

/// The rows of a log, header and heading left out.
pub fn lines(log: &Path) -> Vec<String> {
    let text = fs::read_to_string(log).unwrap_or_default();
    text.lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(Into::into)
        .collect()
}

/// Sequence numbers of the sample rows of a log whose columns are
/// `time_s,rpm,vac1_kpa,vac2_kpa,seq,host_s,mark`; a torn last row is left out.
pub fn seqs(log: &Path) -> Vec<u64> {
    let text = fs::read_to_string(log).unwrap_or_default();
    let whole = &text[..text.rfind('\n').map_or(0, |end| end + 1)];
    let rows = whole.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    rows.filter_map(|row| row.split(',').nth(4)?.parse().ok()).collect()
}

fn last_seq(log: &Path) -> Option<u64> {
    seqs(log).last().copied()
}
