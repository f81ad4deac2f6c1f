//! An engine with a box on it that goes on for as long as somebody watches.

use super::Action;
use super::model::{Engine, Look};
use super::recording::{BOX_ON_S, Logger, Row, WARM_UP_S};
use super::sensors::{Sensor, SensorBox};
use super::settings::{Settings, Side};
use super::throughput::Flows;
use crate::units::Kpa;

/// An engine that runs under a box of sensors, moved on as far as a clock says.
///
/// ```
/// use evenbreath::engine::{Running, Settings, sensors::SensorBox};
/// let mut running = Running::new(&Settings::default(), &SensorBox::default(), 7, true);
/// let rows: Vec<_> = std::iter::from_fn(|| running.next_row(0.999)).collect();
/// assert_eq!(rows.len(), 50);
/// ```
pub struct Running {
    engine: Engine,
    logger: Logger,
    start_s: f64,
}

impl Running {
    /// An engine, warm and idling or stopped, with a box that has been on for a while.
    pub fn new(settings: &Settings, sensors: &SensorBox, seed: u64, idling: bool) -> Self {
        let mut engine = Engine::new(settings.clone(), seed);
        let mut logger = Logger::new(settings, sensors, seed);
        if idling {
            engine.act(Action::EngineOn);
            engine.run(WARM_UP_S);
        }
        let on_s = engine.now_s() + BOX_ON_S;
        while engine.now_s() < on_s {
            logger.advance(&mut engine);
        }
        let start_s = engine.now_s();
        logger.start(start_s);
        Running { engine, logger, start_s }
    }

    /// Does something to the engine now.
    pub fn act(&mut self, action: Action) {
        self.engine.act(action);
    }

    /// What is true now.
    pub fn look(&self) -> Look {
        self.engine.look()
    }

    /// Mean flows over the last working cycle: what a drawing of the paths of the air shows.
    pub fn flows(&self) -> Flows {
        self.engine.flows()
    }

    /// The engine as it is now, to predict from: a clone of it can go to another thread.
    pub fn engine(&self) -> &Engine {
        &self.engine
    }

    /// The vacuum sensor of a channel as it is now.
    pub fn sensor(&self, channel: Side) -> Sensor {
        self.logger.sensor(channel)
    }

    /// Gives a vacuum sensor another offset, kPa at the atmosphere. What is no finite number changes
    /// nothing.
    pub fn set_offset(&mut self, channel: Side, offset: Kpa) {
        if offset.0.is_finite() {
            self.logger.change_sensor(channel, |sensor| sensor.offset_kpa = offset.0);
        }
    }

    /// Gives a vacuum sensor another noise, the standard deviation of one reading. What is no finite
    /// number changes nothing; less than none is none.
    pub fn set_noise(&mut self, channel: Side, noise: Kpa) {
        if noise.0.is_finite() {
            self.logger.change_sensor(channel, |sensor| sensor.noise_kpa = noise.0.max(0.0));
        }
    }

    /// The next row of the box, when it is due by `until_s`, seconds from the first row; time goes on to
    /// it, or to `until_s`.
    pub fn next_row(&mut self, until_s: f64) -> Option<Row> {
        loop {
            let now_s = self.engine.now_s();
            if now_s - self.start_s > until_s {
                return None;
            }
            let row = self.logger.due(now_s).then(|| self.logger.row(now_s, String::new()));
            self.logger.advance(&mut self.engine);
            if row.is_some() {
                return row;
            }
        }
    }
}
