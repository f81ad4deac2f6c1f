//! Other sources than the box: plain lines, a log played again, the model engine.

use crate::recorder::{command, ended, folder, seqs};
use evenbreath::log::{Log, ReadOptions, read_path};
use std::io::Write;
use std::path::Path;
use std::process::Stdio;

fn read(log: &Path) -> Log {
    read_path(log, &ReadOptions::default()).unwrap()
}

#[test]
fn plain_lines_on_standard_input_are_a_log_whose_losses_nobody_knows() {
    let folder = folder("lines");
    let log = folder.join("log.csv");
    let mut child =
        command(&log, &["--stdin", "--log-units", "mmHg"]).stdin(Stdio::piped()).spawn().unwrap();
    let text: String =
        (0..500).map(|k| format!("{},{},430,425\n", k as f64 * 0.02, 850 + k % 7)).collect();
    child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let ended = ended(child.wait_with_output().unwrap());
    assert_eq!((ended.count("rows"), ended.count("lost")), (500, 0));
    assert_eq!(ended.summary["counted"], false);
    let vac1 = read(&log).track.vac1_kpa.unwrap();
    // Conventional millimetre of mercury, NIST SP 811: 133.3224 Pa.
    assert!((vac1[0] - 430.0 * 0.133_322_4).abs() < 1e-3, "{}", vac1[0]);
}

#[test]
fn a_log_played_again_is_the_same_log() {
    let folder = folder("replay");
    let log = folder.join("log.csv");
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/breather-sealed.csv");
    let args = ["--replay", sample.to_str().unwrap(), "--speed", "100"];
    let ended = ended(command(&log, &args).output().unwrap());
    let (first, second) = (read(&sample), read(&log));
    assert_eq!(ended.count("rows") as usize, first.rows);
    let from = first.track.time_s[0];
    for k in 0..first.rows {
        assert!((second.track.time_s[k] - (first.track.time_s[k] - from)).abs() < 2e-6);
    }
    assert_eq!(second.track.vac1_kpa, first.track.vac1_kpa);
    assert_eq!(second.track.rpm, first.track.rpm);
    let words =
        |log: &Log| log.track.marks.iter().map(|mark| mark.text.clone()).collect::<Vec<_>>();
    assert_eq!(words(&second), words(&first));
}

#[test]
fn the_model_engine_speaks_through_a_box() {
    let folder = folder("model");
    let log = folder.join("log.csv");
    let ended = ended(
        command(&log, &["--model", "uneven", "--speed", "50", "--seconds", "20"]).output().unwrap(),
    );
    assert_eq!((ended.code, ended.count("lost")), (Some(0), 0));
    assert!((3_990..=4_100).contains(&seqs(&log).len()), "{}", seqs(&log).len());
    let track = read(&log).track;
    let mean = |column: Option<Vec<f64>>| {
        let column = column.unwrap();
        column.iter().sum::<f64>() / column.len() as f64
    };
    let (one, two) = (mean(track.vac1_kpa), mean(track.vac2_kpa));
    // Side 1 opens further: less vacuum; the box's own offsets are 0.35 and -0.25 kPa.
    assert!(one - 0.35 < two + 0.25 - 1.0, "{one} {two}");
    assert!((600.0..1_000.0).contains(&mean(track.rpm)));
}
