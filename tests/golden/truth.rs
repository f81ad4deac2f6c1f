//! Findings beside what was true in the engine model.

use serde_json::Value;

/// A true value and the 95 % interval that should hold it.
#[derive(Clone)]
pub struct Held {
    /// Log and what of it.
    what: String,
    /// The value in the model.
    truth: f64,
    /// Lower end of the interval.
    low: f64,
    /// Upper end of the interval.
    high: f64,
}

impl Held {
    fn new(what: String, truth: f64, block: &Value, [low, high]: [&str; 2]) -> Self {
        let end = |key: &str| block[key].as_f64().unwrap_or_else(|| panic!("{what}: no {key}"));
        let (low, high) = (end(low), end(high));
        assert!(low < high, "{what}: an interval from {low} to {high}");
        Held { what, truth, low, high }
    }

    /// The miss in words.
    pub fn told(&self) -> String {
        format!("{}: true {} is not in {} to {}", self.what, self.truth, self.low, self.high)
    }

    /// Distance of the truth from the middle of the interval, in half widths.
    pub fn half_widths_off(&self) -> f64 {
        let (middle, half) = (0.5 * (self.low + self.high), 0.5 * (self.high - self.low));
        (self.truth - middle).abs() / half
    }
}

fn number(block: &Value, key: &str) -> f64 {
    block[key].as_f64().unwrap()
}

/// A plateau and a true stretch that share this much time belong together, s.
const SHARED_S: f64 = 2.0;

/// Plateaus found, each with the true running stretches that share time with it. None may be
/// without a stretch.
///
/// A true stretch may be without a plateau where the log does not let it be found (too short, idle
/// wandering off); whether that matters is for the verdict to show.
pub fn matched(log: &str, found: &Value, truth: &Value) -> Vec<(Value, Vec<Value>)> {
    let true_stretches = || truth["plateaus"].as_array().into_iter().flatten();
    let plateaus = found["plateaus"].as_array().into_iter().flatten();
    let matched: Vec<(Value, Vec<Value>)> = plateaus
        .map(|plateau| {
            let inside = |stretch: &&Value| {
                let (from, to) = (number(stretch, "from_s"), number(stretch, "to_s"));
                let common = to.min(number(plateau, "to_s")) - from.max(number(plateau, "from_s"));
                stretch["kind"] == "running" && common > SHARED_S
            };
            (plateau.clone(), true_stretches().filter(inside).cloned().collect())
        })
        .collect();
    for (plateau, stretches) in &matched {
        assert!(!stretches.is_empty(), "{log}: nothing was steady at {plateau}");
    }
    matched
}

/// The difference on every plateau beside the true one, averaged over the seconds that the plateau
/// holds: a real difference wanders a little, and the plateau says nothing of what lies outside it.
pub fn differences(log: &str, found: &Value, truth: &Value) -> Vec<Held> {
    matched(log, found, truth)
        .iter()
        .map(|(plateau, stretches)| {
            let (from, to) = (number(plateau, "from_s"), number(plateau, "to_s"));
            let mut held = Vec::new();
            for stretch in stretches {
                let seconds = stretch["difference_each_s_kpa"].as_array().unwrap();
                for (k, difference) in seconds.iter().enumerate() {
                    let middle = number(stretch, "from_s") + k as f64 + 0.5;
                    if (from..to).contains(&middle) {
                        held.push(difference.as_f64().unwrap());
                    }
                }
            }
            assert!(!held.is_empty(), "{log}: no whole second of {plateau} is known");
            let what = format!("{log}: difference at {} rev/min", plateau["rpm"]);
            let mean = held.iter().sum::<f64>() / held.len() as f64;
            Held::new(what, mean, plateau, ["low_kpa", "high_kpa"])
        })
        .collect()
}

/// The error of the pair beside the true one, where the log is a tee run.
pub fn pair_errors(log: &str, found: &Value, truth: &Value) -> Vec<Held> {
    let told = |vacuum: &Value| {
        let told = found["error"].as_array().into_iter().flatten();
        let at = told.clone().find(|at| at["vacuum_kpa"] == *vacuum);
        at.unwrap_or_else(|| panic!("{log}: nothing is told at {vacuum} kPa")).clone()
    };
    let errors = truth["error"].as_array().into_iter().flatten();
    errors
        .map(|at| {
            let what = format!("{log}: error of the pair at {} kPa", at["vacuum_kpa"]);
            let block = told(&at["vacuum_kpa"]);
            Held::new(what, number(at, "error_kpa"), &block, ["low_kpa", "high_kpa"])
        })
        .collect()
}

/// What a turn of the stop screw does beside what it truly does, where one was turned.
pub fn screws(log: &str, found: &Value, truth: &Value) -> Vec<Held> {
    let Some(turn) = truth.get("a_turn") else { return Vec::new() };
    assert!(!found["screws"]["proposal"].is_null(), "{log}: nothing is proposed");
    let learned = found["screws"]["per_turn"].as_array().unwrap();
    let learned = learned.iter().find(|entry| entry["side"] == turn["side"]).unwrap();
    let held = |key: &str| {
        let what = format!("{log}: {key} of a turn");
        Held::new(what, number(turn, key), &learned[key], ["low", "high"])
    };
    vec![held("difference_kpa"), held("speed_rpm")]
}

/// What sealing the culprit does, and its hole, beside the true ones, where the log is a hunt. It is
/// the only one that leaks. The effects on speed and vacuums come from one torque, whose wander moves all
/// three together: they are one interval, and the one that is furthest off stands for them.
pub fn hunt(log: &str, found: &Value, truth: &Value) -> Vec<Held> {
    let Some(culprit) = truth["culprit"].as_str() else { return Vec::new() };
    let suspects = found["suspects"].as_array().unwrap();
    let leaking: Vec<&Value> = suspects.iter().filter(|s| s["verdict"] == "leaks").collect();
    assert!(leaking.len() == 1 && leaking[0] == &suspects[0], "{log}: {}", found["say"]);
    assert_eq!(leaking[0]["name"], culprit, "{log}: {}", found["say"]);
    assert_eq!(leaking[0]["into"], truth["into"], "{log}: {}", found["say"]);
    let held =
        |key: &str, ends| Held::new(format!("{log}: {key}"), number(truth, key), leaking[0], ends);
    let effects = [
        held("effect_rpm", ["low_rpm", "high_rpm"]),
        held("effect_vac1_kpa", ["low_vac1_kpa", "high_vac1_kpa"]),
        held("effect_vac2_kpa", ["low_vac2_kpa", "high_vac2_kpa"]),
    ];
    let off = |a: &Held, b: &Held| a.half_widths_off().total_cmp(&b.half_widths_off());
    let furthest = effects.into_iter().max_by(off);
    furthest.into_iter().chain([held("hole_mm", ["hole_low_mm", "hole_high_mm"])]).collect()
}

/// The idle drop beside the true one, where there was a cap test.
pub fn drop(log: &str, found: &Value, truth: &Value) -> Option<Held> {
    let true_drop = truth["drop_rpm"].as_f64()?;
    Some(Held::new(format!("{log}: idle drop"), true_drop, found, ["low_rpm", "high_rpm"]))
}

/// The ratio of the two flows beside the true one, where the log has airflow meters.
pub fn flow(log: &str, found: &Value, truth: &Value) -> Option<Held> {
    let ratio = truth["flow1_over_flow2"].as_f64()?;
    let plateau = &found["flow"]["plateaus"][0];
    Some(Held::new(format!("{log}: ratio of the flows"), ratio, plateau, ["low", "high"]))
}
