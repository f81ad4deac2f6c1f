//! What is in a page.

use super::job::{Job, WHOLE, record, section};

#[test]
fn the_same_logs_give_the_same_bytes() {
    let job = Job::whole("same-bytes");
    let first = job.page(&WHOLE);
    assert_eq!(first, job.page(&WHOLE));
    assert!(first.is_ascii() || first.contains('\u{2212}'));
}

#[test]
fn the_page_carries_what_json_gives_and_the_findings_of_the_other_commands() {
    let job = Job::whole("same-content");
    let page = job.page(&WHOLE);
    let document = job.json(&WHOLE);
    assert_eq!(record(&page), document);
    for (key, command, log) in [
        (["breather", "before"], "breather", "breather-leaking.csv"),
        (["breather", "after"], "breather", "breather-sealed.csv"),
        (["balance", "before"], "balance", "balance-before.csv"),
        (["balance", "after"], "balance", "balance-after.csv"),
    ] {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_evenbreath"))
            .args([command, log, "--json"])
            .current_dir(&job.folder)
            .output()
            .unwrap();
        let alone: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(document[key[0]][key[1]], alone, "{log}");
    }
    for key in [
        "format",
        "version",
        "job",
        "answer",
        "preconditions",
        "off_idle",
        "hunt",
        "turned",
        "not_measured",
        "cautions",
        "logs",
        "settings",
        "profile",
    ] {
        assert!(document.get(key).is_some(), "{key}");
    }
    assert_eq!(document["logs"].as_array().unwrap().len(), 5);
    // The digest of this file by `sha256sum` of GNU coreutils 9.1.
    let digest = "3d8a16e29af33778147c1ea6c4b5c4f0e93ef494c67a439b58ef30248b6d4143";
    assert_eq!(document["logs"][1]["sha256"], digest);
    assert!(section(&page, "logs").contains(digest));
}

#[test]
fn what_was_not_measured_is_said_and_nothing_is_made_up_for_it() {
    let job = Job::whole("little");
    let page = job.page(&["--before", "balance-before.csv"]);
    assert!(section(&page, "breather").contains("Not measured."));
    assert!(section(&page, "hunt").contains("No hunt was made."));
    let missing = section(&page, "not-measured");
    for words in [
        "The closed breather, neither before the work nor after it.",
        "The balance at idle after the work.",
        "The balance off idle after the work.",
        "no hunt was made",
        "The mixture",
    ] {
        assert!(missing.contains(words), "{words}: {missing}");
    }
    assert!(!missing.contains("before the work."), "{missing}");
    assert!(section(&page, "answer").contains("measured before the work only"));
    let whole = job.page(&WHOLE);
    assert_eq!(section(&whole, "not-measured").matches("<li>").count(), 1);
}

#[test]
fn the_answer_says_what_it_is_now_and_what_it_was() {
    let job = Job::whole("answer");
    let document = job.json(&WHOLE);
    let answer: Vec<&str> =
        document["answer"].as_array().unwrap().iter().map(|s| s.as_str().unwrap()).collect();
    assert_eq!(answer.len(), 2);
    assert!(answer[0].starts_with("The closed breather is sealed; before the work it was not"));
    assert!(answer[1].starts_with("The carburettors are in tolerance at idle (849 rev/min)"));
    assert!(
        answer[1].ends_with("before the work they were out of tolerance at idle (852 rev/min).")
    );
    // The other way round it must not read as if all were well.
    let turned = [
        "--before",
        "balance-after.csv",
        "--after",
        "balance-before.csv",
        "--breather-before",
        "breather-sealed.csv",
        "--breather-after",
        "breather-leaking.csv",
    ];
    let answer = job.json(&turned)["answer"].to_string();
    assert!(
        answer.contains("not sealed, or it is blocked; before the work it was sealed"),
        "{answer}"
    );
    assert!(
        answer.contains("out of tolerance at idle (852 rev/min); before the work they were in"),
        "{answer}"
    );
}

#[test]
fn a_log_with_a_cap_test_and_a_balance_is_given_once() {
    let job = Job::new("both", &["breather-sealed.csv"]);
    let document = job.json(&["--after", "breather-sealed.csv"]);
    assert_eq!(document["breather"]["after"]["verdict"], "sealed");
    assert_eq!(document["breather"]["before"], serde_json::Value::Null);
    assert_eq!(document["logs"].as_array().unwrap().len(), 1);
    // Named twice it is still one log.
    let twice = ["--after", "breather-sealed.csv", "--breather-after", "breather-sealed.csv"];
    let document = job.json(&twice);
    assert_eq!(document["logs"].as_array().unwrap().len(), 1);
    assert_eq!(document["logs"][0]["given_as"], serde_json::json!(["breather-after", "after"]));
}

