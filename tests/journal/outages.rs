//! Stretches without a link in what is made of a log.

use crate::{COLUMNS, only_mark, row, text};
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
