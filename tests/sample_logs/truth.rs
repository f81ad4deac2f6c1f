//! The entries of `truth.json`: what was true in the model, and the verdict that follows from it.

use crate::car::TOLERANCE_KPA;
use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Action, Recording, Settings, steady};
use evenbreath::units::Seconds;
use serde_json::{Value, json};

/// Why the means of a steady state are there.
const STEADY: &str = "a steady state lasts longer than its averages";

/// Which hose is on which tap.
#[derive(Clone, Copy)]
pub enum Hoses {
    Direct,
    Swapped,
}

/// A stretch of steady running that the log holds.
pub struct Stretch {
    pub from_s: f64,
    pub to_s: f64,
    pub hoses: Hoses,
}

pub fn direct(from_s: f64, to_s: f64) -> Stretch {
    Stretch { from_s, to_s, hoses: Hoses::Direct }
}

pub fn swapped(from_s: f64, to_s: f64) -> Stretch {
    Stretch { from_s, to_s, hoses: Hoses::Swapped }
}

/// What a log can settle.
#[derive(Clone, Copy, PartialEq)]
pub enum Settles {
    /// The verdict is that of the true difference.
    Yes,
    /// The log lacks what it takes, whatever the truth is.
    No,
}

/// Rounds to thousandths, so that the file is readable.
fn rounded(value: f64) -> Value {
    json!((value * 1000.0).round() / 1000.0)
}

/// Verdict on a true difference.
pub fn balance_verdict(difference_kpa: f64, settles: Settles) -> &'static str {
    match settles {
        Settles::No => "not_settled",
        Settles::Yes if difference_kpa.abs() <= TOLERANCE_KPA => "in_tolerance",
        Settles::Yes => "out_of_tolerance",
    }
}

/// Entry of a balance log. `engine_off` is the stretch with the engine off, if there is one.
pub fn balance(
    recording: &Recording,
    engine_off: Option<(f64, f64)>,
    stretches: &[Stretch],
    zero: &str,
    settles: Settles,
) -> Value {
    let mut plateaus = Vec::new();
    if let Some((from, to)) = engine_off {
        plateaus.push(json!({"kind": "engine_off", "from_s": from, "to_s": to}));
    }
    let mut worst = 0.0_f64;
    for stretch in stretches {
        let means = recording
            .truth
            .mean(Seconds(stretch.from_s), Seconds(stretch.to_s))
            .expect("the stretch lies in the log");
        worst = worst.max(means.difference_kpa.abs());
        plateaus.push(json!({
            "kind": "running",
            "from_s": stretch.from_s,
            "to_s": stretch.to_s,
            "hoses": match stretch.hoses { Hoses::Direct => "direct", Hoses::Swapped => "swapped" },
            "rpm": rounded(means.rpm),
            "vac1_kpa": rounded(means.vac_kpa[0]),
            "vac2_kpa": rounded(means.vac_kpa[1]),
            "difference_kpa": rounded(means.difference_kpa),
            "difference_each_s_kpa": each_second(recording, stretch),
            "verdict": balance_verdict(means.difference_kpa, settles),
        }));
    }
    json!({
        "command": "balance",
        "zero_method": zero,
        "plateaus": plateaus,
        "verdict": balance_verdict(worst, settles),
    })
}

/// The true difference in every whole second of a stretch: a plateau may hold a part of it.
fn each_second(recording: &Recording, stretch: &Stretch) -> Vec<Value> {
    let seconds = 0..(stretch.to_s - stretch.from_s) as u32;
    seconds
        .map(|k| {
            let from = stretch.from_s + f64::from(k);
            let means = recording.truth.mean(Seconds(from), Seconds(from + 1.0));
            rounded(means.expect("the second lies in the log").difference_kpa)
        })
        .collect()
}

/// Entry of a tee run: what the two sensors differ by where the mean of their readings is so much.
pub fn pair(sensors: &SensorBox) -> Value {
    let [one, two] = sensors.vacuum;
    let error = [0.0, 20.0, 40.0, 60.0].map(|mean: f64| {
        let vacuum = (2.0 * mean - one.offset_kpa - two.offset_kpa) / (one.gain + two.gain);
        let apart = one.offset_kpa - two.offset_kpa + (one.gain - two.gain) * vacuum;
        json!({"vacuum_kpa": mean, "error_kpa": rounded(apart)})
    });
    json!({"command": "match", "error": error, "verdict": "matched"})
}

/// Entry of a breather log: the drop is that of the same engine without its random variation.
pub fn breather(settings: &Settings, openings: &[(f64, f64)], crankcase: bool) -> Value {
    let closed = steady(settings, &[]).expect(STEADY);
    let open = steady(settings, &[Action::CapOff]).expect(STEADY);
    let drop = closed.rpm - open.rpm;
    let crank = crankcase.then_some(closed.crank_kpa);
    let mut entry = json!({
        "command": "breather",
        "idle_rpm": rounded(closed.rpm),
        "drop_rpm": rounded(drop),
        "vacuum_change_kpa": rounded(
            0.5 * (open.vac_kpa[0] + open.vac_kpa[1] - closed.vac_kpa[0] - closed.vac_kpa[1])
        ),
        "openings": openings
            .iter()
            .map(|(off, on)| json!({"off_s": off, "on_s": on}))
            .collect::<Vec<Value>>(),
        "verdict": breather_verdict(drop, closed.rpm, crank),
    });
    if crankcase {
        entry["crank_closed_kpa"] = rounded(closed.crank_kpa);
        entry["crank_open_kpa"] = rounded(open.crank_kpa);
    }
    entry
}

/// Verdict on a true drop, with the default threshold, and on the true crankcase depression with
/// the cap on, kPa, where a sensor measures it.
pub fn breather_verdict(drop: f64, idle: f64, crank_closed: Option<f64>) -> &'static str {
    let threshold = 20.0_f64.max(0.025 * idle);
    match crank_closed {
        _ if drop > threshold => "sealed",
        _ if drop < -threshold => "revs_rise",
        None => "not_sealed_or_blocked",
        Some(below) if below < 0.0 => "blocked",
        Some(_) => "not_sealed",
    }
}

/// Entry of a log without a cap test.
pub fn no_cap_test(settings: &Settings) -> Value {
    json!({
        "command": "breather",
        "idle_rpm": rounded(steady(settings, &[]).expect(STEADY).rpm),
        "openings": [],
        "verdict": "not_settled",
    })
}
