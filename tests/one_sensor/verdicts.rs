//! What single logs of one sensor must come to.

use crate::scene::Scene;
use evenbreath::findings::balance::{Balance, ZeroMethod};
use evenbreath::findings::{Sides, Verdict, balance};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal;
use evenbreath::units::Seconds;

fn marked(mut track: Track, words: &[&str]) -> Track {
    let times: Vec<f64> = track.marks.iter().map(|mark| mark.at.0).collect();
    let marks = times.iter().zip(words.iter().cycle());
    track.marks = marks.map(|(at, words)| Mark::read(Seconds(*at), words)).collect();
    track
}

fn found(scene: &Scene, words: &[&str]) -> Balance {
    scene.balance(marked(scene.make(3).track, words))
}

#[test]
fn a_zero_of_the_sensor_moves_nothing_and_a_gain_scales() {
    let with = |sensor: (f64, f64)| {
        let scene = Scene { sensor, ..Scene::default().opened(0.08) };
        scene.balance(scene.make(3).track).plateaus[0].difference_kpa
    };
    let plain = with((0.0, 1.0));
    assert!(plain < -1.3, "{plain}");
    assert!((with((3.0, 1.0)) - plain).abs() < 0.01, "{plain}");
    assert!((with((0.0, 1.05)) / plain - 1.05).abs() < 0.005, "{plain}");
}

#[test]
fn a_side_that_is_wide_open_is_found_and_the_other_one_is_opened() {
    let found = found(&Scene::default().opened(0.1), &["on carb1", "on carb2"]);
    assert_eq!(found.zero.method, ZeroMethod::OneSensor);
    assert_eq!(found.verdict, Verdict::OutOfTolerance, "{}", found.say);
    assert!(found.say.contains("open carburettor 2"), "{}", found.say);
    let names: Vec<&str> = found.plateaus[0].budget.iter().map(|row| row.name).collect();
    assert!(names.contains(&"repeatability") && names.contains(&"gain of the sensor"), "{names:?}");
}

#[test]
fn the_names_of_the_sides_do_as_well_and_a_stranger_is_remarked() {
    let scene = Scene::default().opened(0.1);
    let conditions = evenbreath::findings::Conditions {
        sides: Sides { one: "Front".into(), two: "Rear".into() },
        ..scene.conditions()
    };
    let of = |words: &[&str]| {
        let track = marked(scene.make(3).track, words);
        balance::find(&signal::prepare(track, 4), &conditions)
    };
    let named = of(&["on Front", "on  REAR"]);
    let plain = of(&["on carb1", "on carb2"]);
    assert_eq!(named.plateaus[0].difference_kpa, plain.plateaus[0].difference_kpa);
    let strange = of(&["on Front", "on the road"]);
    assert!(strange.plateaus.is_empty());
    assert_eq!(strange.remarks[0].code, "side_unknown");
    assert!(strange.remarks[0].text.contains("'on Front'"), "{}", strange.remarks[0].text);
}

#[test]
fn fewer_than_two_changes_settle_nothing_and_say_what_to_do() {
    let scene = Scene::default().opened(0.1);
    for (words, why) in [
        (vec!["on carb1"], "at no steady speed"),
        (vec!["on carb1", "on carb1", "on carb1", "on carb2", "on carb2", "on carb2"], "only once"),
    ] {
        let found = found(&scene, &words);
        assert!(found.plateaus.is_empty());
        assert_eq!(found.verdict, Verdict::NotSettled);
        assert!(found.say.contains(why) && found.say.contains("10 s on"), "{}", found.say);
    }
}

#[test]
fn a_screw_parts_the_log() {
    let scene = Scene { stretches: 8, ..Scene::default() };
    let mut track = scene.make(3).track;
    track.marks.insert(4, Mark::read(Seconds(39.0), "screw 1 +0.25"));
    assert_eq!(scene.balance(track).plateaus.len(), 2);
}

#[test]
fn in_a_log_of_two_sensors_the_marks_are_without_effect_and_remarked() {
    let scene = Scene::default();
    let mut track = scene.make(3).track;
    track.vac2_kpa = track.vac1_kpa.clone();
    let found = scene.balance(track);
    assert_ne!(found.zero.method, ZeroMethod::OneSensor);
    assert!(found.remarks.iter().any(|remark| remark.code == "one_sensor_marks"));
}

#[test]
fn the_same_log_as_side_2_gives_the_same() {
    let scene = Scene::default().opened(0.1);
    let track = scene.make(3).track;
    let other = Track { vac2_kpa: track.vac1_kpa.clone(), vac1_kpa: None, ..track.clone() };
    assert_eq!(scene.balance(track), scene.balance(other));
}

#[test]
fn there_over_and_back_is_enough() {
    let scene = Scene { stretches: 3, ..Scene::default().opened(0.12) };
    let found = scene.balance(scene.make(3).track);
    assert_eq!(found.plateaus.len(), 1, "{}", found.say);
}
