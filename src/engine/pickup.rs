//! Speed from the ignition: the time from one spark to the next, held until the spark after it.

use super::model::Spark;
use super::noise::normal;
use super::sensors::Pickup;
use rand::Rng;
use rand_pcg::Pcg64;

/// Seconds without a spark after which the pick-up reads nothing.
const SILENCE_S: f64 = 0.6;

/// A pick-up at work.
#[derive(Debug, Clone)]
pub(super) struct PickupState {
    settings: Pickup,
    /// Where each lobe of the distributor stands from its even place, turns of the crank.
    lobes_off: Vec<f64>,
    last: Option<Spark>,
    reading: Option<f64>,
}

impl PickupState {
    pub(super) fn new(settings: Pickup, cylinders: usize, random: &mut Pcg64) -> Self {
        let spread = settings.lobe_error_deg / 360.0;
        let lobes_off = (0..cylinders).map(|_| spread * normal(random)).collect();
        PickupState { settings, lobes_off, last: None, reading: None }
    }

    /// Takes notice of a spark.
    pub(super) fn see(&mut self, spark: Spark, random: &mut Pcg64) {
        let lobes = self.lobes_off.len();
        if let Some(last) = self.last.filter(|last| spark.at_s - last.at_s < SILENCE_S) {
            let even = 2.0 / lobes as f64;
            let turned = even + self.lobes_off[spark.lobe] - self.lobes_off[last.lobe];
            // Uneven lobes make the sparks come early and late about an even rotation; the box
            // divides the even angle by the time it measures.
            let measured = (spark.at_s - last.at_s) * turned / even;
            let rpm = 60.0 * even / measured;
            let chance: f64 = random.random();
            let factor = if chance < self.settings.doubled {
                2.0
            } else if chance < self.settings.doubled + self.settings.halved {
                0.5
            } else {
                1.0
            };
            self.reading = Some(rpm * factor);
        }
        self.last = Some(spark);
    }

    /// Reading at a time, rev/min; `None` when no spark came for a while.
    pub(super) fn read(&self, now_s: f64) -> Option<f64> {
        self.last.filter(|last| now_s - last.at_s < SILENCE_S)?;
        let step = self.settings.step_rpm;
        self.reading.map(|rpm| (rpm / step).round() * step)
    }
}
