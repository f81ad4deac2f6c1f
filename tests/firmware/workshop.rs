//! Tools, the firmware in its variants, the simulator, and a run of one in the other.

use crate::drive::Drive;
use crate::heard::Heard;
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Output, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// Opening a terminal must not make it the one that controls this process (Linux, `fcntl.h`).
const O_NOCTTY: i32 = 0o400;

/// How long a reader waits for characters that the simulator still holds.
const PATIENCE: Duration = Duration::from_secs(20);

/// What every test here begins with: true where the tools are; else a loud line, or a failure
/// where they are required.
pub fn has_tools(test: &str) -> bool {
    static LACKING: OnceLock<Option<String>> = OnceLock::new();
    let Some(lacking) = LACKING.get_or_init(lacking) else { return true };
    let line = format!(
        "SKIPPED: firmware test {test} was NOT RUN: {lacking}. To have it: apt-get install \
         --no-install-recommends make gcc-avr avr-libc binutils-avr simavr libsimavr-dev libelf-dev\n"
    );
    assert!(std::env::var_os("EVENBREATH_FIRMWARE_REQUIRED").is_none(), "{line}");
    // Past the test runner, which keeps what a passing test prints to itself.
    let _ = std::io::stderr().write_all(line.as_bytes());
    false
}

fn lacking() -> Option<String> {
    let probes = [
        ("make", "make", "", "--version"),
        ("avr-gcc with avr-libc", "avr-gcc", "#include <avr/io.h>\n", "-mmcu=atmega328p -E -"),
        ("libsimavr", "cc", "#include <simavr/sim_avr.h>\n", "-E -"),
        ("libelf", "cc", "#include <libelf.h>\n", "-E -"),
    ];
    let missing: Vec<&str> = probes
        .iter()
        .filter(|(_, program, text, options)| !runs(program, text, options))
        .map(|(name, ..)| *name)
        .collect();
    (!missing.is_empty()).then(|| format!("no {}", missing.join(", no ")))
}

fn runs(program: &str, text: &str, options: &str) -> bool {
    let child = Command::new(program)
        .args(options.split_whitespace())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let Ok(mut child) = child else { return false };
    // Dropped after the write, which ends the compiler's input.
    let written = child.stdin.take().unwrap().write_all(text.as_bytes());
    child.wait().is_ok_and(|status| status.success()) && written.is_ok()
}

fn here() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/firmware")
}

/// A folder of its own under `target/tmp`.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("firmware").join(name);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Runs the firmware's Makefile: a target with choices such as `FIRST_SEQ=65000`.
pub fn make(name: &str, target: &str, choices: &[&str]) -> Output {
    Command::new("make")
        .arg("-C")
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("firmware-notes/firmware"))
        .arg(format!("OUT={}/", folder(name).display()))
        .args(choices)
        .arg(target)
        .output()
        .unwrap()
}

/// The firmware in a variant.
pub fn firmware(name: &str, choices: &[&str]) -> PathBuf {
    let made = make(name, "all", choices);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    folder(name).join("box.elf")
}

fn simulator() -> &'static Path {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| {
        let program = folder("simulator").join("simulated_box");
        let made = Command::new("cc")
            .args(["-O2", "-Wall", "-Wextra", "-Werror", "-o"])
            .args([&program, &here().join("simulated_box.c")])
            .args(["-lsimavr", "-lelf"])
            .output()
            .unwrap();
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        program
    })
}

/// What the simulator counted.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Left {
    /// Sentences that left the UART: samples, infos, answers, and anything else.
    pub samples: usize,
    pub infos: usize,
    pub answers: usize,
    pub other: usize,
    pub characters: usize,
    /// Its other lines: how long it took, interrupts, stack.
    pub remarks: String,
}

/// A simulated box that waits for a program to open its terminal, or plays.
pub struct SimulatedBox {
    /// The pseudo-terminal.
    pub terminal: String,
    child: Child,
    lifeline: Option<ChildStdin>,
    says: BufReader<ChildStdout>,
}

