//! Reading and checking the values a person gives, on the command line and in a profile.

use crate::units::{Kpa, PressureUnit, STANDARD_ATMOSPHERE};
use std::ops::RangeInclusive;
use std::path::PathBuf;

/// Number of cylinders, checked.
pub type Cylinders = u32;

/// A pressure as a person writes it: `10 mmHg`, or a bare number whose unit goes without saying.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Given {
    /// The number.
    pub value: f64,
    /// The unit behind it, when there is one.
    pub unit: Option<PressureUnit>,
}

impl Given {
    /// A number without a unit.
    pub fn bare(value: f64) -> Self {
        Given { value, unit: None }
    }

    /// In kPa; a bare number is in `usual`.
    pub fn kpa(self, usual: PressureUnit) -> Kpa {
        self.unit.unwrap_or(usual).to_kpa(self.value)
    }
}

/// A pressure such as `10 mmHg`.
pub fn pressure(text: &str) -> Result<Given, String> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-')))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let value = decimal(number)?.ok_or_else(|| {
        format!("{text:?} has no number in front; write the number, then its unit")
    })?;
    if unit.trim().is_empty() {
        return Ok(Given::bare(value));
    }
    let unit = PressureUnit::parse(unit).ok_or_else(|| {
        let known = PressureUnit::ALL.map(PressureUnit::symbol).join(", ");
        format!("{:?} is no unit of pressure; known are {known}", unit.trim())
    })?;
    Ok(Given { value, unit: Some(unit) })
}

/// A tolerance on the command line; [`checked_tolerance`] looks at its size.
pub fn tolerance(text: &str) -> Result<Given, String> {
    let given = pressure(text)?;
    if given.value > 0.0 {
        return Ok(given);
    }
    Err("must be above zero, such as '10 mmHg'".into())
}

/// A tolerance that makes sense; a bare number is in `named`, or in kPa when nobody named a unit.
pub fn checked_tolerance(given: Given, named: Option<PressureUnit>) -> Result<Kpa, String> {
    const MOST: Kpa = Kpa(50.0);
    let unit = given.unit.or(named).unwrap_or(PressureUnit::Kpa);
    let (value, symbol) = (given.value, unit.symbol());
    if value <= 0.0 {
        return Err(format!(
            "a tolerance of {value} {symbol} is none; it must be above zero, such as '10 mmHg'"
        ));
    }
    if unit.to_kpa(value).0 <= MOST.0 {
        return Ok(unit.to_kpa(value));
    }
    Err(format!(
        "{value} {symbol} is no tolerance; give at most {:.0} {symbol}, with the unit behind the number",
        unit.from_kpa(MOST)
    ))
}

/// Where a bare number can be nothing but a barometer in this unit.
const BARE_BAROMETERS: [(PressureUnit, f64, f64); 3] = [
    (PressureUnit::Kpa, 95.0, 108.0),
    (PressureUnit::Hpa, 950.0, 1080.0),
    (PressureUnit::InHg, 28.0, 32.0),
];

/// A barometric pressure that makes sense: from a pass at 5,000 m to a deep valley. A bare number
/// is in `named` where it can be, else in the unit in which it can be a barometer near sea level.
pub fn checked_baro(given: Given, named: Option<PressureUnit>) -> Result<Kpa, String> {
    let value = given.value;
    let possible = |kpa: Kpa| Some(kpa).filter(|kpa| (50.0..=115.0).contains(&kpa.0));
    if let Some(unit) = given.unit {
        return possible(unit.to_kpa(value)).ok_or_else(|| {
            format!(
                "{value} {} is no barometric pressure (50 to 115 kPa); give it like '1008 hPa' \
                 or '29.8 inHg'",
                unit.symbol()
            )
        });
    }
    let off_standard = |kpa: Kpa| (kpa.0 - STANDARD_ATMOSPHERE.0).abs();
    let told_apart = || {
        let unit = BARE_BAROMETERS.iter().find(|(_, low, high)| (*low..=*high).contains(&value));
        unit.map(|(unit, _, _)| unit.to_kpa(value))
    };
    named.and_then(|unit| possible(unit.to_kpa(value))).or_else(told_apart).ok_or_else(|| {
        let fitting = PressureUnit::ALL
            .iter()
            .filter(|unit| possible(unit.to_kpa(value)).is_some())
            .min_by(|a, b| off_standard(a.to_kpa(value)).total_cmp(&off_standard(b.to_kpa(value))));
        let own = fitting.map_or(String::new(), |unit| format!("'{value} {}', ", unit.symbol()));
        format!(
            "{value} does not tell its unit; write it behind the number, such as {own}'1008 hPa' or \
             '29.8 inHg'"
        )
    })
}

/// A number of cylinders.
pub fn cylinders(text: &str) -> Result<Cylinders, String> {
    let number = text.trim().parse().map_err(|_| format!("{text:?} is no whole number"))?;
    checked_cylinders(number)
}

