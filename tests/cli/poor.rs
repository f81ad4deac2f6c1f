//! Logs that can be read and give no answer: what was lacking is said, how to log it, and nothing is
//! made up.

use crate::logs::{file, folder, idle};
use crate::run::run;
use serde_json::Value;

/// A good idle with every row's fields (time, rpm, vac1, vac2, mark) changed.
fn changed(seconds: usize, change: impl Fn(usize, &mut [String])) -> String {
    let text = idle(2.0, seconds);
    let mut rows = 0;
    let line = |line: &str| {
        let mut fields: Vec<String> = line.split(',').map(str::to_string).collect();
        if fields[0].parse::<f64>().is_ok() {
            change(rows, &mut fields);
            rows += 1;
        }
        fields.join(",") + "\n"
    };
    text.lines().map(line).collect()
}

/// `balance` is not settled, with these words, and no number was made up on the way.
fn not_settled(name: &str, log: &str, words: &[&str]) {
    let folder = folder(&format!("poor-{name}"));
    let path = file(&folder, "log.csv", log);
    let answer = run(&["balance", &path, "--json"]);
    assert_eq!(answer.code, 0, "{name}: {}", answer.err);
    let value: Value = serde_json::from_str(&answer.out).unwrap();
    assert_eq!(value["verdict"], "not_settled", "{name}: {}", answer.out);
    let say = value["say"].as_str().unwrap();
    for word in words {
        assert!(say.contains(word), "{name}: no {word:?} in {say}");
    }
    for command in ["balance", "breather", "inspect"] {
        let answer = run(&[command, &path, "--json"]);
        let sound =
            !["NaN", "nan", "inf"].iter().any(|bad| answer.out.contains(&format!(": {bad}")));
        assert!(answer.code == 0 && sound, "{name}, {command}: {}", answer.out);
        let value: Value = serde_json::from_str(&answer.out).unwrap();
        let open = command == "inspect" || value["verdict"] == "not_settled";
        assert!(open, "{name}, {command}: {}", answer.out);
    }
}

const HOW: &str = "Log at least 15 s";

#[test]
fn a_log_too_short() {
    let log = idle(2.0, 1);
    // Five lines of head, then 1.08 s of rows.
    let short: Vec<&str> = log.lines().take(60).collect();
    not_settled("short", &(short.join("\n") + "\n"), &["only 1.1 s long", HOW]);
}

#[test]
fn a_log_without_a_steady_speed() {
    let sweep = changed(20, |k, row| row[1] = format!("{}", 700 + k));
    not_settled("sweep", &sweep, &["no 3 s of steady speed", HOW]);
}

#[test]
fn a_sensor_stuck_throughout() {
    for side in [2, 3] {
        let stuck = changed(20, |_, row| row[side] = "55.30".into());
        let name = format!("vacuum {}", side - 1);
        not_settled(&format!("stuck-{side}"), &stuck, &[&name, "repeats one value", HOW]);
    }
}

#[test]
fn both_signals_constant() {
    let constant = changed(20, |_, row| (row[2], row[3]) = ("55.30".into(), "53.10".into()));
    not_settled("constant", &constant, &["repeats one value", HOW]);
}

#[test]
fn a_channel_that_reads_nothing() {
    let dead = changed(20, |_, row| row[2] = "0.00".into());
    not_settled("dead", &dead, &["one side only", HOW]);
    let folder = folder("poor-dead-text");
    let answer = run(&["balance", &file(&folder, "log.csv", dead)]);
    assert!(answer.out.contains("Mind: "), "{}", answer.out);
}

#[test]
fn no_speed_and_too_slow_for_the_ripple() {
    let slow: String = changed(40, |_, row| row[1].clear())
        .lines()
        .enumerate()
        .filter(|(number, _)| *number < 6 || number % 5 == 0)
        .map(|(_, line)| format!("{line}\n"))
        .collect();
    not_settled("speedless", &slow, &["no engine speed", "60 readings a second"]);
}
