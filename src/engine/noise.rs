//! Random variation with a memory.

use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// A draw from the standard normal distribution.
pub(super) fn normal(random: &mut Pcg64) -> f64 {
    StandardNormal.sample(random)
}

/// A value of mean 0 that forgets with a time constant (Ornstein-Uhlenbeck process, stepped
/// exactly, so that uneven steps do no harm).
#[derive(Debug, Clone)]
pub(super) struct Wander {
    spread: f64,
    time_s: f64,
    /// The value now.
    pub(super) value: f64,
}

impl Wander {
    pub(super) fn new(spread: f64, time_s: f64, random: &mut Pcg64) -> Self {
        Wander { spread, time_s, value: spread * normal(random) }
    }

    /// Rests at the mean from now on.
    pub(super) fn calm(&mut self) {
        (self.spread, self.value) = (0.0, 0.0);
    }

    pub(super) fn advance(&mut self, by_s: f64, random: &mut Pcg64) {
        let keep = (-by_s / self.time_s).exp();
        let fresh = self.spread * (1.0 - keep * keep).sqrt();
        self.value = keep * self.value + fresh * normal(random);
    }
}

/// A swing of a fixed amplitude whose phase wanders, so that it is never quite periodic.
#[derive(Debug, Clone)]
pub(super) struct Swing {
    period_s: f64,
    depth: f64,
    phase: f64,
}

impl Swing {
    /// Standard deviation of the phase after one period, rad.
    const LOOSENESS: f64 = 0.6;

    pub(super) fn new(period_s: f64, depth: f64, random: &mut Pcg64) -> Self {
        Swing { period_s, depth, phase: normal(random) * std::f64::consts::PI }
    }

    pub(super) fn advance(&mut self, by_s: f64, random: &mut Pcg64) {
        let periods = by_s / self.period_s;
        self.phase += std::f64::consts::TAU * periods
            + Self::LOOSENESS * periods.max(0.0).sqrt() * normal(random);
    }

    pub(super) fn value(&self) -> f64 {
        self.depth * self.phase.sin()
    }
}