#[test]
fn screws_turned_stand_with_their_side_and_direction() {
    let job = Job::new("screws", &["balance-swap.csv"]);
    let text = job.read("balance-swap.csv");
    let marked: Vec<String> = text
        .lines()
        .enumerate()
        .map(|(k, line)| match k {
            20 => format!("{}screw 2 -0.25", line.trim_end_matches(|c| c != ',')),
            _ => line.to_string(),
        })
        .collect();
    job.write("turned.csv", marked.join("\n") + "\n");
    let page = job.page(&["--after", "turned.csv"]);
    let turned = section(&page, "turned");
    assert!(turned.contains("0.25") && turned.contains("shut"), "{turned}");
    assert_eq!(record(&page)["turned"][0]["side"], 2);
    assert_eq!(record(&page)["turned"][0]["turns"], -0.25);
}

#[test]
fn day_profile_and_ticks_stand_in_the_head() {
    let job = Job::new("head", &["balance-swap.csv"]);
    let text = job.read("balance-swap.csv");
    job.write("dated.csv", format!("# started: 2026-03-14T09:30:00+01:00\n{text}"));
    job.write(
        "car.toml",
        "# mine alone\ncar = \"Blue saloon\"\ntolerance = \"10 mmHg\"\nunits = \"mmHg\"\n",
    );
    let args =
        ["--after", "dated.csv", "--profile", "car.toml", "--checked", "Choke off,new gasket"];
    let page = job.page(&args);
    assert!(page.contains("<h1>Carburettors and breather of Blue saloon</h1>"));
    assert!(page.contains("2026-03-14"));
    assert!(!page.contains("mine alone"), "the comments of a profile are nobody's business");
    assert!(section(&page, "balance").contains("10.0 mmHg"));
    let ticks = section(&page, "preconditions");
    assert_eq!(ticks.matches("(checked)").count(), 2, "{ticks}");
    assert_eq!(ticks.matches("(not said)").count(), 9, "{ticks}");
    assert_eq!(job.report(&["--verify", "page.html"]).code, 0);
}

#[test]
fn what_cannot_be_used_is_said() {
    let job = Job::new("refused", &["balance-swap.csv"]);
    for (args, words) in [
        (&["--out", "page.html"][..], "no log was named"),
        (&["--out", "page.pdf", "--after", "balance-swap.csv"], ".html"),
        (&["--after", "balance-swap.csv"], "--out"),
        (&["--out", "page.html", "--after", "gone.csv"], "no such file"),
        (&["--out", "page.html", "--after", "."], "is a folder"),
        (
            &["--out", "page.html", "--after", "balance-swap.csv", "--checked", "chok off"],
            "did you mean",
        ),
        (&["--verify", "gone.html"], "cannot be read"),
        (&["--verify", "balance-swap.csv"], "holds no record"),
        (&["--verify", "page.html", "--units", "kPa"], "--units"),
    ] {
        let run = job.report(args);
        assert_eq!(run.code, 2, "{args:?}: {}", run.err);
        assert!(run.err.contains(words), "{args:?}: {}", run.err);
        assert_eq!(run.out, "");
        assert!(!job.folder.join("page.html").exists(), "{args:?}");
    }
}

#[test]
fn the_exit_code_is_that_of_the_work_as_it_was_left() {
    let job = Job::whole("codes");
    for (args, code) in [
        (&["--before", "balance-before.csv", "--after", "balance-after.csv"][..], 0),
        (&["--before", "balance-after.csv", "--after", "balance-before.csv"], 10),
        (&["--breather-before", "breather-leaking.csv"], 10),
        (&["--after", "balance-after.csv", "--breather-after", "balance-after.csv"], 11),
    ] {
        assert_eq!(job.report(&[args, &["--json", "--exit-code"]].concat()).code, code, "{args:?}");
    }
}

#[test]
fn two_logs_that_do_not_stand_on_one_scale_are_drawn_each_under_its_name() {
    let job = Job::new("apart", &["balance-one-sensor.csv", "balance-after.csv"]);
    let before = ["--before", "balance-one-sensor.csv"];
    let page = job.page(&[&before[..], &["--after", "balance-after.csv"]].concat());
    let balance = section(&page, "balance");
    let at = |words: &str| balance.find(words).unwrap_or_else(|| panic!("no {words} in {balance}"));
    let figures: Vec<usize> = balance.match_indices("<figure").map(|(at, _)| at).collect();
    let [first, second] = figures[..] else { panic!("{} figures", figures.len()) };
    assert!(at("<h3>Before</h3>") < first && first < at("<h3>After</h3>"));
    assert!(at("<h3>After</h3>") < second);
    let alone = job.page(&before);
    assert_eq!(section(&alone, "balance").matches("<figure").count(), 1);
    assert!(!section(&alone, "balance").contains("<h3>Before</h3>"));
}
