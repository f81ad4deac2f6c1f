//! Airflow meters from end to end: what the JSON holds, what wrong files are told.

use crate::contract::{Kind, check, check_log};
use crate::logs::{file, flows, folder, idle};
use crate::run::run;
use Kind::{Block, List, Measured, Number, Text};
use serde_json::Value;

fn check_flow(flow: &Value) {
    let keys = [
        ("zero", Text),
        ("tolerance_percent", Number),
        ("plateaus", List),
        ("verdict", Text),
        ("say", Text),
        ("remarks", List),
    ];
    check(flow, &keys);
    for plateau in flow["plateaus"].as_array().unwrap() {
        let numbers = [
            "from_s",
            "to_s",
            "cycles",
            "flow1_kpa",
            "flow2_kpa",
            "flow1_over_flow2",
            "low",
            "high",
            "u_percent",
        ];
        check(plateau, &numbers.map(|key| (key, Number)));
        check(plateau, &[("rpm", Measured), ("dof", Measured), ("needs_s", Measured)]);
        check(plateau, &[("meter1_over_meter2", Measured), ("probability_in_tolerance", Measured)]);
        check(plateau, &[("matching", Text), ("verdict", Text), ("open", Text), ("budget", List)]);
        for row in plateau["budget"].as_array().unwrap() {
            check(row, &[("name", Text), ("u_percent", Number), ("dof", Measured)]);
        }
        let of = |key: &str| plateau[key].as_f64().unwrap();
        assert!(of("low") < of("flow1_over_flow2") && of("flow1_over_flow2") < of("high"));
    }
}

#[test]
fn a_log_of_airflow_meters_alone_has_a_verdict() {
    let folder = folder("flow-alone");
    let log = file(&folder, "log.csv", flows(0.9));
    let value = run(&["balance", &log, "--json"]).good().json();
    check_log(&value["log"]);
    check(&value, &[("zero", Block), ("plateaus", List), ("verdict", Text), ("flow", Block)]);
    let flow = &value["flow"];
    check_flow(flow);
    assert_eq!(flow["zero"], "engine_off");
    assert_eq!((&value["verdict"], &value["say"]), (&flow["verdict"], &flow["say"]));
    assert_eq!(value["verdict"], "out_of_tolerance");
    let plateau = &flow["plateaus"][0];
    assert_eq!(flow["plateaus"].as_array().unwrap().len(), 1, "{flow}");
    assert_eq!((&plateau["matching"], &plateau["open"]), (&"swap".into(), &"carb1".into()));
    let of = |key: &str| plateau[key].as_f64().unwrap();
    assert!((of("flow1_over_flow2") - 0.9).abs() < 0.01, "{plateau}");
    assert!((of("meter1_over_meter2") - 1.02).abs() < 0.01, "{plateau}");
    let say = value["say"].as_str().unwrap();
    assert!(say.contains("Rear passes 11 % more air than Front; open Front a little"), "{say}");
    assert_eq!(run(&["balance", &log, "--exit-code"]).code, 10);
    let text = run(&["balance", &log, "--budget"]).good().out;
    assert!(text.contains("By the airflow meters"), "{text}");
    assert!(text.contains("what the uncertainty of the flow ratio consists of"), "{text}");
}

#[test]
fn the_tolerance_is_that_of_the_flag_then_of_the_profile() {
    let folder = folder("flow-tolerance");
    let log = file(&folder, "log.csv", flows(0.96));
    let profile = file(&folder, "car.toml", "flow_tolerance_percent = 8\n");
    let verdict = |more: &[&str]| {
        let words = [&["balance", &log, "--json"], more].concat();
        let value = run(&words).good().json();
        (value["verdict"].clone(), value["flow"]["tolerance_percent"].as_f64().unwrap())
    };
    assert_eq!(verdict(&[]), ("out_of_tolerance".into(), 3.0));
    assert_eq!(verdict(&["--flow-tolerance", "7"]), ("in_tolerance".into(), 7.0));
    assert_eq!(verdict(&["--profile", &profile]), ("in_tolerance".into(), 8.0));
    let both = ["--profile", &profile, "--flow-tolerance", "2"];
    assert_eq!(verdict(&both), ("out_of_tolerance".into(), 2.0));
    let refused = run(&["balance", &log, "--flow-tolerance", "0"]);
    assert!(refused.code == 2 && refused.err.contains("above 0"), "{}", refused.err);
}

