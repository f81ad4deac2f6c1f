//! The README of the sample logs: each log with what is in it, what is true, what is to be found.

use crate::car::Log;
use serde_json::Value;

const INTRODUCTION: &str = "# Sample logs

One invented car, an **Ambrel 1600** (in-line four, firing order 1-3-4-2, carburettor Front on
cylinders 1 and 2, Rear on 3 and 4, closed crankcase breather), in one invented workshop, **Gable
Yard**, with a box of two cheap sensors that disagree by 0.9 kPa at the atmosphere and by 1.9 kPa at
idle. No such car, workshop or person exists.

The logs come from the model engine (`src/engine`); the generator is `tests/sample_logs/`.
`cargo test --test sample_logs` checks that the files are what the generator makes, byte for byte;
with `EVENBREATH_WRITE_SAMPLES=1` it writes them, `truth.json` and this page anew.

`truth.json` holds, for each log, what was true in the model: for every steady stretch the mean
speed, the mean vacuum of both tracts and their difference; for a cap test the idle, the drop (that
of the same engine without its random variation), the times at which the cap really moved and the
crankcase depression; for a hunt who leaks, by what hole, and what sealing it changes; for a stop screw what a turn
of it changes; for airflow meters the ratio of the air that passed the throttles. People press keys about half a second late. While hoses are changed over, for
2.5 s, both sensors see the atmosphere though the engine runs.

'To be found' follows from the truth, at the default tolerance of 1.3 kPa and the default threshold
of the idle drop, and from what the log can settle at all.

| log | what is in it | what was true | to be found |
|---|---|---|---|
";

fn number(value: &Value, key: &str, decimals: usize) -> Option<String> {
    value.get(key)?.as_f64().map(|number| format!("{number:.decimals$}"))
}

/// The steady stretches, or the idle drop, in words.
fn truth_in_words(truth: &Value) -> String {
    let mut words = Vec::new();
    for plateau in truth["plateaus"].as_array().into_iter().flatten() {
        let rpm = number(plateau, "rpm", 0);
        let difference = number(plateau, "difference_kpa", 2);
        if let (Some(rpm), Some(difference)) = (rpm, difference) {
            words.push(format!("{difference} kPa at {rpm} rev/min"));
        }
    }
    for at in truth["error"].as_array().into_iter().flatten() {
        if let (Some(vacuum), Some(error)) =
            (number(at, "vacuum_kpa", 0), number(at, "error_kpa", 2))
        {
            words.push(format!("the sensors differ by {error} kPa at {vacuum} kPa"));
        }
    }
    let turn = &truth["a_turn"];
    if let (Some(kpa), Some(rpm)) =
        (number(turn, "difference_kpa", 1), number(turn, "speed_rpm", 0))
    {
        words.push(format!(
            "a turn of its screw changes that by {kpa} kPa and the idle by {rpm} rev/min"
        ));
    }
    if let Some(ratio) = number(truth, "flow1_over_flow2", 3) {
        words.push(format!("Front passes {ratio} of what Rear passes"));
    }
    if let Some(idle) = number(truth, "idle_rpm", 0) {
        words.push(format!("idle {idle} rev/min"));
    }
    if let Some(drop) = number(truth, "drop_rpm", 1) {
        words.push(format!("drop {drop} rev/min"));
    }
    if let Some((culprit, hole)) = truth["culprit"].as_str().zip(number(truth, "hole_mm", 1)) {
        words.push(format!("the {culprit} leaks by a hole of {hole} mm"));
    }
    if let Some(crank) = number(truth, "crank_closed_kpa", 2) {
        words.push(format!("crankcase {crank} kPa below atmosphere with the cap on"));
    }
    words.join("; ")
}

/// The whole page.
pub fn page(logs: &[Log]) -> String {
    let mut page = INTRODUCTION.to_string();
    for log in logs {
        let verdict = log.truth["verdict"].as_str().unwrap_or_default();
        let about = log.about;
        page += &format!(
            "| `{}` | {about} | {} | `{verdict}` |\n",
            log.name,
            truth_in_words(&log.truth),
        );
    }
    page
}
