//! The program with a lesson, as the page and the instructor have it.

use crate::requests::{Answer, Listening, OWN, Recorder, folder, get, post};
use serde_json::{Value, json};
use std::path::Path;
use std::time::{Duration, Instant};

/// Nothing that is waited for takes longer on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);

fn tell(port: u16, what: &Value) -> Answer {
    post(port, OWN, &json!({ "press": "lesson", "what": what }).to_string())
}

fn press_mark(port: u16, words: &str) {
    assert_eq!(
        post(port, OWN, &json!({ "press": "mark", "words": words }).to_string()).status,
        204
    );
}

fn set(what: &str, side: Option<u8>, value: f64) -> Value {
    json!({ "do": "set", "what": what, "side": side, "value": value })
}

fn knob(frame: &Value, what: &str, side: Option<u8>) -> Option<f64> {
    let knobs = frame["lesson"]["knobs"].as_array()?;
    let is = |knob: &&Value| knob["what"] == what && knob["side"].as_u64() == side.map(u64::from);
    knobs.iter().find(is)?["value"].as_f64()
}

/// The marks of a log that is being written, once there are so many.
fn marks(log: &Path, count: usize) -> Vec<String> {
    let start = Instant::now();
    loop {
        let read = evenbreath::log::read_path(log, &Default::default());
        let marks = read.map(|log| log.track.marks).unwrap_or_default();
        if marks.len() >= count {
            return marks.into_iter().map(|mark| mark.text).collect();
        }
        assert!(start.elapsed() < PATIENCE, "{}: {marks:?}", log.display());
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn what_the_instructor_sets_reaches_the_engine_the_page_and_the_log() {
    let folder = folder("lesson-set");
    let log = folder.join("class.csv");
    let name = log.to_str().unwrap();
    let lesson = Recorder::of("lesson", &[name, "--seed", "3", "--speed", "10"]);
    let port = lesson.port;
    let mut page = Listening::to(port, "");
    let first = page.until("a lesson", |frame| frame["lesson"]["cylinders"] == 4);
    assert_eq!(first["lesson"]["scenes"].as_array().unwrap().len(), 8);
    assert_eq!(first["lesson"]["knobs"].as_array().unwrap().len(), 12);
    assert_eq!(first["lesson"]["covered"], false);
    page.until("an engine that stands", |frame| frame["buttons"]["engine"] == "engine on");
    press_mark(port, "engine on");
    let vacuum = |frame: &Value| frame["lesson"]["predicted"]["vac_kpa"][1].as_f64();
    let running = page.until("a prediction", |frame| vacuum(frame).is_some_and(|kpa| kpa > 50.0));
    let before = vacuum(&running).unwrap();
    assert_eq!(tell(port, &set("tract_leak", Some(2), 1.5)).status, 204);
    page.until("the knob", |frame| knob(frame, "tract_leak", Some(2)) == Some(1.5));
    page.until("a new prediction", |frame| vacuum(frame).is_some_and(|kpa| kpa < before - 2.0));
    page.until("the leak", |frame| {
        frame["lesson"]["flows"]["leak"][1].as_f64().is_some_and(|flow| flow > 0.2)
    });
    press_mark(port, "cap off");
    page.until("the open cap", |frame| {
        frame["lesson"]["flows"]["cap"].as_f64().is_some_and(|flow| flow > 0.2)
    });
    assert_eq!(post(port, OWN, r#"{"press":"undo"}"#).status, 204);
    page.until("the cap back", |frame| {
        frame["lesson"]["cap_off"] == false && frame["lesson"]["flows"]["cap"] == 0.0
    });
    let want = [
        "engine off",
        "note an engine in tune",
        "engine on",
        "note leak into tract 2: 1.5 mm",
        "cap off",
        "mistake cap off",
    ];
    assert_eq!(marks(&log, want.len()), want);
}

#[test]
fn a_scene_and_a_hidden_fault_are_covered_until_the_answer_and_logs_of_their_own() {
    let folder = folder("lesson-scenes");
    let log = folder.join("class.csv");
    let name = log.to_str().unwrap();
    let lesson = Recorder::of("lesson", &[name, "--seed", "4711", "--speed", "10", "--scene", "8"]);
    let port = lesson.port;
    let mut page = Listening::to(port, "");
    let covered = page.until("the scene", |frame| frame["lesson"]["scene"] == 8);
    assert_eq!(covered["lesson"]["cylinders"], 8);
    assert_eq!(covered["lesson"]["covered"], true);
    for gone in ["flows", "predicted", "answer"] {
        assert_eq!(covered["lesson"][gone], Value::Null, "{gone}");
    }
    assert_eq!(covered["lesson"]["knobs"].as_array().unwrap().len(), 1, "the foot alone");
    page.until("an engine that stands", |frame| frame["buttons"]["engine"] == "engine on");
    press_mark(port, "engine on");
    let running = |frame: &Value| frame["rpm"].as_f64() > Some(600.0);
    let judged =
        page.until("a judgement", |frame| running(frame) && frame["difference"] != Value::Null);
    assert_eq!(judged["sentence"]["text"], "What do the readings say?");
    // Refused, and nothing comes of it: the answer shows the seals as the scene has them.
    assert_eq!(tell(port, &set("seal_leak", None, 1.0)).status, 409);
    assert_eq!(tell(port, &json!({ "do": "scene", "number": 99 })).status, 409);
    assert_eq!(tell(port, &json!({ "do": "answer" })).status, 204);
    let shown = page.until("the answer", |frame| frame["lesson"]["covered"] == false);
    assert_eq!(knob(&shown, "seal_leak", None), Some(9.0));
    assert!(shown["lesson"]["answer"].as_str().unwrap().contains("The breather"));
    page.until("the verdict", |frame| {
        frame["sentence"]["text"].as_str().is_some_and(|text| text.contains("more air"))
    });
    assert_eq!(tell(port, &json!({ "do": "hide" })).status, 204);
    let hidden = page.until("a hidden fault", |frame| frame["lesson"]["hidden"] == true);
    assert!(!hidden["lesson"].to_string().contains("4711"), "the seed: {}", hidden["lesson"]);
    assert_eq!(hidden["log"]["file"], folder.join("class-2.csv").to_str().unwrap());
    page.until("rows", |frame| frame["lesson"]["hidden"] == true && frame["log"]["rows"] != 0);
    assert_eq!(tell(port, &json!({ "do": "answer" })).status, 204);
    let shown = page.until("the answer", |frame| frame["lesson"]["answer"] != Value::Null);
    assert!(shown["lesson"]["answer"].as_str().unwrap().ends_with("Seed 4711."), "{shown}");
    assert_eq!(tell(port, &json!({ "do": "engine", "cylinders": 6 })).status, 204);
    page.until("six cylinders", |frame| frame["lesson"]["cylinders"] == 6);
    page.until("rows", |frame| {
        frame["lesson"]["cylinders"] == 6 && frame["elapsed_s"].as_f64() > Some(3.0)
    });
    let first = marks(&log, 4);
    assert_eq!(first[..2], ["engine off", "note scene 8: two faults at once"]);
    let shown = &first[3];
    assert!(
        shown.starts_with("note shown: leak of the crankcase seals 9 mm, stop screw 2"),
        "{shown}"
    );
    assert_eq!(marks(&folder.join("class-2.csv"), 2)[1], "note a fault is hidden, or none");
    marks(&folder.join("class-3.csv"), 2);
    let six = evenbreath::log::read_path(&folder.join("class-3.csv"), &Default::default()).unwrap();
    assert_eq!(six.head.cylinders, Some(6));
}

#[test]
fn what_is_no_press_of_a_lesson_is_refused_and_the_panel_is_served() {
    let folder = folder("lesson-refused");
    let log = folder.join("class.csv");
    let lesson = Recorder::of("lesson", &[log.to_str().unwrap(), "--engine", "6"]);
    let port = lesson.port;
    for wrong in [
        r#"{"press":"lesson"}"#,
        r#"{"press":"lesson","what":{"do":"explode"}}"#,
        r#"{"press":"lesson","what":{"do":"set","what":"fuel","side":null,"value":1}}"#,
        r#"{"press":"lesson","what":{"do":"set","what":"stop","side":1,"value":1e999}}"#,
        r#"{"press":"lesson","what":{"do":"set","what":"stop","side":1,"value":90,"more":1}}"#,
    ] {
        assert_eq!(post(port, OWN, wrong).status, 400, "{wrong}");
    }
    assert_eq!(post(port, "", r#"{"press":"lesson","what":{"do":"hide"}}"#).status, 403);
    for part in ["/lesson.html", "/lesson.css", "/lesson.js", "/flows.js"] {
        let answer = get(port, part, "");
        assert_eq!(answer.status, 200, "{part}");
        assert!(answer.head.contains("content-security-policy"), "{part}");
    }
    let mut page = Listening::to(port, "");
    page.until("six cylinders", |frame| frame["lesson"]["cylinders"] == 6);
    // A control that has no such side, and one that has sides and is given none.
    assert_eq!(tell(port, &set("stop", None, 90.0)).status, 409);
    assert_eq!(tell(port, &set("seal_leak", Some(1), 5.0)).status, 409);
    assert_eq!(tell(port, &set("stop", Some(1), 90.0)).status, 204);
    let frame = page.until("the right one", |frame| knob(frame, "stop", Some(1)) == Some(90.0));
    assert_eq!(knob(&frame, "seal_leak", None), Some(0.7));
}

#[test]
fn a_sensor_that_reads_too_much_is_seen_until_the_answer_takes_it_out() {
    let folder = folder("lesson-as-read");
    let log = folder.join("class.csv");
    let args = [log.to_str().unwrap(), "--speed", "10", "--scene", "7", "--seed", "3"];
    let lesson = Recorder::of("lesson", &args);
    let port = lesson.port;
    let mut page = Listening::to(port, "");
    let apart = |frame: &Value| {
        let of = |side: usize| frame["sides"][side]["vacuum_kpa"].as_f64();
        of(0).zip(of(1)).map(|(one, two)| one - two)
    };
    let near = |kpa: f64, wanted: f64| (kpa - wanted).abs() < 0.4;
    page.until("an engine that stands", |frame| frame["buttons"]["engine"] == "engine on");
    let seen = |frame: &Value| apart(frame).is_some_and(|kpa| near(kpa, 1.8));
    // Long enough for the zero, which the answer takes out.
    page.until("the offset of a standing engine", |frame| {
        seen(frame) && frame["elapsed_s"].as_f64() > Some(8.0)
    });
    press_mark(port, "engine on");
    let judged = page.until("a judgement", |frame| {
        frame["rpm"].as_f64() > Some(600.0) && frame["difference"] != Value::Null && seen(frame)
    });
    assert!(near(judged["difference"]["value_kpa"].as_f64().unwrap(), 1.8), "{judged}");
    assert_eq!(judged["matched"], false);
    assert_eq!(judged["idle_target_rpm"], 880.0);
    press_mark(port, "hoses swapped");
    page.until("another sign", |frame| apart(frame).is_some_and(|kpa| near(kpa, -1.8)));
    press_mark(port, "hoses direct");
    assert_eq!(tell(port, &json!({ "do": "answer" })).status, 204);
    page.until("the offset taken out", |frame| {
        frame["lesson"]["covered"] == false
            && frame["matched"] == true
            && apart(frame).is_some_and(|kpa| near(kpa, 0.0))
    });
}

#[test]
fn a_leak_is_no_matter_for_a_screw_and_a_fault_that_stays_hidden_is_named_at_the_end() {
    let folder = folder("lesson-hidden");
    let log = folder.join("class.csv");
    let args = [log.to_str().unwrap(), "--speed", "10", "--scene", "5", "--seed", "4711"];
    let lesson = Recorder::of("lesson", &args);
    let port = lesson.port;
    let mut page = Listening::to(port, "");
    page.until("an engine that stands", |frame| frame["buttons"]["engine"] == "engine on");
    press_mark(port, "engine on");
    page.until("a judgement", |frame| {
        frame["rpm"].as_f64() > Some(600.0) && frame["difference"] != Value::Null
    });
    assert_eq!(tell(port, &json!({ "do": "answer" })).status, 204);
    let text = |frame: &Value| frame["sentence"]["text"].as_str().unwrap_or("").to_string();
    let said = page.until("what is measured", |frame| text(frame).contains("more air"));
    assert!(text(&said).ends_with("more air"), "{}", said["sentence"]);
    assert_eq!(tell(port, &json!({ "do": "hide" })).status, 204);
    page.until("rows", |frame| frame["lesson"]["hidden"] == true && frame["log"]["rows"] != 0);
    assert_eq!(post(port, OWN, r#"{"press":"stop"}"#).status, 204);
    let ended = page.until("the end", |frame| frame["log"]["recording"] == false);
    assert_eq!(ended["lesson"]["covered"], false);
    assert!(ended["lesson"]["answer"].as_str().unwrap().ends_with("Seed 4711."), "{ended}");
    let second = marks(&folder.join("class-2.csv"), 3);
    let named = second.last().unwrap();
    assert!(named.starts_with("note hidden was: ") && named.ends_with("seed 4711"), "{named}");
}
