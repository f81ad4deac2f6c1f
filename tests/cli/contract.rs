//! JSON holds every key of the contract, of the right type, and no NaN.

use crate::logs::{file, folder, idle, moved, openings, swapped};
use crate::run::run;
use serde_json::Value;

/// Types a value of the contract may have.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    Number,
    /// A number, or null where it was not measured.
    Measured,
    Text,
    List,
    Block,
    Flag,
}

use Kind::{Block, Flag, List, Measured, Number, Text};

pub fn check(value: &Value, keys: &[(&str, Kind)]) {
    for (key, kind) in keys {
        let found = value.get(key).unwrap_or_else(|| panic!("no key {key:?} in {value}"));
        let fits = match kind {
            Number => found.is_number(),
            Measured => found.is_number() || found.is_null(),
            Text => found.is_string(),
            List => found.is_array(),
            Block => found.is_object(),
            Flag => found.is_boolean(),
        };
        assert!(fits, "{key:?} should be {kind:?}, is {found}");
    }
}

pub fn check_log(log: &Value) {
    let keys = [
        ("rows", Number),
        ("bad_rows", Number),
        ("duration_s", Number),
        ("sample_rate_hz", Number),
        ("remarks", List),
    ];
    check(log, &keys);
    for remark in log["remarks"].as_array().unwrap() {
        check(remark, &[("code", Text), ("count", Number), ("at_s", List), ("text", Text)]);
    }
}

fn check_balance(value: &Value) {
    let keys = [
        ("log", Block),
        ("zero", Block),
        ("tolerance_kpa", Number),
        ("plateaus", List),
        ("verdict", Text),
        ("say", Text),
        ("causes", List),
    ];
    check(value, &keys);
    check_log(&value["log"]);
    check(&value["zero"], &[("method", Text), ("offset_kpa", Number), ("u_kpa", Number)]);
    let plateaus = value["plateaus"].as_array().unwrap();
    assert!(!plateaus.is_empty(), "no plateau in {value}");
    for plateau in plateaus {
        let numbers = [
            "from_s",
            "to_s",
            "rpm",
            "cycles",
            "vac1_kpa",
            "vac2_kpa",
            "difference_kpa",
            "low_kpa",
            "high_kpa",
            "u_kpa",
            "air1_over_air2",
            "air_low",
            "air_high",
        ];
        check(plateau, &numbers.map(|key| (key, Number)));
        check(plateau, &[("dof", Measured), ("needs_s", Measured)]);
        check(plateau, &[("probability_in_tolerance", Measured), ("air_budget", List)]);
        check(plateau, &[("verdict", Text), ("open", Text)]);
        let number = |key: &str| plateau[key].as_f64().unwrap();
        assert!(number("low_kpa") <= number("difference_kpa"));
        assert!(number("difference_kpa") <= number("high_kpa"));
        assert!(number("air_low") <= number("air1_over_air2"));
        assert!(number("air1_over_air2") <= number("air_high"));
    }
}

#[test]
fn balance() {
    let folder = folder("contract-balance");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    let run = run(&["balance", &log, "--json"]).good();
    check_balance(&run.json());
    assert_eq!(run.err, "");
    let value = run.json();
    assert_eq!(value["verdict"], "out_of_tolerance");
    assert_eq!(value["zero"]["method"], "engine_off");
    let running = value["plateaus"].as_array().unwrap().last().unwrap().clone();
    let difference = running["difference_kpa"].as_f64().unwrap();
    assert!((difference - 6.0).abs() < 0.2, "{difference}");
    // More vacuum on side 1: its throttle is shut further.
    assert_eq!(running["open"], "carb1");
    assert!(running["air1_over_air2"].as_f64().unwrap() < 1.0);
}

