//! The profile: what stays true of a car and its box from one log to the next.

use super::failure::Failure;
use super::values;
use crate::units::{Kpa, PressureUnit};
use serde::{Deserialize, Deserializer, de};
use std::fs;
use std::path::Path;

/// A profile as it stands in its TOML file. Every key may be left out.
///
/// ```toml
/// car = "Blue saloon"
/// carb1 = "Front"
/// carb2 = "Rear"
/// cylinders = 4
/// idle_target_rpm = 850
/// tolerance = "10 mmHg"
/// ```
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Profile {
    /// What the car is called in reports.
    pub car: Option<String>,
    /// Name of side 1.
    #[serde(deserialize_with = "name")]
    pub carb1: Option<String>,
    /// Name of side 2.
    #[serde(deserialize_with = "name")]
    pub carb2: Option<String>,
    /// Cylinders of the engine, both sides together.
    #[serde(deserialize_with = "cylinders")]
    pub cylinders: Option<u32>,
    /// The tracts are joined by a balance pipe.
    pub balance_pipe: Option<bool>,
    /// Idle speed wanted, rev/min.
    #[serde(deserialize_with = "idle_target")]
    pub idle_target_rpm: Option<f64>,
    /// Tolerance on the difference: `"10 mmHg"`, or a number in kPa.
    #[serde(deserialize_with = "tolerance")]
    pub tolerance: Option<Kpa>,
    /// Smallest idle drop that counts, rev/min.
    #[serde(deserialize_with = "threshold")]
    pub threshold_rpm: Option<f64>,
    /// Barometric pressure where the car stands: `"29.8 inHg"`, or a number in kPa.
    #[serde(deserialize_with = "baro")]
    pub baro: Option<Kpa>,
    /// Which column is what, as with `--columns`.
    pub columns: Option<String>,
    /// Unit of pressures whose heading names none.
    #[serde(deserialize_with = "unit")]
    pub log_units: Option<PressureUnit>,
    /// Unit of pressure in the answer.
    #[serde(deserialize_with = "unit")]
    pub units: Option<PressureUnit>,
    /// Largest offset of one sensor by its data sheet: a pressure.
    #[serde(deserialize_with = "limit")]
    pub sensor_offset_limit: Option<Kpa>,
    /// Largest gain error of one sensor by its data sheet, per cent of reading.
    #[serde(deserialize_with = "percent")]
    pub sensor_gain_limit_percent: Option<f64>,
}

/// The keys, for the suggestion when one is misspelt.
const KEYS: [&str; 14] = [
    "car",
    "carb1",
    "carb2",
    "cylinders",
    "balance_pipe",
    "idle_target_rpm",
    "tolerance",
    "threshold_rpm",
    "baro",
    "columns",
    "log_units",
    "units",
    "sensor_offset_limit",
    "sensor_gain_limit_percent",
];

impl Profile {
    /// Reads a profile.
    ///
    /// # Errors
    /// The file cannot be read, is no TOML, has a key that is not known or a value that makes no
    /// sense; the message names the line.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let text = fs::read_to_string(path)
            .map_err(|source| Failure::ProfileUnreadable { path: path.into(), source })?;
        Self::parse(path, &text)
    }

    fn parse(path: &Path, text: &str) -> Result<Self, Failure> {
        toml::from_str(text).map_err(|error| {
            let span = error.span().unwrap_or(0..0);
            let line = 1 + text.get(..span.start).unwrap_or("").matches('\n').count();
            let key = text.get(span).unwrap_or("").trim_matches(['"', '\'']);
            let (what, advice) = explain(error.message(), key);
            Failure::Profile { path: path.into(), line, what, advice }
        })
    }
}

/// What is wrong, and what to do about it.
fn explain(message: &str, key: &str) -> (String, String) {
    if message.starts_with("unknown field") {
        let nearest = KEYS
            .into_iter()
            .map(|known| (strsim::normalized_damerau_levenshtein(known, key), known))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let advice = match nearest {
            Some((likeness, known)) if likeness >= 0.5 => format!("did you mean {known:?}?"),
            _ => format!("known keys are {}", KEYS.join(", ")),
        };
        return (format!("the key {key:?} is not known"), advice);
    }
    match message.rsplit_once("; ") {
        Some((what, advice)) => (what.to_string(), advice.to_string()),
        None => (message.replace('\n', ", "), "mend that line of the file".to_string()),
    }
}

/// A number, or a text that a person would write.
#[derive(Deserialize)]
#[serde(untagged, expecting = "expected a number or a text such as \"10 mmHg\"")]
enum Quantity {
    Number(f64),
    Text(String),
}

