//! The air share against the openings that were set on the model engine.

use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Action, Layout, Script, Settings, record};
use evenbreath::findings::{Conditions, balance};
use evenbreath::sample::Track;
use evenbreath::signal;
use evenbreath::units::Seconds;

/// An idle of 40 s behind 6 s with the engine off, by sensors without errors.
fn track(settings: &Settings, seed: u64) -> Track {
    let script = Script::stopped(Seconds(46.0)).act(Seconds(6.0), Action::EngineOn);
    let rows = record(settings, &SensorBox::default(), &script, seed).rows;
    let column = |side: usize| Some(rows.iter().map(|row| row.vac_kpa[side]).collect());
    Track {
        time_s: rows.iter().map(|row| row.time_s).collect(),
        rpm: Some(rows.iter().map(|row| row.rpm.map_or(f64::NAN, |rpm| rpm.0)).collect()),
        vac1_kpa: column(0),
        vac2_kpa: column(1),
        row: (0..rows.len() as u32).collect(),
        ..Track::default()
    }
}

#[test]
fn the_openings_lie_in_the_interval_of_the_air_share() {
    for layout in Layout::ALL {
        for (seed, share) in [(1, 0.85), (2, 0.94), (3, 1.04), (4, 1.08), (5, 1.2)] {
            let mut settings = Settings::of(layout);
            settings.idle_area_mm2[1] *= share;
            let cylinders = layout.cylinders() as u32;
            let conditions = Conditions {
                cylinders,
                baro_kpa: settings.baro_pa / 1000.0,
                sensor_offset_limit_kpa: 0.0,
                sensor_gain_limit: 0.0,
                ..Conditions::default()
            };
            let signal = signal::prepare(track(&settings, seed), cylinders);
            let finding = balance::find(&signal, &conditions);
            let idle = finding.plateaus.last().unwrap();
            let (low, high) = (idle.air_low, idle.air_high);
            println!("{layout:?}: {:.3} set, {low:.3} to {high:.3} found", 1.0 / share);
            assert!((low..=high).contains(&(1.0 / share)), "{layout:?} {share}: {low} to {high}");
        }
    }
}
