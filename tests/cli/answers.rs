//! What a person sees: words, units, exit codes, charts.

use crate::logs::{file, folder, idle, openings, swapped};
use crate::run::{Run, binary, fed, finish, run};
use std::fs;

const UNITS: [(&str, f64); 10] = [
    ("Pa", 0.001),
    ("hPa", 0.1),
    ("kPa", 1.0),
    ("mbar", 0.1),
    ("bar", 100.0),
    ("inHg", 3.386_388_640_341),
    ("mmHg", 0.133_322_387_415),
    ("cmHg", 1.333_223_874_15),
    ("inH2O", 0.249_088_91),
    ("psi", 6.894_757_293_168),
];

fn in_one_line(run: &Run) -> String {
    run.out.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_verdict_comes_first_and_the_cautions_last() {
    let folder = folder("answer-order");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    let out = run(&["balance", &log]).good().out;
    let say = run(&["balance", &log, "--json"]).good().json()["say"].as_str().unwrap().to_string();
    let first: String = out.split("\n\n").next().unwrap().split_whitespace().collect();
    assert_eq!(first, say.split_whitespace().collect::<String>());
    let at = |words: &str| out.find(words).unwrap_or_else(|| panic!("no {words:?} in {out}"));
    assert!(at("difference, kPa") < at("What it means"));
    assert!(at("What it means") < at("About the log"));
    assert!(at("About the log") < at("Take care"));
    assert!(out.contains("carbon monoxide"));
    assert!(out.contains("Front") && out.contains("Rear"), "the user's names: {out}");
}

#[test]
fn the_budget_is_shown_when_asked() {
    let folder = folder("answer-budget");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    assert!(!run(&["balance", &log]).good().out.contains("degrees of freedom"));
    let out = run(&["balance", &log, "--budget"]).good().out;
    let value = run(&["balance", &log, "--json"]).good().json();
    let rows = value["plateaus"][0]["budget"].as_array().unwrap();
    assert!(!rows.is_empty());
    for row in rows {
        assert!(out.contains(row["name"].as_str().unwrap()), "{row}: {out}");
    }
    let squares: f64 = rows.iter().map(|row| row["u_kpa"].as_f64().unwrap().powi(2)).sum();
    let together = value["plateaus"][0]["u_kpa"].as_f64().unwrap();
    assert!((squares.sqrt() / together - 1.0).abs() < 1e-3, "{squares} {together}");
}

#[test]
fn the_budget_of_the_drop_is_shown_when_asked() {
    let folder = folder("answer-drop-budget");
    let log = file(&folder, "cap.csv", openings(60.0));
    assert!(!run(&["breather", &log]).good().out.contains("degrees of freedom"));
    let out = run(&["breather", &log, "--budget"]).good().out;
    let value = run(&["breather", &log, "--json"]).good().json();
    let rows = value["budget"].as_array().unwrap();
    assert!(!rows.is_empty());
    let shown = |name: &str, u: &serde_json::Value| {
        let line = out.lines().find(|line| line.starts_with(name) && line.contains('.'));
        let line = line.unwrap_or_else(|| panic!("no {name} in {out}"));
        assert!(line.contains(&format!("{:.2}", u.as_f64().unwrap())), "{u}: {line}");
    };
    for row in rows {
        shown(row["name"].as_str().unwrap(), &row["u_rpm"]);
    }
    assert!(out.contains(&format!("{:.2}", value["u_rpm"].as_f64().unwrap())), "{out}");
    // Without an interval there is nothing to part.
    let idling = file(&folder, "idle.csv", idle(0.0, 30));
    assert!(!run(&["breather", &idling, "--budget"]).good().out.contains("consists of"));
}

#[test]
fn what_the_drop_leaves_open_is_said_in_numbers() {
    // A threshold within the interval of this log.
    let log = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-logs/breather-leaking.csv");
    let value = run(&["breather", log, "--threshold", "7", "--json"]).good().json();
    let out = run(&["breather", log, "--threshold", "7"]).good().out;
    let flat = out.replace("\n  ", " ").replace('\n', " ");
    let percent = 100.0 * value["probability_sealed"].as_f64().unwrap();
    let threshold = value["threshold_rpm"].as_f64().unwrap();
    let said = format!(
        "The probability that the drop is more than {threshold:.0} rev/min is {percent:.1} %."
    );
    assert!(flat.contains(&said), "{said} {out}");
    let more = value["needs_openings"].as_u64().unwrap();
    let said = format!("About {more} more opening");
    assert!(value["say"].as_str().unwrap().contains(&said) && flat.contains(&said), "{out}");
}

#[test]
fn every_answer_fits_eighty_and_fifty_columns() {
    let folder = folder("answer-width");
    let idling = file(&folder, "idle.csv", idle(6.0, 30));
    let capped = file(&folder, "cap.csv", openings(60.0));
    for columns in [80, 50] {
        for args in [
            vec!["balance", &idling],
            vec!["breather", &capped, "--budget"],
            vec!["inspect", &capped],
            vec!["compare", &idling, &idling],
        ] {
            let run = finish(binary().args(&args).env("COLUMNS", columns.to_string())).good();
            let wide: Vec<&str> =
                run.out.lines().filter(|line| line.chars().count() > columns).collect();
            assert!(wide.is_empty(), "{args:?} at {columns}: {wide:?}");
            for bad in ["±", "+-", "NaN", "inf", "null"] {
                assert!(!run.out.contains(bad), "{args:?}: {bad} in {}", run.out);
            }
        }
    }
}

#[test]
fn every_unit_says_the_same() {
    let folder = folder("answer-units");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    for (unit, kpa) in UNITS {
        let text = in_one_line(&run(&["balance", &log, "--units", unit]).good());
        let after = text.split("Tolerance: ").nth(1).unwrap();
        let mut words = after.split(' ');
        let value: f64 = words.next().unwrap().parse().unwrap();
        assert_eq!(words.next(), Some(unit));
        assert!((value * kpa - 1.3).abs() < 0.02, "{value} {unit}");
        assert!(text.contains(&format!("difference, {unit}")), "{text}");
    }
}

#[test]
fn exit_codes_only_when_asked() {
    let folder = folder("answer-codes");
    let good = file(&folder, "good.csv", swapped(0.1));
    let bad = file(&folder, "bad.csv", swapped(6.0));
    // Without a swap the gain of cheap sensors leaves this open, however long the log.
    let open = file(&folder, "open.csv", idle(1.3, 30));
    for (log, code) in [(&good, 0), (&bad, 10), (&open, 11)] {
        assert_eq!(run(&["balance", log]).good().code, 0);
        let run = run(&["balance", log, "--exit-code"]);
        assert_eq!(run.code, code, "{}", run.out);
    }
    assert_eq!(run(&["compare", &bad, &good, "--exit-code"]).code, 0);
    assert_eq!(run(&["compare", &good, &bad, "--exit-code"]).code, 10);
    let sealed = file(&folder, "sealed.csv", openings(60.0));
    let leaking = file(&folder, "leaking.csv", openings(0.0));
    for (log, code) in [(&sealed, 0), (&leaking, 10), (&open, 11)] {
        let run = run(&["breather", log, "--exit-code"]);
        assert_eq!(run.code, code, "{}", run.out);
    }
    assert_eq!(run(&["inspect", &bad, "--exit-code"]).code, 0);
}

#[test]
fn standard_input_reads_as_a_file_does() {
    let folder = folder("answer-stdin");
    let text = idle(6.0, 30);
    let log = file(&folder, "log.csv", &text);
    for command in ["balance", "inspect"] {
        let from_file = run(&[command, &log]).good().out;
        assert_eq!(fed(&[command, "-"], &text).good().out, from_file);
    }
    let both = fed(&["compare", "-", &log, "--json"], &text).good().json();
    assert_eq!(both["before"], both["after"]);
    let refused = fed(&["balance", "-"], "").refused();
    assert!(refused.err.contains("standard input"), "{}", refused.err);
}

#[test]
fn charts_by_their_ending() {
    let folder = folder("answer-charts");
    let idling = file(&folder, "idle.csv", idle(6.0, 30));
    let capped = file(&folder, "cap.csv", openings(60.0));
    for args in
        [vec!["balance", &idling], vec!["breather", &capped], vec!["compare", &idling, &idling]]
    {
        for (ending, magic) in [("png", b"\x89PNG".as_slice()), ("SVG", b"<svg")] {
            let chart = folder.join(format!("{}.{ending}", args[0]));
            let mut command = binary();
            command.args(&args).arg("--chart").arg(&chart).args(["--chart-width", "900", "--json"]);
            let run = finish(&mut command).good();
            run.json();
            assert!(run.err.contains("chart written to"), "{}", run.err);
            let bytes = fs::read(&chart).unwrap();
            assert!(bytes.starts_with(magic), "{args:?} {ending}");
            assert!(bytes.len() > 2000);
        }
    }
    // The width of a PNG stands in bytes 16 to 19 (ISO/IEC 15948, IHDR).
    let png = fs::read(folder.join("balance.png")).unwrap();
    assert_eq!(u32::from_be_bytes(png[16..20].try_into().unwrap()), 900);
}

#[test]
fn flag_before_profile_before_header() {
    let folder = folder("answer-profile");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    let profile = file(
        &folder,
        "car.toml",
        "car = 'Blue saloon'\ncarb1 = 'Left'\ntolerance = '15 mmHg'\nunits = 'mmHg'\n",
    );
    let text = in_one_line(&run(&["balance", &log, "--profile", &profile]).good());
    assert!(text.contains("Tolerance: 15.0 mmHg"), "{text}");
    assert!(text.contains("Left less Rear"), "the profile's and the header's name: {text}");
    assert!(text.contains("Car: Blue saloon."), "{text}");
    let flags = ["--tolerance", "1 kPa", "--carb1", "Up", "--units", "hPa"];
    let args = [["balance", &log, "--profile", &profile].as_slice(), &flags].concat();
    let text = in_one_line(&run(&args).good());
    assert!(text.contains("Tolerance: 10.0 hPa"), "{text}");
    assert!(text.contains("Up less Rear"), "{text}");
}

#[test]
fn foreign_headings_are_named_and_can_be_overruled() {
    let folder = folder("answer-foreign");
    let rows: String = idle(6.0, 30)
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|line| {
            let fields: Vec<f64> =
                line.split(',').take(4).map(|field| field.parse().unwrap()).collect();
            let decimal_comma = |value: f64| format!("{value:.2}").replace('.', ",");
            format!(
                "{};{};{};{}\r\n",
                decimal_comma(fields[0]),
                decimal_comma(fields[1]),
                decimal_comma(fields[2] * 10.0),
                decimal_comma(fields[3] * 10.0)
            )
        })
        .collect();
    let text = format!("Time [s];Engine speed (1/min);Front (mbar);Rear (mbar)\r\n{rows}");
    let log = file(&folder, "foreign.csv", text);
    let out = run(&["balance", &log]).good().out;
    assert!(out.contains("taking \"Front (mbar)\" as vacuum 1"), "a guess is shown: {out}");
    let columns = "time=Time [s],rpm=Engine speed (1/min),vac1=Rear (mbar),vac2=Front (mbar)";
    let value = run(&["balance", &log, "--columns", columns, "--json"]).good().json();
    let difference = value["plateaus"][0]["difference_kpa"].as_f64().unwrap();
    assert!((difference + 6.0).abs() < 0.2, "{difference}");
    let value = run(&["inspect", &log, "--json"]).good().json();
    let roles: Vec<&str> =
        value["columns"].as_array().unwrap().iter().map(|c| c["role"].as_str().unwrap()).collect();
    assert_eq!(roles, ["time", "rpm", "vac1", "vac2"]);
}

