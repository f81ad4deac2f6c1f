//! Logs and series for the benches, made by the model engine or from a seed: never constants, for a
//! branch that always goes one way and a series that never changes cost next to nothing.
#![allow(dead_code, reason = "each bench that shares this file uses its own part")]

pub mod hour;

use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Row, Script, Settings, record};
use evenbreath::sample::{RowNumbers, Track};
use evenbreath::units::{Rpm, Seconds};
use rand::{Rng, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;
use std::io::{self, Write};

/// Length of one job, s.
pub const JOB_S: f64 = 600.0;

/// A pair of cheap sensors that disagree, as in the sample logs.
fn sensors(rate_hz: f64) -> SensorBox {
    SensorBox {
        rate_hz,
        // At 1 kHz a jitter would give rows that share a stamp of whole milliseconds.
        jitter_s: 0.0,
        vacuum: [Sensor::default().with(0.55, 1.009), Sensor::default().with(-0.35, 0.992)],
        ..SensorBox::default()
    }
}

/// Ten minutes of work on a car: engine off, idle, hoses swapped and straightened, the throttle held
/// at two speeds, idle, engine off. `number` tells one job from the next: another stop screw,
/// another seed.
pub fn job(rate_hz: f64, number: u64) -> Vec<Row> {
    let at = Seconds;
    let script = Script::stopped(at(JOB_S))
        .mark(at(0.0), "engine off")
        .marked(at(8.0), Action::EngineOn, "engine on")
        .act(at(120.0), Action::HosesOff)
        .marked(at(122.5), Action::HosesSwapped, "hoses swapped")
        .act(at(200.0), Action::HosesOff)
        .marked(at(202.5), Action::HosesDirect, "hoses direct")
        .act(at(300.0), Action::Hold(Rpm(2000.0)))
        .act(at(400.0), Action::Hold(Rpm(2800.0)))
        .act(at(480.0), Action::Release)
        .marked(at(JOB_S - 8.0), Action::EngineOff, "engine off");
    let turned = 0.1 * number as f64;
    let settings =
        Settings { idle_area_mm2: [10.3 + turned, 10.9 - turned], ..Settings::default() };
    record(&settings, &sensors(rate_hz), &script, 900 + number).rows
}

/// A marked breather test: idle, then the cap off for 10 s and on for 10 s, `times` times.
pub fn cap_test(rate_hz: f64, times: u32) -> Vec<Row> {
    let mut script = Script::idling(Seconds(15.0 + 20.0 * f64::from(times)));
    for turn in 0..times {
        let off = 15.0 + 20.0 * f64::from(turn);
        script = script.marked(Seconds(off), Action::CapOff, "cap off").marked(
            Seconds(off + 10.0),
            Action::CapOn,
            "cap on",
        );
    }
    record(&Settings::default(), &sensors(rate_hz), &script, 77).rows
}

/// The lines above the rows of a canonical log.
pub fn write_head(out: &mut impl Write) -> io::Result<()> {
    out.write_all(
        b"# engine: model\n# baro_kpa: 101.3\n# cylinders: 4\ntime_s,rpm,vac1_kpa,vac2_kpa,mark\n",
    )
}

/// Rows of a canonical log; `offset_s` is added to the time.
pub fn write_rows(out: &mut impl Write, rows: &[Row], offset_s: f64) -> io::Result<()> {
    for row in rows {
        write!(out, "{:.3},", offset_s + row.time_s)?;
        if let Some(rpm) = row.rpm {
            write!(out, "{:.1}", rpm.0)?;
        }
        writeln!(out, ",{:.2},{:.2},{}", row.vac_kpa[0], row.vac_kpa[1], row.mark)?;
    }
    Ok(())
}

/// A whole canonical log in memory.
pub fn text(rows: &[Row]) -> Vec<u8> {
    let mut out = Vec::new();
    let written = write_head(&mut out).and_then(|()| write_rows(&mut out, rows, 0.0));
    written.expect("memory can be written to");
    out
}

/// First-order noise of unit variance about levels that change by `step` every `every` values.
pub fn levels(n: usize, lag1: f64, every: usize, step: f64) -> Vec<f64> {
    let mut random = Pcg64::seed_from_u64(31);
    let mut noise: f64 = random.sample(StandardNormal);
    (0..n)
        .map(|k| {
            let fresh: f64 = random.sample(StandardNormal);
            noise = lag1 * noise + (1.0 - lag1 * lag1).sqrt() * fresh;
            noise + if (k / every) % 2 == 1 { step } else { 0.0 }
        })
        .collect()
}

/// How the speed of a long idle moves.
#[derive(Clone, Copy)]
pub enum Idle {
    /// Correlated noise about one level.
    Flat,
    /// Hunting on top.
    Hunting,
    /// A step of the level twice a minute.
    Steps,
    /// One slow rise over the whole log: every level is as good as its neighbours.
    Ramp,
    /// Wander over minutes with jitter on top.
    Wander,
}

/// A log of some whole cycles at about 833 rev/min and 50 Hz, both vacuums with a ripple.
pub fn idle(kind: Idle, cycles: usize) -> Track {
    const CYCLE_S: f64 = 0.144;
    const INTERVAL_S: f64 = 0.02;
    let mut random = Pcg64::seed_from_u64(47);
    let lasts_s = CYCLE_S * cycles as f64;
    let rows = (lasts_s / INTERVAL_S) as usize;
    let mut normal = || -> f64 { random.sample(StandardNormal) };
    let (mut noise, mut wander, mut phase) = (0.0, 0.0, 0.0f64);
    let keep = |tau_s: f64| (-INTERVAL_S / tau_s).exp();
    let mut track = Track { row: RowNumbers::all(rows), ..Track::default() };
    let [mut time_s, mut rpm, mut one, mut two] = [const { Vec::new() }; 4];
    for row in 0..rows {
        let t = row as f64 * INTERVAL_S;
        let (quick, slow) = (keep(0.3), keep(60.0));
        noise = quick * noise + (1.0 - quick * quick).sqrt() * 8.0 * normal();
        wander = slow * wander + (1.0 - slow * slow).sqrt() * 12.0 * normal();
        let moved = match kind {
            Idle::Flat => 0.0,
            Idle::Hunting => 25.0 * (std::f64::consts::TAU * t / 2.3).sin(),
            Idle::Steps => 90.0 * f64::from((t / 30.0) as u32 % 2),
            Idle::Ramp => 400.0 * t / lasts_s,
            Idle::Wander => wander,
        };
        let speed = 120.0 / CYCLE_S + moved + noise;
        phase += speed / 120.0 * INTERVAL_S;
        let ripple = 3.0 * (std::f64::consts::TAU * phase).sin();
        // The throttle makes the steps: the vacuum falls as the speed rises, as no cap does it.
        let level = 57.0 - 0.01 * moved + 0.01 * noise;
        one.push(level + 0.4 + ripple + 0.05 * normal());
        two.push(level - 0.4 - ripple + 0.05 * normal());
        rpm.push(speed);
        time_s.push(t);
    }
    track.time_s = time_s.into();
    [track.rpm, track.vac1_kpa, track.vac2_kpa] = [rpm, one, two].map(|column| Some(column.into()));
    track
}
