//! Stretches without a link in what is made of a log.

use crate::{COLUMNS, only_mark, row, text};
use evenbreath::findings::Conditions;
use evenbreath::findings::breather::{self, Breather, BreatherVerdict};
use evenbreath::log::journal::JournalRow;
use evenbreath::log::{ReadOptions, read};
use evenbreath::signal::{Signal, prepare};

/// Twenty seconds with the link down from sample 500 for a tenth of a second.
fn signal(marked: bool) -> Signal {
    let mut rows: Vec<JournalRow> = (0..500).map(|k| row(k, "")).collect();
    if marked {
        rows.push(only_mark(10.001, "link lost"));
        rows.push(only_mark(10.079, "link back"));
    }
    rows.extend((504..1000).map(|k| row(k, "")));
    let log = read(text("outage", COLUMNS, &rows).as_bytes(), &ReadOptions::default()).unwrap();
    assert_eq!((log.rows, log.bad_rows), (996, 0));
    prepare(log.track, 4)
}

#[test]
fn no_cycle_is_measured_across_an_outage() {
    let across = |signal: &Signal| {
        let blocks = signal.cycles.from_s.iter().zip(&signal.cycles.to_s);
        blocks.filter(|(from_s, to_s)| **from_s < 10.079 && **to_s > 10.001).count()
    };
    assert_eq!(across(&signal(true)), 0);
    // A few samples that are missing without a word are joined: they may be slow, not lost.
    assert!(across(&signal(false)) > 0);
}

#[test]
fn an_outage_shakes_no_plateau() {
    let signal = signal(true);
    assert_eq!(signal.plateaus.len(), 1, "{:?}", signal.plateaus);
    assert!(signal.steps.is_empty());
    let shaken: Vec<_> = signal.remarks.iter().map(|remark| remark.code).collect();
    assert!(shaken.is_empty(), "{shaken:?}");
}

/// Three openings of ten seconds each, and the link down from second to second.
fn cap_test(outages: &[(f64, f64)]) -> Breather {
    let open = |t: f64| [15.0, 35.0, 55.0].iter().any(|off| (*off..*off + 10.0).contains(&t));
    let mut rows: Vec<JournalRow> = Vec::new();
    let mut speed = 850.0;
    for k in 0..4000u64 {
        let t = 0.02 * k as f64;
        let target = if open(t) { 790.0 } else { 850.0 };
        speed += 0.02 * (target - speed);
        let mark = match (open(t), open(t - 0.02)) {
            (true, false) => "cap off",
            (false, true) => "cap on",
            _ => "",
        };
        // A hash of the number stands in for noise.
        let noise = (k.wrapping_mul(2_654_435_761) >> 7) % 1000;
        let rpm = Some(speed + 0.012 * noise as f64 - 6.0);
        let kpa = [Some(57.0 - 0.02 * (850.0 - speed)); 2];
        rows.push(JournalRow { rpm, kpa, ..row(k, mark) });
    }
    let down = |t: f64| outages.iter().any(|(lost, back)| (*lost..*back).contains(&t));
    rows.retain(|row| !down(row.time_s));
    for (lost_s, back_s) in outages {
        rows.extend([only_mark(*lost_s, "link lost"), only_mark(*back_s - 0.001, "link back")]);
    }
    rows.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let log = read(text("cap-test", COLUMNS, &rows).as_bytes(), &ReadOptions::default()).unwrap();
    assert_eq!(log.bad_rows, 0);
    breather::find(&prepare(log.track, 4), &Conditions::default())
}

#[test]
fn an_outage_leaves_the_drop_of_the_cap_as_it_is_or_says_what_it_takes() {
    let left_out = |breather: &Breather| -> Vec<f64> {
        let remark = breather.remarks.iter().find(|remark| remark.code == "openings_left_out");
        remark.map_or(Vec::new(), |remark| remark.at_s.clone())
    };
    let drop_of = |breather: &Breather| {
        assert_eq!(breather.verdict, BreatherVerdict::Sealed, "{}", breather.say);
        breather.drop_rpm.unwrap()
    };
    let whole = cap_test(&[]);
    assert!((drop_of(&whole) - 60.0).abs() < 3.0 && whole.openings.len() == 3);
    assert_eq!(left_out(&whole), [0.0; 0]);
    // Half a second, in an opening and beside one.
    let short = cap_test(&[(18.0, 18.5), (30.0, 30.5)]);
    assert!((drop_of(&short) - 60.0).abs() < 3.0 && short.openings.len() == 3);
    assert_eq!(left_out(&short), [0.0; 0]);
    // Four seconds between two openings: those on both sides count.
    let between = cap_test(&[(49.0, 53.0)]);
    assert!((drop_of(&between) - 60.0).abs() < 3.0 && between.openings.len() == 3);
    assert_eq!(left_out(&between), [0.0; 0]);
    // Four seconds in an opening: it is left out, and said.
    let within = cap_test(&[(38.0, 42.0)]);
    assert!((drop_of(&within) - 60.0).abs() < 3.0 && within.openings.len() == 2);
    assert_eq!(left_out(&within), [35.0]);
}