impl SimulatedBox {
    /// Starts one; speed 1 is true time, 0 as fast as it goes.
    pub fn start(name: &str, elf: &Path, drive: &Drive, speed: f64) -> SimulatedBox {
        let file = folder(name).join("drive.txt");
        std::fs::write(&file, &drive.text).unwrap();
        let mut child = Command::new(simulator())
            .args([elf, &file])
            .arg(speed.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let lifeline = child.stdin.take();
        let mut says = BufReader::new(child.stdout.take().unwrap());
        let mut terminal = String::new();
        says.read_line(&mut terminal).unwrap();
        assert!(terminal.starts_with("/dev/"), "the simulator did not start: {terminal:?}");
        SimulatedBox { terminal: terminal.trim().into(), child, lifeline, says }
    }

    /// Waits for the end of the drive: what left the UART. The terminal stays open.
    pub fn left(&mut self) -> Left {
        let mut left = Left::default();
        loop {
            let mut line = String::new();
            assert!(self.says.read_line(&mut line).unwrap() > 0, "the simulator ended early");
            let Some(counts) = line.strip_prefix("left the box: ") else {
                left.remarks.push_str(&line);
                continue;
            };
            for count in counts.trim().split(", ") {
                let (number, what) = count.split_once(' ').unwrap();
                *match what {
                    "samples" => &mut left.samples,
                    "infos" => &mut left.infos,
                    "answers" => &mut left.answers,
                    "other" => &mut left.other,
                    _ => &mut left.characters,
                } = number.parse().unwrap();
            }
            return left;
        }
    }
}

impl Drop for SimulatedBox {
    fn drop(&mut self) {
        drop(self.lifeline.take());
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Plays a drive and reads the terminal to the last character. `reply` sees every line as it comes
/// and may give a text to write back.
pub fn play(
    name: &str,
    elf: &Path,
    drive: &Drive,
    speed: f64,
    mut reply: impl FnMut(&str) -> Option<String>,
) -> (Heard, Left) {
    let mut simulated = SimulatedBox::start(name, elf, drive, speed);
    let (mut terminal, pieces) = listen(&simulated.terminal);
    let (ended, end) = channel();
    let mut text = String::new();
    let mut seen = 0;
    std::thread::scope(|scope| {
        let waits = &mut simulated;
        scope.spawn(move || ended.send(waits.left()));
        let mut left: Option<Left> = None;
        loop {
            left = left.or_else(|| end.try_recv().ok());
            if left.as_ref().is_some_and(|left| text.len() >= left.characters) {
                break;
            }
            // While the box plays, a look now and then whether it has ended.
            let wait = if left.is_some() { PATIENCE } else { Duration::from_millis(20) };
            match pieces.recv_timeout(wait) {
                Ok(piece) => text.push_str(&piece),
                Err(_) if left.is_none() => continue,
                Err(_) => break,
            }
            while let Some(end) = text[seen..].find('\n') {
                if let Some(words) = reply(&text[seen..seen + end]) {
                    terminal.write_all(words.as_bytes()).unwrap();
                }
                seen += end + 1;
            }
        }
        let left = left.unwrap();
        assert_eq!(text.len(), left.characters, "{name}: characters were lost on the way");
        (Heard::read(&text), left)
    })
}

/// Opens a terminal; a thread reads it until it is hung up.
fn listen(terminal: &str) -> (File, Receiver<String>) {
    let file =
        OpenOptions::new().read(true).write(true).custom_flags(O_NOCTTY).open(terminal).unwrap();
    let mut reads = file.try_clone().unwrap();
    let (sends, pieces) = channel();
    std::thread::spawn(move || {
        let mut piece = [0; 4096];
        while let Ok(n @ 1..) = reads.read(&mut piece) {
            // Nobody listens any more once the test is over.
            if sends.send(String::from_utf8_lossy(&piece[..n]).into_owned()).is_err() {
                return;
            }
        }
    });
    (file, pieces)
}