#[test]
fn a_bare_number_takes_the_unit_of_the_answer() {
    let folder = folder("answer-bare");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    let tolerance = |args: &[&str]| {
        let args = [["balance", &log, "--json"].as_slice(), args].concat();
        run(&args).good().json()["tolerance_kpa"].as_f64().unwrap()
    };
    assert!((tolerance(&["--units", "mmHg", "--tolerance", "10"]) - 1.33322).abs() < 1e-4);
    assert!((tolerance(&["--tolerance", "10 mmHg", "--units", "kPa"]) - 1.33322).abs() < 1e-4);
    assert_eq!(tolerance(&["--tolerance", "2"]), 2.0);
    let baro = |value: &str, unit: &str| {
        let args = ["inspect", &log, "--json", "--baro", value, "--units", unit];
        run(&args).good().json()["baro"]["kpa"].as_f64().unwrap()
    };
    assert!((baro("760", "mmHg") - 101.325).abs() < 1e-3);
    let bare = run(&["inspect", &log, "--json", "--baro", "1008"]).good().json();
    assert!((bare["baro"]["kpa"].as_f64().unwrap() - 100.8).abs() < 1e-9);
    let help = in_one_line(&run(&["balance", "--help"]).good());
    assert_eq!(help.matches("number without a unit is in that of --units").count(), 2, "{help}");
}

