//! Reading and checking the values a person gives, on the command line and in a profile.

use crate::units::{Kpa, PressureUnit};
use std::path::PathBuf;

/// Number of cylinders, checked.
pub type Cylinders = u32;

/// A pressure such as `10 mmHg`; without a unit it is in kPa.
pub fn pressure(text: &str) -> Result<Kpa, String> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-')))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let value = number
        .replace(',', ".")
        .parse::<f64>()
        .map_err(|_| format!("{text:?} has no number in front; write it like '10 mmHg'"))?;
    if unit.trim().is_empty() {
        return Ok(Kpa(value));
    }
    let unit = PressureUnit::parse(unit).ok_or_else(|| {
        let known = PressureUnit::ALL.map(PressureUnit::symbol).join(", ");
        format!("{:?} is no unit of pressure; known are {known}", unit.trim())
    })?;
    Ok(unit.to_kpa(value))
}

/// A pressure above zero that a difference may have.
pub fn tolerance(text: &str) -> Result<Kpa, String> {
    checked_tolerance(pressure(text)?)
}

/// A tolerance that makes sense.
pub fn checked_tolerance(value: Kpa) -> Result<Kpa, String> {
    if value.0 > 0.0 && value.0 <= 50.0 {
        return Ok(value);
    }
    Err(format!(
        "{} kPa is no tolerance (above 0, up to 50 kPa); write the unit behind the number, such \
         as '10 mmHg'",
        value.0
    ))
}

/// A barometric pressure.
pub fn baro(text: &str) -> Result<Kpa, String> {
    checked_baro(pressure(text)?)
}

/// A barometric pressure that makes sense: from a pass at 5,000 m to a deep valley.
pub fn checked_baro(value: Kpa) -> Result<Kpa, String> {
    if (50.0..=115.0).contains(&value.0) {
        return Ok(value);
    }
    Err(format!(
        "{} kPa is no barometric pressure (50 to 115 kPa); write the unit behind the number, such \
         as '29.8 inHg' or '1008 hPa'",
        value.0
    ))
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
    Err(format!("{rpm} rev/min is no idle speed; give 200 to 3000"))
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

fn number(text: &str) -> Result<f64, String> {
    text.trim().replace(',', ".").parse().map_err(|_| format!("{text:?} is no number"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pressures_with_and_without_a_unit() {
        let near = |text: &str, want: f64| {
            let got = pressure(text).unwrap().0;
            assert!((got - want).abs() < 1e-6, "{text}: {got}");
        };
        near("100.8", 100.8);
        near("29.8 inHg", 29.8 * 3.386_388_640_341);
        near("10mmHg", 1.333_223_874_15);
        near("29,8 in Hg", 29.8 * 3.386_388_640_341);
        near(" 1008 hPa ", 100.8);
    }

    #[test]
    fn what_makes_no_sense_is_refused_with_the_way_out() {
        assert!(pressure("mmHg").unwrap_err().contains("'10 mmHg'"));
        assert!(pressure("10 stone").unwrap_err().contains("inHg"));
        assert!(baro("1008").unwrap_err().contains("hPa"));
        for bad in ["0", "-1", "1e999", "NaN", "1000 bar"] {
            assert!(tolerance(bad).is_err(), "{bad}");
        }
        for bad in ["1", "17", "four", "-4"] {
            assert!(cylinders(bad).is_err(), "{bad}");
        }
        for bad in ["NaN", "inf", "50"] {
            assert!(idle_target(bad).is_err(), "{bad}");
        }
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
