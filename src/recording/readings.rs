//! What the readings of a source mean, as soon as that is known.

use super::Failure;
use crate::sensors::conversion::Conversion;
use crate::sensors::transfer::Transfer;
use crate::sources::event::{BoxInfo, Columns};
use crate::units::PressureUnit;

/// A converter's reference of at least this is taken for the sensors' supply, mV: both are 5 V nominal.
const SUPPLY_FROM_MV: f64 = 4500.0;

/// What a person said of the sensors.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Said {
    /// The sensor on both sides; goes before what the box says.
    pub sensor: Option<Transfer>,
    /// The crankcase sensor on the third input of the box.
    pub crank: Option<Transfer>,
    /// Supply of the sensors, V.
    pub supply_v: Option<f64>,
    /// Unit of numbers whose heading names none.
    pub unit: Option<PressureUnit>,
}

/// The meaning of the readings, and the words for it in the head of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Meaning {
    /// The lines.
    pub conversion: Conversion,
    /// The log has a crankcase column.
    pub crank: bool,
    /// The only sensor, 0 or 1, where the source has one alone.
    pub one_sensor: Option<usize>,
    /// The highest reading there can be; infinite for pressures.
    highest: f64,
    /// The sentences are numbered.
    pub counted: bool,
    /// What the sensor is, in words.
    pub sensor: String,
}

impl Meaning {
    /// A converter or sensor can give this reading.
    pub fn can_be(&self, reading: f64) -> bool {
        reading <= self.highest
    }
}

/// Codes of a box.
///
/// # Errors
/// A sensor that is not known by name, or two that do not make a pair.
pub fn of_box(info: &BoxInfo, said: &Said) -> Result<Meaning, Failure> {
    let named = |name: &str| {
        said.sensor
            .or_else(|| Transfer::named(name))
            .ok_or_else(|| Failure::UnknownSensor { sensor: name.to_string() })
    };
    let sensors = [named(&info.sensors[0])?, named(&info.sensors[1])?];
    let reference_v = Some(info.vref_mv / 1000.0).filter(|_| info.vref_mv >= SUPPLY_FROM_MV);
    let supply_v = |sensor: &Transfer| said.supply_v.or(reference_v).unwrap_or(sensor.supply_v);
    let lines = [0, 1].map(|side| sensors[side].line(supply_v(&sensors[side])));
    let conversion =
        Conversion::of_codes(info.adc_bits, info.vref_mv, lines).ok_or(Failure::UnlikeSensors)?;
    let conversion = said.crank.map_or(conversion, |sensor| {
        let line = sensor.line(supply_v(&sensor));
        conversion.with_crank_codes(info.adc_bits, info.vref_mv, line)
    });
    let words = |sensor: &Transfer| format!("{} at {} V", sensor.name, supply_v(sensor));
    let (one, two) = (words(&sensors[0]), words(&sensors[1]));
    let sensor = if one == two { one } else { format!("{one} and {two}") };
    let highest = 2f64.powi(info.adc_bits as i32) - 1.0;
    let crank = conversion.has_crank();
    Ok(Meaning { conversion, crank, one_sensor: None, counted: true, highest, sensor })
}

/// Numbers of plain lines: volts where a sensor was named, else pressures.
///
/// # Errors
/// As [`of_box`].
pub fn of_lines(columns: Columns, said: &Said) -> Result<Meaning, Failure> {
    let Columns { crank, one_sensor, .. } = columns;
    if let Some(sensor) = said.sensor.filter(|_| !columns.named) {
        let supply_v = said.supply_v.unwrap_or(sensor.supply_v);
        let line = sensor.line(supply_v);
        let conversion = Conversion::of_volts([line; 2]).ok_or(Failure::UnlikeSensors)?;
        let sensor = format!("{} at {supply_v} V, from volts", sensor.name);
        // A ratiometric output stays below its supply; a little above it is the meter's error.
        let highest = 1.05 * supply_v;
        return Ok(Meaning { conversion, crank, one_sensor, counted: false, highest, sensor });
    }
    let unit = if columns.named { None } else { said.unit }.unwrap_or(PressureUnit::Kpa);
    let conversion = Conversion::of_pressures(unit, columns.absolute);
    let kind = if columns.absolute { "absolute pressure" } else { "vacuum" };
    let sensor = format!("plain numbers, {kind} in {}", unit.symbol());
    let highest = f64::INFINITY;
    Ok(Meaning { conversion, crank, one_sensor, counted: false, highest, sensor })
}