#[test]
fn beside_vacuums_both_are_reported_and_the_vacuums_lead() {
    let folder = folder("flow-beside");
    // The same 36 s: side 1 has 6 kPa more vacuum, and the meters see both sides alike.
    let mut meters = flows(1.0);
    meters = meters.replace("meters swapped", "");
    let joined: Vec<String> = idle(6.0, 24)
        .lines()
        .filter(|line| !line.starts_with('#'))
        .zip(meters.lines().filter(|line| !line.starts_with('#')))
        .map(|(vacuum, flow)| {
            let flow: Vec<&str> = flow.split(',').collect();
            let (rest, mark) = vacuum.rsplit_once(',').unwrap();
            format!("{rest},{},{},{mark}", flow[2], flow[3])
        })
        .collect();
    let log = file(&folder, "log.csv", joined.join("\n") + "\n");
    let value = run(&["balance", &log, "--json"]).good().json();
    check_flow(&value["flow"]);
    assert_eq!(value["verdict"], "out_of_tolerance");
    assert_eq!(value["flow"]["verdict"], "not_settled");
    assert!(value["flow"]["say"].as_str().unwrap().contains("swap the two meters"), "{value}");
    assert_eq!(value["flow"]["plateaus"][0]["matching"], "none");
    let text = run(&["balance", &log]).good().out;
    assert!(text.contains("less Rear") || text.contains("difference"), "{text}");
    assert!(text.contains("By the airflow meters"), "{text}");
    let plain = file(&folder, "plain.csv", idle(6.0, 24));
    assert!(run(&["balance", &plain, "--json"]).good().json()["flow"].is_null());
}

/// The readings of both meters changed by a rule.
fn changed(text: &str, rule: impl Fn(f64) -> f64) -> String {
    let line = |line: &str| {
        let fields: Vec<&str> = line.split(',').collect();
        match fields.as_slice() {
            [time, rpm, one, two, mark] if one.parse::<f64>().is_ok() => {
                let read = |text: &str| rule(text.parse().unwrap());
                format!("{time},{rpm},{:.2},{:.2},{mark}\n", read(one), read(two))
            }
            _ => format!("{line}\n"),
        }
    };
    text.lines().map(line).collect()
}

#[test]
fn meters_connected_the_other_way_round_are_turned_and_named() {
    let folder = folder("flow-negative");
    let log = file(&folder, "log.csv", changed(&flows(0.9), |pa| -pa));
    let value = run(&["balance", &log, "--json"]).good().json();
    let remarks = value["flow"]["remarks"].as_array().unwrap();
    let remark = remarks.iter().find(|remark| remark["code"] == "flow_negative").unwrap();
    assert!(remark["text"].as_str().unwrap().contains("meter 1 and airflow meter 2"), "{remark}");
    let ratio = value["flow"]["plateaus"][0]["flow1_over_flow2"].as_f64().unwrap();
    assert!((ratio - 0.9).abs() < 0.01, "{ratio}");
    assert!(run(&["balance", &log]).good().out.contains("Mind: Airflow meter 1"));
}

#[test]
fn one_meter_alone_is_refused_with_what_to_type() {
    let folder = folder("flow-one");
    let one = flows(0.9).replace("Rear flow (Pa)", "Something else");
    let log = file(&folder, "log.csv", one);
    let refused = run(&["balance", &log]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("airflow meter 2"), "{}", refused.err);
    assert!(refused.err.contains("flow2="), "{}", refused.err);
    let named = run(&["balance", &log, "--json", "--columns", "flow2=Something else [Pa]"]).good();
    assert_eq!(named.json()["verdict"], "out_of_tolerance");
}

#[test]
fn without_a_zero_nothing_is_settled_and_the_cure_is_named() {
    let folder = folder("flow-no-zero");
    let running: String = flows(0.9)
        .lines()
        .filter(|line| line.starts_with(['#', 't']) || !line.contains(",0.0,"))
        .map(|line| format!("{line}\n"))
        .collect();
    let log = file(&folder, "log.csv", running);
    let value = run(&["balance", &log, "--json"]).good().json();
    assert_eq!(
        (&value["verdict"], &value["flow"]["zero"]),
        (&"not_settled".into(), &"none".into())
    );
    let say = value["say"].as_str().unwrap();
    assert!(say.contains("five seconds with the engine off"), "{say}");
    assert_eq!(run(&["balance", &log, "--exit-code"]).code, 11);
    // Meters whose data sheet says that their zero is within half a pascal need none.
    let profile = file(&folder, "car.toml", "flow_zero_limit = '0.5 Pa'\n");
    let told = run(&["balance", &log, "--json", "--profile", &profile]).good().json();
    assert_eq!(told["flow"]["plateaus"].as_array().unwrap().len(), 1, "{told}");
}

#[test]
fn dead_meters_are_not_called_alike() {
    let folder = folder("flow-dead");
    // Noise about the zeros, whatever the engine does.
    let log = file(&folder, "log.csv", changed(&flows(1.0), |pa| 0.004 * pa));
    let zero = changed(&flows(1.0), f64::fract);
    let flat = file(&folder, "flat.csv", zero);
    let value = run(&["balance", &flat, "--json"]).good().json();
    assert_eq!(value["verdict"], "not_settled", "{value}");
    assert_eq!(value["flow"]["plateaus"].as_array().unwrap().len(), 0, "{value}");
    // Readings that are only small, in another unit say, are judged as they are, by meters that drift as little.
    let profile = file(&folder, "car.toml", "flow_drift_limit = '0.01 Pa'\n");
    let small = ["balance", &log, "--json", "--profile", &profile];
    assert_eq!(run(&small).good().json()["verdict"], "in_tolerance");
    assert_eq!(run(&["balance", &log, "--json"]).good().json()["verdict"], "not_settled");
}