#[test]
fn balance_by_one_sensor() {
    let folder = folder("contract-one-sensor");
    let log = file(&folder, "log.csv", moved(4.0));
    let run_json = run(&["balance", &log, "--json"]).good();
    check_balance(&run_json.json());
    let value = run_json.json();
    assert_eq!(value["zero"]["method"], "one_sensor");
    assert_eq!(value["verdict"], "out_of_tolerance");
    assert_eq!(value["plateaus"].as_array().unwrap().len(), 1);
    let plateau = &value["plateaus"][0];
    let difference = plateau["difference_kpa"].as_f64().unwrap();
    assert!((difference - 4.0).abs() < 0.2, "{difference}");
    assert_eq!(plateau["open"], "carb1");
    let of = |key: &str| plateau[key].as_f64().unwrap();
    assert!((of("vac1_kpa") - of("vac2_kpa") - 4.0).abs() < 0.5, "{plateau}");
    let text = run(&["balance", &log, "--budget"]).good().out;
    assert!(text.contains("One sensor moved") && text.contains("gain of the sensor"), "{text}");
    let chart = folder.join("moved.png").display().to_string();
    run(&["balance", &log, "--chart", &chart]).good();
    assert!(std::fs::read(&chart).unwrap().starts_with(b"\x89PNG"));
    let once = moved(4.0).replace("on Rear", "note");
    let once = file(&folder, "once.csv", once);
    let value = run(&["balance", &once, "--json"]).good().json();
    assert_eq!(value["verdict"], "not_settled");
    assert!(value["say"].as_str().unwrap().contains("10 s on Rear"), "{value}");
}

#[test]
fn breather() {
    let folder = folder("contract-breather");
    let log = file(&folder, "log.csv", openings(60.0));
    let value = run(&["breather", &log, "--json"]).good().json();
    let keys = [
        ("log", Block),
        ("idle_rpm", Number),
        ("drop_rpm", Number),
        ("low_rpm", Number),
        ("high_rpm", Number),
        ("drop_percent", Number),
        ("tau_s", Measured),
        ("threshold_rpm", Number),
        ("vacuum_change_kpa", Measured),
        ("openings", List),
        ("crank_closed_kpa", Measured),
        ("crank_open_kpa", Measured),
        ("u_rpm", Number),
        ("dof", Measured),
        ("verdict", Text),
        ("probability_sealed", Number),
        ("needs_openings", Measured),
        ("budget", List),
        ("say", Text),
        ("causes", List),
    ];
    check(&value, &keys);
    for row in value["budget"].as_array().unwrap() {
        check(row, &[("name", Text), ("u_rpm", Number), ("dof", Measured)]);
    }
    check_log(&value["log"]);
    let openings = value["openings"].as_array().unwrap();
    assert_eq!(openings.len(), 3);
    for opening in openings {
        let keys = [
            ("off_s", Number),
            ("on_s", Measured),
            ("drop_rpm", Number),
            ("low_rpm", Number),
            ("high_rpm", Number),
            ("from", Text),
        ];
        check(opening, &keys);
    }
    assert_eq!(value["verdict"], "sealed");
    assert!(value["crank_closed_kpa"].is_null(), "there was no crankcase sensor");
    let drop = value["drop_rpm"].as_f64().unwrap();
    assert!((drop - 60.0).abs() < 6.0, "{drop}");
}

#[test]
fn breather_without_a_cap_test() {
    let folder = folder("contract-no-cap");
    let log = file(&folder, "log.csv", idle(0.0, 30));
    let value = run(&["breather", &log, "--json"]).good().json();
    assert_eq!(value["openings"].as_array().unwrap().len(), 0);
    assert_eq!(value["verdict"], "not_settled");
    assert!(value["drop_rpm"].is_null());
    assert!(value["say"].as_str().unwrap().len() > 10);
}

#[test]
fn compare() {
    let folder = folder("contract-compare");
    let before = file(&folder, "before.csv", swapped(5.0));
    let after = file(&folder, "after.csv", swapped(0.2));
    let value = run(&["compare", &before, &after, "--json"]).good().json();
    check(&value, &[("before", Block), ("after", Block), ("change", List), ("say", Text)]);
    check_balance(&value["before"]);
    check_balance(&value["after"]);
    let change = value["change"].as_array().unwrap();
    assert!(!change.is_empty());
    for entry in change {
        let numbers = ["rpm", "before_kpa", "after_kpa", "low_kpa", "high_kpa"];
        check(entry, &numbers.map(|key| (key, Number)));
        check(entry, &[("improved", Flag)]);
    }
    assert_eq!(change[0]["improved"], true);
}

