//! How much more air one side passes than the other.
//!
//! Each tract fills its cylinders in proportion to its absolute pressure, and each throttle passes
//! `A p0 Psi(p/p0)`. At one speed the two flows of a side are equal, hence for separate tracts
//! `A1/A2 = [p1/Psi(p1/p0)] / [p2/Psi(p2/p0)]`, in choked flow simply `p1/p2`.

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
}

impl Share {
    /// Combined standard uncertainty of the ratio.
    pub fn u(&self) -> f64 {
        self.u_by_difference.hypot(self.u_by_vacuum).hypot(self.u_by_baro)
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
    Some(Share {
        ratio: ratio(v, d, p)?,
        u_by_difference: (by_difference * inputs.u_difference_kpa).abs(),
        u_by_vacuum: (by_vacuum * inputs.u_vacuum_kpa).abs(),
        u_by_baro: (by_baro * inputs.u_baro_kpa).abs(),
    })
}
