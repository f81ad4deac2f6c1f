//! One inlet tract: a volume filled past the throttle and emptied by its cylinders.
//!
//! Filling and emptying at a fixed temperature: `dm/dt` is the sum of the flows, `p = m R T/V`
//! (Heywood, Internal Combustion Engine Fundamentals, 1988, chapter 7; from memory). The flows are
//! those of [`crate::gas::orifice`], isentropic to the narrowest section, either way.

use super::charge::Charge;
use crate::gas::atmosphere::GAS_CONSTANT;
use crate::gas::orifice::Ends;

/// Pressure difference below which the flow between two spaces is taken as laminar, Pa.
///
/// The flow through a sharp hole has an infinite slope at no difference, in the formula and not in
/// nature; without this the explicit steps would overshoot where a large hole joins two spaces. It
/// leaves a crankcase with its filler open some five pascals lower than the formula would.
const LAMINAR_PA: f64 = 20.0;

/// Mass flow of air, kg/s, from `from_pa` to `to_pa` through an effective area, m2; negative when
/// the air goes the other way.
pub(super) fn flow(area: f64, from_pa: f64, to_pa: f64, kelvin: f64) -> f64 {
    let difference = from_pa - to_pa;
    let forward = |upstream: f64, downstream: f64| {
        area * Ends { upstream_pa: upstream, downstream_pa: downstream, upstream_k: kelvin }.flux()
    };
    if difference.abs() < LAMINAR_PA {
        difference / LAMINAR_PA * forward(to_pa + LAMINAR_PA, to_pa)
    } else if difference > 0.0 {
        forward(from_pa, to_pa)
    } else {
        -forward(to_pa, from_pa)
    }
}

/// The charge between throttle and valves.
#[derive(Debug, Clone)]
pub(super) struct Tract {
    volume: f64,
    kelvin: f64,
    /// What is in it.
    pub(super) charge: Charge,
}

impl Tract {
    /// A tract of this volume, m3, and temperature, K, filled to a pressure, Pa.
    pub(super) fn new(volume: f64, kelvin: f64, pressure: f64, mixture: f64) -> Self {
        let air = pressure * volume / (GAS_CONSTANT * kelvin);
        Tract { volume, kelvin, charge: Charge { air, fuel: air * mixture } }
    }

    /// Absolute pressure, Pa. Vapour counts for nothing: it is a fiftieth of the air.
    pub(super) fn pressure(&self) -> f64 {
        self.charge.air * GAS_CONSTANT * self.kelvin / self.volume
    }

    /// Density, kg/m3.
    pub(super) fn density(&self) -> f64 {
        self.charge.air / self.volume
    }
}
