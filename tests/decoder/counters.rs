//! The counters of the box: wraps, pauses, new beginnings.

use crate::cable::{CLEAN, Sum, send, sentence};
use evenbreath::sources::decoder::Decoder;
use evenbreath::sources::event::Event;

/// Feeds pieces with their host times.
fn heard(pieces: &[(Vec<u8>, f64)]) -> Sum {
    let mut decoder = Decoder::new(true, true);
    let mut events = Vec::new();
    for (bytes, host_s) in pieces {
        decoder.take(bytes, *host_s, &mut events);
    }
    decoder.finish(pieces.last().map_or(0.0, |(_, host_s)| *host_s), &mut events);
    Sum::of(&events)
}

/// Sentences `from..to` of a box at `hz`, whose counters began at nothing; `late_s` is when the host
/// saw the box begin.
fn run(from: u64, to: u64, hz: u64, late_s: f64) -> Vec<(Vec<u8>, f64)> {
    (from..to)
        .map(|k| (sentence(k, k * 1_000_000 / hz, "8500,1,2"), k as f64 / hz as f64 + late_s))
        .collect()
}

#[test]
fn three_hours_through_every_wrap_lose_nothing() {
    // 200 a second: the sequence wraps every 5.5 minutes, the microseconds twice.
    let sum = Sum::of(&send(&CLEAN, (3, 7), 2_160_000, 5_000, 9));
    assert_eq!((sum.rows, sum.lost, sum.restarts), (2_160_000, 0, 0));
    let last = sum.samples.last().unwrap();
    assert!((last.time_s - 10_799.995).abs() < 1e-3, "{}", last.time_s);
    assert_eq!(last.seq, Some(2_160_002));
}

#[test]
fn a_gap_longer_than_a_wrap_is_counted_by_the_clock() {
    for hz in [50, 200, 1_000] {
        for gap_s in [0.5, 30.0, 70.0, 400.0, 4_400.0, 9_000.0] {
            let start = 10 * hz;
            let gap = (gap_s * hz as f64) as u64;
            let mut pieces = run(0, start, hz, 0.0);
            pieces.extend(run(start + gap, start + gap + hz, hz, 0.0));
            let sum = heard(&pieces);
            assert_eq!((sum.lost, sum.restarts), (gap, 0), "{hz} Hz, {gap_s} s");
            let device_s = sum.samples.last().unwrap().time_s;
            assert!((device_s - (start + gap + hz - 1) as f64 / hz as f64).abs() < 1e-3);
        }
    }
}

#[test]
fn a_box_that_begins_anew_is_said_and_its_clock_joined() {
    for before in [5, 60, 400, 3_000, 66_000, 200_000] {
        // A box that is heard for less than it has missed since cannot be told from one that was late.
        for missed in [0, 3, 40].into_iter().filter(|missed| *missed < before) {
            let hz = 200;
            let mut pieces = run(0, before, hz, 0.0);
            let late_s = before as f64 / hz as f64 + 4.0;
            pieces.extend(run(missed, missed + 500, hz, late_s));
            let sum = heard(&pieces);
            assert_eq!(sum.restarts, 1, "{before} {missed}");
            assert_eq!(sum.rows + sum.lost, before + missed + 500, "{before} {missed}");
            let at = |k: u64| sum.samples[k as usize].time_s;
            let pause = at(before) - at(before - 1);
            assert!((pause - 4.0 - (missed + 1) as f64 / hz as f64).abs() < 0.01, "{pause}");
        }
    }
}

#[test]
fn a_pause_of_the_box_and_a_new_rate_are_followed() {
    let mut pieces = run(0, 1_000, 200, 0.0);
    // The box keeps quiet for 20 s, counts nothing meanwhile, and goes on twenty times as slowly.
    pieces.extend((1_000..1_100_u64).map(|seq| {
        let at_us = 25_000_000 + (seq - 1_000) * 100_000;
        (sentence(seq, at_us, "8500,1,2"), at_us as f64 / 1e6)
    }));
    let sum = heard(&pieces);
    assert_eq!((sum.rows, sum.lost, sum.implausible, sum.restarts), (1_100, 0, 0, 0));
    assert!((sum.samples[1_000].time_s - 25.0).abs() < 1e-6);
}

