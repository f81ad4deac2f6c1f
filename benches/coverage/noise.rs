//! Noise of an idling engine as a function of time: first-order noise and hunting.

use rand::Rng;
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;
use std::f64::consts::TAU;

/// One draw from the standard normal distribution.
pub fn normal(random: &mut Pcg64) -> f64 {
    random.sample(StandardNormal)
}

/// First-order noise in continuous time (Ornstein-Uhlenbeck), stationary from the start.
pub struct FirstOrder {
    sd: f64,
    correlation_s: f64,
    now: f64,
}

impl FirstOrder {
    /// Standard deviation `sd`, and a correlation of `lag1` between values `spacing_s` apart.
    pub fn new(sd: f64, lag1: f64, spacing_s: f64, random: &mut Pcg64) -> Self {
        let correlation_s = if lag1 > 0.0 { -spacing_s / lag1.ln() } else { 0.0 };
        FirstOrder { sd, correlation_s, now: sd * normal(random) }
    }

    /// The value `dt` seconds on.
    pub fn step(&mut self, dt: f64, random: &mut Pcg64) -> f64 {
        let keep = if self.correlation_s > 0.0 { (-dt / self.correlation_s).exp() } else { 0.0 };
        self.now = keep * self.now + (1.0 - keep * keep).sqrt() * self.sd * normal(random);
        self.now
    }
}

/// Hunting: an oscillation whose phase wanders, losing its memory over some periods.
pub struct Hunting {
    amplitude: f64,
    period_s: f64,
    phase: f64,
}

/// Periods after which the phase is forgotten by 1/e.
const MEMORY: f64 = 4.0;

impl Hunting {
    /// Amplitude in the unit of what hunts; a random phase to start from.
    pub fn new(amplitude: f64, period_s: f64, random: &mut Pcg64) -> Self {
        Hunting { amplitude, period_s, phase: random.random() }
    }

    /// The value `dt` seconds on.
    pub fn step(&mut self, dt: f64, random: &mut Pcg64) -> f64 {
        let turned = dt / self.period_s;
        // A phase in cycles that diffuses with variance 2 D t loses exp(-TAU^2 D t) of its memory.
        let diffused = (2.0 * turned / MEMORY).sqrt() / TAU;
        self.phase = (self.phase + turned + diffused * normal(random)).fract();
        self.amplitude * (TAU * self.phase).sin()
    }
}