/// A number of cylinders that makes sense.
pub fn checked_cylinders(number: u32) -> Result<Cylinders, String> {
    if (2..=16).contains(&number) {
        return Ok(number);
    }
    Err(format!("{number} cylinders cannot be shared by two carburettors; give 2 to 16"))
}

/// An idle speed.
pub fn idle_target(text: &str) -> Result<f64, String> {
    checked_idle_target(number(text)?)
}

/// An idle speed that makes sense.
pub fn checked_idle_target(rpm: f64) -> Result<f64, String> {
    if (200.0..=3000.0).contains(&rpm) {
        return Ok(rpm);
    }
    if rpm <= 0.0 {
        return Err(format!("{rpm} rev/min is no idle speed; it must be above zero, 200 to 3000"));
    }
    Err(format!("{rpm} rev/min is no idle speed; give 200 to 3000"))
}

/// A height above sea level in metres.
pub fn altitude(text: &str) -> Result<f64, String> {
    checked_altitude(number(text)?)
}

/// A height at which people work on cars.
pub fn checked_altitude(metres: f64) -> Result<f64, String> {
    if (-500.0..=6000.0).contains(&metres) {
        return Ok(metres);
    }
    Err(format!("{metres} m is no height of a workshop; give metres above sea level, -500 to 6000"))
}

/// A smallest drop that counts.
pub fn threshold(text: &str) -> Result<f64, String> {
    checked_threshold(number(text)?)
}

/// A smallest drop that makes sense.
pub fn checked_threshold(rpm: f64) -> Result<f64, String> {
    if rpm > 0.0 && rpm <= 500.0 {
        return Ok(rpm);
    }
    Err(format!("{rpm} rev/min is no smallest drop; give more than 0, up to 500"))
}

/// A tolerance on the ratio of two flows, %: a number, or one with the sign behind it.
pub fn flow_tolerance(text: &str) -> Result<f64, String> {
    checked_flow_tolerance(number(text.trim().trim_end_matches('%'))?)
}

/// A tolerance on the ratio of two flows that makes sense.
pub fn checked_flow_tolerance(percent: f64) -> Result<f64, String> {
    if percent > 0.0 && percent <= 50.0 {
        return Ok(percent);
    }
    Err(format!("{percent} % is no tolerance of a flow; give a number above 0, up to 50"))
}

/// A name for a side.
pub fn name(text: &str) -> Result<String, String> {
    let name = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if name.is_empty() || name.chars().any(char::is_control) {
        return Err("a name needs at least one letter".into());
    }
    Ok(name)
}

/// A file that a chart can be drawn into.
pub fn chart(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("png" | "svg") => Ok(path),
        Some(other) => Err(format!("a chart cannot be a .{other} file; end it in .png or .svg")),
        None => Err("the ending says what to draw; end it in .png or .svg".into()),
    }
}

/// A file that rows can be written into.
pub fn rows(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("csv" | "jsonl" | "parquet") => Ok(path),
        Some(other) => {
            Err(format!("rows cannot be a .{other} file; end it in .csv, .jsonl or .parquet"))
        }
        None => Err("the ending says how to write; end it in .csv, .jsonl or .parquet".into()),
    }
}

fn number(text: &str) -> Result<f64, String> {
    decimal(text.trim())?
        .ok_or_else(|| format!("{text:?} is no number; give the number alone, without a unit"))
}

/// A number with a point or a comma for its decimals; none for what is no number. One comma before three
/// digits may stand for thousands, and is refused.
fn decimal(text: &str) -> Result<Option<f64>, String> {
    if let Some((whole, after)) = text.split_once(',') {
        let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        let unsigned = whole.trim_start_matches(['+', '-']);
        let thousands = (1..=3).contains(&unsigned.len()) && !unsigned.starts_with('0');
        if thousands && digits(unsigned) && after.len() == 3 && digits(after) {
            let decimals = after.trim_end_matches('0');
            let small =
                if decimals.is_empty() { whole.into() } else { format!("{whole}.{decimals}") };
            return Err(format!(
                "{text} could be {whole}{after} or {small}; write it without a comma"
            ));
        }
    }
    Ok(text.replace(',', ".").parse::<f64>().ok())
}

