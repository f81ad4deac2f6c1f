//! Engine speed from the ripple: `scipy.signal.periodogram` of the same samples, its highest peak
//! found to a ten-thousandth of a bin by `scipy.signal.zoom_fft`.
//!
//! Ours is a parabola through three bins of a Hann line, padded fourfold, whose own error is some
//! hundredths of a bin of 0.06 Hz; with it comes what neighbouring lines lean in. So the accuracy is
//! stated, not 1e-9: 0.02 % of the frequency of the line.

use crate::SEED;
use crate::bridge::ask;
use crate::tally::Tally;
use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Layout, Script, Settings, record};
use evenbreath::sample::{Column, Track};
use evenbreath::signal::prepare;
use evenbreath::signal::ripple::{Window, fundamentals};
use evenbreath::units::Seconds;
use serde_json::{Value, json};

const ACCURACY: f64 = 2e-4;
/// Length of the windows that ours looks at, s.
const WINDOW_S: f64 = 4.0;

/// A log of the model engine without a pick-up, through a box of the usual errors.
fn logged(layout: Layout, rate_hz: f64, seed: u64) -> Track {
    let settings = Settings { layout, ..Settings::default() };
    let sensors = SensorBox { rate_hz, jitter_s: 0.0, pickup: None, ..SensorBox::default() };
    let recording = record(&settings, &sensors, &Script::idling(Seconds(14.0)), seed);
    let side = |k: usize| Some(recording.rows.iter().map(|row| row.vac_kpa[k]).collect::<Column>());
    Track {
        time_s: recording.rows.iter().map(|row| row.time_s).collect(),
        vac1_kpa: side(0),
        vac2_kpa: side(1),
        row: (0..recording.rows.len() as u32).collect(),
        ..Track::default()
    }
}

/// The logs of the check: layout and sampling rate, Hz.
const LOGS: [(Layout, f64); 5] = [
    (Layout::Four, 80.0),
    (Layout::Four, 200.0),
    (Layout::Four, 1000.0),
    (Layout::Six, 125.0),
    (Layout::Six, 500.0),
];

#[test]
fn the_peak_of_the_periodogram() {
    let tracks: Vec<Track> = LOGS
        .iter()
        .enumerate()
        .map(|(k, (layout, rate))| logged(*layout, *rate, SEED + k as u64))
        .collect();
    let windows: Vec<Vec<Window>> =
        tracks.iter().zip(LOGS).map(|(track, (_, rate))| fundamentals(track, 1.0 / rate)).collect();
    let questions: Vec<Value> = (0..LOGS.len())
        .map(|k| {
            let (track, rate) = (&tracks[k], LOGS[k].1);
            let first = |w: &Window| track.time_s.partition_point(|t| t < w.at_s - 0.5 * WINDOW_S);
            let sides = [&track.vac1_kpa, &track.vac2_kpa];
            let sides = sides.map(|side| side.as_ref().map(Column::to_vec));
            json!({"rate": rate, "size": (WINDOW_S * rate) as usize,
                "from": windows[k].iter().map(first).collect::<Vec<usize>>(),
                "sides": sides})
        })
        .collect();
    let Some(answer) = ask("ripple.py", &json!({"logs": questions})) else { return };
    let mut lines = Tally::new("ripple of the vacuum (scipy.signal periodogram, zoom_fft)");
    let mut speeds = Tally::new("ripple of the vacuum, speed of a log (the same)");
    for (k, track) in tracks.into_iter().enumerate() {
        let (layout, rate) = LOGS[k];
        let log = format!("{layout:?} at {rate} Hz");
        assert!(windows[k].len() >= 4, "{log}: {} windows", windows[k].len());
        let mut fundamental: Vec<f64> = Vec::new();
        for (window, peak) in windows[k].iter().zip(answer.list(&format!("peak_{k}"))) {
            // The highest line is a multiple of the fundamental; which one is ours to say.
            let multiple = (peak / window.hz).round();
            assert!((1.0..=8.0).contains(&multiple), "{log}: {window:?}, {peak}");
            let what = format!("{log}, {:.1} s", window.at_s);
            lines.near(&what, window.hz, peak / multiple, ACCURACY);
            fundamental.push(peak / multiple);
        }
        fundamental.sort_by(f64::total_cmp);
        let cylinders = layout.firing_order().len() as u32;
        // Uneven strokes of the four repeat once a cycle, the even ones of the six three times.
        let a_cycle = if layout == Layout::Four { 1.0 } else { 3.0 };
        let expected = 120.0 * fundamental[fundamental.len() / 2] / a_cycle;
        let found = prepare(track, cylinders).ripple_rpm.unwrap();
        speeds.near(&log, found, expected, ACCURACY);
    }
}
