//! What the box is given: voltages of two sensors and edges of a pick-up, from the model engine, and
//! what was true meanwhile.

use evenbreath::engine::{Action, Engine, Settings};
use evenbreath::units::Rpm;
use std::fmt::Write;

/// Step of the model engine, s.
const STEP_S: f64 = 0.25e-3;
/// Steps from one voltage to the next.
const VOLTAGE_STEPS: usize = 4;
/// Ignition edges a turn of a four-cylinder four-stroke engine.
const EDGES_A_TURN: f64 = 2.0;
/// After each edge the coil rings: edges that must not count, s after it.
const RINGING_S: [f64; 3] = [0.21e-3, 0.5e-3, 0.9e-3];
/// Supply of the sensors, mV.
const SUPPLY_MV: f64 = 5_000.0;
/// The sensors' own offsets, mV: 0.9 and -0.6 kPa, which the zero must take out.
const OFFSET_MV: [f64; 2] = [34.0, -23.0];
/// Corner of the filter before the converter, 10 kOhm and 100 nF, s.
const FILTER_S: f64 = 1e-3;

/// What is played, and what was true.
pub struct Drive {
    /// The lines for the simulator.
    pub text: String,
    /// When it ends, s.
    pub lasts_s: f64,
    truth: Vec<True>,
}

/// The engine at an instant.
#[derive(Debug, Clone, Copy)]
struct True {
    at_s: f64,
    rpm: f64,
    vacuum_kpa: [f64; 2],
}

impl Drive {
    /// An engine at which things are done at given times, s. Its edges stop when `lit` says so: a
    /// coil is silent while an engine coasts.
    pub fn engine(lasts_s: f64, actions: &[(f64, Action)]) -> Drive {
        let mut engine = Engine::new(Settings::default(), 11);
        let mut drive = Drive { text: String::new(), lasts_s, truth: Vec::new() };
        let (mut turned, mut lit, mut next) = (0.0_f64, false, 0);
        let mut behind = [None; 2];
        for step in 0..(lasts_s / STEP_S).round() as usize {
            let at_s = step as f64 * STEP_S;
            while let Some((_, action)) = actions.get(next).filter(|(when, _)| *when <= at_s) {
                engine.act(*action);
                lit = match action {
                    Action::EngineOn => true,
                    Action::EngineOff => false,
                    _ => lit,
                };
                next += 1;
            }
            let look = engine.look();
            let vacuum_kpa = look.at_hoses.map(|kpa| kpa.0);
            drive.truth.push(True { at_s, rpm: look.rpm, vacuum_kpa });
            for (side, kpa) in vacuum_kpa.into_iter().enumerate() {
                let mv: &mut f64 = behind[side].get_or_insert(millivolt(side, kpa));
                *mv += (millivolt(side, kpa) - *mv) * STEP_S / FILTER_S;
            }
            if step % VOLTAGE_STEPS == 0 {
                drive.voltages(at_s, behind.map(Option::unwrap_or_default));
            }
            let more = look.rpm / 60.0 * STEP_S * EDGES_A_TURN;
            if lit && (turned + more).floor() > turned.floor() {
                drive.edge(at_s + (1.0 - turned.fract()) / more * STEP_S);
            }
            turned += more;
            engine.run(STEP_S);
        }
        writeln!(drive.text, "end {lasts_s}").unwrap();
        drive
    }

    /// Voltages that stand still, mV, and edges at an even speed from the first second on.
    pub fn even(lasts_s: f64, mv: [f64; 2], rpm: f64, edges_a_turn: f64) -> Drive {
        let mut drive = Drive { text: String::new(), lasts_s, truth: Vec::new() };
        drive.voltages(0.0, mv);
        let spacing_s = 60.0 / rpm / edges_a_turn;
        let mut at_s = 1.0;
        while at_s < lasts_s {
            drive.edge(at_s);
            at_s += spacing_s;
        }
        writeln!(drive.text, "end {lasts_s}").unwrap();
        drive
    }

    /// Writes a register of the chip at a time, s, as a fault would.
    pub fn poke(mut self, at_s: f64, register: u16, value: u8) -> Drive {
        writeln!(self.text, "poke {at_s} {register:x} {value:x}").unwrap();
        self
    }

    /// Sends a text to the box at a time, s; `~` stands for the end of a line.
    pub fn say(mut self, at_s: f64, text: &str) -> Drive {
        writeln!(self.text, "say {at_s} {text}").unwrap();
        self
    }

    /// True means from one time to another, s: speed, rev/min, and vacuum at the hoses, kPa.
    pub fn means(&self, from_s: f64, to_s: f64) -> (f64, [f64; 2]) {
        let inside = |t: &&True| (from_s..to_s).contains(&t.at_s);
        let stretch: Vec<&True> = self.truth.iter().filter(inside).collect();
        let mean = |value: &dyn Fn(&True) -> f64| {
            stretch.iter().map(|t| value(t)).sum::<f64>() / stretch.len() as f64
        };
        (mean(&|t| t.rpm), [mean(&|t| t.vacuum_kpa[0]), mean(&|t| t.vacuum_kpa[1])])
    }

    fn voltages(&mut self, at_s: f64, mv: [f64; 2]) {
        writeln!(self.text, "adc {at_s:.5} {:.3} {:.3}", mv[0], mv[1]).unwrap();
    }

    fn edge(&mut self, at_s: f64) {
        for late_s in [0.0].iter().chain(&RINGING_S) {
            writeln!(self.text, "edge {:.7}", at_s + late_s).unwrap();
        }
    }
}

/// Engine off for 3 s; started; idling; oil filler cap off at 16 s; held at 2,000 rev/min from 21 s;
/// ignition off at 27 s.
pub fn session() -> Drive {
    let actions = [
        (3.0, Action::EngineOn),
        (16.0, Action::CapOff),
        (21.0, Action::CapOn),
        (21.0, Action::Hold(Rpm(2_000.0))),
        (27.0, Action::EngineOff),
    ];
    Drive::engine(31.0, &actions)
}

/// Output of a sensor MPXV6115V on its supply. Its data sheet (Motorola sensor data book, page 3-416):
/// `Vout = Vs (0.007652 P + 0.92)`, P in kPa against the atmosphere, negative under vacuum.
fn millivolt(side: usize, vacuum_kpa: f64) -> f64 {
    SUPPLY_MV * (0.007_652 * -vacuum_kpa + 0.92) + OFFSET_MV[side]
}

/// Vacuum from a code of 14 bits by the same formula, kPa; the offset is still in it.
pub fn vacuum_kpa(code: f64) -> f64 {
    (0.92 - code / 16_384.0) / 0.007_652
}
