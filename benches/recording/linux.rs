//! The measurements, on a pseudo-terminal.

use evenbreath::sources::event::Event;
use evenbreath::sources::listener::Listener;
use evenbreath::sources::serial::Serial;
use serialport::{SerialPort, TTYPort};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::channel;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

/// Share of one core at 1 kHz, per cent.
const MOST_CPU: f64 = 5.0;
/// Sentences a second that are taken without loss.
const LEAST_RATE: f64 = 50_000.0;
/// From bytes written to sample delivered, 99th percentile, ms.
const MOST_LATENCY_MS: f64 = 20.0;
/// Growth of the memory from the first tenth of an hour to its end, MiB.
const MOST_GROWTH_MIB: f64 = 4.0;

/// Sentences a second at which the memory is looked at: twice what has to be taken. Faster still, what
/// waits between two writes of the journal is most of it.
const PACE: f64 = 100_000.0;

/// An hour at 1 kHz.
const HOUR: u64 = 3_600_000;
/// Ticks of `/proc/PID/stat` in a second (USER_HZ of Linux).
const TICKS_PER_S: f64 = 100.0;

/// All the figures, each against its limit.
pub fn measure() -> ExitCode {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bench-recording");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder for the logs");
    let kept = [latency(), load(&folder), an_hour(&folder, None), an_hour(&folder, Some(PACE))];
    if kept.into_iter().all(|kept| kept) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn sentence(k: u64, interval_us: u64) -> Vec<u8> {
    let (seq, micros) = (k % 65_536, k * interval_us % (1 << 32));
    let swing = [0, 9, 14, 11, 2, 6, 12, 5][k as usize % 8];
    let body = format!("EBP,{seq},{micros},{},{},{}", 8_480 + k % 40, 490 + swing, 500 - swing);
    framed(&body)
}

fn framed(body: &str) -> Vec<u8> {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n").into_bytes()
}

fn info() -> Vec<u8> {
    framed("EBI,bench-box,1,10,5000,MPXV6115V,MPXV6115V,1000")
}

fn port() -> (TTYPort, TTYPort, PathBuf) {
    let (master, slave) = TTYPort::pair().expect("a pseudo-terminal");
    let mut master = master.try_clone_native().expect("a handle that programs do not inherit");
    let slave = slave.try_clone_native().expect("a handle that programs do not inherit");
    master.set_timeout(Duration::from_secs(60)).expect("a time to wait");
    let name = slave.name().expect("the name of the port");
    (master, slave, name.into())
}

fn said(what: &str, found: f64, unit: &str, limit: f64, kept: bool) -> bool {
    let verdict = if kept { "kept" } else { "BROKEN" };
    println!("{what}: {found:.2} {unit} (limit {limit} {unit}) {verdict}");
    kept
}

/// Ten seconds at 1 kHz through the listener: how late is a sample?
fn latency() -> bool {
    let (mut master, _slave, name) = port();
    let stop = Arc::new(AtomicBool::new(false));
    let (_commands, commanded) = channel();
    let opener = Box::new(Serial::new(Some(name.display().to_string()), 115_200));
    let listener = Listener::new(opener, Instant::now(), stop.clone(), commanded);
    let sent: Arc<Mutex<Vec<Instant>>> = Arc::default();
    let late: Arc<Mutex<Vec<f64>>> = Arc::default();
    let (seen, noted) = (sent.clone(), late.clone());
    let ear = thread::spawn(move || {
        let deliver = |events: Vec<Event>| {
            let now = Instant::now();
            let sent = seen.lock().expect("the times");
            let mut late = noted.lock().expect("the delays");
            for event in &events {
                if let Event::Sample(sample) = event
                    && let Some(at) = sent.get(sample.seq.unwrap_or(0) as usize)
                {
                    late.push((now - *at).as_secs_f64() * 1e3);
                }
            }
            true
        };
        listener.listen(|_| {}, deliver)
    });
    thread::sleep(Duration::from_millis(200));
    let start = Instant::now();
    for k in 0..10_000 {
        let due = start + Duration::from_millis(k);
        thread::sleep(due.saturating_duration_since(Instant::now()));
        sent.lock().expect("the times").push(Instant::now());
        master.write_all(&sentence(k, 1_000)).expect("room in the port");
    }
    thread::sleep(Duration::from_millis(200));
    stop.store(true, Ordering::Relaxed);
    ear.join().expect("the listener").expect("an open port");
    let mut late = late.lock().expect("the delays").clone();
    late.sort_by(f64::total_cmp);
    let at = |share: f64| late[((late.len() - 1) as f64 * share) as usize];
    println!(
        "{} of 10000 samples; latency median {:.2} ms, most {:.2} ms",
        late.len(),
        at(0.5),
        at(1.0)
    );
    let p99 = at(0.99);
    said(
        "latency, 99th percentile",
        p99,
        "ms",
        MOST_LATENCY_MS,
        p99 < MOST_LATENCY_MS && late.len() == 10_000,
    )
}

