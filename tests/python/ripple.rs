//! Engine speed from the ripple: `scipy.signal.periodogram` of the same samples, its highest peak
//! found to a ten-thousandth of a bin by `scipy.signal.zoom_fft`.
//!
//! Ours is a parabola through three bins of a Hann line, padded fourfold, whose own error is some
//! hundredths of a bin of 0.06 Hz; with it comes what neighbouring lines lean in. So the accuracy is
//! stated, not 1e-9: 0.05 % of the frequency of the line.

use crate::SEED;
use crate::bridge::ask;
use crate::tally::Tally;
use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Layout, Script, Settings, record};
use evenbreath::sample::Track;
use evenbreath::signal::prepare;
use evenbreath::signal::ripple::fundamentals;
use evenbreath::units::Seconds;
use serde_json::json;

const ACCURACY: f64 = 5e-4;
/// Length of the windows that ours looks at, s.
const WINDOW_S: f64 = 4.0;

/// A log of the model engine without a pick-up, through a box of the usual errors.
fn logged(layout: Layout, rate_hz: f64, seed: u64) -> Track {
    let settings = Settings { layout, ..Settings::default() };
    let sensors = SensorBox { rate_hz, jitter_s: 0.0, pickup: None, ..SensorBox::default() };
    let recording = record(&settings, &sensors, &Script::idling(Seconds(14.0)), seed);
    let side =
        |k: usize| Some(recording.rows.iter().map(|row| row.vac_kpa[k]).collect::<Vec<f64>>());
    Track {
        time_s: recording.rows.iter().map(|row| row.time_s).collect(),
        vac1_kpa: side(0),
        vac2_kpa: side(1),
        row: (0..recording.rows.len() as u32).collect(),
        ..Track::default()
    }
}

#[test]
fn the_peak_of_the_periodogram() {
    let mut lines = Tally::new("ripple of the vacuum (scipy.signal periodogram, zoom_fft)");
    let mut speeds = Tally::new("speed from the ripple, median of a log (the same)");
    for (k, (layout, rate)) in [
        (Layout::Four, 80.0),
        (Layout::Four, 200.0),
        (Layout::Four, 1000.0),
        (Layout::Six, 125.0),
        (Layout::Six, 500.0),
    ]
    .into_iter()
    .enumerate()
    {
        let track = logged(layout, rate, SEED + k as u64);
        let windows = fundamentals(&track, 1.0 / rate);
        let size = (WINDOW_S * rate) as usize;
        let from: Vec<usize> = windows
            .iter()
            .map(|w| track.time_s.partition_point(|t| *t < w.at_s - 0.5 * WINDOW_S))
            .collect();
        let question = json!({"rate": rate, "from": from, "size": size,
            "sides": [track.vac1_kpa, track.vac2_kpa]});
        let Some(answer) = ask("ripple.py", &question) else {
            std::mem::forget((lines, speeds));
            return;
        };
        let peaks = answer.list("peak");
        assert!(windows.len() >= 4, "{layout:?} at {rate} Hz: {} windows", windows.len());
        let mut fundamental: Vec<f64> = Vec::new();
        for (window, peak) in windows.iter().zip(&peaks) {
            // The highest line is a multiple of the fundamental; which one is ours to say.
            let multiple = (peak / window.hz).round();
            assert!((1.0..=8.0).contains(&multiple), "{layout:?} at {rate} Hz: {window:?}, {peak}");
            let what = format!("{layout:?} at {rate} Hz, {} s", window.at_s);
            lines.near(&what, window.hz, peak / multiple, ACCURACY);
            fundamental.push(peak / multiple);
        }
        fundamental.sort_by(f64::total_cmp);
        let cylinders = layout.firing_order().len() as u32;
        let a_cycle = if layout == Layout::Four { 1.0 } else { 3.0 };
        let expected = 120.0 * fundamental[fundamental.len() / 2] / a_cycle;
        let found = prepare(track, cylinders).ripple_rpm.unwrap();
        speeds.near(&format!("{layout:?} at {rate} Hz"), found, expected, ACCURACY);
    }
}
