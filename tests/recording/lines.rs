//! Other sources than the box: plain lines, a log played again, the model engine.

use crate::bench_box::{BenchBox, framed};
use crate::recorder::{command, ended, folder, seqs, spoken};
use evenbreath::log::{Log, ReadOptions, read_path};
use evenbreath::sample::Column;
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
    assert!((vac1.at(0) - 430.0 * 0.133_322_4).abs() < 1e-3, "{}", vac1.at(0));
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
    let from = first.track.time_s.at(0);
    for k in 0..first.rows {
        assert!((second.track.time_s.at(k) - (first.track.time_s.at(k) - from)).abs() < 2e-6);
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
        command(&log, &["--model=uneven", "--speed", "50", "--seconds", "20"]).output().unwrap(),
    );
    assert_eq!((ended.code, ended.count("lost")), (Some(0), 0));
    assert!((3_990..=4_100).contains(&seqs(&log).len()), "{}", seqs(&log).len());
    let track = read(&log).track;
    let mean = |column: Option<Column>| {
        let column = column.unwrap();
        column.iter().sum::<f64>() / column.len() as f64
    };
    let (one, two) = (mean(track.vac1_kpa), mean(track.vac2_kpa));
    // Side 1 opens further: less vacuum; the box's own offsets are 0.35 and -0.25 kPa.
    assert!(one - 0.35 < two + 0.25 - 1.0, "{one} {two}");
    assert!((600.0..1_000.0).contains(&mean(track.rpm)));
}

#[test]
fn a_third_code_is_the_crankcase_by_its_data_sheet() {
    let folder = folder("crankcase");
    let log = folder.join("log.csv");
    let args = ["--stdin", "--crank-sensor", "mpxv7007dp"];
    let mut child = command(&log, &args).stdin(Stdio::piped()).spawn().unwrap();
    let mut bytes = framed("EBI,bench-box,1,10,5000,MPXV6115V,MPXV6115V,50");
    for k in 0..100 {
        // `Vs (0.057 P + 0.5)`: 2.5 kPa below atmosphere give 0.6425 of the supply, code 657.92.
        bytes.extend(framed(&format!("EBP,{k},{},8500,500,500,658", k * 20_000)));
    }
    child.stdin.take().unwrap().write_all(&bytes).unwrap();
    let ended = ended(child.wait_with_output().unwrap());
    assert_eq!((ended.code, ended.count("rows")), (Some(0), 100));
    let crank = read(&log).track.crank_kpa.unwrap();
    assert!((crank.at(5) - 2.5).abs() < 0.002, "{}", crank.at(5));
}

/// Guide, stand-in, model engine, box, journal, analysis: the verdict of each model engine is known.
#[test]
fn a_guided_recording_of_a_model_engine_ends_with_its_verdict() {
    let folder = folder("guided");
    for (engine, work, verdict, code) in [
        ("sealed", "breather", "The breather is sealed", 0),
        ("leaking", "breather", "Not sealed, or blocked", 10),
        ("uneven", "balance", "carburettor 1 passes", 10),
        ("sealed", "match", "sensor 1 reads 0.60 kPa more than sensor 2", 0),
    ] {
        let log = folder.join(format!("{engine}-{work}.csv"));
        let store = folder.join("car.toml");
        let mut program = spoken(&log);
        program.arg(format!("--model={engine}")).args([
            "--guide",
            work,
            "--speed",
            "60",
            "--exit-code",
        ]);
        // A leak leaves a small drop, which takes more openings to tell from one that counts.
        match (engine, work) {
            ("leaking", _) => program.args(["--times", "7"]),
            (_, "match") => program.arg("--store").arg(&store),
            _ => &mut program,
        };
        let output = program.output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        assert_eq!(output.status.code(), Some(code), "{engine} {work}: {text}");
        assert!(text.contains("Nothing was lost on the way."), "{engine} {work}: {text}");
        assert!(text.contains(verdict), "{engine} {work}: {text}");
    }
    assert!(std::fs::read_to_string(folder.join("car.toml")).unwrap().contains("[tee_run]"));
}

#[test]
fn the_first_row_counts_whatever_mark_it_carries() {
    let folder = folder("first-row");
    let log = folder.join("log.csv");
    let mut child = command(&log, &["--stdin"]).stdin(Stdio::piped()).spawn().unwrap();
    let text = "time_s,rpm,vac1_kpa,vac2_kpa,mark\n0.000,,0.5,0.4,engine off\n0.005,,0.5,0.4,\n\
                0.010,,0.5,0.4,engine on\n";
    child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let ended = ended(child.wait_with_output().unwrap());
    assert_eq!((ended.count("rows"), ended.count("garbled")), (3, 0));
    let marks: Vec<f64> = read(&log).track.marks.iter().map(|mark| mark.at.0).collect();
    assert_eq!(marks, [0.0, 0.01]);
}

