//! A profile by flags and from a pipe, what is refused, and that its keys count.

use crate::logs::{file, folder, swapped};
use crate::run::{fed, run};
use std::fs;

#[test]
fn flags_alone_write_a_profile_and_never_over_one() {
    let folder = folder("profile-flags");
    let path = folder.join("car.toml");
    let path = path.to_str().unwrap();
    let args =
        ["profile", "new", path, "--yes", "--set", "carb1=Left bank", "--set", "car=a=b # \"c\""];
    let run_one = run(&args).good();
    assert!(run_one.err.contains("--profile"), "{}", run_one.err);
    let text = fs::read_to_string(path).unwrap();
    let read: toml::Table = toml::from_str(&text).unwrap();
    assert_eq!(read["carb1"].as_str(), Some("Left bank"));
    assert_eq!(read["car"].as_str(), Some("a=b # \"c\""));
    assert_eq!(read.len(), 2, "what nobody said stands there: {text}");
    assert!(text.contains("\n# cylinders = 4\n"), "{text}");
    assert!(run(&args).refused().err.contains("is there already"));
    assert_eq!(fs::read_to_string(path).unwrap(), text);
}

#[test]
fn a_pipe_answers_line_by_line_or_nothing_is_written() {
    let folder = folder("profile-pipe");
    let path = |name: &str| folder.join(name).to_str().unwrap().to_string();
    let answers = "Blue\nFront\nRear\n4\n1-3-4-2\n1 2\nno\n850\n".to_string() + &"\n".repeat(16);
    fed(&["profile", "new", &path("whole.toml")], &answers).good();
    let read: toml::Table =
        toml::from_str(&fs::read_to_string(path("whole.toml")).unwrap()).unwrap();
    assert_eq!(read["idle_target_rpm"].as_integer(), Some(850));
    assert_eq!(read["carb1_cylinders"], toml::Value::from(vec![1, 2]));
    for (name, answers, words) in [
        ("short.toml", "Blue\nFront\n", "the answers ended at \"carb2\""),
        ("wrong.toml", "Blue\nFront\nRear\nfour\n", "a whole number from 2 to 16"),
        ("silent.toml", "", "--yes"),
    ] {
        let refused = fed(&["profile", "new", &path(name)], answers).refused();
        assert!(refused.err.contains(words), "{}", refused.err);
        assert!(refused.err.contains("\nhelp: "), "{}", refused.err);
        assert!(fs::metadata(path(name)).is_err(), "{name} was written");
    }
}

#[test]
fn a_key_that_is_not_known_names_the_nearest() {
    let folder = folder("profile-nearest");
    let path = folder.join("car.toml");
    let path = path.to_str().unwrap();
    let refused = run(&["profile", "new", path, "--yes", "--set", "idle_target=850"]).refused();
    assert!(refused.err.contains("did you mean \"idle_target_rpm\"?"), "{}", refused.err);
    let wrong = run(&["profile", "new", path, "--yes", "--set", "cylinders=99"]).refused();
    assert!(wrong.err.contains("99 cylinders"), "{}", wrong.err);
    let twice = ["--set", "cylinders=4", "--set", "cylinders=6"];
    let twice = run(&[&["profile", "new", path, "--yes"], &twice[..]].concat()).refused();
    assert!(twice.err.contains("given twice"), "{}", twice.err);
    let bare = run(&["profile", "new", path, "--yes", "--set", "cylinders"]).refused();
    assert!(bare.err.contains("no equals sign"), "{}", bare.err);
    let bad = file(&folder, "bad.toml", "car = 'x'\n[tee_run]\ngain_persent = 1\n");
    let bad = run(&["profile", "check", &bad]).refused();
    assert!(bad.err.contains("line 3") && bad.err.contains("\"gain_percent\""), "{}", bad.err);
}

#[test]
fn a_balance_pipe_makes_the_figure_a_lower_limit_in_the_report() {
    let folder = folder("profile-pipe-counts");
    let log = file(&folder, "log.csv", swapped(6.0));
    let profile = |name: &str, text: &str| file(&folder, name, text);
    let joined = profile("joined.toml", "balance_pipe = true\n");
    let apart = profile("apart.toml", "balance_pipe = false\n");
    let said = |profile: &str| {
        let out = run(&["balance", &log, "--profile", profile]).good().out;
        out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let (joined, apart) = (said(&joined), said(&apart));
    assert!(joined.contains("passes at least "), "{joined}");
    assert!(joined.contains("The balance pipe between the tracts"), "{joined}");
    assert!(joined.contains("the throttles differ by at least this much"), "{joined}");
    assert!(!apart.contains("at least") && !apart.contains("balance pipe"), "{apart}");
}

#[test]
fn the_sensor_of_the_profile_reads_volts_as_the_flag_does() {
    let folder = folder("profile-sensor");
    let mut text = String::from("time_s,rpm,front (V),rear (V)\n");
    for k in 0..1000 {
        let swing = 0.05 * f64::from(k % 7) / 7.0;
        text += &format!("{:.2},850,{:.3},{:.3}\n", f64::from(k) / 50.0, 1.5 + swing, 1.6 + swing);
    }
    let log = file(&folder, "volts.csv", text);
    let profile = file(&folder, "car.toml", "sensor = \"MPX4115A\"\nsensor_supply_v = 5.05\n");
    let by_profile = run(&["balance", &log, "--profile", &profile, "--json"]).good().out;
    let flags = ["balance", &log, "--sensor", "MPX4115A", "--supply", "5.05", "--json"];
    assert_eq!(by_profile, run(&flags).good().out);
    let other = ["balance", &log, "--profile", &profile, "--sensor", "MPX4115A", "--json"];
    assert_ne!(run(&other).good().out, by_profile, "the flag's sensor has its own supply");
}
