//! What is pressed stands in the log.

use crate::requests::{Listening, OWN, Recorder, folder, post};
use evenbreath::log::{ReadOptions, read_path};
use serde_json::Value;
use std::io::Write;

#[test]
fn presses_become_marks_once_each_and_another_log_can_be_begun() {
    let folder = folder("marks");
    let log = folder.join("first.csv");
    let mut recorder = Recorder::start(&[log.to_str().unwrap(), "--model", "--page"]);
    let port = recorder.port;
    let mut page = Listening::to(port, "");
    let press = |body: &str| assert_eq!(post(port, OWN, body).status, 204, "{body}");
    let refused = |body: &str, why: &str| {
        let answer = post(port, OWN, body);
        assert_eq!(answer.status, 409, "{body}: {answer:?}");
        assert!(answer.body.contains(why), "{body}: {answer:?}");
    };
    page.until("samples", |frame| frame["log"]["rows"].as_u64() > Some(0));
    press(r#"{"press":"mark","words":"cap off"}"#);
    let off = page.until("the button to turn", |frame| frame["buttons"]["cap"] == "cap on");
    assert_eq!(off["buttons"]["undo"], "cap off");
    // The second of two presses of one button: it no longer writes that.
    refused(r#"{"press":"mark","words":"cap off"}"#, "'cap off' stands already");
    refused(r#"{"press":"done"}"#, "no guide");
    refused(r#"{"press":"start","name":"x"}"#, "stop it first");
    refused(r#"{"press":"lesson","what":{"do":"answer"}}"#, "no lesson");
    press(r#"{"press":"screw","side":1,"twelfths":-3}"#);
    press(r#"{"press":"note","text":"fan, off"}"#);
    page.until("the screw", |frame| frame["buttons"]["undo"] == "screw 1 -0.25");
    press(r#"{"press":"undo"}"#);
    page.until("the mistake", |frame| {
        frame["marks"].as_array().unwrap().iter().any(|mark| mark[1] == "mistake screw 1 -0.25")
    });
    press(r#"{"press":"seal","name":"left hose"}"#);
    refused(r#"{"press":"seal","name":"right hose"}"#, "release it first");
    press(r#"{"press":"mark","words":"release left hose"}"#);
    press(r#"{"press":"jet","mm":1.5}"#);
    refused(r#"{"press":"jet","mm":2}"#, "close it first");
    press(r#"{"press":"mark","words":"known leak closed"}"#);
    press(r#"{"press":"stop"}"#);
    let ended = page.until("the end", |frame| frame["log"]["recording"] == false);
    assert_eq!(ended["sentence"]["text"], "Recording ended");
    assert_eq!(ended["sentence"]["tone"], "wait", "an end is no success");
    let marks = |log| -> Vec<String> {
        let read = read_path(log, &ReadOptions::default()).unwrap();
        read.track.marks.iter().map(|mark| mark.text.clone()).collect()
    };
    let wanted = [
        "cap off",
        "screw 1 -0.25",
        "note fan, off",
        "mistake screw 1 -0.25",
        "seal left hose",
        "release left hose",
        "known leak 1.5 mm",
        "known leak closed",
    ];
    assert_eq!(marks(&log), wanted);

    refused(r#"{"press":"undo"}"#, "the recording has ended");
    refused(r#"{"press":"start","name":"first"}"#, "first");
    page.until("the refusal", |frame| {
        frame["sentence"]["detail"].as_str().is_some_and(|why| why.starts_with("Not begun:"))
    });
    press(r#"{"press":"start","name":"second"}"#);
    page.until("samples again", |frame| {
        frame["log"]["recording"] == true && frame["log"]["rows"].as_u64() > Some(0)
    });
    press(r#"{"press":"stop"}"#);
    page.until("the second end", |frame| frame["log"]["recording"] == false);
    assert!(marks(&folder.join("second.csv")).is_empty());
    assert!(recorder.child.try_wait().unwrap().is_none(), "a third could be begun");
}

#[test]
fn a_recording_that_ends_by_itself_says_so_to_the_page() {
    let folder = folder("ends");
    let log = folder.join("a.csv");
    let args = [log.to_str().unwrap(), "--model", "--page", "--seconds", "2"];
    let mut recorder = Recorder::start(&args);
    let mut page = Listening::to(recorder.port, "");
    page.until("the end", |frame| frame["log"]["recording"] == false);
    assert!(page.frame().is_none(), "the server ends with the recording");
    assert_eq!(recorder.ended(), Some(0));
}

#[test]
fn a_model_engine_does_what_the_marks_say() {
    let folder = folder("obeys");
    let log = folder.join("a.csv");
    let recorder = Recorder::start(&[log.to_str().unwrap(), "--model=uneven", "--page"]);
    let port = recorder.port;
    let mut page = Listening::to(port, "");
    let press = |words: &str| {
        let body = format!(r#"{{"press":"mark","words":"{words}"}}"#);
        assert_eq!(post(port, OWN, &body).status, 204, "{words}");
    };
    let vacuum = |frame: &Value, side: usize| frame["sides"][side]["vacuum_kpa"].as_f64();
    let stands = |frame: &Value| vacuum(frame, 0).is_some_and(|kpa| kpa < 3.0);
    let runs = |frame: &Value| vacuum(frame, 0).is_some_and(|kpa| kpa > 40.0);
    page.until("an idle", runs);
    press("engine off");
    page.until("a standing engine", stands);
    assert_eq!(post(port, OWN, r#"{"press":"undo"}"#).status, 204);
    page.until("a running one: the mark was a mistake", runs);
    press("engine off");
    page.until("the zero", |frame| {
        frame["sentence"]["text"] == "Zero known: start the engine" && stands(frame)
    });
    press("engine on");
    page.until("a start", runs);
}

#[test]
fn a_sender_that_falls_silent_is_spoken_of() {
    let folder = folder("silent");
    let log = folder.join("a.csv");
    let (mut recorder, mut sender) = Recorder::fed(&[log.to_str().unwrap(), "--stdin", "--page"]);
    let mut page = Listening::to(recorder.port, "");
    for k in 0..400 {
        writeln!(sender, "{},850,57.0,56.0", 0.005 * f64::from(k)).unwrap();
    }
    let heard = page.until("samples", |frame| frame["sides"][0]["vacuum_kpa"].is_number());
    assert_eq!(heard["link"]["state"], "up", "{heard}");
    let silent = page.until("the silence", |frame| frame["link"]["state"] == "lost");
    let detail = silent["sentence"]["detail"].as_str().unwrap();
    assert!(detail.starts_with("Nothing for 3 s"), "{silent}");
    assert_eq!(silent["sentence"]["tone"], "trouble");
    for side in [0, 1] {
        assert!(silent["sides"][side]["tone_hz"].is_null(), "{silent}");
        assert!(silent["sides"][side]["vacuum_kpa"].is_null(), "{silent}");
    }
    for k in 400..800 {
        writeln!(sender, "{},850,57.0,56.0", 0.005 * f64::from(k)).unwrap();
    }
    page.until("samples again", |frame| frame["link"]["state"] == "up");
    drop(sender);
    recorder.ended();
}

#[test]
fn the_verdict_of_a_guide_is_the_last_word_of_the_page() {
    let folder = folder("verdict");
    let log = folder.join("a.csv");
    let args = [log.to_str().unwrap(), "--model", "--guide", "breather", "--times", "2"];
    let mut recorder = Recorder::start(&[&args[..], &["--speed", "20", "--page"]].concat());
    let mut page = Listening::to(recorder.port, "");
    page.until("the end", |frame| frame["log"]["recording"] == false);
    let mut last = Value::Null;
    while let Some(frame) = page.frame() {
        last = frame;
    }
    assert_eq!(recorder.ended(), Some(0));
    let told = last["sentence"]["text"].as_str().unwrap();
    let judged = std::process::Command::new(env!("CARGO_BIN_EXE_evenbreath"))
        .args(["breather", log.to_str().unwrap(), "--json"])
        .output()
        .unwrap();
    let judged: Value = serde_json::from_slice(&judged.stdout).unwrap();
    assert_eq!(judged["verdict"], "sealed", "{judged}");
    assert_eq!(last["sentence"]["tone"], "good", "{last}");
    let said = judged["say"].as_str().unwrap();
    assert_eq!(told, said.trim_end_matches('.'));
}