#[test]
fn a_host_clock_that_goes_back_or_stands_still_changes_no_count() {
    for wrong in [0.0, -500.0] {
        let mut pieces = run(0, 4_000, 200, 0.0);
        pieces[2_000..].iter_mut().for_each(|(_, host_s)| *host_s += wrong);
        if wrong == 0.0 {
            pieces.iter_mut().for_each(|(_, host_s)| *host_s = 0.0);
        }
        let sum = heard(&pieces);
        assert_eq!((sum.rows, sum.lost, sum.restarts), (4_000, 0, 0), "{wrong}");
        assert!((sum.samples[3_999].time_s - 19.995).abs() < 1e-9);
    }
}

#[test]
fn sentences_out_of_order_are_left_out_and_stay_counted() {
    let mut pieces = run(0, 500, 200, 0.0);
    pieces.swap(200, 201);
    pieces.swap(300, 310);
    let sum = heard(&pieces);
    assert_eq!(sum.rows + sum.lost, 500);
    assert_eq!((sum.restarts, sum.rows), (0, 500 - sum.lost));
    assert!(sum.samples.windows(2).all(|pair| pair[0].time_s < pair[1].time_s));
}

#[test]
fn one_sentence_alone_is_a_sample() {
    assert_eq!(heard(&run(7, 8, 200, 0.0)).rows, 1);
}

#[test]
fn a_box_says_what_it_is_and_answers() {
    let mut decoder = Decoder::new(false, true);
    let mut events = Vec::new();
    // XOR of the characters between, worked out by hand for the first: 0x76 stands in the notes.
    decoder.take(b"8,9*00\r\n$EBA,RATE,200*76\r\n$IIRPM,E,1,2418.2,10.5,A*5F\n", 0.0, &mut events);
    assert_eq!(events[0], Event::Answer("RATE,200".into()));
    assert_eq!((events.len(), Sum::of(&events).unknown), (2, 1));
}

#[test]
fn a_busy_box_whose_samples_come_early_and_late_loses_nothing() {
    let mut pieces = run(0, 2_000, 200, 0.0);
    for k in (10..1_990).step_by(7) {
        let late_us = [4_400, 3_900, 4_800][k % 3];
        let micros = k as u64 * 5_000 + late_us;
        pieces[k] = (sentence(k as u64, micros, "8500,1,2"), micros as f64 / 1e6);
    }
    let sum = heard(&pieces);
    assert_eq!((sum.rows, sum.lost, sum.implausible, sum.restarts), (2_000, 0, 0, 0));
    assert!(sum.samples.windows(2).all(|pair| pair[0].time_s < pair[1].time_s));
}

#[test]
fn another_box_in_the_middle_of_its_count_invents_no_losses() {
    let mut decoder = Decoder::new(true, true);
    let mut events = Vec::new();
    let mut hear = |decoder: &mut Decoder, pieces: Vec<(Vec<u8>, f64)>| {
        pieces.iter().for_each(|(bytes, host_s)| decoder.take(bytes, *host_s, &mut events));
    };
    hear(&mut decoder, run(0, 1_000, 200, 0.0));
    decoder.link_lost();
    // It has been on for five minutes.
    hear(&mut decoder, run(60_000, 60_500, 200, 7.0 - 300.0));
    let sum = Sum::of(&events);
    assert_eq!((sum.rows, sum.lost, sum.restarts), (1_500, 0, 1));
    assert!((sum.samples[1_000].time_s - 7.0).abs() < 0.02, "{}", sum.samples[1_000].time_s);
}

#[test]
fn a_computer_that_slept_counts_what_it_has_missed() {
    let mut pieces = run(0, 1_000, 200, 0.0);
    pieces.extend(run(60_000, 60_500, 200, 7.0 - 300.0));
    let sum = heard(&pieces);
    assert_eq!((sum.rows, sum.lost, sum.restarts), (1_500, 59_000, 0));
}