fn quantity<'de, D: Deserializer<'de>>(
    deserializer: D,
    check: impl Fn(Kpa) -> Result<Kpa, String>,
) -> Result<Option<Kpa>, D::Error> {
    let value = match Quantity::deserialize(deserializer)? {
        Quantity::Number(kpa) => Ok(Kpa(kpa)),
        Quantity::Text(text) => values::pressure(&text),
    };
    value.and_then(check).map(Some).map_err(de::Error::custom)
}

fn tolerance<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Kpa>, D::Error> {
    quantity(deserializer, values::checked_tolerance)
}

fn baro<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Kpa>, D::Error> {
    quantity(deserializer, values::checked_baro)
}

fn limit<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Kpa>, D::Error> {
    quantity(deserializer, |kpa| {
        if (0.0..=50.0).contains(&kpa.0) {
            return Ok(kpa);
        }
        Err(format!("{} kPa is no limit of a sensor's offset; give 0 to 50 kPa", kpa.0))
    })
}

fn percent<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    let percent = f64::deserialize(deserializer)?;
    if (0.0..=50.0).contains(&percent) {
        return Ok(Some(percent));
    }
    Err(de::Error::custom(format!("{percent} % is no limit of a sensor's gain; give 0 to 50")))
}

fn cylinders<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<u32>, D::Error> {
    values::checked_cylinders(u32::deserialize(deserializer)?).map(Some).map_err(de::Error::custom)
}

fn idle_target<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    values::checked_idle_target(f64::deserialize(deserializer)?)
        .map(Some)
        .map_err(de::Error::custom)
}

fn threshold<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    values::checked_threshold(f64::deserialize(deserializer)?).map(Some).map_err(de::Error::custom)
}

fn name<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<String>, D::Error> {
    values::name(&String::deserialize(deserializer)?).map(Some).map_err(de::Error::custom)
}

fn unit<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<PressureUnit>, D::Error> {
    let text = String::deserialize(deserializer)?;
    let known = || PressureUnit::ALL.map(PressureUnit::symbol).join(", ");
    PressureUnit::parse(&text)
        .map(Some)
        .ok_or_else(|| format!("{text:?} is no unit of pressure; known are {}", known()))
        .map_err(de::Error::custom)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Profile, String> {
        Profile::parse(Path::new("car.toml"), text).map_err(|failure| failure.to_string())
    }

    #[test]
    fn every_key_is_known_and_optional() {
        assert_eq!(parse("").unwrap(), Profile::default());
        let text = "car = 'Blue'\ncarb1 = 'Front'\ncarb2 = 'Rear'\ncylinders = 4\n\
                    balance_pipe = true\nidle_target_rpm = 850\ntolerance = '10 mmHg'\n\
                    threshold_rpm = 25\nbaro = 100.8\ncolumns = 'vac1=A'\nlog_units = 'mbar'\n\
                    units = 'inHg'\nsensor_offset_limit = '5 mmHg'\n\
                    sensor_gain_limit_percent = 1.5\n";
        let profile = parse(text).unwrap();
        assert!((profile.tolerance.unwrap().0 - 1.333_223_874_15).abs() < 1e-9);
        assert_eq!(profile.baro, Some(Kpa(100.8)));
        assert_eq!(profile.idle_target_rpm, Some(850.0));
        assert_eq!(profile.units, Some(PressureUnit::InHg));
        assert_eq!(text.lines().count(), KEYS.len());
        for key in KEYS {
            assert!(text.contains(&format!("{key} = ")), "{key}");
        }
    }

    #[test]
    fn a_misspelt_key_is_named_with_its_line_and_the_nearest_one() {
        let message = parse("car = 'Blue'\ncylnders = 4\n").unwrap_err();
        assert!(message.contains("line 2"), "{message}");
        assert!(message.contains("\"cylnders\" is not known"), "{message}");
        assert!(message.contains("did you mean \"cylinders\"?"), "{message}");
        let message = parse("zzz = 4\n").unwrap_err();
        assert!(message.contains("known keys are car, carb1"), "{message}");
    }

    #[test]
    fn a_value_that_makes_no_sense_is_named_with_its_line() {
        for (text, words) in [
            ("\ncylinders = 99\n", "99 cylinders"),
            ("\ntolerance = '10 stone'\n", "stone"),
            ("\ntolerance = true\n", "10 mmHg"),
            ("\nbaro = 1008\n", "hPa"),
            ("\nunits = 'ells'\n", "known are Pa"),
            ("\nbalance_pipe = 'yes'\n", "bool"),
            ("\ncar = \n", "line 2"),
            ("\ncarb1 = ' '\n", "letter"),
        ] {
            let message = parse(text).unwrap_err();
            assert!(message.contains(words), "{text}: {message}");
            assert!(message.contains("line 2"), "{text}: {message}");
        }
    }
}