fn recorder(log: &Path, port: &Path) -> Child {
    Command::new(env!("CARGO_BIN_EXE_evenbreath"))
        .arg("record")
        .arg(log)
        .args(["--json", "--port"])
        .arg(port)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program")
}

fn interrupted(child: Child) -> serde_json::Value {
    let signalled = Command::new("kill").args(["-s", "INT", &child.id().to_string()]).status();
    assert!(signalled.expect("kill").success());
    let output = child.wait_with_output().expect("its end");
    serde_json::from_slice(&output.stdout).expect("a summary")
}

/// Seconds of processor time that a program has taken.
fn processor_s(child: &Child) -> f64 {
    let stat = fs::read_to_string(format!("/proc/{}/stat", child.id())).expect("/proc");
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or("").split_whitespace().collect();
    let ticks = |field: usize| fields[field].parse::<f64>().expect("a number of ticks");
    (ticks(11) + ticks(12)) / TICKS_PER_S
}

/// Memory of a program, MiB.
fn memory_mib(child: &Child) -> f64 {
    let status = fs::read_to_string(format!("/proc/{}/status", child.id())).expect("/proc");
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).expect("VmRSS");
    line.split_whitespace().nth(1).and_then(|kb| kb.parse::<f64>().ok()).expect("kB") / 1024.0
}

/// A minute and a half at 1 kHz through the whole program, its plain line and its judge at work: the
/// last 30 s, when the window is full.
fn load(folder: &Path) -> bool {
    let (mut master, _slave, name) = port();
    let child = recorder(&folder.join("load.csv"), &name);
    master.write_all(&info()).expect("room in the port");
    let start = Instant::now();
    let mut from = None;
    for k in 0..90_000 {
        let due = start + Duration::from_millis(k);
        thread::sleep(due.saturating_duration_since(Instant::now()));
        master.write_all(&sentence(k, 1_000)).expect("room in the port");
        if k == 60_000 {
            from = Some((Instant::now(), processor_s(&child)));
        }
    }
    let (since, before_s) = from.expect("a minute");
    let share = 100.0 * (processor_s(&child) - before_s) / since.elapsed().as_secs_f64();
    thread::sleep(Duration::from_millis(300));
    let summary = interrupted(child);
    let whole = summary["rows"] == 90_000 && summary["lost"] == 0;
    said("1 kHz, share of one core", share, "%", MOST_CPU, share < MOST_CPU && whole)
}

/// An hour's worth of samples, as fast as they are taken or at a pace: rate without loss, or memory.
fn an_hour(folder: &Path, pace: Option<f64>) -> bool {
    let (mut master, _slave, name) = port();
    let log = folder.join("hour.csv");
    let child = recorder(&log, &name);
    master.write_all(&info()).expect("room in the port");
    let start = Instant::now();
    let mut memory = Vec::new();
    let mut piece = Vec::new();
    for k in 0..HOUR {
        piece.extend(sentence(k, 1_000));
        if piece.len() > 3_000 || k + 1 == HOUR {
            let due = start + Duration::from_secs_f64(pace.map_or(0.0, |hz| k as f64 / hz));
            thread::sleep(due.saturating_duration_since(Instant::now()));
            master.write_all(&piece).expect("room in the port");
            piece.clear();
        }
        if (k + 1) % (HOUR / 10) == 0 {
            memory.push(memory_mib(&child));
        }
    }
    let rate = HOUR as f64 / start.elapsed().as_secs_f64();
    thread::sleep(Duration::from_millis(1_000));
    let summary = interrupted(child);
    let whole = summary["rows"] == HOUR && summary["lost"] == 0 && summary["not_written"] == 0;
    println!(
        "an hour's samples: rows {}, lost {}; memory at every tenth, MiB: {}",
        summary["rows"],
        summary["lost"],
        memory.iter().map(|mib| format!("{mib:.1}")).collect::<Vec<_>>().join(" ")
    );
    let growth = memory[9] - memory[0];
    let _ = fs::remove_file(&log);
    match pace {
        None => {
            let kept = rate >= LEAST_RATE && whole;
            said("sentences a second without loss", rate, "/s", LEAST_RATE, kept)
        }
        Some(_) => {
            let kept = growth < MOST_GROWTH_MIB && whole;
            said("growth of memory over nine tenths", growth, "MiB", MOST_GROWTH_MIB, kept)
        }
    }
}
