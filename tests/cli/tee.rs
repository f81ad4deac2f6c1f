//! The tee run from the log to the profile to the balance.

use crate::logs::{file, folder, idle};
use crate::run::{binary, finish, run};
use serde_json::Value;
use std::fs;

const RATE_HZ: f64 = 50.0;

/// Both sensors on one tap: engine off, idle, a held speed, engine off. Sensor 1 reads 0.9 kPa and
/// 1.7 % more than sensor 2. `narrow` leaves the engine off out.
fn tee_log(narrow: bool) -> String {
    let mut text =
        "# started: 2026-03-14T10:20:00Z\n# baro_kpa: 100.8\n# carb1: Front\n# carb2: Rear\n"
            .to_string();
    text += "time_s,rpm,vac1_kpa,vac2_kpa,mark\n";
    let mut phase = 0.0_f64;
    for k in 0..(60.0 * RATE_HZ) as usize {
        let t = k as f64 / RATE_HZ;
        let (rpm, level) = match t {
            t if !narrow && !(8.0..50.0).contains(&t) => (0.0, 0.0),
            t if (25.0..38.0).contains(&t) => (2000.0, 63.0),
            _ => (850.0, 56.0),
        };
        phase += rpm / 120.0 / RATE_HZ;
        let wobble = ((k * k) as f64 * 0.618_034).fract() - 0.5;
        let vacuum = level + 0.05 * level * (4.0 * std::f64::consts::PI * phase).sin();
        let one = 0.55 + 1.0085 * vacuum + 0.1 * wobble;
        let two = -0.35 + 0.9915 * vacuum - 0.1 * ((k as f64) * 0.754_877).fract() + 0.05;
        let mark = if k == 0 { "tee on" } else { "" };
        text += &format!("{t:.3},{rpm:.1},{one:.2},{two:.2},{mark}\n");
    }
    text
}

/// The idle of the other tests, seen through that pair.
fn through_the_pair(log: &str, drift: f64) -> String {
    let through = |line: &str| -> String {
        let mut fields: Vec<String> = line.split(',').map(str::to_string).collect();
        if let Ok(vacuum) = fields[2].parse::<f64>() {
            fields[2] = format!("{:.3}", 0.55 + drift + 1.0085 * vacuum);
            fields[3] = format!("{:.3}", -0.35 + 0.9915 * fields[3].parse::<f64>().unwrap());
        }
        fields.join(",")
    };
    let lines =
        log.lines().map(|line| if line.starts_with('#') { line.into() } else { through(line) });
    lines.collect::<Vec<String>>().join("\n") + "\n"
}

const PROFILE: &str = "# my car\ncar = 'Blue'   # the saloon\ncylinders = 4\n";

#[test]
fn the_document_holds_the_line() {
    let folder = folder("tee-json");
    let log = file(&folder, "tee.csv", tee_log(false));
    let run = run(&["match", &log, "--json"]).good();
    assert_eq!(run.err, "");
    let value = run.json();
    let number = |key: &str| value[key].as_f64().unwrap_or_else(|| panic!("no {key} in {value}"));
    for (key, low, high, truth) in [
        ("offset_kpa", "offset_low_kpa", "offset_high_kpa", 0.9),
        ("gain", "gain_low", "gain_high", 0.017),
    ] {
        assert!(number(low) <= number(key) && number(key) <= number(high), "{value}");
        assert!((number(key) - truth).abs() < 0.02, "{value}");
    }
    for key in ["dof", "residual_kpa", "vacuum_from_kpa", "vacuum_to_kpa", "used_s", "cycles"] {
        number(key);
    }
    for key in ["offset_kpa2", "offset_gain_kpa", "gain"] {
        assert!(value["covariance"][key].is_number(), "{value}");
    }
    assert_eq!(value["date"], "2026-03-14");
    assert_eq!(value["verdict"], "matched");
    assert!(value["say"].as_str().unwrap().starts_with("Matched from 0.0"));
    assert!(value["log"]["rows"].is_number() && value["remarks"].is_array());
    for at in value["error"].as_array().unwrap() {
        let number = |key: &str| at[key].as_f64().unwrap();
        assert!(
            number("low_kpa") < number("error_kpa") && number("error_kpa") < number("high_kpa")
        );
    }
}

