//! Question by question on a terminal.

use crate::logs::folder;
use crate::run::{binary, run};
use serialport::{SerialPort, TTYPort};
use std::fs::{self, OpenOptions};
use std::io::{Read, Write};
use std::process::Stdio;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

/// Nothing that is waited for takes longer than this on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

/// Questions that are answered with Enter alone.
const LEFT_OUT: [&str; 15] = [
    "Smallest idle drop",
    "answers [kPa]: ",
    "Barometric pressure",
    "Height",
    "Columns of the logger",
    "heading names none",
    "Sensor, by its part number",
    "Supply of that sensor",
    "Largest offset",
    "Largest gain error",
    "Drift of one",
    "Unlike flow",
    "Error of one airflow meter",
    "Zero of one airflow meter",
    "Drift of that during a log",
];

#[test]
fn a_wrong_answer_is_asked_for_again_and_the_right_one_stands_in_the_file() {
    let folder = folder("profile-asked");
    let path = folder.join("car.toml");
    let (mut near, far) = TTYPort::pair().unwrap();
    let name = far.name().unwrap();
    let end = || Stdio::from(OpenOptions::new().read(true).write(true).open(&name).unwrap());
    let mut program = binary();
    program.args(["profile", "new"]).arg(&path).env("TERM", "xterm");
    let mut child = program.stdin(end()).stdout(end()).stderr(end()).spawn().unwrap();
    let shown: Arc<Mutex<String>> = Arc::default();
    let (mut reader, text) = (near.try_clone_native().unwrap(), shown.clone());
    reader.set_timeout(PATIENCE).unwrap();
    thread::spawn(move || {
        let mut buffer = [0; 4096];
        while let Ok(count) = reader.read(&mut buffer)
            && count > 0
        {
            text.lock().unwrap().push_str(&String::from_utf8_lossy(&buffer[..count]));
        }
    });
    let mut seen = 0;
    let mut answer = |question: &str, line: &str| {
        let start = Instant::now();
        loop {
            let shown = shown.lock().unwrap().clone();
            if let Some(at) = shown[seen..].find(question) {
                seen += at + question.len();
                break;
            }
            assert!(start.elapsed() < PATIENCE, "no {question:?} in {shown}");
            thread::sleep(Duration::from_millis(5));
        }
        near.write_all(format!("{line}\n").as_bytes()).unwrap();
    };
    answer("called in reports: ", "Blue \"saloon\"");
    answer("carburettor 1", "Front");
    answer("carburettor 2", "Rear");
    answer("both sides together [4]: ", "four");
    answer("needed is a whole number from 2 to 16", "6");
    answer("cylinders fire", "1-5-3-6-2-4");
    answer("carburettor 1 feeds", "1, 2, 3");
    answer("throttles [no]: ", "yes");
    answer("Idle speed wanted", "");
    answer("still good [1.3 kPa]: ", "10 mmHg");
    for question in LEFT_OUT {
        answer(question, "");
    }
    // A question that nobody answers would be waited for without end.
    let asked_all = Instant::now();
    while child.try_wait().unwrap().is_none() {
        assert!(asked_all.elapsed() < PATIENCE, "it asks more: {}", shown.lock().unwrap());
        thread::sleep(Duration::from_millis(5));
    }
    assert!(child.wait().unwrap().success());
    drop(far);
    let text = fs::read_to_string(&path).unwrap();
    let read: toml::Table = toml::from_str(&text).unwrap();
    let want = "car = 'Blue \"saloon\"'\ncarb1 = 'Front'\ncarb2 = 'Rear'\ncylinders = 6\n\
                firing_order = '1-5-3-6-2-4'\ncarb1_cylinders = [1, 2, 3]\nbalance_pipe = true\n\
                tolerance = '10 mmHg'\n";
    assert_eq!(read, toml::from_str(want).unwrap(), "{text}");
    assert!(text.contains("\n# idle_target_rpm = 850\n"), "{text}");
    let checked = run(&["profile", "check", path.to_str().unwrap()]).good().out;
    assert!(checked.contains("8 of 24 keys are set"), "{checked}");
}