#[test]
fn inspect() {
    let folder = folder("contract-inspect");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    let value = run(&["inspect", &log, "--json"]).good().json();
    let keys = [
        ("log", Block),
        ("columns", List),
        ("head", Block),
        ("baro", Block),
        ("plateaus", List),
        ("steps", List),
        ("marks", List),
        ("ripple_rpm", Measured),
        ("aliasing_r", Measured),
    ];
    check(&value, &keys);
    check_log(&value["log"]);
    check(&value["baro"], &[("kpa", Number), ("u_kpa", Number), ("from", Text)]);
    assert_eq!(value["head"]["carb2"], "Rear");
    assert_eq!(value["marks"][1]["text"], "engine on");
    for column in value["columns"].as_array().unwrap() {
        check(column, &[("role", Text), ("heading", Text), ("guessed", Flag), ("text", Text)]);
    }
    let plateaus = value["plateaus"].as_array().unwrap();
    let kinds: Vec<&str> = plateaus.iter().map(|p| p["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["engine_off", "running"]);
    for plateau in plateaus {
        let numbers = ["from_s", "to_s", "from_row", "to_row", "cycles"];
        check(plateau, &numbers.map(|key| (key, Number)));
        check(plateau, &[("rpm", Measured)]);
    }
}

#[test]
fn the_same_log_gives_the_same_bytes() {
    let folder = folder("contract-same");
    let log = file(&folder, "log.csv", openings(60.0));
    for command in ["balance", "breather", "inspect"] {
        let [one, two] = [(), ()].map(|()| run(&[command, &log, "--json"]).good().out);
        assert_eq!(one, two, "{command}");
    }
}

#[test]
fn hunt() {
    let log = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-logs/hunt.csv");
    let value = run(&["hunt", log, "--json"]).good().json();
    let keys = [
        ("log", Block),
        ("idle_rpm", Number),
        ("limit_rpm", Number),
        ("limit_air_percent", Number),
        ("jet", Block),
        ("verdict", Text),
        ("suspects", List),
        ("say", Text),
        ("remarks", List),
    ];
    check(&value, &keys);
    let keys = [
        ("mm", Number),
        ("trials", Number),
        ("effect_air_percent", Number),
        ("low_air_percent", Number),
        ("high_air_percent", Number),
        ("shows", Flag),
    ];
    check(&value["jet"], &keys);
    let suspects = value["suspects"].as_array().unwrap();
    assert_eq!(suspects.len(), 4);
    for suspect in suspects {
        check(suspect, &[("name", Text), ("trials", Number), ("p_adjusted", Number)]);
        check(suspect, &[("verdict", Text), ("needs_trials", Measured), ("hole_budget", List)]);
        for of in ["rpm", "vac1_kpa", "vac2_kpa", "air1_percent", "air2_percent"] {
            let number = |end: &str| suspect[format!("{end}_{of}")].as_f64().unwrap();
            let (low, value, high) = (number("low"), number("effect"), number("high"));
            assert!(low < value && value < high, "{of}: {suspect}");
        }
        for end in ["hole_mm", "hole_low_mm", "hole_high_mm"] {
            check(suspect, &[(end, Measured)]);
        }
        for row in suspect["hole_budget"].as_array().unwrap() {
            check(row, &[("name", Text), ("u_percent", Number)]);
        }
    }
    assert_eq!(run(&["hunt", log, "--exit-code"]).code, 10);
}

#[test]
fn hunt_without_a_trial() {
    let folder = folder("contract-no-hunt");
    let log = file(&folder, "log.csv", idle(0.0, 30));
    let value = run(&["hunt", &log, "--json"]).good().json();
    assert_eq!(
        (&value["verdict"], &value["suspects"]),
        (&"not_settled".into(), &Value::Array(vec![]))
    );
    assert!(value["say"].as_str().unwrap().contains("'seal NAME'"), "{value}");
    assert_eq!(run(&["hunt", &log, "--exit-code"]).code, 11);
}