#[test]
fn the_line_is_stored_beside_everything_else_and_used() {
    let folder = folder("tee-store");
    let log = file(&folder, "tee.csv", tee_log(false));
    let car = file(&folder, "car.toml", PROFILE);
    let stored = run(&["match", &log, "--store", &car]).good();
    assert!(stored.err.contains("tee run stored in"), "{}", stored.err);
    let text = fs::read_to_string(&car).unwrap();
    assert!(text.starts_with(PROFILE), "{text}");
    assert!(text.contains("\n[tee_run]\ndate = \"2026-03-14\"\noffset_kpa = "), "{text}");
    run(&["match", &log, "--store", &car]).good();
    assert_eq!(fs::read_to_string(&car).unwrap(), text, "a second time changes nothing");
    let left: Vec<_> = fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");

    let balance = file(&folder, "idle.csv", through_the_pair(&idle(0.2, 30), 0.0));
    let without = run(&["balance", &balance, "--json"]).good().json();
    assert_eq!(without["verdict"], "not_settled");
    let with = run(&["balance", &balance, "--profile", &car, "--json"]).good().json();
    assert_eq!(with["verdict"], "in_tolerance", "{}", with["say"]);
    assert_eq!(with["zero"]["method"], "tee");
    let plateau = &with["plateaus"][0];
    assert!((plateau["difference_kpa"].as_f64().unwrap() - 0.2).abs() < 0.1, "{plateau}");
    let budget = run(&["balance", &balance, "--profile", &car, "--budget"]).good().out;
    assert!(budget.contains("zero of the pair: stored tee run"), "{budget}");
    assert!(budget.contains("from both hoses on one tap"), "{budget}");
}

#[test]
fn a_profile_that_is_not_there_is_made() {
    let folder = folder("tee-new");
    let log = file(&folder, "tee.csv", tee_log(false));
    let car = folder.join("new.toml");
    run(&["match", &log, "--store", car.to_str().unwrap()]).good();
    assert!(fs::read_to_string(&car).unwrap().starts_with("[tee_run]\n"));
    let nowhere = folder.join("no-such-folder").join("car.toml");
    let refused = run(&["match", &log, "--store", nowhere.to_str().unwrap()]).refused();
    assert!(refused.err.contains("no-such-folder"), "{}", refused.err);
}

#[test]
fn a_file_that_is_no_profile_is_left_as_it_was() {
    let folder = folder("tee-wrong");
    let log = file(&folder, "tee.csv", tee_log(false));
    for (name, content, word) in [
        ("log.csv", tee_log(false), "log.csv"),
        ("misspelt.toml", "cylnders = 4\n".into(), "cylinders"),
        ("inline.toml", "tee_run = { date = '2025-01-01' }\n".into(), "tee_run"),
        ("empty.toml.bin", "\u{0}\u{1}".into(), "empty.toml.bin"),
    ] {
        let path = file(&folder, name, &content);
        let refused = run(&["match", &log, "--store", &path]).refused();
        assert!(refused.err.contains(word), "{name}: {}", refused.err);
        assert!(refused.err.contains("\nhelp: "), "{name}: {}", refused.err);
        assert_eq!(fs::read_to_string(&path).unwrap(), content, "{name}");
    }
    run(&["match", &log, "--store", folder.to_str().unwrap()]).refused();
}

#[test]
fn a_run_without_a_line_stores_nothing() {
    let folder = folder("tee-narrow");
    let log = file(&folder, "narrow.csv", tee_log(true));
    let car = file(&folder, "car.toml", PROFILE);
    let refused = run(&["match", &log, "--store", &car]).refused();
    assert!(refused.err.contains("20.00 kPa are needed"), "{}", refused.err);
    assert_eq!(fs::read_to_string(&car).unwrap(), PROFILE);
    let open = run(&["match", &log, "--exit-code"]);
    assert_eq!(open.code, 11, "{}", open.out);
    assert!(open.out.starts_with("The offset alone"), "{}", open.out);
    // Two tracts that draw in turn are not one tap.
    let idling = file(&folder, "idle.csv", idle(1.0, 30));
    let apart = run(&["match", &idling, "--exit-code"]);
    assert_eq!(apart.code, 10, "{}", apart.out);
    assert!(apart.out.contains("not on one tap"), "{}", apart.out);
}

#[test]
fn a_log_that_contradicts_the_tee_run_says_so_at_the_top() {
    let folder = folder("tee-contradicted");
    let log = file(&folder, "tee.csv", tee_log(false));
    let car = folder.join("car.toml");
    let car = car.to_str().unwrap();
    run(&["match", &log, "--store", car]).good();
    let drifted = file(&folder, "idle.csv", through_the_pair(&idle(0.2, 30), 3.0));
    let out = run(&["balance", &drifted, "--profile", car]).good().out;
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    let (top, _) = flat.split_once("time, s").unwrap();
    assert!(top.contains("Mind: The tee run of 2026-03-14 no longer fits"), "{out}");
    let value: Value = run(&["balance", &drifted, "--profile", car, "--json"]).good().json();
    assert_eq!(value["zero"]["method"], "engine_off");
    assert_eq!(value["verdict"], "not_settled");
}

