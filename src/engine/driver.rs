//! The foot on the pedal.

use super::noise::{Wander, normal};
use super::tune::HIGHEST_HOLD_RPM;
use rand_pcg::Pcg64;

/// Travel per thousand rev/min that the foot is too low, and what it adds every second.
const PRESS: f64 = 0.05;
const CREEP: f64 = 0.08;

/// Lag of the eye on the tachometer, s.
const EYE_S: f64 = 0.25;

/// Time in which the pedal comes up when the foot lets go, s.
const RETURN_S: f64 = 0.15;

/// Tremor of the foot, as a share of its travel, and its correlation time, s.
const TREMOR: f64 = 0.006;
const TREMOR_S: f64 = 1.2;

/// A person who watches the tachometer and holds the revs.
#[derive(Debug, Clone)]
pub(super) struct Foot {
    target_rpm: Option<f64>,
    seen_rpm: f64,
    held: f64,
    tremor: Wander,
    travel: f64,
}

impl Foot {
    /// A foot that rests on the floor; `steady` without tremor.
    pub(super) fn new(steady: bool, random: &mut Pcg64) -> Self {
        let spread = if steady { 0.0 } else { TREMOR };
        let tremor = Wander::new(spread, TREMOR_S, random);
        Foot { target_rpm: None, seen_rpm: 0.0, held: 0.0, tremor, travel: 0.0 }
    }

    /// Holds the revs from now on; a speed that is no number changes nothing.
    pub(super) fn hold(&mut self, rpm: f64) {
        if !rpm.is_nan() {
            self.target_rpm = Some(rpm.clamp(0.0, HIGHEST_HOLD_RPM));
        }
    }

    /// Trembles no more.
    pub(super) fn calm(&mut self) {
        self.tremor.calm();
    }

    pub(super) fn release(&mut self) {
        self.target_rpm = None;
    }

    /// Travel of the linkage, 0 on the stop screws, 1 full, after another step.
    pub(super) fn advance(&mut self, rpm: f64, step_s: f64, random: &mut Pcg64) -> f64 {
        self.seen_rpm += (rpm - self.seen_rpm) * step_s / EYE_S;
        match self.target_rpm {
            Some(target) => {
                let error = (target - self.seen_rpm) / 1000.0;
                self.held = (self.held + CREEP * error * step_s).clamp(0.0, 1.0);
                let steady = (self.held + PRESS * error).clamp(0.0, 1.0);
                self.tremor.advance(step_s, random);
                self.travel = steady * (1.0 + self.tremor.value);
            }
            None => {
                self.travel -= self.travel * step_s / RETURN_S;
                self.held = self.travel;
            }
        }
        self.travel
    }
}

/// Seconds a person is late with a key, around half a second and never early.
pub(super) fn late(random: &mut Pcg64) -> f64 {
    (0.45 + 0.2 * normal(random)).clamp(0.05, 1.2)
}
