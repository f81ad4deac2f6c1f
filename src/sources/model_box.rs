//! A box on a model engine: it speaks the sentences of the wire, codes and all.

use super::event::BoxInfo;
use super::inside::Inside;
use super::paced::Stream;
use super::wire::framed;
use crate::engine::sensors::{Sensor, SensorBox};
use crate::engine::{Action, Running, Settings, Side};
use crate::units::{Kpa, VoltsToKpa};
use std::sync::mpsc::Receiver;

/// Seconds from one sentence about itself to the next.
const INFO_EVERY_S: f64 = 10.0;

/// What can be done to the engine and to the box on it while they run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Control {
    /// Something is done to the engine.
    Act(Action),
    /// A vacuum sensor gets another offset at the atmosphere.
    Offset {
        /// The sensor.
        channel: Side,
        /// What it reads too much.
        offset: Kpa,
    },
    /// A vacuum sensor gets another noise.
    Noise {
        /// The sensor.
        channel: Side,
        /// Standard deviation of one reading.
        noise: Kpa,
    },
}

impl From<Action> for Control {
    fn from(action: Action) -> Self {
        Control::Act(action)
    }
}

/// A box on a model engine.
pub struct ModelBox {
    running: Running,
    info: BoxInfo,
    lines: [VoltsToKpa; 2],
    controls: Receiver<Control>,
    inside: Option<Inside>,
    baro_kpa: f64,
    sent: u64,
    info_due_s: f64,
    asked: bool,
}

impl ModelBox {
    /// A box that is what it says, with sensors by their data sheets, on an engine that somebody
    /// controls. The sensors' own errors are those of `sensors`.
    pub fn new(
        settings: &Settings,
        sensors: &SensorBox,
        (info, lines): (BoxInfo, [VoltsToKpa; 2]),
        (seed, idling): (u64, bool),
        controls: Receiver<Control>,
    ) -> Self {
        // The converter's steps are those of its codes.
        let fine = |sensor: Sensor| Sensor { step_kpa: 1e-6, ..sensor };
        let sensors = SensorBox {
            rate_hz: info.sample_hz,
            vacuum: sensors.vacuum.map(fine),
            crankcase: None,
            ..sensors.clone()
        };
        let running = Running::new(settings, &sensors, seed, idling);
        let baro_kpa = settings.baro_pa / 1000.0;
        ModelBox {
            running,
            info,
            lines,
            controls,
            inside: None,
            baro_kpa,
            sent: 0,
            info_due_s: 0.0,
            asked: false,
        }
    }

    /// Lets somebody look inside while it runs.
    pub fn seen_by(mut self, inside: Inside) -> Self {
        inside.foresee(self.running.engine());
        inside.show(&self.running);
        self.inside = Some(inside);
        self
    }

    /// Carries out what has been asked for since; the engine is foreseen anew where it was acted upon.
    fn obey(&mut self) {
        let mut acted = false;
        for control in self.controls.try_iter() {
            match control {
                Control::Act(action) => {
                    self.running.act(action);
                    acted = true;
                }
                Control::Offset { channel, offset } => self.running.set_offset(channel, offset),
                Control::Noise { channel, noise } => self.running.set_noise(channel, noise),
            }
        }
        if let Some(inside) = self.inside.as_ref().filter(|_| acted) {
            inside.foresee(self.running.engine());
        }
    }

    /// Code of a vacuum: the data sheet's line backwards.
    fn code(&self, side: usize, vacuum_kpa: f64) -> u64 {
        let line = &self.lines[side];
        let kpa = if line.absolute { self.baro_kpa - vacuum_kpa } else { vacuum_kpa };
        let volts = (kpa - line.kpa_at_zero) / line.kpa_per_volt;
        let codes = 2f64.powi(self.info.adc_bits as i32);
        let code = volts * 1000.0 / self.info.vref_mv * codes;
        code.round().clamp(0.0, codes - 1.0) as u64
    }

    fn info(&self) -> String {
        let BoxInfo { name, version, adc_bits, vref_mv, sensors: [one, two], sample_hz } =
            &self.info;
        framed(&format!("EBI,{name},{version},{adc_bits},{vref_mv},{one},{two},{sample_hz}"))
    }
}

impl Stream for ModelBox {
    fn due(&mut self, now_s: f64, bytes: &mut Vec<u8>) -> Option<f64> {
        self.obey();
        if now_s >= self.info_due_s || std::mem::take(&mut self.asked) {
            self.info_due_s = now_s + INFO_EVERY_S;
            bytes.extend_from_slice(self.info().as_bytes());
        }
        while let Some(row) = self.running.next_row(now_s) {
            let rpm = row.rpm.map_or(String::new(), |rpm| format!("{:.0}", rpm.0 * 10.0));
            let [one, two] = [0, 1].map(|side| self.code(side, row.vac_kpa[side]));
            let (seq, micros) = (self.sent % 65_536, (row.time_s * 1e6) as u64 % (1 << 32));
            bytes.extend_from_slice(
                framed(&format!("EBP,{seq},{micros},{rpm},{one},{two}")).as_bytes(),
            );
            self.sent += 1;
        }
        if let Some(inside) = &self.inside {
            inside.show(&self.running);
        }
        Some(now_s + 0.5 / self.info.sample_hz)
    }

    fn told(&mut self, bytes: &[u8]) {
        if bytes.starts_with(b"$EBC,INFO*") {
            self.asked = true;
        }
    }
}