#[test]
fn a_section_that_makes_no_sense_is_named_with_its_line() {
    let folder = folder("tee-section");
    let log = file(&folder, "tee.csv", tee_log(false));
    let car = folder.join("car.toml");
    run(&["match", &log, "--store", car.to_str().unwrap()]).good();
    let text = fs::read_to_string(&car).unwrap();
    let idle = file(&folder, "idle.csv", idle(1.0, 20));
    for (from, to, words) in [
        ("date = \"2026-03-14\"", "date = \"spring\"", ["line 2", "\"spring\" is no day"]),
        ("correlation", "corelation", ["line 7", "did you mean \"correlation\"?"]),
        ("dof = ", "dof = -", ["line 8", "is not from 0.1"]),
        ("residual_kpa = ", "# residual_kpa = ", ["line 1", "has no residual_kpa"]),
        ("offset_kpa = ", "offset_kpa = true #", ["line 3", "a number from -100"]),
    ] {
        assert!(text.contains(from), "{text}");
        let broken = file(&folder, "broken.toml", text.replacen(from, to, 1));
        let refused = run(&["balance", &idle, "--profile", &broken]).refused();
        for word in words {
            assert!(refused.err.contains(word), "{to}: no {word:?} in {}", refused.err);
        }
    }
}

#[test]
fn the_answer_fits_a_narrow_window_in_any_unit() {
    let folder = folder("tee-width");
    let wide = file(&folder, "tee.csv", tee_log(false));
    let narrow = file(&folder, "narrow.csv", tee_log(true));
    for log in [&wide, &narrow] {
        for columns in [80, 50] {
            let args = ["match", log, "--units", "mmHg"];
            let run = finish(binary().args(args).env("COLUMNS", columns.to_string())).good();
            assert!(run.out.lines().all(|line| line.chars().count() <= columns), "{}", run.out);
            assert!(run.out.contains("mmHg"), "{}", run.out);
            for bad in ["NaN", "inf ", "null", "+-"] {
                assert!(!run.out.contains(bad), "{bad} in {}", run.out);
            }
        }
    }
}

/// The texts and the discs of an SVG.
fn drawn(path: &str) -> (Vec<String>, usize) {
    let svg = fs::read_to_string(path).unwrap();
    assert!(!svg.contains("NaN"), "{svg}");
    let texts = svg.split("<text").skip(1).filter_map(|t| t.split(['>', '<']).nth(1));
    (texts.map(|t| t.trim().to_string()).collect(), svg.matches("<circle").count())
}

#[test]
fn the_chart_shows_every_average_and_the_line_where_there_is_one() {
    let folder = folder("tee-chart");
    let chart = |name: &str| folder.join(name).to_str().unwrap().to_string();
    let whole = file(&folder, "tee.csv", tee_log(false));
    let (svg, png) = (chart("tee.svg"), chart("tee.png"));
    let told = run(&["match", &whole, "--chart", &svg, "--units", "mmHg"]).good();
    assert!(told.err.contains("chart written to"), "{}", told.err);
    let (texts, discs) = drawn(&svg);
    for text in ["Sensor 1 less sensor 2 (mmHg)", "Beside the line (mmHg)", "line, 95 % interval"] {
        assert!(texts.iter().any(|t| t == text), "no {text:?} in {texts:?}");
    }
    // 58 s in averages of a quarter to half a second, in both panels, and one in the legend.
    assert!((250..470).contains(&discs), "{discs} discs");
    run(&["match", &whole, "--chart", &png, "--chart-width", "900"]).good();
    assert!(fs::read(&png).unwrap().starts_with(b"\x89PNG"));

    let narrow = file(&folder, "narrow.csv", tee_log(true));
    run(&["match", &narrow, "--chart", &svg]).good();
    let (texts, discs) = drawn(&svg);
    assert!(texts.iter().any(|t| t == "mean, 95 % interval"), "{texts:?}");
    assert!(!texts.iter().any(|t| t.starts_with("Beside the line")), "{texts:?}");
    assert!(discs > 100, "{discs} discs");

    let one = file(&folder, "idle.csv", "time_s,rpm,vac1_kpa\n0,850,55\n0.1,851,55\n0.2,850,56\n");
    let never = chart("never.svg");
    assert_eq!(run(&["match", &one, "--chart", &never]).code, 2);
    assert!(!std::path::Path::new(&never).exists());
}

#[test]
fn the_chart_of_the_balance_names_the_stretch_on_one_tap() {
    let folder = folder("tee-stretch");
    let svg = folder.join("balance.svg").to_str().unwrap().to_string();
    let log = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/tee-balance.csv");
    run(&["balance", log.to_str().unwrap(), "--chart", &svg]).good();
    let (texts, _) = drawn(&svg);
    let count = |text: &str| texts.iter().filter(|t| *t == text).count();
    assert_eq!((count("both hoses"), count("on one tap")), (1, 1), "{texts:?}");
}
