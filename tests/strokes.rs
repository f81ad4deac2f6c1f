//! A cylinder that draws less than its neighbours, in logs of the model engine: it is made in the
//! cylinders, and the finding sees the ripple at the hoses alone.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Action, Layout, Script, Settings, record};
use evenbreath::findings::strokes::{self, Uneven};
use evenbreath::findings::{Conditions, balance, stretches};
use evenbreath::sample::{RowNumbers, Track};
use evenbreath::signal::{self, Signal};
use evenbreath::units::Seconds;

/// An idle of 25 s.
fn idle(settings: &Settings, rate_hz: f64, seed: u64) -> Signal {
    let script = Script::stopped(Seconds(25.0)).act(Seconds(0.0), Action::EngineOn);
    let sensors = SensorBox { rate_hz, ..SensorBox::default() };
    let mut track = Track::default();
    let (mut rpm, mut one, mut two) = (Vec::new(), Vec::new(), Vec::new());
    let mut time_s = Vec::new();
    for row in &record(settings, &sensors, &script, seed).rows {
        time_s.push(row.time_s);
        rpm.push(row.rpm.map_or(f64::NAN, |n| n.0));
        one.push(row.vac_kpa[0]);
        two.push(row.vac_kpa[1]);
    }
    track.row = RowNumbers::all(time_s.len());
    track.time_s = time_s.into();
    [track.rpm, track.vac1_kpa, track.vac2_kpa] = [rpm, one, two].map(|column| Some(column.into()));
    signal::prepare(track, settings.layout.cylinders() as u32)
}

fn engine(layout: Layout, draw: Vec<f64>, seed: u64) -> Settings {
    let mut settings = Settings { layout, draw, ..Settings::default() };
    if layout == Layout::Six {
        settings.swept_m3 *= 1.5;
    }
    // Throttles from even to a quarter apart, either way.
    settings.idle_area_mm2[(seed % 2) as usize] *= 1.0 + 0.05 * (seed % 6) as f64;
    settings
}

fn uneven(signal: &Signal, layout: Layout) -> Option<Uneven> {
    let found = stretches::find(signal);
    strokes::find(signal, &found.stretches, layout.cylinders() as u32)
}

#[test]
fn a_weak_cylinder_is_found_and_healthy_sides_are_not_accused() {
    for layout in [Layout::Four, Layout::Six] {
        let all = layout.cylinders();
        for seed in 0..12u64 {
            let rate = if seed % 2 == 0 { 100.0 } else { 200.0 };
            let healthy = engine(layout, Vec::new(), seed);
            assert_eq!(uneven(&idle(&healthy, rate, seed), layout), None, "{layout:?} {seed}");
            let mut draw = vec![1.0; all];
            let weak = seed as usize % all;
            draw[weak] = 0.5;
            let found = uneven(&idle(&engine(layout, draw, seed), rate, seed), layout);
            let side = if weak < all / 2 { 1 } else { 2 };
            assert_eq!(found.map(|f| f.side), Some(side), "{layout:?} {seed}: {found:?}");
        }
    }
}

#[test]
fn a_weak_cylinder_is_named_among_the_causes() {
    let weak = engine(Layout::Four, vec![1.0, 1.0, 0.5], 0);
    let found = balance::find(&idle(&weak, 200.0, 3), &Conditions::default());
    let cause = found.causes.last().unwrap();
    assert!(cause.starts_with("unlike cylinders: on carburettor 2"), "{:?}", found.causes);
    assert!(cause.contains("twice a working cycle"), "{cause}");
}

#[test]
fn a_slow_log_says_nothing_of_cylinders() {
    let weak = engine(Layout::Four, vec![0.4], 0);
    assert_eq!(uneven(&idle(&weak, 40.0, 1), Layout::Four), None);
}
