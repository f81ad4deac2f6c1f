//! What the values of a pressure column say about it, whatever its heading says.

use super::claims::Called;
use crate::sample::Column;
use crate::units::{Kpa, PressureUnit};

/// What a manifold column measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Below atmosphere, positive.
    Vacuum,
    /// Absolute pressure.
    Absolute,
    /// Against atmosphere, so that vacuum is negative.
    Gauge,
}

/// Where the values of a column lie: 5, 50 and 95 % of them are below these.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    /// 5 %.
    pub low: f64,
    /// Median.
    pub middle: f64,
    /// 95 %.
    pub high: f64,
    /// Half of the values lie within 5 % of the median, so that nothing but the weather moved them.
    pub steady: bool,
    /// Median while the engine stood still; `None` where that is not known.
    pub off: Option<f64>,
}

impl Spread {
    /// Measures finite values, some thousands of them at most; `None` where there are none.
    pub fn of(values: &Column, off_rows: &[u32]) -> Option<Spread> {
        let every = (values.len() / 8192).max(1);
        let mut cursor = values.cursor();
        let sample = (0..values.len()).step_by(every).map(|at| cursor.glance(at));
        let mut sorted: Vec<f64> = sample.filter(|v| v.is_finite()).collect();
        if sorted.is_empty() {
            // A sparse channel: every step may have missed its readings.
            sorted = values.iter().filter(|v| v.is_finite()).collect();
        }
        sorted.sort_by(f64::total_cmp);
        let last = sorted.len().checked_sub(1)?;
        let at = |part: f64| sorted[(part * last as f64).round() as usize];
        let off = middle_on(values, off_rows);
        let steady = at(0.75) - at(0.25) < 0.05 * at(0.5).abs();
        Some(Spread { low: at(0.05), middle: at(0.5), high: at(0.95), steady, off })
    }

    /// The same in kilopascal.
    pub fn in_kpa(self, unit: PressureUnit) -> Spread {
        let kpa = |value| unit.to_kpa(value).0;
        Spread {
            low: kpa(self.low),
            middle: kpa(self.middle),
            high: kpa(self.high),
            steady: self.steady,
            off: self.off.map(kpa),
        }
    }
}

/// The median of the finite values on these rows; `None` for fewer than three.
pub(super) fn middle_on(values: &Column, rows: &[u32]) -> Option<f64> {
    let mut cursor = values.cursor();
    let found = rows.iter().map(|row| cursor.glance(*row as usize)).filter(|v| v.is_finite());
    let mut found: Vec<f64> = found.collect();
    (found.len() >= 3).then(|| {
        let middle = found.len() / 2;
        *found.select_nth_unstable_by(middle, f64::total_cmp).1
    })
}

/// The atmosphere, kPa, where no barometer narrows it: sea level in a high to 1400 m in a low.
const ATMOSPHERE: std::ops::RangeInclusive<f64> = 85.0..=106.0;
/// A sensor at rest reads zero within this, kPa.
pub(super) const ZERO: f64 = 8.0;
/// No engine draws a deeper vacuum than this for half of a log, kPa (common practice, no published
/// source).
pub(super) const DEEPEST: f64 = 88.0;

/// What a column measures as its values show it; `None` where they fit what it is called.
pub(super) fn kind_shown(spread: Spread, called: Called, baro: Option<Kpa>) -> Option<Kind> {
    let atmosphere = |kpa: f64| match baro {
        Some(baro) => (kpa - baro.0).abs() < 5.0,
        None => ATMOSPHERE.contains(&kpa),
    };
    match spread.off {
        Some(off) if atmosphere(off) && spread.high < off + 8.0 => return Some(Kind::Absolute),
        Some(off) if off.abs() < ZERO && spread.middle < -ZERO => return Some(Kind::Gauge),
        Some(off) if off.abs() < ZERO => return Some(Kind::Vacuum),
        _ => {}
    }
    let vacuum = matches!(called, Called::Vacuum | Called::Nothing);
    match () {
        () if spread.middle < -5.0 => Some(Kind::Gauge),
        () if vacuum && (spread.middle > DEEPEST || spread.high > 106.0) => Some(Kind::Absolute),
        () if !vacuum && spread.high < ZERO => Some(Kind::Vacuum),
        () => None,
    }
}

/// What a column measures by its name alone.
pub(super) fn kind_called(called: Called) -> Kind {
    match called {
        Called::Vacuum | Called::Nothing => Kind::Vacuum,
        Called::Absolute | Called::Pressure => Kind::Absolute,
    }
}

/// The unit of a column that names none, in units of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum UnitShown {
    /// It reads the atmosphere, and in this unit only is that possible.
    Atmosphere(PressureUnit),
    /// Possible kilopascal, and nothing speaks against it.
    Assumed,
    /// No possible kilopascal.
    Unknown,
}

