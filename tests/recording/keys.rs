//! Keys on a terminal: what is pressed stands in the log.

use crate::bench_box::STARTING;
use crate::recorder::{folder, seqs, spoken, until};
use evenbreath::log::{ReadOptions, read_path};
use evenbreath::sample::Meaning;
use serialport::{SerialPort, TTYPort};
use std::fs::OpenOptions;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

/// A window with the program in it.
struct Window {
    near: TTYPort,
    _far: TTYPort,
    shown: Arc<Mutex<String>>,
    child: Child,
}

impl Window {
    fn open(log: &Path, args: &[&str]) -> Self {
        let _no_port_is_made = STARTING.lock().unwrap();
        let (near, far) = TTYPort::pair().unwrap();
        let (near, far) = (near.try_clone_native().unwrap(), far.try_clone_native().unwrap());
        let name = far.name().unwrap();
        let end = || {
            let file = OpenOptions::new().read(true).write(true).open(&name).unwrap();
            Stdio::from(file)
        };
        let mut program = spoken(log);
        program.args(args).env("TERM", "xterm").stdin(end()).stdout(end()).stderr(end());
        let child = program.spawn().unwrap();
        let shown: Arc<Mutex<String>> = Arc::default();
        let (mut reader, text) = (near.try_clone_native().unwrap(), shown.clone());
        reader.set_timeout(Duration::from_secs(60)).unwrap();
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count) = reader.read(&mut buffer)
                && count > 0
            {
                text.lock().unwrap().push_str(&String::from_utf8_lossy(&buffer[..count]));
            }
        });
        Window { near, _far: far, shown, child }
    }

    fn press(&mut self, keys: &str) {
        self.near.write_all(keys.as_bytes()).unwrap();
    }

    fn shows(&self, words: &str) {
        until(&format!("{words:?} on the screen"), || self.shown.lock().unwrap().contains(words));
    }
}

#[test]
fn keys_write_marks_and_control_c_ends_with_the_summary() {
    let folder = folder("keys");
    let log = folder.join("log.csv");
    let mut window = Window::open(&log, &["--model"]);
    window.shows("cap off");
    window.press("c");
    window.shows("cap on");
    // Typed letter by letter, as a person does: an escape or a held key is something else.
    for key in ["s", "1", " ", "+", "0", ".", "2", "5"] {
        window.press(key);
        thread::sleep(Duration::from_millis(20));
    }
    window.shows("1 +0.25");
    window.press("\r");
    window.shows("'screw 1 +0.25' was a mistake");
    window.press("n");
    window.shows("Note");
    window.press("choke in\r");
    window.shows("note choke in");
    window.press("\x03");
    window.shows("Nothing was lost on the way.");
    assert!(window.child.wait().unwrap().success());
    let marks = read_path(&log, &ReadOptions::default()).unwrap().track.marks;
    let meanings: Vec<Meaning> = marks.into_iter().map(|mark| mark.meaning).collect();
    let expected = [
        Meaning::CapOff,
        Meaning::Screw { side: 1, turns: 0.25 },
        Meaning::Note("choke in".into()),
    ];
    assert_eq!(meanings, expected);
}

/// Says loudly, past the capture of the test's output, that a program is missing.
fn without(program: &str) {
    let _ = writeln!(std::io::stderr(), "SKIPPED: tests/recording/keys.rs: no program '{program}'");
}

#[test]
fn a_window_that_is_closed_ends_the_recording_in_good_order() {
    let folder = folder("closed");
    let log = folder.join("log.csv");
    if Command::new("pgrep").arg("--version").output().is_err() {
        return without("pgrep");
    }
    // A session of its own, whose window it is: closing it hangs the program up.
    let mut program = Command::new("script");
    let command =
        format!("exec {} record {} --model", env!("CARGO_BIN_EXE_evenbreath"), log.display());
    program.args(["-q", "-c", &command, "/dev/null"]);
    let mut script = match program.stdin(Stdio::piped()).stdout(Stdio::null()).spawn() {
        Ok(script) => script,
        Err(_) => return without("script"),
    };
    until("rows in the log", || seqs(&log).len() > 100);
    let inside = Command::new("pgrep").args(["-f", log.to_str().unwrap()]).output().unwrap();
    let inside = String::from_utf8(inside.stdout).unwrap();
    script.kill().unwrap();
    script.wait().unwrap();
    let alive = |pid: &&str| {
        let name = std::fs::read_to_string(format!("/proc/{pid}/comm")).unwrap_or_default();
        name.trim() == "evenbreath"
    };
    until("the program to end", || !inside.split_whitespace().any(|pid| alive(&pid)));
    let read = read_path(&log, &ReadOptions::default()).unwrap();
    assert_eq!((read.rows, read.bad_rows), (seqs(&log).len(), 0));
}
