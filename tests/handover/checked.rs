//! What a check of a page finds.

use super::job::{Job, WHOLE, record, section};
use std::fs;

#[test]
fn a_page_and_logs_that_nobody_touched_are_as_they_were() {
    let job = Job::whole("untouched");
    job.page(&WHOLE);
    let run = job.report(&["--verify", "page.html"]);
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    assert!(run.out.starts_with("As it was: 5 logs"), "{}", run.out);
    assert_eq!(run.out.matches(": same.").count(), 5);
}

#[test]
fn one_changed_byte_of_a_log_is_found() {
    let job = Job::whole("one-byte");
    job.page(&WHOLE);
    let mut bytes = fs::read(job.folder.join("balance-after.csv")).unwrap();
    let at = bytes.len() / 2;
    // Another digit where there is one, so that the log can still be read.
    let digit = (at..bytes.len()).find(|k| bytes[*k] == b'5').unwrap();
    bytes[digit] = b'6';
    job.write("balance-after.csv", bytes);
    let run = job.report(&["--verify", "page.html"]);
    assert_eq!(run.code, 1, "{}", run.out);
    assert!(run.out.contains("balance-after.csv: changed"), "{}", run.out);
    assert_eq!(run.out.matches(": same.").count(), 4, "{}", run.out);
    assert!(run.out.contains("page: balance"), "{}", run.out);
}

#[test]
fn an_edited_figure_is_found_where_it_stands() {
    let job = Job::whole("edited");
    let page = job.page(&WHOLE);
    let seen = section(&page, "balance");
    assert_eq!(seen.matches(">3.84<").count(), 1, "the figure that is edited must be there");
    let edited = page.replace(seen, &seen.replace(">3.84<", ">0.84<"));
    let in_record = page.replacen("\"drop_rpm\": 5", "\"drop_rpm\": 7", 1);
    let chart = page.replacen("<polyline", "<polyline visibility=\"hidden\"", 1);
    let answer = page.replacen("out of tolerance at idle (852", "in tolerance at idle (852", 1);
    for (name, page, places) in [
        ("figure", edited, &["page: balance", "0.84", "3.84"][..]),
        ("record", in_record, &["record: breather."]),
        ("chart", chart, &["page: breather"]),
        ("answer", answer, &["page: answer"]),
        ("style", page.replacen("<style>", "<style>.bad{display:none}", 1), &["page: frame"]),
        ("script", page.replacen("</body>", "<script>1</script></body>", 1), &["page: frame"]),
        ("spaces", page.replacen("{\n  \"format\"", "{\n \"format\"", 1), &["spaces"]),
    ] {
        assert_ne!(page, job.read("page.html"), "{name}: nothing was edited");
        job.write("edited.html", &page);
        let run = job.report(&["--verify", "edited.html"]);
        assert_eq!(run.code, 1, "{name}: {}{}", run.out, run.err);
        for place in places {
            assert!(run.out.contains(place), "{name}: {}", run.out);
        }
        assert_eq!(run.out.matches(": same.").count(), 5, "{name}: {}", run.out);
    }
    assert_eq!(job.report(&["--verify", "page.html"]).code, 0);
}

#[test]
fn a_missing_log_is_named_and_the_figures_are_not_called_good() {
    let job = Job::whole("missing");
    job.page(&WHOLE);
    fs::create_dir(job.folder.join("kept")).unwrap();
    fs::rename(job.folder.join("hunt.csv"), job.folder.join("kept/old name.csv")).unwrap();
    let run = job.report(&["--verify", "page.html"]);
    assert_eq!(run.code, 1);
    assert!(run.out.contains("hunt.csv: missing"), "{}", run.out);
    assert!(run.out.contains("Not checked: 1 log is missing."), "{}", run.out);
    assert!(run.out.contains("Not made anew: a log is missing"), "{}", run.out);
    job.write("other.csv", "time_s,rpm\n0,850\n");
    let run = job.report(&["--verify", "page.html", "other.csv"]);
    assert!(run.out.contains("other.csv: no log of this page."), "{}", run.out);
    let run = job.report(&["--verify", "page.html", "--logs-in", "nowhere"]);
    assert_eq!(run.code, 2, "{}", run.out);
    assert!(run.err.contains("there is no folder nowhere"), "{}", run.err);
    // Its bytes tell it, whatever its name.
    let run = job.report(&["--verify", "page.html", "kept/old name.csv"]);
    assert_eq!(run.code, 0, "{}", run.out);
    fs::rename(job.folder.join("kept/old name.csv"), job.folder.join("kept/hunt.csv")).unwrap();
    assert_eq!(job.report(&["--verify", "page.html", "--logs-in", "kept"]).code, 0);
}

