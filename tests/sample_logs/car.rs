//! The one car and workshop of all the logs, and how its people work. All of it is invented.

use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Recording, Script, Settings, record};
use evenbreath::units::Seconds;

/// Barometer in the workshop, kPa.
pub const BARO_KPA: f64 = 100.8;

/// Tolerance on the difference, kPa: the program's default.
pub const TOLERANCE_KPA: f64 = 1.3;

/// The Ambrel 1600 as it should be.
pub fn ambrel() -> Settings {
    Settings {
        baro_pa: BARO_KPA * 1000.0,
        idle_area_mm2: [10.45; 2],
        breather_mm2: 5.2,
        ..Settings::default()
    }
}

/// The Ambrel with its stop screws at these effective areas, mm2.
pub fn ambrel_with(idle_area_mm2: [f64; 2]) -> Settings {
    Settings { idle_area_mm2, ..ambrel() }
}

/// The workshop's box: a pair of cheap sensors that disagree by 0.9 kPa at the atmosphere and by
/// 1.9 kPa at idle.
pub fn workshop_box(rate_hz: f64) -> SensorBox {
    SensorBox {
        rate_hz,
        vacuum: [Sensor::default().with(0.55, 1.009), Sensor::default().with(-0.35, 0.992)],
        ..SensorBox::default()
    }
}

/// One log: who did what to the car, what was true, and what the program should find.
pub struct Log {
    /// File name in `sample-logs/`.
    pub name: &'static str,
    /// What is in it, for the README.
    pub about: &'static str,
    /// The bytes.
    pub bytes: Vec<u8>,
    /// The entry in `truth.json`.
    pub truth: serde_json::Value,
}

/// A car in some state, a box, what is done, and a seed.
pub struct Scene {
    pub settings: Settings,
    pub sensors: SensorBox,
    pub script: Script,
    pub seed: u64,
}

impl Scene {
    pub fn record(&self) -> Recording {
        record(&self.settings, &self.sensors, &self.script, self.seed)
    }
}

/// A log that begins with six seconds of engine off; the idle is steady from [`STEADY_S`].
pub fn from_rest(lasts: f64) -> Script {
    Script::stopped(Seconds(lasts)).mark(Seconds(0.0), "engine off").marked(
        Seconds(6.0),
        Action::EngineOn,
        "engine on",
    )
}

/// Seconds after which an engine started by [`from_rest`] idles steadily.
pub const STEADY_S: f64 = 12.0;

/// Seconds that a person needs to change the two hoses over.
pub const HANDLING_S: f64 = 2.5;

/// The hoses change places, from `at` to `at +` [`HANDLING_S`]; the mark comes when it is done.
pub fn swap_hoses(script: Script, at: f64) -> Script {
    let on = Seconds(at + HANDLING_S);
    script.act(Seconds(at), Action::HosesOff).marked(on, Action::HosesSwapped, "hoses swapped")
}

/// The hoses go back to their own places.
pub fn straighten_hoses(script: Script, at: f64) -> Script {
    let on = Seconds(at + HANDLING_S);
    script.act(Seconds(at), Action::HosesOff).marked(on, Action::HosesDirect, "hoses direct")
}

/// Cap off and on again, `times` times: the first at `first`, each off for `off` and on for `on`
/// seconds. Also the true times.
pub fn cap_test(
    mut script: Script,
    first: f64,
    times: usize,
    (off, on): (f64, f64),
    marked: bool,
) -> (Script, Vec<(f64, f64)>) {
    let mut openings = Vec::new();
    for turn in 0..times {
        let from = first + turn as f64 * (off + on);
        let (open, shut) = (Seconds(from), Seconds(from + off));
        script = if marked {
            script.marked(open, Action::CapOff, "cap off").marked(shut, Action::CapOn, "cap on")
        } else {
            script.act(open, Action::CapOff).act(shut, Action::CapOn)
        };
        openings.push((open.0, shut.0));
    }
    (script, openings)
}
