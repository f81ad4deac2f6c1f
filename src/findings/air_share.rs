//! How much more air one side passes than the other.
//!
//! Each tract fills its cylinders in proportion to its absolute pressure, and each throttle passes
//! `A p0 Psi(p/p0)`. At one speed the two flows of a side are equal, hence for separate tracts
//! `A1/A2 = [p1/Psi(p1/p0)] / [p2/Psi(p2/p0)]`, in choked flow simply `p1/p2`.
//!
//! The burnt gas that stays in the cylinders takes more of their room the lower the pressure, so that the
//! charge falls a little faster than the pressure does. How much depends on the compression ratio and on
//! when the valves overlap, which nobody tells us: the ratio is not corrected for it, and its size
//! belongs to the uncertainty.

use super::Conditions;
use crate::gas::orifice::{AIR_GAMMA, psi};
use crate::units::Kpa;

/// Ratio of throttle openings from the vacuums; none when a pressure is not between zero and the
/// atmosphere.
///
/// ```
/// use evenbreath::findings::air_share::opening_ratio;
/// use evenbreath::units::Kpa;
/// // Both choked: the ratio of the absolute pressures.
/// let ratio = opening_ratio(Kpa(55.0), Kpa(57.0), Kpa(101.0)).unwrap();
/// assert!((ratio - 46.0 / 44.0).abs() < 1e-9);
/// ```
pub fn opening_ratio(vacuum1: Kpa, vacuum2: Kpa, baro: Kpa) -> Option<f64> {
    let opening = |vacuum: Kpa| {
        let pressure = baro.0 - vacuum.0;
        let flow = psi(pressure / baro.0, AIR_GAMMA);
        (pressure > 0.0 && pressure < baro.0 && flow > 0.0).then(|| pressure / flow)
    };
    let ratio = opening(vacuum1)? / opening(vacuum2)?;
    ratio.is_finite().then_some(ratio)
}

/// Compression ratio of an engine of the kind (common practice, no published source).
const COMPRESSION: f64 = 9.0;
/// Ratio of the specific heats of burnt gas.
const BURNT_GAMMA: f64 = 1.35;

/// Charge of a cylinder by the ideal cycle over that in proportion to the pressure:
/// `c / (c - 1) - (pe/p + gamma - 1) / (gamma (c - 1))`, with the exhaust at the atmosphere (Heywood,
/// Internal Combustion Engine Fundamentals, 1988, equation 6.2; from memory).
fn filling(vacuum: Kpa, baro: Kpa) -> f64 {
    let (c, gamma) = (COMPRESSION, BURNT_GAMMA);
    let back = baro.0 / (baro.0 - vacuum.0);
    c / (c - 1.0) - (back + gamma - 1.0) / (gamma * (c - 1.0))
}

/// The ratio of two sides: their mean vacuum, the difference freed from the sensors' error and its
/// standard uncertainty, kPa.
pub fn of_sides(conditions: &Conditions, vacuum: f64, difference: f64, u: f64) -> Option<Share> {
    // Offset and gain that both sides share, from the limits of one sensor (rectangular).
    let share = |limit: f64| limit / 3.0_f64.sqrt();
    with_uncertainty(&Inputs {
        vacuum_kpa: vacuum,
        u_vacuum_kpa: share(conditions.sensor_offset_limit_kpa)
            .hypot(share(conditions.sensor_gain_limit) * vacuum),
        difference_kpa: difference,
        u_difference_kpa: u,
        baro_kpa: conditions.baro_kpa,
        u_baro_kpa: conditions.u_baro_kpa,
    })
}

/// What the ratio is computed from: means and standard uncertainties, kPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inputs {
    /// Mean vacuum of the two sides.
    pub vacuum_kpa: f64,
    /// Uncertainty that both sides share (offset and gain common to both).
    pub u_vacuum_kpa: f64,
    /// Vacuum 1 less vacuum 2, freed from the pair's error.
    pub difference_kpa: f64,
    /// Its uncertainty.
    pub u_difference_kpa: f64,
    /// Barometric pressure.
    pub baro_kpa: f64,
    /// Its uncertainty.
    pub u_baro_kpa: f64,
}

/// A ratio of throttle openings and what makes it uncertain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Opening of throttle 1 over that of throttle 2.
    pub ratio: f64,
    /// What the difference of the vacuums contributes to its standard uncertainty.
    pub u_by_difference: f64,
    /// What offset and gain common to both sensors contribute.
    pub u_by_vacuum: f64,
    /// What the barometric pressure contributes.
    pub u_by_baro: f64,
    /// What the burnt gas that stays in the cylinders contributes.
    pub u_by_filling: f64,
}

impl Share {
    /// Combined standard uncertainty of the ratio.
    pub fn u(&self) -> f64 {
        let measured = self.u_by_difference.hypot(self.u_by_vacuum);
        measured.hypot(self.u_by_baro).hypot(self.u_by_filling)
    }
}

/// Ratio of throttle openings and its standard uncertainty (JCGM 100, 5.1.2, with sensitivities by
/// central differences).
pub fn with_uncertainty(inputs: &Inputs) -> Option<Share> {
    let ratio = |vacuum: f64, difference: f64, baro: f64| {
        opening_ratio(Kpa(vacuum + 0.5 * difference), Kpa(vacuum - 0.5 * difference), Kpa(baro))
    };
    let (v, d, p) = (inputs.vacuum_kpa, inputs.difference_kpa, inputs.baro_kpa);
    let half = 0.01;
    let slope = |high: Option<f64>, low: Option<f64>| Some((high? - low?) / (2.0 * half));
    let by_vacuum = slope(ratio(v + half, d, p), ratio(v - half, d, p))?;
    let by_difference = slope(ratio(v, d + half, p), ratio(v, d - half, p))?;
    let by_baro = slope(ratio(v, d, p + half), ratio(v, d, p - half))?;
    let found = ratio(v, d, p)?;
    let [one, two] = [0.5, -0.5].map(|half| filling(Kpa(v + half * d), Kpa(p)));
    let shift = found * (one / two - 1.0);
    Some(Share {
        ratio: found,
        // Not corrected, so it counts whole: a rectangle that reaches as far as the ideal cycle's effect,
        // JCGM 100, 4.3.7.
        u_by_filling: if shift.is_finite() { shift.abs() / 3f64.sqrt() } else { 0.0 },
        u_by_difference: (by_difference * inputs.u_difference_kpa).abs(),
        u_by_vacuum: (by_vacuum * inputs.u_vacuum_kpa).abs(),
        u_by_baro: (by_baro * inputs.u_baro_kpa).abs(),
    })
}