#[test]
fn a_log_played_again_keeps_what_its_header_says() {
    let folder = folder("replay-head");
    let log = folder.join("log.csv");
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/balance-before.csv");
    let args = ["--replay", sample.to_str().unwrap(), "--speed", "100"];
    let ended = ended(command(&log, &args).output().unwrap());
    assert_eq!(ended.count("garbled"), 0);
    let (first, second) = (read(&sample), read(&log));
    let said = |log: &Log| {
        let head = &log.head;
        (
            head.carb1.clone(),
            head.carb2.clone(),
            head.cylinders,
            head.idle_target_rpm,
            head.baro_kpa,
        )
    };
    assert_eq!(said(&second), said(&first));
    let marks = |log: &Log| log.track.marks.iter().map(|mark| mark.at.0).collect::<Vec<_>>();
    let from = first.track.time_s.at(0);
    for (one, two) in marks(&first).iter().zip(marks(&second)) {
        assert!((one - from - two).abs() < 2e-6, "{one} {two}");
    }
}

#[test]
fn a_box_that_only_says_who_it_is_ends_with_the_reason() {
    let folder = folder("only-info");
    for (what, bytes, reason) in [
        (
            "info",
            framed("EBI,bench-box,1,10,5000,MPXV6115V,MPXV6115V,50"),
            "said who it is and then nothing",
        ),
        ("samples", framed("EBP,1,20000,8500,500,500"), "never said what their codes mean"),
        ("words", b"hello\nworld\n".to_vec(), "no sentence of a box"),
    ] {
        let log = folder.join(format!("{what}.csv"));
        let mut child = command(&log, &["--stdin"]).stdin(Stdio::piped()).spawn().unwrap();
        child.stdin.take().unwrap().write_all(&bytes).unwrap();
        let ended = ended(child.wait_with_output().unwrap());
        assert_eq!(ended.code, Some(3), "{what}: {ended:?}");
        assert!(ended.err.contains(reason), "{what}: {}", ended.err);
    }
}

#[test]
fn a_code_beyond_the_converter_is_left_empty_and_counted() {
    let folder = folder("beyond");
    let log = folder.join("log.csv");
    let mut child = command(&log, &["--stdin"]).stdin(Stdio::piped()).spawn().unwrap();
    let mut bytes = framed("EBI,bench-box,1,10,5000,MPXV6115V,MPXV6115V,50");
    for k in 0..100 {
        let code = if k % 10 == 5 { 4_000 } else { 500 };
        bytes.extend(framed(&format!("EBP,{k},{},8500,{code},500", k * 20_000)));
    }
    child.stdin.take().unwrap().write_all(&bytes).unwrap();
    let ended = ended(child.wait_with_output().unwrap());
    assert_eq!((ended.count("rows"), ended.count("beyond_range")), (100, 10));
    let track = read(&log).track;
    assert_eq!(track.vac1_kpa.unwrap().iter().filter(|kpa| kpa.is_nan()).count(), 10);
}

#[test]
fn a_guided_recording_gives_its_finding_as_json() {
    let folder = folder("guided-json");
    let log = folder.join("log.csv");
    let args = ["--model", "--guide", "breather", "--speed", "60", "--exit-code"];
    let ended = ended(command(&log, &args).output().unwrap());
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert_eq!(ended.summary["finding"]["verdict"], "sealed");
    assert_eq!(ended.summary["guide"]["finished"], true);
}

/// The model has no named hoses: what is sealed on it changes nothing, and nothing may be said to leak.
#[test]
fn a_guided_hunt_gives_its_finding_as_json() {
    let folder = folder("guided-hunt");
    let suspects = ["--suspect", "dipstick seal", "--suspect", "servo hose", "--times", "2"];
    let args = ["--model", "--guide", "hunt", "--speed", "60"];
    let ended = ended(command(&folder.join("log.csv"), &args).args(suspects).output().unwrap());
    assert_eq!(ended.code, Some(0), "{ended:?}");
    let finding = &ended.summary["finding"];
    assert_ne!(finding["verdict"], "leaks", "{finding}");
    let tried: Vec<u64> = finding["suspects"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|s| s["trials"].as_u64())
        .collect();
    assert_eq!(tried, [2, 2], "{finding}");
}

#[test]
fn what_would_be_without_effect_is_refused() {
    let folder = folder("in-vain");
    for (log, args, said) in [
        ("leaking", &["--model"][..], "--model=leaking, or ./leaking"),
        ("log.csv", &["--model", "--guide", "breather", "--suspect", "hose"], "--guide hunt"),
        ("log.csv", &["--model", "--guide", "hunt", "--store", "car.toml"], "--guide match"),
    ] {
        let mut command = command(Path::new(log), args);
        let ended = ended(command.current_dir(&folder).output().unwrap());
        assert_eq!(ended.code, Some(2), "{ended:?}");
        assert!(ended.err.contains(said), "{}", ended.err);
    }
    assert!(std::fs::read_dir(&folder).unwrap().next().is_none(), "nothing is left behind");
}

#[test]
fn a_guide_without_anybody_to_press_enter_is_refused() {
    let folder = folder("no-keys");
    let mut the_box = BenchBox::new(&folder, 1_000);
    let port = the_box.plug("port");
    let args = ["--port", port.to_str().unwrap(), "--guide", "breather"];
    let ended = ended(command(&folder.join("log.csv"), &args).output().unwrap());
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.contains("no terminal to press it on"), "{}", ended.err);
}