#[test]
fn the_breather_offers_only_what_it_uses() {
    let help = run(&["breather", "--help"]).good().out;
    for idle in ["--tolerance", "--balance-pipe", "--carb1", "--idle-target"] {
        assert!(!help.contains(idle), "{idle} in {help}");
    }
    assert!(help.contains("--threshold") && help.contains("--cylinders"), "{help}");
}

#[test]
fn sides_bear_the_names_of_the_headings_when_nobody_names_them() {
    let folder = folder("answer-headings");
    let renamed = |heading: &str| -> String {
        let bare = idle(6.0, 30).replace("time_s,rpm,vac1_kpa,vac2_kpa,mark", heading);
        bare.lines().filter(|line| !line.starts_with("# carb")).map(|l| format!("{l}\n")).collect()
    };
    let heading = "time_s,rpm,Unterdruck links (kPa),Unterdruck rechts (kPa),mark";
    let log = file(&folder, "german.csv", renamed(heading));
    let text = in_one_line(&run(&["balance", &log]).good());
    assert!(text.contains("links less rechts"), "{text}");
    let text = in_one_line(&run(&["balance", &log, "--carb1", "Up"]).good());
    assert!(text.contains("Up less rechts"), "{text}");
    let plain = file(&folder, "plain.csv", renamed("time_s,rpm,vac1_kpa,vac2_kpa,mark"));
    let text = in_one_line(&run(&["balance", &plain]).good());
    assert!(text.contains("carburettor 1 less carburettor 2"), "{text}");
}