#[test]
fn the_options_of_the_page_hold_when_it_is_checked() {
    let job = Job::new("options", &["balance-no-zero.csv", "breather-sealed.csv"]);
    job.write(
        "car.toml",
        "car = \"Blue\"\nsensor_offset_limit = \"0.3 kPa\"\nsensor_gain_limit_percent = 0.4\n",
    );
    let args = [
        "--before",
        "balance-no-zero.csv",
        "--breather-after",
        "breather-sealed.csv",
        "--profile",
        "car.toml",
        "--tolerance",
        "0.7 inHg",
        "--units",
        "inHg",
        "--threshold",
        "33.3",
        "--baro",
        "29.7 inHg",
        "--carb1",
        "Up",
        "--note",
        "two\nlines \"quoted\" & more",
        "--checked",
        "oil level",
    ];
    job.page(&args);
    fs::remove_file(job.folder.join("car.toml")).unwrap();
    let run = job.report(&["--verify", "page.html"]);
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    // Without them the figures would be others: the options do shape the page.
    let bare = job.json(&["--before", "balance-no-zero.csv"]);
    let kept = record(&job.read("page.html"));
    let interval = |document: &serde_json::Value| {
        document["balance"]["before"]["plateaus"][0]["low_kpa"].as_f64()
    };
    assert!(interval(&bare).unwrap() != interval(&kept).unwrap());
    assert_eq!(kept["breather"]["after"]["threshold_rpm"], 33.3);
}

#[test]
fn a_page_from_a_stranger_leads_to_no_file_outside_its_folder() {
    let job = Job::whole("stranger");
    let page = job.page(&["--before", "balance-before.csv"]);
    fs::create_dir(job.folder.join("inner")).unwrap();
    for name in ["../balance-before.csv", "/etc/hostname"] {
        job.write(
            "inner/page.html",
            page.replace("\"name\": \"balance-before.csv\"", &format!("\"name\": \"{name}\"")),
        );
        let run = job.report(&["--verify", "inner/page.html"]);
        assert_eq!(run.code, 1, "{}", run.out);
        assert!(run.out.contains("missing"), "{}", run.out);
    }
    for (from, to) in [
        ("\"settings\": {}", "\"settings\": {\"out\": \"x.html\"}"),
        ("\"before\"\n", "\"profile\"\n"),
    ] {
        let edited = page.replacen(from, to, 1);
        assert_ne!(edited, page, "{from}");
        job.write("edited.html", edited);
        let run = job.report(&["--verify", "edited.html"]);
        assert_eq!(run.code, 2, "{}", run.out);
        assert!(run.err.contains("options that this program does not take"), "{}", run.err);
    }
    assert!(!job.folder.join("x.html").exists());
}

#[test]
fn the_check_as_json() {
    let job = Job::whole("json");
    job.page(&["--before", "balance-before.csv"]);
    let run = job.report(&["--verify", "page.html", "--json"]);
    let answer: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!((run.code, &answer["same"]), (0, &serde_json::json!(true)));
    assert_eq!(answer["logs"][0]["state"], "same");
    assert_eq!(answer["differences"], serde_json::json!([]));
    assert_eq!(answer["not_checked"], serde_json::Value::Null);
}
