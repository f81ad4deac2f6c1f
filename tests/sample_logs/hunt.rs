//! A leak hunt with a known jet.

use crate::canonical::{Columns, canonical};
use crate::car::{Log, Scene, ambrel, workshop_box};
use evenbreath::engine::{Action, Script, Side, steady};
use evenbreath::units::{Millimetres, Seconds};
use serde_json::json;

/// Idle before the first trial, and each stretch of a trial, s.
const FIRST_S: f64 = 14.0;
const EACH_S: f64 = 8.0;
/// Diameter of the hole in the hose that leaks, and of the jet, mm.
const HOLE_MM: f64 = 1.8;
const JET_MM: f64 = 1.5;
/// The hose is on the tract of side 2, the jet on that of side 1.
const CULPRIT: &str = "servo hose";
const SUSPECTS: [&str; 4] = ["front gasket", CULPRIT, "rear gasket", "dipstick"];

fn hole(side: Side, mm: f64) -> Action {
    Action::TractLeak { side, hole: Millimetres(mm) }
}

fn script() -> Script {
    let suspects = SUSPECTS.map(|name| {
        let marks = [format!("seal {name}"), format!("release {name}")];
        (marks, (name == CULPRIT).then(|| [0.0, HOLE_MM].map(|mm| hole(Side::Two, mm))))
    });
    let jet = ([format!("known leak {JET_MM} mm"), "known leak closed".to_string()], {
        Some([JET_MM, 0.0].map(|mm| hole(Side::One, mm)))
    });
    let round: Vec<_> = std::iter::once(jet).chain(suspects).collect();
    let rounds = [round.clone(), round].concat();
    let lasts = FIRST_S + 2.0 * EACH_S * rounds.len() as f64;
    let leaking = Script::idling(Seconds(lasts)).act(Seconds(0.0), hole(Side::Two, HOLE_MM));
    let edges = rounds.into_iter().flat_map(|(marks, actions)| {
        let actions = actions.map_or([None; 2], |actions| actions.map(Some));
        marks.into_iter().zip(actions)
    });
    edges.enumerate().fold(leaking, |script, (k, (mark, action))| {
        let at = Seconds(FIRST_S + EACH_S * k as f64);
        match action {
            Some(action) => script.marked(at, action, &mark),
            // A tight suspect is sealed too, and marked as late; the hoses are where they were.
            None => script.marked(at, Action::HosesDirect, &mark),
        }
    })
}

/// The logs.
pub fn logs() -> Vec<Log> {
    let scene =
        Scene { settings: ambrel(), sensors: workshop_box(25.0), script: script(), seed: 141 };
    let means = |mm: f64| {
        steady(&scene.settings, &[hole(Side::Two, mm)]).expect("a steady state has means")
    };
    let (open, sealed) = (means(HOLE_MM), means(0.0));
    let rounded = |value: f64| (value * 1000.0).round() / 1000.0;
    let truth = json!({
        "command": "hunt",
        "idle_rpm": rounded(open.rpm),
        "culprit": CULPRIT,
        "into": "carb2",
        "hole_mm": HOLE_MM,
        "effect_rpm": rounded(sealed.rpm - open.rpm),
        "effect_vac1_kpa": rounded(sealed.vac_kpa[0] - open.vac_kpa[0]),
        "effect_vac2_kpa": rounded(sealed.vac_kpa[1] - open.vac_kpa[1]),
        "verdict": "leaks",
    });
    vec![Log {
        name: "hunt.csv",
        about: "25 Hz: a jet of 1.5 mm on the front tract and four suspects, each 8 s sealed and 8 s released, twice round; a hose on the rear tract is torn",
        bytes: canonical(&scene.record(), Columns::default()).into_bytes(),
        truth,
    }]
}
