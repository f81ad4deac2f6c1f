//! Whether the engine runs, from readings of the speed as they come.

use crate::signal::cycles::STANDSTILL_RPM;

/// Time constant of the smoothing, s: a stroke more or less is no change of speed.
const SMOOTH_S: f64 = 0.5;
/// A speed rests when its smoothed value is this near to one smoothed for longer, a share of it: a
/// foot that still makes its way to the speed by 1 % a second is further off ...
const RESTS_SHARE: f64 = 0.015;
/// ... and for how much longer, s.
const SLOW_S: f64 = 2.5;
/// A pick-up that reads nothing for this long sees no sparks, s.
const SILENCE_S: f64 = 1.5;
/// A starter turns an engine more slowly than this, rev/min (common practice, no published source).
const STARTER_RPM: f64 = 450.0;
/// An engine that has turned faster than a starter turns it for this long has caught, s.
const CAUGHT_S: f64 = 1.0;

/// What the pick-up says of the engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Running {
    /// No pick-up has spoken yet.
    NotKnown,
    /// It stands still.
    Stopped,
    /// It turns at this speed, rev/min.
    At(f64),
}

/// The readings so far.
#[derive(Debug, Clone, Default)]
pub(super) struct Speed {
    smooth_rpm: Option<f64>,
    slow_rpm: Option<f64>,
    read_s: f64,
    now_s: f64,
    fast_since_s: Option<f64>,
    /// A pick-up has spoken: silence means that the engine stands still.
    heard: bool,
}

impl Speed {
    /// Takes a sample.
    pub(super) fn see(&mut self, now_s: f64, rpm: Option<f64>) {
        self.now_s = now_s;
        // After a lost link the silence counts from the first sample.
        self.read_s = self.read_s.min(now_s);
        if let Some(rpm) = rpm.filter(|rpm| rpm.is_finite() && *rpm >= 0.0) {
            self.heard |= rpm >= STANDSTILL_RPM;
            let passed_s = now_s - self.read_s;
            let follow = |level: &mut Option<f64>, time_s: f64| {
                let level = level.get_or_insert(rpm);
                *level += (1.0 - (-passed_s / time_s).exp()) * (rpm - *level);
            };
            follow(&mut self.smooth_rpm, SMOOTH_S);
            follow(&mut self.slow_rpm, SLOW_S);
            self.read_s = now_s;
        }
        if now_s - self.read_s > SILENCE_S {
            (self.smooth_rpm, self.slow_rpm) = (None, None);
        }
        let fast = self.smooth_rpm.is_some_and(|rpm| rpm > STARTER_RPM);
        self.fast_since_s = fast.then(|| self.fast_since_s.unwrap_or(now_s));
    }

    /// What was read before the link was lost says nothing of the engine now.
    pub(super) fn forget(&mut self) {
        (self.smooth_rpm, self.slow_rpm, self.fast_since_s) = (None, None, None);
        self.read_s = f64::INFINITY;
    }

    pub(super) fn running(&self) -> Running {
        match self.smooth_rpm {
            Some(rpm) if rpm >= STANDSTILL_RPM => Running::At(rpm),
            Some(_) if self.heard => Running::Stopped,
            None if self.heard && self.now_s - self.read_s > SILENCE_S => Running::Stopped,
            _ => Running::NotKnown,
        }
    }

    /// True where the speed does not move on, or where no pick-up tells.
    pub(super) fn rests(&self) -> bool {
        match (self.smooth_rpm, self.slow_rpm) {
            (Some(smooth), Some(slow)) => (smooth - slow).abs() <= RESTS_SHARE * slow,
            _ => true,
        }
    }

    /// True once the engine runs without the starter.
    pub(super) fn has_caught(&self) -> bool {
        self.fast_since_s.is_some_and(|since| self.now_s - since >= CAUGHT_S)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(speed: &mut Speed, from_s: f64, rpm: Option<f64>) {
        (0..100).for_each(|k| speed.see(from_s + 0.02 * f64::from(k), rpm));
    }

    #[test]
    fn silence_is_standstill_only_after_the_pick_up_has_spoken() {
        let mut speed = Speed::default();
        read(&mut speed, 0.0, None);
        assert_eq!(speed.running(), Running::NotKnown);
        read(&mut speed, 2.0, Some(0.0));
        assert_eq!(speed.running(), Running::NotKnown);
        read(&mut speed, 4.0, Some(850.0));
        assert!(matches!(speed.running(), Running::At(rpm) if (rpm - 850.0).abs() < 20.0));
        speed.see(6.5, None);
        assert!(matches!(speed.running(), Running::At(_)), "half a second is no standstill");
        read(&mut speed, 6.0, None);
        assert_eq!(speed.running(), Running::Stopped);
    }

    #[test]
    fn a_starter_is_no_running_engine() {
        let mut speed = Speed::default();
        read(&mut speed, 0.0, Some(220.0));
        assert!(!speed.has_caught());
        read(&mut speed, 2.0, Some(850.0));
        assert!(speed.has_caught());
        read(&mut speed, 4.0, Some(f64::NAN));
        assert_eq!(speed.running(), Running::Stopped);
    }
}
