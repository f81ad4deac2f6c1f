//! The box between the engine and the log: imperfect sensors, a pick-up, a clock.

use super::noise::normal;
use crate::units::Kpa;
use rand_pcg::Pcg64;

/// A vacuum sensor on its hose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    /// Reading at the atmosphere, kPa.
    pub offset_kpa: f64,
    /// Reading a kilopascal.
    pub gain: f64,
    /// Standard deviation of the noise of one reading, kPa.
    pub noise_kpa: f64,
    /// Time constant of hose and sensor, s.
    pub lag_s: f64,
    /// Step of the converter, kPa.
    pub step_kpa: f64,
    /// Highest reading, kPa.
    pub rail_kpa: f64,
}

impl Default for Sensor {
    /// No error but noise; a 12-bit converter over about 111 kPa; half a metre of hose.
    fn default() -> Self {
        Sensor {
            offset_kpa: 0.0,
            gain: 1.0,
            noise_kpa: 0.06,
            lag_s: 0.028,
            step_kpa: 0.027,
            rail_kpa: 105.0,
        }
    }
}

impl Sensor {
    /// The same kind of sensor with an offset, kPa, and a gain.
    pub fn with(self, offset_kpa: f64, gain: f64) -> Self {
        Sensor { offset_kpa, gain, ..self }
    }

    /// A low-range sensor on the dipstick tube.
    pub fn crankcase(offset_kpa: f64) -> Self {
        Sensor {
            offset_kpa,
            gain: 1.0,
            noise_kpa: 0.015,
            lag_s: 0.05,
            step_kpa: 0.0025,
            rail_kpa: 5.0,
        }
    }
}

/// A pick-up on the ignition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pickup {
    /// Spread of the places of the distributor's lobes, degrees of crank.
    pub lobe_error_deg: f64,
    /// Chance that a pulse is counted twice.
    pub doubled: f64,
    /// Chance that a pulse is missed.
    pub halved: f64,
    /// Step of the reading, rev/min.
    pub step_rpm: f64,
}

impl Default for Pickup {
    fn default() -> Self {
        Pickup { lobe_error_deg: 0.2, doubled: 0.0, halved: 0.0, step_rpm: 0.1 }
    }
}

/// Two vacuum sensors, perhaps one for the crankcase, perhaps a pick-up, and a clock.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorBox {
    /// Samples a second.
    pub rate_hz: f64,
    /// Standard deviation of a sampling instant from its even place, s.
    pub jitter_s: f64,
    /// Sensors 1 and 2.
    pub vacuum: [Sensor; 2],
    /// Sensor of the crankcase.
    pub crankcase: Option<Sensor>,
    /// Pick-up.
    pub pickup: Option<Pickup>,
}

impl Default for SensorBox {
    fn default() -> Self {
        SensorBox {
            rate_hz: 50.0,
            jitter_s: 0.0005,
            vacuum: [Sensor::default(); 2],
            crankcase: None,
            pickup: Some(Pickup::default()),
        }
    }
}

/// A sensor at work.
#[derive(Debug, Clone)]
pub(super) struct SensorState {
    pub(super) sensor: Sensor,
    lagged_kpa: Option<f64>,
}

impl SensorState {
    pub(super) fn new(sensor: Sensor) -> Self {
        SensorState { sensor, lagged_kpa: None }
    }

    /// Follows the pressure at the end of the hose for a step.
    pub(super) fn follow(&mut self, at_hose: Kpa, step_s: f64) {
        let share =
            if self.sensor.lag_s > 0.0 { 1.0 - (-step_s / self.sensor.lag_s).exp() } else { 1.0 };
        let lagged = self.lagged_kpa.get_or_insert(at_hose.0);
        *lagged += share * (at_hose.0 - *lagged);
    }

    /// One reading, kPa, as the converter gives it.
    pub(super) fn read(&self, random: &mut Pcg64) -> Kpa {
        let s = &self.sensor;
        let ideal = s.offset_kpa + s.gain * self.lagged_kpa.unwrap_or(0.0);
        let noisy = (ideal + s.noise_kpa * normal(random)).clamp(-s.rail_kpa, s.rail_kpa);
        Kpa((noisy / s.step_kpa).round() * s.step_kpa)
    }
}