/// Tells the unit of a column without one: at rest an absolute sensor reads the atmosphere, which
/// has a different number in every unit.
pub(super) fn unit_shown(spread: Spread) -> UnitShown {
    const UNITS: [PressureUnit; 7] = [
        PressureUnit::Kpa,
        PressureUnit::Hpa,
        PressureUnit::MmHg,
        PressureUnit::InHg,
        PressureUnit::Psi,
        PressureUnit::Bar,
        PressureUnit::Pa,
    ];
    let fits =
        |reading: f64| UNITS.into_iter().find(|unit| ATMOSPHERE.contains(&unit.to_kpa(reading).0));
    if let Some(unit) = spread.off.and_then(fits) {
        return UnitShown::Atmosphere(unit);
    }
    // Without the engine at rest a steady reading of 15 or 28 may be the atmosphere in psi or inHg
    // and as well a vacuum; only these cannot be one.
    let plain = [PressureUnit::Kpa, PressureUnit::Hpa, PressureUnit::Pa];
    if let Some(unit) = fits(spread.middle).filter(|unit| spread.steady && plain.contains(unit)) {
        return UnitShown::Atmosphere(unit);
    }
    if spread.high <= 110.0 && spread.low >= -110.0 {
        return UnitShown::Assumed;
    }
    // 850 to 1060 is the atmosphere in hPa, and half of a log at that in any other unit, or as a
    // vacuum, is deeper than an engine draws.
    if ATMOSPHERE.contains(&PressureUnit::Hpa.to_kpa(spread.middle).0) {
        return UnitShown::Atmosphere(PressureUnit::Hpa);
    }
    UnitShown::Unknown
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread(low: f64, middle: f64, high: f64, off: Option<f64>) -> Spread {
        Spread { low, middle, high, steady: high - low < 0.05 * middle.abs(), off }
    }

    #[test]
    fn the_engine_at_rest_tells_vacuum_from_absolute() {
        let shown = |s| kind_shown(s, Called::Vacuum, None);
        assert_eq!(shown(spread(24.0, 26.0, 101.0, Some(101.0))), Some(Kind::Absolute));
        assert_eq!(shown(spread(0.1, 57.0, 60.0, Some(0.3))), Some(Kind::Vacuum));
        assert_eq!(shown(spread(-60.0, -57.0, 0.2, Some(0.3))), Some(Kind::Gauge));
        // A tachometer that lost its pulses at idle says nothing.
        assert_eq!(shown(spread(60.0, 67.0, 70.0, Some(67.0))), None);
    }

    #[test]
    fn impossible_values_tell_it_too() {
        let high = spread(99.0, 99.9, 100.1, None);
        assert_eq!(kind_shown(high, Called::Vacuum, None), Some(Kind::Absolute));
        assert_eq!(kind_shown(high, Called::Pressure, None), None);
        assert_eq!(
            kind_shown(spread(-0.5, 0.0, 2.0, None), Called::Absolute, None),
            Some(Kind::Vacuum)
        );
        assert_eq!(
            kind_shown(spread(-60.0, -55.0, -20.0, None), Called::Vacuum, None),
            Some(Kind::Gauge)
        );
        assert_eq!(kind_shown(spread(50.0, 55.0, 60.0, None), Called::Vacuum, None), None);
    }

    #[test]
    fn the_atmosphere_tells_the_unit() {
        let shown = |off| unit_shown(spread(20.0, 30.0, off, Some(off)));
        assert_eq!(shown(101.0), UnitShown::Atmosphere(PressureUnit::Kpa));
        assert_eq!(shown(1008.0), UnitShown::Atmosphere(PressureUnit::Hpa));
        assert_eq!(shown(29.9), UnitShown::Atmosphere(PressureUnit::InHg));
        assert_eq!(shown(756.0), UnitShown::Atmosphere(PressureUnit::MmHg));
        assert_eq!(shown(14.6), UnitShown::Atmosphere(PressureUnit::Psi));
        assert_eq!(
            unit_shown(spread(990.0, 995.0, 1003.0, None)),
            UnitShown::Atmosphere(PressureUnit::Hpa)
        );
        assert_eq!(
            unit_shown(spread(400.0, 986.0, 1008.0, None)),
            UnitShown::Atmosphere(PressureUnit::Hpa)
        );
        assert_eq!(unit_shown(spread(40.0, 55.0, 60.0, None)), UnitShown::Assumed);
        assert_eq!(unit_shown(spread(15.0, 15.0, 15.0, None)), UnitShown::Assumed);
        assert_eq!(unit_shown(spread(300.0, 500.0, 600.0, None)), UnitShown::Unknown);
    }

    #[test]
    fn spreads_of_sparse_and_empty_columns() {
        let mut values = vec![f64::NAN; 50_000];
        assert_eq!(Spread::of(&values.clone().into(), &[]), None);
        values[7] = 3.0;
        assert_eq!(Spread::of(&values.into(), &[]).map(|s| s.middle), Some(3.0));
        assert_eq!(
            Spread::of(&vec![1.0, 2.0, 3.0].into(), &[0, 1, 2]).and_then(|s| s.off),
            Some(2.0)
        );
    }
}
