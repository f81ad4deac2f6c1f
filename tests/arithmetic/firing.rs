//! Four-stroke timing: a working cycle is two turns, and every cylinder draws once in it.
//!
//! The table follows from the definitions: cycle `120/n` s, strokes of all cylinders `n/120 * N`
//! a second, of one carburettor that divided by their number, ignition pulses `N/2` a turn with one
//! distributor (which turns at half the speed of the crank: US Army TM 10-3930-644-14&P, topic 8).

use crate::near;
use evenbreath::engine::sensors::{Pickup, Sensor, SensorBox};
use evenbreath::engine::{Layout, Script, Settings, record};
use evenbreath::sample::Track;
use evenbreath::signal::cycles::cut;
use evenbreath::signal::ripple::{fundamentals, median_speed, speeds};
use evenbreath::units::Seconds;
use std::f64::consts::TAU;

/// A row of the table.
struct Timing {
    rpm: f64,
    cylinders: u32,
    carburettors: u32,
    /// Intake strokes of one carburettor a second, and the milliseconds from one to the next.
    stroke_hz: f64,
    stroke_ms: f64,
    /// Ignition pulses a turn, and a second.
    pulses_a_turn: f64,
    pulse_hz: f64,
    cycle_ms: f64,
}

type Row = (f64, u32, u32, f64, f64, f64, f64, f64);
const TABLE: [Row; 8] = [
    (600.0, 4, 2, 10.0, 100.0, 2.0, 20.0, 200.0),
    (800.0, 4, 2, 13.333_333_3, 75.0, 2.0, 26.666_666_7, 150.0),
    (850.0, 4, 2, 14.166_666_7, 70.588_235_3, 2.0, 28.333_333_3, 141.176_470_6),
    (1000.0, 4, 2, 16.666_666_7, 60.0, 2.0, 33.333_333_3, 120.0),
    (3000.0, 4, 2, 50.0, 20.0, 2.0, 100.0, 40.0),
    (800.0, 6, 2, 20.0, 50.0, 3.0, 40.0, 150.0),
    (800.0, 6, 3, 13.333_333_3, 75.0, 3.0, 40.0, 150.0),
    (800.0, 8, 2, 26.666_666_7, 37.5, 4.0, 53.333_333_3, 150.0),
];

fn table() -> impl Iterator<Item = Timing> {
    TABLE.into_iter().map(
        |(
            rpm,
            cylinders,
            carburettors,
            stroke_hz,
            stroke_ms,
            pulses_a_turn,
            pulse_hz,
            cycle_ms,
        )| {
            Timing {
                rpm,
                cylinders,
                carburettors,
                stroke_hz,
                stroke_ms,
                pulses_a_turn,
                pulse_hz,
                cycle_ms,
            }
        },
    )
}

/// The table agrees with itself; a slip of the pen in it would show here.
#[test]
fn the_table_follows_from_the_definitions() {
    for row in table() {
        let cylinders = f64::from(row.cylinders);
        let one_side = row.rpm / 120.0 * cylinders / f64::from(row.carburettors);
        near("strokes", row.stroke_hz, one_side, 1e-8);
        near("from stroke to stroke", row.stroke_ms, 1000.0 / one_side, 1e-8);
        near("pulses a turn", row.pulses_a_turn, cylinders / 2.0, 1e-12);
        near("pulses", row.pulse_hz, row.pulses_a_turn * row.rpm / 60.0, 1e-8);
        near("cycle", row.cycle_ms, 120_000.0 / row.rpm, 1e-8);
    }
}

/// Vacuum with a pulse at each of these angles of the 720 degrees, logged at 500 Hz.
fn pulsing(rpm: f64, at_degrees: &[f64], lasts_s: f64) -> Track {
    let time_s: Vec<f64> = (0..(500.0 * lasts_s) as usize).map(|k| k as f64 / 500.0).collect();
    let pulse = |t: f64, at: f64| {
        let from = (t * rpm / 60.0 * 360.0 - at).rem_euclid(720.0);
        if from < 180.0 { 0.5 - 0.5 * (TAU * from / 180.0).cos() } else { 0.0 }
    };
    let vacuum = |t: &f64| 54.0 + at_degrees.iter().map(|at| 4.0 * pulse(*t, *at)).sum::<f64>();
    let vac1_kpa: Vec<f64> = time_s.iter().map(vacuum).collect();
    let rpm = Some(vec![rpm; time_s.len()].into());
    let row = (0..time_s.len() as u32).collect();
    let time_s = time_s.into();
    Track { row, time_s, rpm, vac1_kpa: Some(vac1_kpa.into()), ..Track::default() }
}

#[test]
fn a_block_of_the_program_lasts_one_cycle() {
    for row in table() {
        let track = pulsing(row.rpm, &[0.0, 360.0], 4.0);
        let rpm = track.rpm.as_ref().unwrap();
        let speeds = || |at: usize, _: &[f64], speeds: &mut [f64]| rpm.cursor().read(at, speeds);
        let blocks = cut(&track, speeds, 0.002, true);
        let whole = (1000.0 * track.duration().0 / row.cycle_ms) as usize;
        assert_eq!(blocks.len(), whole, "{} rev/min", row.rpm);
        for k in 0..blocks.len() {
            let lasts_ms = 1000.0 * (blocks.to_s[k] - blocks.from_s[k]);
            near("block", lasts_ms, row.cycle_ms, 1e-8);
            assert_eq!(blocks.cycles[k], 1.0);
        }
    }
}

