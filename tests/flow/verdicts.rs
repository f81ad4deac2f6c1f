//! What one log is told.

use crate::scene::{Scene, judged};
use evenbreath::findings::Verdict;
use evenbreath::findings::balance::Open;
use evenbreath::findings::flow::{Flow, MatchMethod};
use evenbreath::sample::{Column, Mark, Track};
use evenbreath::units::Seconds;

fn has(flow: &Flow, code: &str) -> bool {
    flow.remarks.iter().any(|remark| remark.code == code)
}

/// The readings of meter 1 changed from a time on, share of the flow.
fn changed(mut track: Track, from_s: f64, share: f64) -> Track {
    let factor = |at_s: f64| if at_s > from_s { (1.0 + share) * (1.0 + share) } else { 1.0 };
    let rows = track.flow1_kpa.as_ref().unwrap().iter().zip(&track.time_s);
    track.flow1_kpa = Some(rows.map(|(value, at_s)| value * factor(at_s)).collect());
    track
}

fn marked(mut track: Track, at_s: f64, words: &str) -> Track {
    track.marks.push(Mark::read(Seconds(at_s), words));
    track.marks.sort_by(|a, b| a.at.0.total_cmp(&b.at.0));
    track
}

#[test]
fn the_sides_exchanged_give_the_inverse() {
    let scene = Scene { ratio: 0.92, ..Scene::default() };
    let track = scene.track(5);
    let (flow1_kpa, flow2_kpa) = (track.flow2_kpa.clone(), track.flow1_kpa.clone());
    let other = Track { flow1_kpa, flow2_kpa, ..track.clone() };
    let [one, two] = [track, other].map(|track| judged(track, &scene.conditions()));
    let (a, b) = (&one.plateaus[0], &two.plateaus[0]);
    assert_eq!((a.open, b.open), (Open::Carb1, Open::Carb2));
    assert!((a.flow1_over_flow2 * b.flow1_over_flow2 - 1.0).abs() < 1e-9, "{a:?} {b:?}");
    assert!((a.low * b.high - 1.0).abs() < 1e-9, "{a:?} {b:?}");
    assert!(one.say.contains("carburettor 2 passes"), "{}", one.say);
    assert!(two.say.contains("carburettor 1 passes"), "{}", two.say);
}

#[test]
fn the_root_is_averaged_and_not_the_pressure() {
    // Side 1 pulsates and side 2 hardly does; their mean flows are equal.
    let scene = Scene { depth: [0.9, 0.1], ..Scene::default() };
    let track = scene.track(3);
    let mean = |column: &Option<Column>| {
        let off = column.as_ref().unwrap().window(0..500);
        let running = column.as_ref().unwrap().window(1000..2500);
        let of = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        of(&running) - of(&off)
    };
    let of_means = (mean(&track.flow1_kpa) / mean(&track.flow2_kpa)).sqrt();
    assert!(of_means > 1.2, "the scene does not tell the two apart: {of_means}");
    let found = judged(track, &scene.conditions());
    assert!((found.plateaus[0].flow1_over_flow2 - 1.0).abs() < 0.02, "{:?}", found.plateaus[0]);
}

#[test]
fn a_flow_lost_in_noise_is_refused() {
    for scene in [
        Scene { noise_pa: 60.0, ..Scene::default() },
        Scene { pressure_pa: 2.0, ..Scene::default() },
    ] {
        let found = scene.judged(1);
        let told = (found.plateaus.len(), found.verdict);
        assert_eq!(told, (0, Verdict::NotSettled), "{}", found.say);
        assert!(found.say.contains("so small"), "{}", found.say);
    }
}

#[test]
fn without_a_swap_the_meters_leave_it_open_and_the_cure_is_named() {
    let found = Scene { swap: false, ..Scene::default() }.judged(2);
    assert_eq!(found.verdict, Verdict::NotSettled);
    assert_eq!(found.plateaus[0].matching, MatchMethod::None);
    assert!(found.say.contains("'meters swapped'"), "{}", found.say);
}

#[test]
fn a_swap_that_was_marked_and_not_made_is_not_believed() {
    let scene = Scene { ratio: 1.15, swap: false, runs_s: 50.0, ..Scene::default() };
    let found = judged(marked(scene.track(4), 34.0, "meters swapped"), &scene.conditions());
    assert!(has(&found, "meter_swap_doubtful"), "{}", found.say);
    assert_eq!(found.verdict, Verdict::OutOfTolerance, "{}", found.say);
}

#[test]
fn a_change_that_nobody_marked_parts_the_log() {
    let scene = Scene { swap: false, runs_s: 40.0, ..Scene::default() };
    let whole = judged(scene.track(6), &scene.conditions());
    assert!(whole.plateaus.len() == 1 && !has(&whole, "flow_steps"), "{}", whole.say);
    let stepped = judged(changed(scene.track(6), 27.0, 0.08), &scene.conditions());
    assert!(stepped.plateaus.len() == 2 && has(&stepped, "flow_steps"), "{}", stepped.say);
    let rise = stepped.plateaus[1].flow1_over_flow2 / stepped.plateaus[0].flow1_over_flow2;
    assert!((rise - 1.08).abs() < 0.02, "{rise}");
}

#[test]
fn a_screw_makes_what_was_before_it_the_past() {
    let scene = Scene { ratio: 0.9, swap: false, runs_s: 40.0, ..Scene::default() };
    let turned = marked(changed(scene.track(7), 27.0, 0.11), 27.5, "screw 1 +0.25");
    let found = judged(turned, &scene.conditions());
    assert_eq!((found.plateaus.len(), found.superseded), (2, 1), "{}", found.say);
    assert_eq!(found.plateaus[0].verdict, Verdict::OutOfTolerance, "{}", found.say);
    assert_ne!(found.verdict, Verdict::OutOfTolerance, "{}", found.say);
}
