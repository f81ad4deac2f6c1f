//! A throttle that is moved without a word, between a hose swap and the next look.

use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Script, Settings, Side, record};
use evenbreath::findings::{Conditions, Verdict, balance};
use evenbreath::sample::{Column, Mark, RowNumbers, Track};
use evenbreath::signal;
use evenbreath::units::Seconds;

/// Engine off, idle, hoses swapped and back, eight seconds later a stop screw by so much; then the rest.
fn log(seconds: f64, fraction: f64, seed: u64) -> Track {
    let at = Seconds;
    let script = Script::stopped(Seconds(seconds))
        .marked(at(7.0), Action::EngineOn, "engine on")
        .act(at(18.0), Action::HosesOff)
        .marked(at(20.5), Action::HosesSwapped, "hoses swapped")
        .act(at(33.0), Action::HosesOff)
        .marked(at(35.5), Action::HosesDirect, "hoses direct")
        .act(at(43.0), Action::OpenThrottle { side: Side::One, fraction });
    let vacuum = [Sensor::default().with(0.6, 1.01), Sensor::default()];
    let sensors = SensorBox { rate_hz: 100.0, vacuum, ..SensorBox::default() };
    let rows = record(&Settings::default(), &sensors, &script, seed).rows;
    let column = |side: usize| Some(rows.iter().map(|row| row.vac_kpa[side]).collect());
    Track {
        time_s: rows.iter().map(|row| row.time_s).collect(),
        rpm: Some(rows.iter().map(|row| row.rpm.map_or(f64::NAN, |rpm| rpm.0)).collect()),
        vac1_kpa: column(0),
        vac2_kpa: column(1),
        row: (0..rows.len() as u32).collect(),
        marks: rows
            .iter()
            .filter(|row| !row.mark.is_empty())
            .map(|row| Mark::read(Seconds(row.time_s), &row.mark))
            .collect(),
        ..Track::default()
    }
}

/// What was before is not averaged with what is: stopped at any second, the log never calls the engine of now good.
#[test]
fn a_screw_nobody_marked_is_never_averaged_away() {
    let mut judged = 0;
    for (seed, fraction) in [(1, -0.08), (2, -0.08), (3, 0.09), (4, -0.06)] {
        let whole = log(84.0, fraction, seed);
        for end_s in (52..84).step_by(2) {
            let rows = whole.time_s.partition_point(|t| t <= f64::from(end_s));
            let cut = |column: &Option<Column>| column.as_ref().map(|c| c.window(0..rows).into());
            let track = Track {
                time_s: whole.time_s.window(0..rows).into(),
                rpm: cut(&whole.rpm),
                vac1_kpa: cut(&whole.vac1_kpa),
                vac2_kpa: cut(&whole.vac2_kpa),
                row: RowNumbers::all(rows),
                marks: whole.marks.clone(),
                ..Track::default()
            };
            let finding = balance::find(&signal::prepare(track, 4), &Conditions::default());
            let Some(now) = finding.plateaus.last().filter(|p| p.to_s > 48.0) else { continue };
            judged += 1;
            let what = format!("seed {seed}, {fraction}, stopped at {end_s} s: {now:?}");
            assert_ne!(now.verdict, Verdict::InTolerance, "{what}");
            // Where two seconds of before are in the mean, its interval must still reach what is true.
            assert!(now.low_kpa.abs().max(now.high_kpa.abs()) > 1.9, "{what}");
        }
    }
    assert!(judged > 50, "{judged} verdicts");
}
