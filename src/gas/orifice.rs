//! Compressible flow of an ideal gas through an opening.
//!
//! Isentropic flow to the narrowest section, after NACA Report 1135, Equations, Tables and Charts
//! for Compressible Flow (1953), equations 44 to 54 in today's symbols: with the pressure ratio
//! `r = p2/p1`,
//!
//! `m = Cd A p1 / sqrt(R T1) * Psi(r)`,
//! `Psi(r) = sqrt(2g/(g-1) (r^(2/g) - r^((g+1)/g)))` down to the critical ratio and constant below.
//!
//! (The equation numbers are from memory; the tables are checked in `tests/gas.rs`.) Real air near
//! room conditions passes 0.06 % more than this in choked flow, which is far below what a discharge
//! coefficient is known to.

use super::atmosphere::GAS_CONSTANT;

/// Ratio of specific heats of air, the value of NACA Report 1135.
pub const AIR_GAMMA: f64 = 1.4;

/// Pressure ratio below which the flow is choked.
///
/// `(2/(g+1))^(g/(g-1))`, 0.5283 for air; NACA Report 1135, table I, Mach number 1.
pub fn critical_ratio(gamma: f64) -> f64 {
    (2.0 / (gamma + 1.0)).powf(gamma / (gamma - 1.0))
}

/// The flow function in choked flow.
///
/// `sqrt(g) (2/(g+1))^((g+1)/(2(g-1)))`, 0.6847 for air.
pub fn choked_constant(gamma: f64) -> f64 {
    gamma.sqrt() * (2.0 / (gamma + 1.0)).powf((gamma + 1.0) / (2.0 * (gamma - 1.0)))
}

/// The flow function of a pressure ratio, downstream over upstream, both absolute.
///
/// 0 at ratio 1 and above (no flow forward), [`choked_constant`] at and below the critical ratio.
///
/// ```
/// use evenbreath::gas::orifice::{psi, AIR_GAMMA};
/// assert!((psi(0.4, AIR_GAMMA) - 0.6847).abs() < 5e-5);
/// assert_eq!(psi(1.0, AIR_GAMMA), 0.0);
/// ```
pub fn psi(ratio: f64, gamma: f64) -> f64 {
    if ratio >= 1.0 {
        0.0
    } else if ratio <= critical_ratio(gamma) {
        choked_constant(gamma)
    } else {
        let wide = ratio.powf(2.0 / gamma) - ratio.powf((gamma + 1.0) / gamma);
        (2.0 * gamma / (gamma - 1.0) * wide).sqrt()
    }
}

/// Where air comes from and goes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ends {
    /// Absolute pressure upstream, Pa.
    pub upstream_pa: f64,
    /// Absolute pressure downstream, Pa.
    pub downstream_pa: f64,
    /// Temperature upstream, K.
    pub upstream_k: f64,
}

impl Ends {
    /// Mass flow of air, kg/s, through one square metre of effective area (`Cd A`).
    ///
    /// 0 when the downstream pressure is the higher one: the caller turns the ends round.
    pub fn flux(&self) -> f64 {
        self.upstream_pa / (GAS_CONSTANT * self.upstream_k).sqrt()
            * psi(self.downstream_pa / self.upstream_pa, AIR_GAMMA)
    }

    /// True when the flow depends on the upstream side alone.
    pub fn choked(&self) -> bool {
        self.downstream_pa <= critical_ratio(AIR_GAMMA) * self.upstream_pa
    }
}

/// Mass flow of air, kg/s, through an opening of `area` m2 and discharge coefficient `discharge`.
pub fn mass_flow(discharge: f64, area: f64, ends: &Ends) -> f64 {
    discharge * area * ends.flux()
}

/// Diameter, m, of the round hole that passes this mass flow of air, kg/s.
///
/// `None` when no finite hole does: no pressure difference, or a negative flow.
pub fn equivalent_hole(mass_flow: f64, discharge: f64, ends: &Ends) -> Option<f64> {
    let area = mass_flow / (discharge * ends.flux());
    (area.is_finite() && area >= 0.0).then(|| hole_of_area(area))
}

/// Area, m2, of a round hole of this diameter, m.
pub fn area_of_hole(diameter: f64) -> f64 {
    std::f64::consts::FRAC_PI_4 * diameter * diameter
}

/// Diameter, m, of a round hole of this area, m2.
pub fn hole_of_area(area: f64) -> f64 {
    (area / std::f64::consts::FRAC_PI_4).sqrt()
}
