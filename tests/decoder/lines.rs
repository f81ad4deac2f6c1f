//! Plain lines of numbers.

use crate::cable::Sum;
use evenbreath::sources::decoder::Decoder;
use evenbreath::sources::event::{Columns, Event};

fn heard(live: bool, lines: &[(String, f64)]) -> Vec<Event> {
    let mut decoder = Decoder::new(true, live);
    let mut events = Vec::new();
    for (line, host_s) in lines {
        decoder.take(line.as_bytes(), *host_s, &mut events);
    }
    decoder.finish(lines.last().map_or(0.0, |(_, host_s)| *host_s), &mut events);
    events
}

#[test]
fn the_clock_of_the_host_tells_the_unit_of_the_time_field() {
    for ticks in [1.0, 1e3, 1e6] {
        let line = |k: usize| format!("{},850,57.25,55.5\n", k as f64 * 0.02 * ticks);
        let lines: Vec<(String, f64)> = (0..200).map(|k| (line(k), 0.02 * k as f64)).collect();
        let sum = Sum::of(&heard(true, &lines));
        assert_eq!((sum.rows, sum.lost), (200, 0), "{ticks}");
        assert!((sum.samples[199].time_s - 3.98).abs() < 1e-6, "{ticks}");
        assert_eq!(sum.samples[3].readings, [Some(57.25), Some(55.5), None]);
        assert_eq!(sum.samples[3].seq, None);
    }
}

#[test]
fn a_file_without_a_heading_is_in_seconds_however_fast_it_comes() {
    let lines: Vec<(String, f64)> =
        (0..100).map(|k| (format!("{},,57,55\n", k as f64 * 0.5), 0.0001 * k as f64)).collect();
    let sum = Sum::of(&heard(false, &lines));
    assert!((sum.samples[99].time_s - 49.5).abs() < 1e-9);
    assert_eq!(sum.samples[0].rpm, None);
}

#[test]
fn a_heading_says_what_is_what() {
    let text =
        "time_ms,rpm,map1_kpa,map2_kpa,crank_kpa,mark\n0,850,43,44,0.5,\n20,,42.5,44,,cap off\n";
    let events = heard(true, &[(text.to_string(), 0.0)]);
    let columns =
        Columns { absolute: true, crank: true, named: true, one_sensor: None, ticks_per_s: 1e3 };
    assert_eq!(events[0], Event::Columns(columns));
    assert_eq!(events[2], Event::Mark("cap off".into()));
    let sum = Sum::of(&events);
    assert!((sum.samples[1].time_s - 0.02).abs() < 1e-12);
    assert_eq!(sum.samples[1].readings, [Some(42.5), Some(44.0), None]);
}

#[test]
fn one_sensor_alone_is_seen_by_its_column() {
    for (text, sensor) in [
        ("time_s,rpm,vac1_kpa,mark\n0,850,57,on carb1\n0.02,850,57,\n", Some(0)),
        ("time_s,rpm,vac2_kpa\n0,850,57\n0.02,850,57\n", Some(1)),
        ("0,850,57\n0.02,850,57\n", Some(0)),
        ("0,850,57,56\n0.02,850,57,56\n", None),
        ("time_s,rpm,vac1_kpa,vac2_kpa\n0,850,57,\n0.02,850,57,\n", None),
    ] {
        let events = heard(true, &[(text.to_string(), 0.0)]);
        let told = events.iter().find_map(|event| match event {
            Event::Columns(columns) => Some(columns.one_sensor),
            _ => None,
        });
        assert_eq!(told, Some(sensor), "{text}");
    }
}

#[test]
fn lines_that_are_cut_or_no_numbers_are_counted() {
    let text = "t,rpm,v1,v2\n0,850,57,55\n0.1,850,57\n0.2,850,57,x\n,850,57,55\nhello\n0.3,850,57,55\n0.4,8";
    let sum = Sum::of(&heard(false, &[(text.to_string(), 0.0)]));
    assert_eq!((sum.rows, sum.garbled), (2, 5));
}

#[test]
fn a_counter_that_wraps_and_one_that_begins_anew() {
    let line = |us: u64| format!("{},850,57,55\n", us % (1 << 32));
    let mut lines = vec![("time_us,rpm,v1,v2\n".to_string(), 0.0)];
    lines.extend((0..400).map(|k| (line((1 << 32) - 2_000_000 + k * 20_000), k as f64 * 0.02)));
    let sum = Sum::of(&heard(true, &lines));
    assert_eq!((sum.rows, sum.restarts), (400, 0));
    assert!((sum.samples[399].time_s - 7.98).abs() < 1e-6);
    // The box begins anew three seconds later.
    lines.extend((0..10).map(|k| (line(k * 20_000), 11.0 + k as f64 * 0.02)));
    let sum = Sum::of(&heard(true, &lines));
    assert_eq!((sum.rows, sum.restarts), (410, 1));
    assert!((sum.samples[400].time_s - 11.0).abs() < 0.05, "{}", sum.samples[400].time_s);
}

#[test]
fn a_stream_that_does_not_keep_time_has_the_unit_in_which_its_rate_is_plausible() {
    for (ticks, text) in [(1.0, "0.005"), (1e3, "5"), (1e6, "5000")] {
        let step: f64 = text.parse().unwrap();
        let lines: Vec<(String, f64)> =
            (0..300).map(|k| (format!("{},850,57,55\n", k as f64 * step), 0.0)).collect();
        let events = heard(false, &lines);
        assert!(matches!(events[0], Event::Columns(columns) if columns.ticks_per_s == ticks));
        let sum = Sum::of(&events);
        assert!((sum.samples[299].time_s - 1.495).abs() < 1e-9, "{text}");
    }
}

#[test]
fn headings_that_nobody_knows_are_the_pressures_in_their_order() {
    let text = "time_ms,rpm,front,rear\n0,850,57,55\n20,850,57.5,55.5\n";
    let sum = Sum::of(&heard(false, &[(text.to_string(), 0.0)]));
    assert_eq!((sum.rows, sum.garbled), (2, 0));
    assert_eq!(sum.samples[1].readings, [Some(57.5), Some(55.5), None]);
}