#[test]
fn what_shakes_the_result_stands_under_the_verdict() {
    let folder = folder("answer-mind");
    let unmarked = idle(6.0, 30);
    let stuck: String = unmarked
        .lines()
        .enumerate()
        .map(|(k, line)| match (k, line.rsplit_once(',')) {
            (1000..1400, Some((row, mark))) => {
                let (row, _) = row.rsplit_once(',').unwrap();
                format!("{row},55.55,{mark}\n")
            }
            _ => format!("{line}\n"),
        })
        .collect();
    let log = file(&folder, "stuck.csv", stuck);
    let out = run(&["balance", &log]).good().out;
    let at = |words: &str| out.find(words).unwrap_or_else(|| panic!("no {words:?} in {out}"));
    assert!(at("Mind: ") < at("difference, kPa"), "{out}");
    assert!(at("stuck") < at("difference, kPa"), "{out}");
    assert_eq!(out.matches("repeats one value").count(), 1, "said once: {out}");
    let calm = file(&folder, "calm.csv", unmarked);
    assert!(!run(&["balance", &calm]).good().out.contains("Mind: "));
}

#[test]
fn no_speed_at_all_is_met_with_the_column_to_name() {
    let folder = folder("answer-speed");
    let still: String = (0..1500)
        .map(|k| {
            format!("{:.2},{:.2},{:.2}\n", k as f64 / 50.0, 55.0 + 0.01 * (k % 7) as f64, 54.0)
        })
        .collect();
    let log = file(&folder, "still.csv", format!("time_s,vac1_kpa,vac2_kpa\n{still}"));
    let run = run(&["balance", &log, "--json"]).good();
    assert!(run.err.contains("--columns \"rpm=HEADING\""), "{}", run.err);
    run.json();
}

