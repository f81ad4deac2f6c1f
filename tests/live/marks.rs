//! What is pressed stands in the log.

use crate::requests::{Listening, OWN, Recorder, folder, post};
use evenbreath::log::{ReadOptions, read_path};

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
