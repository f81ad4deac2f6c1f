//! Logs with both hoses on one tap.

use crate::canonical::{Columns, canonical};
use crate::car::{Log, Scene, ambrel, ambrel_with, from_rest, workshop_box};
use crate::truth::{self, Settles, direct};
use evenbreath::engine::{Action, Script};
use evenbreath::units::{Rpm, Seconds};

/// A tee run over the whole range: engine off, idle, two held speeds, a blip, engine off.
fn tee_run() -> Log {
    let script = from_rest(84.0)
        .marked(Seconds(0.0), Action::HosesTogether, "tee on")
        .act(Seconds(20.0), Action::Hold(Rpm(2000.0)))
        .act(Seconds(32.0), Action::Release)
        .act(Seconds(40.0), Action::Hold(Rpm(3200.0)))
        .act(Seconds(42.0), Action::Release)
        .act(Seconds(48.0), Action::Hold(Rpm(2700.0)))
        .act(Seconds(60.0), Action::Release)
        .marked(Seconds(70.0), Action::EngineOff, "engine off")
        .mark(Seconds(83.0), "tee off");
    let sensors = workshop_box(50.0);
    let truth = truth::pair(&sensors);
    let recording = Scene { settings: ambrel(), sensors, script, seed: 131 }.record();
    let text = canonical(&recording, Columns::default());
    Log {
        name: "tee-run.csv",
        about: "50 Hz: both hoses on one tap through a T-piece; engine off, idle, 2000 rev/min, a blip, 2700 rev/min, idle, engine off",
        bytes: format!("# started: 2026-03-14T10:20:00Z\n{text}").into_bytes(),
        truth,
    }
}

/// A balance log whose zero comes from a stretch with both hoses on one tap.
fn tee_in_a_balance_log() -> Log {
    let script = Script::idling(Seconds(62.0))
        .act(Seconds(20.0), Action::HosesOff)
        .marked(Seconds(23.0), Action::HosesTogether, "tee on")
        .mark(Seconds(39.5), "tee off")
        .act(Seconds(40.5), Action::HosesOff)
        .act(Seconds(43.0), Action::HosesDirect);
    let settings = ambrel_with([10.42, 10.5]);
    let recording = Scene { settings, sensors: workshop_box(25.0), script, seed: 132 }.record();
    let stretches = [direct(0.0, 20.0), direct(45.0, 62.0)];
    let truth = truth::balance(&recording, None, &stretches, "tee", Settles::Yes);
    Log {
        name: "tee-balance.csv",
        about: "25 Hz: idle, both hoses on one tap through a T-piece, idle; no engine off, no swap",
        bytes: canonical(&recording, Columns::default()).into_bytes(),
        truth,
    }
}

/// All logs with a T-piece.
pub fn logs() -> Vec<Log> {
    vec![tee_run(), tee_in_a_balance_log()]
}
