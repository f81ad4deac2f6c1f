//! From the codes of a box, or the numbers of its plain lines, to kilopascal.

use crate::units::{PressureUnit, VoltsToKpa};

/// The straight lines by which the readings of sensor 1, sensor 2 and the crankcase become pressures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conversion {
    /// kPa a unit of reading, and kPa at reading 0.
    sides: [(f64, f64); 2],
    crank: Option<(f64, f64)>,
    /// The pressures are absolute; else they are vacuum below atmosphere, positive.
    pub absolute: bool,
}

impl Conversion {
    /// Codes of a converter of so many bits, whose code `2^bits` stands for `vref_mv`; `None` where one
    /// sensor measures absolute pressure and the other does not.
    ///
    /// A converter rounds to the nearest code: the first step is at half a code, so that a code stands
    /// for `vref code / 2^bits` (data sheet ATmega328P, section 'ADC Accuracy Definitions'; clause from
    /// memory).
    ///
    /// ```
    /// use evenbreath::sensors::{conversion::Conversion, transfer::Transfer};
    /// // A ratiometric sensor on the converter's own 5 V: 0.92 of the supply is no vacuum.
    /// let line = Transfer::named("MPXV6115V").unwrap().line(5.0);
    /// let conversion = Conversion::of_codes(14, 5000.0, [line; 2]).unwrap();
    /// assert!(conversion.kpa(0, 0.92 * 16384.0).abs() < 1e-9);
    /// ```
    pub fn of_codes(bits: u32, vref_mv: f64, lines: [VoltsToKpa; 2]) -> Option<Self> {
        Self::of(lines, volts_per_code(bits, vref_mv))
    }

    /// The same with a crankcase sensor on the third input of the converter.
    pub fn with_crank_codes(self, bits: u32, vref_mv: f64, line: VoltsToKpa) -> Self {
        let crank = Some((line.kpa_per_volt * volts_per_code(bits, vref_mv), line.kpa_at_zero));
        Conversion { crank, ..self }
    }

    /// Volts.
    pub fn of_volts(lines: [VoltsToKpa; 2]) -> Option<Self> {
        Self::of(lines, 1.0)
    }

    /// Pressures in a unit.
    pub fn of_pressures(unit: PressureUnit, absolute: bool) -> Self {
        let line = (unit.to_kpa(1.0).0, 0.0);
        Conversion { sides: [line; 2], crank: Some(line), absolute }
    }

    fn of(lines: [VoltsToKpa; 2], volts_per_reading: f64) -> Option<Self> {
        (lines[0].absolute == lines[1].absolute).then(|| Conversion {
            sides: lines.map(|line| (line.kpa_per_volt * volts_per_reading, line.kpa_at_zero)),
            crank: None,
            absolute: lines[0].absolute,
        })
    }

    /// The pressure of a side, 0 or 1, kPa.
    pub fn kpa(&self, side: usize, reading: f64) -> f64 {
        let (per_reading, at_zero) = self.sides[side];
        at_zero + per_reading * reading
    }

    /// The crankcase below atmosphere, kPa; `None` where its sensor is not known.
    pub fn crank_kpa(&self, reading: f64) -> Option<f64> {
        self.crank.map(|(per_reading, at_zero)| at_zero + per_reading * reading)
    }

    /// The readings of a crankcase sensor have a meaning.
    pub fn has_crank(&self) -> bool {
        self.crank.is_some()
    }
}

fn volts_per_code(bits: u32, vref_mv: f64) -> f64 {
    vref_mv / 1000.0 / 2f64.powi(bits as i32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sensors::transfer::Transfer;

    /// `V = 5.1 (0.009 P - 0.095)`, Motorola/Freescale data sheet MPX4115A/D: 40 kPa give 1.3515 V.
    #[test]
    fn the_code_of_a_data_sheet_point_gives_its_pressure() {
        let line = Transfer::named("MPX4115A").unwrap().line(5.1);
        let conversion = Conversion::of_codes(10, 5100.0, [line; 2]).unwrap();
        let code = 1.3515 / 5.1 * 1024.0;
        assert!((conversion.kpa(1, code) - 40.0).abs() < 1e-9 && conversion.absolute);
        let volts = Conversion::of_volts([line; 2]).unwrap();
        assert!((volts.kpa(0, 1.3515) - 40.0).abs() < 1e-9);
        // The supply cancels where the converter's reference is the supply.
        let low = Transfer::named("MPX4115A").unwrap().line(4.8);
        let same = Conversion::of_codes(10, 4800.0, [low; 2]).unwrap();
        assert!((same.kpa(0, code) - 40.0).abs() < 1e-9);
    }

    #[test]
    fn an_absolute_sensor_and_one_that_is_not_are_no_pair() {
        let named = |name| Transfer::named(name).unwrap().line(5.0);
        let lines = [named("MPX4115A"), named("MPXV6115V")];
        assert_eq!(Conversion::of_codes(10, 5000.0, lines), None);
    }
}
