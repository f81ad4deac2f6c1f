//! Logs of a balance with little: one sensor for both sides, and stop screws turned between idles.

use crate::canonical::{Columns, canonical};
use crate::car::{
    HANDLING_S, Log, STEADY_S, Scene, ambrel_with, from_rest, straighten_hoses, swap_hoses,
    workshop_box,
};
use crate::truth::{self, Settles, direct, swapped};
use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Action, Script, Side, steady};
use evenbreath::units::{Millimetres, Seconds};

/// The sensor is on each side for so long, s.
const EACH_S: f64 = 10.0;
const STRETCHES: usize = 6;
/// Bore of a tap that is open while the hose is in the hand, mm.
const TAP_MM: f64 = 2.5;

/// When the hose comes off for the move of a number, and when it is on again, s.
fn moved(number: usize) -> (f64, f64) {
    let on_s = EACH_S * (number + 1) as f64;
    (on_s - HANDLING_S, on_s)
}

fn one_sensor() -> Log {
    let lasts = Seconds(EACH_S * STRETCHES as f64);
    let mut script = Script::idling(lasts).mark(Seconds(0.0), "on carb1");
    for number in 0..STRETCHES - 1 {
        let (off, on) = moved(number);
        let (side, words) = match number % 2 {
            0 => (Side::One, "on carb2"),
            _ => (Side::Two, "on carb1"),
        };
        let tap = |mm| Action::TractLeak { side, hole: Millimetres(mm) };
        script = script
            .act(Seconds(off), Action::HosesOff)
            .act(Seconds(off), tap(TAP_MM))
            .act(Seconds(on), tap(0.0))
            .marked(Seconds(on), Action::HosesDirect, words);
    }
    let pair = workshop_box(25.0);
    let sensors = SensorBox { vacuum: [pair.vacuum[0]; 2], ..pair };
    let settings = ambrel_with([10.05, 10.9]);
    let mut recording = Scene { settings, sensors, script, seed: 151 }.record();
    let stretches: Vec<_> = (0..STRETCHES)
        .map(|number| {
            let from = number.checked_sub(1).map_or(0.0, |before| moved(before).1 + 3.0);
            direct(from, moved(number).0.min(lasts.0 - 0.5))
        })
        .collect();
    let truth = truth::balance(&recording, None, &stretches, "one_sensor", Settles::Yes);
    for row in &mut recording.rows {
        let moves = (0..STRETCHES - 1).filter(|number| moved(*number).1 <= row.time_s).count();
        row.vac_kpa[0] = row.vac_kpa[moves % 2];
    }
    let columns = Columns { one_sensor: true, ..Columns::default() };
    Log {
        name: "balance-one-sensor.csv",
        about: "25 Hz: idle only; one sensor is moved from side to side every 10 s, marked when its hose is on; the front throttle is shut too far",
        bytes: canonical(&recording, columns).into_bytes(),
        truth,
    }
}

/// What a turn of a stop screw opens, as a share of the opening, and by how much it was turned.
const TURN_OPENS: f64 = 0.15;
const TURNED: f64 = 0.25;

fn screws() -> Log {
    let turned_s = 74.0;
    let opened = Action::ThrottleStop { side: Side::One, share: 1.0 + TURN_OPENS * TURNED };
    let script = straighten_hoses(swap_hoses(from_rest(98.0), 32.0), 54.5).marked(
        Seconds(turned_s),
        opened,
        &format!("screw 1 +{TURNED}"),
    );
    let settings = ambrel_with([9.9, 11.0]);
    let means = |actions: &[Action]| {
        steady(&settings, actions).expect("a steady state lasts longer than its averages")
    };
    let (before, after) = (means(&[]), means(&[opened]));
    let a_turn = |change: f64| (change / TURNED * 1000.0).round() / 1000.0;
    let a_turn = serde_json::json!({
        "side": 1,
        "difference_kpa": a_turn(after.difference_kpa - before.difference_kpa),
        "speed_rpm": a_turn(after.rpm - before.rpm),
    });
    let scene = Scene { settings, sensors: workshop_box(25.0), script, seed: 153 };
    let recording = scene.record();
    let stretches = [
        direct(STEADY_S, 32.0),
        swapped(32.0 + HANDLING_S + 1.0, 54.5),
        direct(54.5 + HANDLING_S + 1.0, turned_s),
        direct(turned_s + 4.0, 98.0),
    ];
    let mut truth = truth::balance(&recording, Some((0.0, 6.0)), &stretches, "swap", Settles::Yes);
    truth["a_turn"] = a_turn;
    Log {
        name: "balance-screws.csv",
        about: "25 Hz: engine off, idle, hoses swapped, hoses direct, then the front stop screw opened by a quarter turn, marked, and idle again",
        bytes: canonical(&recording, Columns::default()).into_bytes(),
        truth,
    }
}

/// The logs.
pub fn logs() -> Vec<Log> {
    vec![one_sensor(), screws()]
}
