//! The idle's vacuum against what manuals expect at this barometer: an observation, no diagnosis.
//!
//! A healthy warm engine idles at 17 to 22 inHg at sea level (common practice, no published source;
//! "about 20" in US Army Ordnance subcourse OD1001, lesson 3), and about 1 inHg lower per 1,000 ft of
//! height (the same, page 87). That is the fall of the barometer itself: 1.066 inHg over the first
//! 1,000 ft of ISO 2533, since the throttles leave the pressure behind them nearly as it was. So the
//! expected vacuum is that of sea level less what the barometer is below the standard atmosphere.

use super::Conditions;
use super::advice::is_idle;
use super::balance::PlateauBalance;
use crate::gas::atmosphere;
use crate::sample::Remark;
use crate::units::{Kpa, PressureUnit, STANDARD_ATMOSPHERE};

/// Vacuum of a healthy idle at sea level, inHg.
const EXPECTED_INHG: (f64, f64) = (17.0, 22.0);
/// Coverage factor of the doubt about sensors and barometer.
const COVERAGE: f64 = 2.0;

/// Pressure of the standard atmosphere (ISO 2533) at a height above sea level as a map gives it, m;
/// none where the formula does not hold.
///
/// ```
/// use evenbreath::findings::idle_vacuum::standard_baro;
/// assert!((standard_baro(1000.0).unwrap().0 - 89.876).abs() < 0.001);
/// ```
pub fn standard_baro(height_m: f64) -> Option<Kpa> {
    atmosphere::pressure(atmosphere::geopotential(height_m)).map(|pa| Kpa(pa / 1000.0))
}

/// Lowest and highest vacuum expected of a healthy idle at a barometric pressure, kPa.
pub fn expected_kpa(baro_kpa: f64) -> (f64, f64) {
    let missing = STANDARD_ATMOSPHERE.0 - baro_kpa;
    let at = |inhg| PressureUnit::InHg.to_kpa(inhg).0 - missing;
    (at(EXPECTED_INHG.0), at(EXPECTED_INHG.1))
}

/// A remark where the vacuum of the first idle lies outside what is expected, beyond what sensors and
/// barometer may be wrong by.
pub fn remark(plateaus: &[PlateauBalance], conditions: &Conditions) -> Option<Remark> {
    let idle = plateaus.iter().find(|p| p.rpm.is_some() && is_idle(p))?;
    let vacuum = 0.5 * (idle.vac1_kpa + idle.vac2_kpa);
    let (low, high) = expected_kpa(conditions.baro_kpa);
    let share = |limit: f64| limit / 3.0_f64.sqrt();
    let u = share(conditions.sensor_offset_limit_kpa)
        .hypot(share(conditions.sensor_gain_limit) * vacuum)
        .hypot(conditions.u_baro_kpa);
    let side = if vacuum < low - COVERAGE * u {
        "less"
    } else if vacuum > high + COVERAGE * u {
        "more"
    } else {
        return None;
    };
    Some(Remark::of_pressures("idle_vacuum", 1, &[idle.from_s], |say| {
        format!(
            "the idle draws {} of vacuum, {side} than the {} to {} that manuals expect of a healthy engine at a barometer of {} (17 to 22 inHg at sea level, about 1 inHg less per 1,000 ft: US Army Ordnance subcourse OD1001); an observation, not a diagnosis",
            say.pressure(vacuum, 1),
            say.number(low, 0),
            say.pressure(high, 0),
            say.pressure(conditions.baro_kpa, 1)
        )
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shop_rule_and_the_standard_atmosphere_agree() {
        // One inch less per 1,000 ft: 0.12 inHg off at 5,000 ft, 0.66 inHg at 10,000 ft.
        let inch = PressureUnit::InHg.to_kpa(1.0).0;
        for (feet, within) in [(1000.0, 0.12), (3000.0, 0.12), (5000.0, 0.12), (10_000.0, 0.67)] {
            let baro = standard_baro(feet * 0.3048).unwrap();
            let (low, high) = expected_kpa(baro.0);
            let rule = 17.0 - feet / 1000.0;
            assert!((low / inch - rule).abs() < within, "{feet} ft: {}", low / inch);
            assert!((high - low - 5.0 * inch).abs() < 1e-9);
        }
        assert_eq!(standard_baro(20_000.0), None);
    }
}
