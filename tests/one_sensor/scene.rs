//! A log of one sensor on the model engine.

use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Script, Settings, Side, record};
use evenbreath::findings::Conditions;
use evenbreath::findings::balance::{self, Balance};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal;
use evenbreath::units::{Millimetres, Seconds};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

/// Bore of a vacuum tap, mm: what the engine draws air through while the hose is in the hand.
const TAP_MM: f64 = 2.5;

#[derive(Clone, Debug)]
pub struct Scene {
    pub settings: Settings,
    /// Stretches, from side 1 on.
    pub stretches: usize,
    /// Seconds from one mark to the next.
    pub each_s: f64,
    /// Zero, kPa, and gain of the sensor.
    pub sensor: (f64, f64),
    pub rate_hz: f64,
    pub pickup: bool,
    /// The tap stays open and the sensor in the air while the hose is moved.
    pub open_tap: bool,
}

impl Default for Scene {
    fn default() -> Self {
        Scene {
            settings: Settings::default(),
            stretches: 6,
            each_s: 10.0,
            sensor: (0.7, 1.0),
            rate_hz: 50.0,
            pickup: true,
            open_tap: true,
        }
    }
}

/// The log, and the mean of the true difference over its stretches, kPa.
pub struct Made {
    pub track: Track,
    pub truth_kpa: f64,
}

impl Scene {
    /// The throttle of side 1 opened by this share of side 2's.
    pub fn opened(self, share: f64) -> Self {
        let area = self.settings.idle_area_mm2;
        let idle_area_mm2 = [area[1] * (1.0 + share), area[1]];
        Scene { settings: Settings { idle_area_mm2, ..self.settings }, ..self }
    }

    pub fn make(&self, seed: u64) -> Made {
        let mut random = Pcg64::seed_from_u64(seed ^ 0x51de);
        let starts: Vec<f64> = (0..self.stretches).map(|k| self.each_s * k as f64 + 0.5).collect();
        let lasts = self.each_s * self.stretches as f64;
        // The hose is off from and to; the mark is pressed after it is on.
        let moves: Vec<(f64, f64)> = starts[1..]
            .iter()
            .map(|at| {
                let on = at - random.random_range(0.2..1.2);
                (on - random.random_range(1.5..2.5), on)
            })
            .collect();
        let mut script = Script::idling(Seconds(lasts));
        for (k, (from, to)) in moves.iter().enumerate().filter(|_| self.open_tap) {
            let side = if k % 2 == 0 { Side::One } else { Side::Two };
            let leak = |mm| Action::TractLeak { side, hole: Millimetres(mm) };
            script = script.act(Seconds(*from), leak(TAP_MM)).act(Seconds(*to), leak(0.0));
        }
        let sensor = Sensor::default().with(self.sensor.0, self.sensor.1);
        let sensors =
            SensorBox { rate_hz: self.rate_hz, vacuum: [sensor; 2], ..SensorBox::default() };
        let made = record(&self.settings, &sensors, &script, seed);
        let read = |row: &evenbreath::engine::Row| {
            let moved = moves.iter().filter(|(_, to)| *to <= row.time_s).count();
            let in_hand = moves.iter().any(|(from, to)| (*from..*to).contains(&row.time_s));
            if in_hand && self.open_tap { self.sensor.0 } else { row.vac_kpa[moved % 2] }
        };
        let marks = starts.iter().enumerate().map(|(k, at)| {
            Mark::read(Seconds(*at), if k % 2 == 0 { "on carb1" } else { "on carb2" })
        });
        let true_of = |start: &f64| {
            let (from, to) = (Seconds(start + 3.0), Seconds(start + self.each_s - 4.5));
            made.truth.mean(from, to).unwrap().difference_kpa
        };
        let truth_kpa = starts.iter().map(true_of).sum::<f64>() / starts.len() as f64;
        let rows = &made.rows;
        let rpm = rows.iter().map(|row| row.rpm.map_or(f64::NAN, |rpm| rpm.0)).collect();
        let track = Track {
            time_s: rows.iter().map(|row| row.time_s).collect(),
            rpm: self.pickup.then_some(rpm),
            vac1_kpa: Some(rows.iter().map(read).collect()),
            marks: marks.collect(),
            row: (0..rows.len() as u32).collect(),
            ..Track::default()
        };
        Made { track, truth_kpa }
    }

    pub fn conditions(&self) -> Conditions {
        let baro_kpa = self.settings.baro_pa / 1000.0;
        Conditions { baro_kpa, u_baro_kpa: 0.1, ..Conditions::default() }
    }

    pub fn balance(&self, track: Track) -> Balance {
        balance::find(&signal::prepare(track, 4), &self.conditions())
    }
}
