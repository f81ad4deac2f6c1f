//! The engine and the box on it, as a lesson finds them.

use super::{IDLE_TARGET, Lesson};
use crate::engine::Settings;
use crate::engine::sensors::{Sensor, SensorBox};
use crate::recording::Failure;
use crate::sensors::transfer::Transfer;
use crate::sources::event::BoxInfo;
use crate::sources::model_box::{Control, ModelBox};
use std::sync::mpsc::Receiver;

/// Both sensors, and their supply that is also the reference of the converter, V.
const SENSOR: &str = "MPXV6115V";
const SUPPLY_V: f64 = 5.0;
/// Bits of the converter, and samples a second.
const BITS: u32 = 14;
const RATE_HZ: f64 = 200.0;

impl Lesson {
    /// A box on the engine that the lesson begins with. It obeys `controls`, those that bring it to where
    /// the lesson begins included: send [`Lesson::controls`] before it is listened to.
    ///
    /// # Errors
    /// Its sensor is none that is known.
    pub fn model_box(&self, seed: u64, controls: Receiver<Control>) -> Result<ModelBox, Failure> {
        let sensor = Transfer::named(SENSOR)
            .ok_or_else(|| Failure::UnknownSensor { sensor: SENSOR.into() })?;
        let info = BoxInfo {
            name: "model-box".into(),
            version: "1".into(),
            adc_bits: BITS,
            vref_mv: SUPPLY_V * 1000.0,
            sensors: [SENSOR.into(), SENSOR.into()],
            sample_hz: RATE_HZ,
        };
        let lines = [sensor.line(SUPPLY_V); 2];
        let sensors = SensorBox { vacuum: [Sensor::default(); 2], ..SensorBox::default() };
        let settings = Settings::of(self.layout);
        Ok(ModelBox::new(&settings, &sensors, (info, lines), (seed, false), controls))
    }

    /// What the head of its log says of it.
    pub fn head(&self) -> Vec<(String, String)> {
        let cylinders = self.layout.cylinders().to_string();
        vec![
            ("engine".into(), format!("model engine, {cylinders} cylinders")),
            ("cylinders".into(), cylinders),
            ("idle_target_rpm".into(), format!("{:.0}", IDLE_TARGET.0)),
        ]
    }
}
