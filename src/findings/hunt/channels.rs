//! The series on which a trial shows.
//!
//! Speed and vacuum answer a leak by the mixture as well as by the air: air that leaks into a lean
//! engine slows it, into a rich one quickens it, and at one mixture between them the speed does not
//! move at all. What has one sign at every mixture is the air itself. An engine swallows
//! `n (p - b)` at the absolute pressure `p` of a tract, with `b` for the burnt gas that stays behind,
//! and openings of the area `A` pass `A p0 Psi(p/p0)` (`gas::orifice`); so
//!
//! `A ~ n (p - b) / Psi(p/p0)`
//!
//! is the area by which a tract draws, throttle and leaks together. A leak adds its own area to it,
//! whatever the engine then does; a fan, a lamp, a weak stroke and a hunting idle move speed and
//! pressure against one another along it. Air that leaks into the crankcase does not show in it, as
//! it passes the throttles like all other: that shows in the speed.

use crate::findings::Conditions;
use crate::gas::orifice::{AIR_GAMMA, psi};
use crate::signal::Signal;
use crate::signal::hoses::HoseChange;

/// A series that is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channel {
    /// Engine speed, rev/min.
    Speed,
    /// Vacuum of side 1, kPa.
    Vacuum1,
    /// Vacuum of side 2, kPa.
    Vacuum2,
    /// Area by which tract 1 draws, rev/min times kPa.
    Air1,
    /// Area by which tract 2 draws, rev/min times kPa.
    Air2,
    /// Both tracts together.
    Air,
}

impl Channel {
    /// All of them.
    pub const ALL: [Channel; 6] = [
        Channel::Speed,
        Channel::Vacuum1,
        Channel::Vacuum2,
        Channel::Air1,
        Channel::Air2,
        Channel::Air,
    ];
}

/// Pressure of the burnt gas that stays behind, as a share of the barometer: exhaust gas at about the
/// barometer fills the clearance, `1/(e - 1)` of the swept volume at compression `e`, and swells to
/// the tract's pressure before anything is drawn. From 0 to 0.14 (`e` of 8) where it swells without
/// taking up heat, less where it does; the middle, and the limit to both sides of it.
pub const BURNT_SHARE: (f64, f64) = (0.07, 0.07);

/// Value of a channel in every block; NaN where it has none. `None` where the log does not have it.
/// `burnt` is the share of [`BURNT_SHARE`].
pub fn series(
    signal: &Signal,
    conditions: &Conditions,
    channel: Channel,
    burnt: f64,
) -> Option<Vec<f64>> {
    let cycles = &signal.cycles;
    let rpm = cycles.rpm.as_deref()?;
    let columns = [cycles.vac1_kpa.as_deref(), cycles.vac2_kpa.as_deref()];
    let vacuum = |side: usize, k: usize| {
        let swapped = is_swapped(&signal.hoses, cycles.middle_s(k));
        columns[if swapped { 1 - side } else { side }].map_or(f64::NAN, |column| column[k])
    };
    let has = |side: usize| columns[side].is_some() || !signal.hoses.is_empty();
    let baro = conditions.baro_kpa;
    let area = |side: usize, k: usize| {
        let pressure = baro - vacuum(side, k);
        let area = rpm[k] * (pressure - burnt * baro) / psi(pressure / baro, AIR_GAMMA);
        if area.is_finite() { area } else { f64::NAN }
    };
    let all = |value: &dyn Fn(usize) -> f64| (0..cycles.len()).map(value).collect();
    match channel {
        Channel::Speed => Some(rpm.to_vec()),
        Channel::Vacuum1 => has(0).then(|| all(&|k| vacuum(0, k))),
        Channel::Vacuum2 => has(1).then(|| all(&|k| vacuum(1, k))),
        Channel::Air1 => has(0).then(|| all(&|k| area(0, k))),
        Channel::Air2 => has(1).then(|| all(&|k| area(1, k))),
        Channel::Air => match (has(0), has(1)) {
            (true, true) => Some(all(&|k| area(0, k) + area(1, k))),
            (true, false) => Some(all(&|k| area(0, k))),
            (false, true) => Some(all(&|k| area(1, k))),
            (false, false) => None,
        },
    }
}

fn is_swapped(hoses: &[HoseChange], at_s: f64) -> bool {
    let before = hoses.iter().rfind(|change| change.at_s <= at_s).map(|change| change.swapped);
    // Whoever puts the hoses back has swapped them before.
    before.unwrap_or_else(|| hoses.first().is_some_and(|change| !change.swapped))
}