#[test]
fn nothing_to_compare_draws_nothing_and_says_so() {
    let folder = folder("answer-nothing");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    let short = file(&folder, "short.csv", idle(6.0, 1));
    let chart = folder.join("chart.png");
    let run = run(&["compare", &log, &short, "--chart", chart.to_str().unwrap()]).good();
    assert!(run.err.contains("no chart drawn"), "{}", run.err);
    assert!(!chart.exists());
}

/// A log in kilopascal turned into the volts of an absolute sensor at a supply of 5.05 V:
/// `Vout = Vs (0.009 P - 0.095)`, MPXA6115A data sheet.
fn in_volts(log: &str) -> String {
    let mut text = String::from("# baro_kpa: 100.8\ntime_s,rpm,Front (V),Rear (mV),mark\n");
    for row in log.lines().skip_while(|line| !line.starts_with("time_s")).skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let volts = |cell: &str| 5.05 * (0.009 * (100.8 - cell.parse::<f64>().unwrap()) - 0.095);
        let (front, rear) = (volts(cells[2]), 1000.0 * volts(cells[3]));
        text += &format!("{},{},{front:.6},{rear:.3},{}\n", cells[0], cells[1], cells[4]);
    }
    text
}

#[test]
fn volts_of_a_named_sensor_give_the_same_answer_as_kilopascals() {
    let folder = folder("volts");
    let kpa = file(&folder, "kpa.csv", idle(4.0, 20));
    let volts = file(&folder, "volts.csv", in_volts(&idle(4.0, 20)));
    let sensor = ["--sensor", "mpxa6115a", "--supply", "5.05"];
    let difference =
        |run: crate::run::Run| run.json()["plateaus"][0]["difference_kpa"].as_f64().unwrap();
    let wanted = difference(run(&["balance", &kpa, "--json"]).good());
    let found = difference(run(&[&["balance", &volts, "--json"], &sensor[..]].concat()).good());
    assert!((found - wanted).abs() < 0.005, "{found}, not {wanted}");
    // The supply counts: 1 % of it is nearly 1 % of the pressure.
    let nominal = difference(run(&["balance", &volts, "--json", "--sensor", "MPXA6115A"]).good());
    assert!((nominal / found - 1.01).abs() < 0.002, "{nominal} and {found}");
    let columns = "map1=Front (V),map2=Rear (mV)";
    let refused = run(&["balance", &volts, "--columns", columns]).refused();
    assert!(refused.err.contains("--sensor"), "{}", refused.err);
}

/// No sentence of a report, remarks among them, falls back to another unit than the one asked for.
#[test]
fn every_pressure_is_in_the_unit_asked_for() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    let mut told = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|ending| ending != "csv") {
            continue;
        }
        for command in ["balance", "inspect", "match"] {
            let answer = run(&[command, path.to_str().unwrap(), "--units", "mmHg"]);
            // A pair of vacuum sensors cannot be matched where there is none.
            if answer.code == 2 && answer.err.contains("no column for the vacuum of side") {
                continue;
            }
            assert_eq!(answer.code, 0, "{command} {}: {}", path.display(), answer.err);
            // The columns are told in the log's own unit, and a barometer in that of barometers.
            let items = answer.out.split("\n- ").filter(|item| !item.starts_with("Barometer:"));
            let wrong: Vec<&str> = items
                .filter(|item| {
                    let words: Vec<&str> =
                        item.split([' ', '\n', ',', ';', ')']).filter(|w| !w.is_empty()).collect();
                    words.windows(2).any(|pair| pair[0].parse::<f64>().is_ok() && pair[1] == "kPa")
                })
                .collect();
            assert!(wrong.is_empty(), "{command} {}: {wrong:?}", path.display());
            told += answer.out.matches(" mmHg").count();
        }
    }
    assert!(told > 100, "{told} pressures");
}