#[test]
fn evenly_spaced_strokes_of_a_carburettor_are_counted() {
    for row in table() {
        let strokes = row.cylinders / row.carburettors;
        let at: Vec<f64> =
            (0..strokes).map(|k| 720.0 * f64::from(k) / f64::from(strokes)).collect();
        let windows = fundamentals(&pulsing(row.rpm, &at, 12.0), 0.002);
        assert!(!windows.is_empty());
        for window in &windows {
            near("strokes a second", window.hz, row.stroke_hz, 2e-3);
            near("stroke to stroke", 1000.0 / window.hz, row.stroke_ms, 2e-3);
        }
        // The program knows two carburettors; with a third the strokes of a side are another number.
        if row.carburettors == 2 {
            let found = median_speed(&speeds(&windows, row.cylinders, |_| Some(row.rpm))).unwrap();
            near("speed from the strokes", found, row.rpm, 2e-3);
        }
    }
}

/// In-line four, 1-3-4-2, a carburettor for 1 and 2: its strokes lie 180 and 540 degrees apart, 37.5
/// and 112.5 ms at 800 rev/min, and its ripple repeats only once a cycle, 6.667 times a second.
#[test]
fn an_in_line_four_ripples_once_a_cycle() {
    let windows = fundamentals(&pulsing(800.0, &[0.0, 180.0], 12.0), 0.002);
    assert!(!windows.is_empty());
    for window in &windows {
        near("ripple", window.hz, 6.666_666_7, 2e-3);
    }
    let found = median_speed(&speeds(&windows, 4, |_| Some(800.0))).unwrap();
    near("speed", found, 800.0, 2e-3);
}

/// Angles of the crank from the first, degrees, at which a carburettor's cylinders draw.
fn draws(layout: Layout, first_cylinders: std::ops::RangeInclusive<usize>) -> Vec<f64> {
    let order = layout.firing_order();
    let one = |cylinder: &usize| first_cylinders.contains(cylinder);
    let places = order.iter().enumerate().filter(|(_, cylinder)| one(cylinder));
    places.map(|(place, _)| 720.0 * place as f64 / order.len() as f64).collect()
}

#[test]
fn the_firing_orders_space_the_strokes_as_they_must() {
    // 1-3-4-2: cylinders 1 and 2 fire first and last, so 540 and 180 degrees apart.
    assert_eq!(draws(Layout::Four, 1..=2), [0.0, 540.0]);
    assert_eq!(draws(Layout::Four, 3..=4), [180.0, 360.0]);
    // 1-5-3-6-2-4: each half fires every 240 degrees.
    assert_eq!(draws(Layout::Six, 1..=3), [0.0, 240.0, 480.0]);
    assert_eq!(draws(Layout::Six, 4..=6), [120.0, 360.0, 600.0]);
}

/// The model engine, seen through a fast box without any error: ripple and pick-up keep the table's
/// proportions to the true speed.
#[test]
fn the_model_engine_keeps_the_proportions() {
    let sensor = Sensor { noise_kpa: 0.0, lag_s: 0.0, ..Sensor::default() };
    let pickup = Pickup { lobe_error_deg: 0.0, ..Pickup::default() };
    let sensors = SensorBox {
        rate_hz: 500.0,
        jitter_s: 0.0,
        vacuum: [sensor; 2],
        pickup: Some(pickup),
        ..SensorBox::default()
    };
    // Lines a cycle: once for the uneven strokes of the four, three times for the even six.
    for (layout, lines) in [(Layout::Four, 1.0), (Layout::Six, 3.0)] {
        let settings = Settings { layout, ..Settings::default() }.calm();
        let recording = record(&settings, &sensors, &Script::idling(Seconds(6.0)), 1);
        let truth = recording.truth.mean(Seconds(0.0), Seconds(6.0)).unwrap();
        let rpm: Vec<f64> =
            recording.rows.iter().map(|row| row.rpm.map_or(f64::NAN, |rpm| rpm.0)).collect();
        let mean = rpm.iter().sum::<f64>() / rpm.len() as f64;
        near("pick-up", mean, truth.rpm, 5e-3);
        let track = Track {
            time_s: recording.rows.iter().map(|row| row.time_s).collect(),
            rpm: Some(rpm.into()),
            vac1_kpa: Some(recording.rows.iter().map(|row| row.vac_kpa[0]).collect()),
            row: (0..recording.rows.len() as u32).collect(),
            ..Track::default()
        };
        let windows = fundamentals(&track, 0.002);
        assert!(!windows.is_empty(), "{layout:?}");
        for window in windows {
            near("ripple", window.hz, lines * truth.rpm / 120.0, 5e-3);
        }
    }
}
