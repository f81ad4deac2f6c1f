//! From the numbers of a file to the quantities of the program.

use crate::units::{PressureUnit, SpeedUnit, VoltsToKpa};

/// What is done to every value of a column when it is looked at. Each keeps the order of the values or
/// turns it round.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Conversion {
    /// A speed in this unit becomes rev/min.
    Speed(SpeedUnit),
    /// A pressure in this unit becomes kPa.
    Pressure(PressureUnit),
    /// Volts become kPa, by a line and after a factor that makes volts of them.
    Volts(f64, VoltsToKpa),
    /// The value becomes its distance below this level.
    Below(f64),
    /// The value becomes its distance from this start.
    Since(f64),
    /// The sign is turned.
    Turned,
}

impl Conversion {
    /// Converts one value.
    pub fn of(self, value: f64) -> f64 {
        match self {
            Conversion::Speed(unit) => unit.to_rpm(value).0,
            Conversion::Pressure(unit) => unit.to_kpa(value).0,
            Conversion::Volts(factor, line) => line.kpa(value * factor),
            Conversion::Below(level) => level - value,
            Conversion::Since(start) => value - start,
            Conversion::Turned => -value,
        }
    }

    /// Converts values in place.
    pub(super) fn of_all(self, values: &mut [f64]) {
        values.iter_mut().for_each(|value| *value = self.of(*value));
    }
}
