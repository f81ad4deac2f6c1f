//! From a trapped charge to work on the crank, and what the crank has to overcome.
//!
//! The work of a stroke is `work * m_air * eta(mixture) * advance(speed) * (1 + variation)`, spread
//! over the power stroke as half a sine. The loss by mixture, the gain by advance and the variation
//! from stroke to stroke (correlated from cycle to cycle, for the residual gas of one is in the next)
//! are common practice, no published source; the default of `work` is a seventh of the heat of the
//! fuel that a kilogram of air burns, about what an idling engine makes of it.

use super::charge::Charge;
use super::noise::normal;
use super::settings::Settings;
use rand_pcg::Pcg64;
use std::f64::consts::PI;

/// Mixture that gives most work from a kilogram of air. Common practice, no published source.
const BEST_MIXTURE: f64 = 1.1;

/// Share of the work lost by a mixture leaner or richer than the best, per square of the distance:
/// lean burns slowly at once, rich only wastes fuel. Common practice, no published source.
const LEAN_LOSS: f64 = 2.6;
const RICH_LOSS: f64 = 0.9;

/// Work of an idle charge, as a share of that with the best mixture.
pub(super) fn mixture_share(mixture: f64) -> f64 {
    let away = mixture - BEST_MIXTURE;
    let loss = if away < 0.0 { LEAN_LOSS } else { RICH_LOSS } * away * away;
    (1.0 - loss).max(0.0)
}

/// Gain of work per kilogram with speed, from the ignition advance that comes with it.
fn advance_share(rpm: f64) -> f64 {
    1.0 + 0.8 * ((rpm - 1000.0) / 1800.0).clamp(0.0, 1.0)
}

/// Friction mean effective pressure, Pa, at a speed, rev/min.
///
/// `97 + 15 (n/1000) + 5 (n/1000)^2` kPa: the fit for four-cylinder spark-ignition engines in
/// Heywood, Internal Combustion Engine Fundamentals (1988), chapter 13; from memory.
pub(super) fn friction_pressure(rpm: f64) -> f64 {
    let thousands = rpm / 1000.0;
    (97.0 + 15.0 * thousands + 5.0 * thousands * thousands) * 1000.0
}

/// Mean torque of a mean effective pressure, N m, for a swept volume, m3, of a four-stroke engine.
pub(super) fn torque_of(pressure: f64, swept: f64) -> f64 {
    pressure * swept / (4.0 * PI)
}

/// One cylinder: its place in the working cycle and what it has drawn.
#[derive(Debug, Clone)]
pub(super) struct Cylinder {
    /// Crank angle at which its intake stroke begins, rad of the working cycle.
    pub(super) start: f64,
    /// Index of its tract.
    pub(super) tract: usize,
    /// Share of a full charge that it draws, on average and on the stroke at hand.
    draw: f64,
    pub(super) draw_now: f64,
    /// What it has drawn in this cycle.
    drawn: Charge,
    /// Work of the power stroke at hand, J.
    work: f64,
    /// Deviation of its last stroke, standardised.
    deviation: f64,
}

/// A stretch of crank angle of one step, rad since the cylinder's intake began.
#[derive(Debug, Clone, Copy)]
pub(super) struct Arc {
    pub(super) from: f64,
    pub(super) to: f64,
}

impl Cylinder {
    pub(super) fn new(start: f64, tract: usize, draw: f64) -> Self {
        Cylinder {
            start,
            tract,
            draw,
            draw_now: draw,
            drawn: Charge::default(),
            work: 0.0,
            deviation: 0.0,
        }
    }

    /// Volume, m3, that the piston sweeps on its intake stroke in an arc; 0 on other strokes.
    ///
    /// A long connecting rod: `V_s/2 (1 - cos)` of the crank angle.
    pub(super) fn swept(arc: Arc, swept_m3: f64) -> f64 {
        let from = if arc.to > CYCLE { 0.0 } else { arc.from };
        let to = if arc.to > CYCLE { arc.to - CYCLE } else { arc.to };
        if from >= PI { 0.0 } else { 0.5 * swept_m3 * (from.cos() - to.min(PI).cos()) }
    }

    /// Takes in a part of the charge.
    pub(super) fn draw_in(&mut self, charge: Charge) {
        self.drawn.add(charge);
    }

    /// Burns what was drawn: at the spark the work of the coming stroke is settled.
    pub(super) fn spark(
        &mut self,
        settings: &Settings,
        rpm: f64,
        common: f64,
        lit: bool,
        random: &mut Pcg64,
    ) {
        let memory = settings.stroke_memory;
        self.deviation = memory * self.deviation + (1.0 - memory * memory).sqrt() * normal(random);
        let vary = (1.0 + common + settings.stroke_spread * self.deviation).max(0.0);
        let share = mixture_share(self.drawn.mixture()) * advance_share(rpm);
        self.work = if lit { settings.work * self.drawn.air * share * vary } else { 0.0 };
        self.drawn = Charge::default();
        self.draw_now = self.draw * (1.0 + settings.draw_spread * normal(random));
    }

    /// Torque on the crank, N m, in the middle of an arc: half a sine over the power stroke, whose
    /// integral is the work.
    pub(super) fn torque(&self, arc: Arc) -> f64 {
        let angle = 0.5 * (arc.from + arc.to) - 2.0 * PI;
        if (0.0..PI).contains(&angle) { 0.5 * self.work * angle.sin() } else { 0.0 }
    }
}

/// Share of the piston's sweep that fresh charge fills, from the pressure ratio of tract to
/// exhaust: the burnt gas left in the clearance expands first.
///
/// The clearance `V_c = V_s/(c - 1)` is full of gas at `p_e` when the valve opens; down to `p` it
/// expands by `(p_e/p)^(1/k)`, `k = 1.35` for burnt gas, and what is left of the stroke is
/// `1 + (1 - (p_e/p)^(1/k))/(c - 1)`. Heywood, chapter 6, the ideal volumetric efficiency; from
/// memory.
pub(super) fn filling(tract_pa: f64, exhaust_pa: f64, compression: f64) -> f64 {
    let residual = (exhaust_pa / tract_pa).powf(1.0 / 1.35);
    (1.0 + (1.0 - residual) / (compression - 1.0)).max(0.0)
}

/// Torque of the starter, N m, at a speed, rev/min: a straight line, as a series motor of few turns
/// has nearly. Common practice, no published source.
pub(super) fn starter_torque(rpm: f64) -> f64 {
    60.0 * (1.0 - rpm / 320.0).max(0.0)
}

/// Working cycle, rad.
pub(super) const CYCLE: f64 = 4.0 * PI;

/// Revolutions per minute of an angular speed, rad/s.
pub(super) fn rpm_of(omega: f64) -> f64 {
    omega * 30.0 / PI
}
