//! A hunt on the model engine.

use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Action, Script, Settings, Side, record, steady};
use evenbreath::findings::Conditions;
use evenbreath::findings::hunt::{self, Hunt};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal;
use evenbreath::units::{Millimetres, Seconds};

/// Idle before the first trial, s.
pub const FIRST_S: f64 = 14.0;
/// Sealed, and released, s.
pub const TRIAL_S: f64 = 8.0;

pub const NAMES: [&str; 5] = ["brake hose", "front gasket", "rear gasket", "dipstick", "cover"];

/// Where one suspect leaks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Leak {
    None,
    /// A hole of this effective diameter, mm, into the tract of a side.
    Tract(Side, f64),
    /// A hole of this diameter, mm, in the crankcase beside the engine's own seals.
    Seal(f64),
}

#[derive(Clone, Debug)]
pub struct Scene {
    pub settings: Settings,
    pub leak: Leak,
    /// Which of [`NAMES`] it is.
    pub culprit: usize,
    pub trials: usize,
    /// Diameter on its label, and true diameter, mm; on side 1.
    pub jet: Option<(f64, f64)>,
    pub rate_hz: f64,
    /// When a fan cuts in, s, and out.
    pub fan: Option<(f64, f64)>,
}

impl Default for Scene {
    fn default() -> Self {
        Scene {
            settings: Settings::default(),
            leak: Leak::None,
            culprit: 2,
            trials: 2,
            jet: None,
            rate_hz: 25.0,
            fan: None,
        }
    }
}

/// The tightest that [`Action::SealLeak`] makes of the default engine's seals: its 0.3 mm2, mm.
const OWN_SEALS_MM: f64 = 0.7387;

impl Scene {
    /// Open and sealed, of the suspect that leaks. A jet on the same side as the leak opens beside it.
    fn switch(&self, is_open: bool, jet_open: bool) -> Vec<Action> {
        let mut holes = [0.0f64; 2];
        if let (Some((_, true_mm)), true) = (self.jet, jet_open) {
            holes[0] += true_mm * true_mm;
        }
        let mut actions = Vec::new();
        match self.leak {
            Leak::Tract(side, mm) if is_open => {
                holes[if side == Side::One { 0 } else { 1 }] += mm * mm;
            }
            Leak::Seal(mm) => {
                let own = OWN_SEALS_MM * OWN_SEALS_MM;
                let all = if is_open { own + mm * mm } else { own };
                actions.push(Action::SealLeak(Millimetres(all.sqrt())));
            }
            _ => {}
        }
        for (side, square) in [Side::One, Side::Two].into_iter().zip(holes) {
            actions.push(Action::TractLeak { side, hole: Millimetres(square.sqrt()) });
        }
        actions
    }

    /// Beginnings of all trials, s: index of the suspect, `None` for the jet.
    pub fn plan(&self) -> Vec<(f64, Option<usize>)> {
        let round: Vec<Option<usize>> =
            self.jet.map(|_| None).into_iter().chain((0..NAMES.len()).map(Some)).collect();
        (0..self.trials)
            .flat_map(|_| round.clone())
            .enumerate()
            .map(|(k, who)| (FIRST_S + 2.0 * TRIAL_S * k as f64, who))
            .collect()
    }

    pub fn script(&self) -> Script {
        let plan = self.plan();
        let lasts = FIRST_S + 2.0 * TRIAL_S * plan.len() as f64;
        let mut script = Script::idling(Seconds(lasts));
        for action in self.switch(true, false) {
            script = script.act(Seconds(0.0), action);
        }
        for (at_s, who) in plan {
            let names = match (who, self.jet) {
                (Some(k), _) => [format!("seal {}", NAMES[k]), format!("release {}", NAMES[k])],
                (None, Some((label, _))) => {
                    [format!("known leak {label} mm"), "known leak closed".into()]
                }
                (None, None) => unreachable!("a jet is in the plan"),
            };
            let states = match who {
                None => [self.switch(true, true), self.switch(true, false)],
                Some(k) => [self.switch(k != self.culprit, false), self.switch(true, false)],
            };
            for ((at_s, name), state) in [at_s, at_s + TRIAL_S].into_iter().zip(names).zip(states) {
                for action in &state[1..] {
                    script = script.act(Seconds(at_s), *action);
                }
                script = script.marked(Seconds(at_s), state[0], &name);
            }
        }
        if let Some((on, off)) = self.fan {
            script = script.act(Seconds(on), Action::FanOn).act(Seconds(off), Action::FanOff);
        }
        script
    }

    /// What sealing the culprit does to speed, rev/min, and to both vacuums, kPa, in the steady state.
    pub fn truth(&self) -> [f64; 3] {
        let means = |open: bool| steady(&self.settings, &self.switch(open, false)).unwrap();
        let (open, sealed) = (means(true), means(false));
        let vacuum = |side: usize| sealed.vac_kpa[side] - open.vac_kpa[side];
        [sealed.rpm - open.rpm, vacuum(0), vacuum(1)]
    }

    pub fn track(&self, seed: u64) -> Track {
        let sensors = SensorBox { rate_hz: self.rate_hz, ..SensorBox::default() };
        let rows = record(&self.settings, &sensors, &self.script(), seed).rows;
        let marks = rows
            .iter()
            .filter(|row| !row.mark.is_empty())
            .map(|row| Mark::read(Seconds(row.time_s), &row.mark));
        Track {
            time_s: rows.iter().map(|row| row.time_s).collect(),
            rpm: Some(rows.iter().map(|row| row.rpm.map_or(f64::NAN, |rpm| rpm.0)).collect()),
            vac1_kpa: Some(rows.iter().map(|row| row.vac_kpa[0]).collect()),
            vac2_kpa: Some(rows.iter().map(|row| row.vac_kpa[1]).collect()),
            marks: marks.collect(),
            row: (0..rows.len() as u32).collect(),
            ..Track::default()
        }
    }

    pub fn hunt(&self, seed: u64) -> Hunt {
        let baro_kpa = self.settings.baro_pa / 1000.0;
        let conditions = Conditions { baro_kpa, u_baro_kpa: 0.1, ..Conditions::default() };
        hunt::find(&signal::prepare(self.track(seed), 4), &conditions)
    }
}