/// A whole number within limits.
pub fn whole(text: &str, within: RangeInclusive<u32>) -> Result<u32, String> {
    let (low, high) = (within.start(), within.end());
    let found = text.trim().parse::<u32>().map_err(|_| format!("{text:?} is no whole number"));
    let kept = |value: u32| {
        within.contains(&value).then_some(value).ok_or(format!("{value} is not possible"))
    };
    found.and_then(kept).map_err(|what| format!("{what}; give {low} to {high}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comma_before_three_digits_is_asked_about() {
        assert_eq!(
            number("1,600").unwrap_err(),
            "1,600 could be 1600 or 1.6; write it without a comma"
        );
        assert_eq!(
            (number("1,6"), number("0,125"), number("1600")),
            (Ok(1.6), Ok(0.125), Ok(1600.0))
        );
        assert!(pressure("1,008 hPa").unwrap_err().contains("1008 or 1.008"));
        assert!(number("1600 m").unwrap_err().ends_with("without a unit"));
    }

    #[test]
    fn a_whole_number_out_of_its_limits_is_told_them() {
        assert_eq!(whole("600", 600..=6000), Ok(600));
        assert_eq!(whole("abc", 1..=8).unwrap_err(), "\"abc\" is no whole number; give 1 to 8");
        assert_eq!(whole("9", 1..=8).unwrap_err(), "9 is not possible; give 1 to 8");
    }

    #[test]
    fn a_bare_barometer_is_offered_a_unit_that_it_can_have() {
        let of = |value| checked_baro(Given::bare(value), None).unwrap_err();
        assert!(of(760.0).contains("such as '760 mmHg', '1008 hPa'"), "{}", of(760.0));
        assert!(of(-3.0).contains("such as '1008 hPa' or"), "{}", of(-3.0));
    }

    #[test]
    fn pressures_with_and_without_a_unit() {
        let near = |text: &str, want: f64| {
            let got = pressure(text).unwrap().kpa(PressureUnit::Kpa).0;
            assert!((got - want).abs() < 1e-6, "{text}: {got}");
        };
        near("100.8", 100.8);
        near("29.8 inHg", 29.8 * 3.386_388_640_341);
        near("10mmHg", 1.333_223_874_15);
        near("29,8 in Hg", 29.8 * 3.386_388_640_341);
        near(" 1008 hPa ", 100.8);
    }

    #[test]
    fn a_bare_number_is_in_the_unit_that_was_named() {
        let read = |value, named| checked_tolerance(Given::bare(value), named).unwrap().0;
        assert!((read(10.0, Some(PressureUnit::MmHg)) - 1.333_223_874_15).abs() < 1e-9);
        assert_eq!(read(10.0, None), 10.0);
        let said = Given { value: 1.0, unit: Some(PressureUnit::Kpa) };
        assert_eq!(checked_tolerance(said, Some(PressureUnit::MmHg)), Ok(Kpa(1.0)));
        let refused = checked_tolerance(Given::bare(1000.0), Some(PressureUnit::MmHg)).unwrap_err();
        assert!(refused.contains("1000 mmHg") && refused.contains("at most 375 mmHg"), "{refused}");
    }

    #[test]
    fn a_bare_barometer_is_in_the_unit_in_which_it_can_be_one() {
        let read = |value, named| checked_baro(Given::bare(value), named).map(|kpa| kpa.0);
        for (value, named, want) in [
            (100.8, None, 100.8),
            (1008.0, None, 100.8),
            (29.8, None, 29.8 * 3.386_388_640_341),
            (760.0, Some(PressureUnit::MmHg), 101.325),
            (14.7, Some(PressureUnit::Psi), 101.352_932),
            // 29.8 mmHg is no barometer, 29.8 inHg is.
            (29.8, Some(PressureUnit::MmHg), 29.8 * 3.386_388_640_341),
        ] {
            let got = read(value, named).unwrap();
            assert!((got - want).abs() < 1e-4, "{value} {named:?}: {got}");
        }
        for unclear in [760.0, 14.7, 84.0, 0.0, -100.0, f64::NAN] {
            assert!(read(unclear, None).unwrap_err().contains("unit"), "{unclear}");
        }
        let said = Given { value: 84.0, unit: Some(PressureUnit::Kpa) };
        assert_eq!(checked_baro(said, None), Ok(Kpa(84.0)));
    }

    #[test]
    fn what_makes_no_sense_is_refused_with_the_way_out() {
        assert!(pressure("mmHg").unwrap_err().contains("write the number, then its unit"));
        assert!(pressure("10 stone").unwrap_err().contains("inHg"));
        for bad in ["0", "-1", "1e999", "NaN", "-1 mmHg"] {
            assert!(tolerance(bad).is_err(), "{bad}");
        }
        assert!(checked_tolerance(pressure("1000 bar").unwrap(), None).is_err());
        for bad in ["1", "17", "four", "-4"] {
            assert!(cylinders(bad).is_err(), "{bad}");
        }
        for bad in ["NaN", "inf", "50", "-5"] {
            assert!(idle_target(bad).is_err(), "{bad}");
        }
        assert!(idle_target("-5").unwrap_err().contains("above zero"));
        for bad in ["NaN", "9000", "-600", "high"] {
            assert!(altitude(bad).is_err(), "{bad}");
        }
        assert_eq!(altitude("1600"), Ok(1600.0));
        for bad in ["0", "-3", "51", "NaN", "three"] {
            assert!(flow_tolerance(bad).is_err(), "{bad}");
        }
        assert_eq!((flow_tolerance("3"), flow_tolerance("2,5 %")), (Ok(3.0), Ok(2.5)));
        assert!(name(" \t").is_err());
    }

    #[test]
    fn a_chart_needs_an_ending_that_can_be_drawn() {
        assert!(chart("a/b.PNG").is_ok());
        assert!(chart("b.svg").is_ok());
        assert!(chart("b.pdf").unwrap_err().contains(".pdf"));
        assert!(chart("b").is_err());
    }
}
