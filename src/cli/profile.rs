//! The profile: what stays true of a car and its box from one log to the next.

use super::failure::Failure;
use super::profile_engine;
use super::tee_section;
use super::values::{self, Given};
use crate::sensors::matching::TeeRun;
use crate::sensors::transfer::{self, Transfer};
use crate::units::{Kpa, PressureUnit};
use std::fs;
use std::io::{self, ErrorKind};
use std::path::Path;
use toml::{Table, Value};

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
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Profile {
    /// What the car is called in reports.
    pub car: Option<String>,
    /// Name of side 1.
    pub carb1: Option<String>,
    /// Name of side 2.
    pub carb2: Option<String>,
    /// Cylinders of the engine, both sides together.
    pub cylinders: Option<u32>,
    /// Cylinders in the order in which they fire, `"1-3-4-2"`.
    pub firing_order: Option<Vec<u32>>,
    /// Cylinders that carburettor 1 feeds, `[1, 2]`; the others are those of carburettor 2.
    pub carb1_cylinders: Option<Vec<u32>>,
    /// The tracts are joined by a balance pipe.
    pub balance_pipe: Option<bool>,
    /// Idle speed wanted, rev/min.
    pub idle_target_rpm: Option<f64>,
    /// Tolerance on the difference: `"10 mmHg"`, or a number in the profile's `units` (kPa).
    pub tolerance: Option<Kpa>,
    /// Smallest idle drop that counts, rev/min.
    pub threshold_rpm: Option<f64>,
    /// Barometric pressure where the car stands: `"29.8 inHg"`; a number as with `--baro`.
    pub baro: Option<Kpa>,
    /// Height of the place above sea level, m, as with `--altitude`.
    pub altitude_m: Option<f64>,
    /// Which column is what, as with `--columns`.
    pub columns: Option<String>,
    /// Unit of pressures whose heading names none.
    pub log_units: Option<PressureUnit>,
    /// Unit of pressure in the answer.
    pub units: Option<PressureUnit>,
    /// Sensor whose volts the logs hold, as with `--sensor`.
    pub sensor: Option<Transfer>,
    /// Supply of that sensor, V, as with `--supply`.
    pub sensor_supply_v: Option<f64>,
    /// Largest offset of one sensor by its data sheet: a pressure; a number as with `tolerance`.
    pub sensor_offset_limit: Option<Kpa>,
    /// Largest gain error of one sensor by its data sheet, per cent of reading.
    pub sensor_gain_limit_percent: Option<f64>,
    /// By how much one sensor's offset may drift after a tee run; a number as with `tolerance`.
    pub sensor_drift_limit: Option<Kpa>,
    /// Most by which one side may pass more air by the airflow meters, %, as with `--flow-tolerance`.
    pub flow_tolerance_percent: Option<f64>,
    /// Largest error of one airflow meter's constant, % of the flow.
    pub flow_meter_limit_percent: Option<f64>,
    /// Largest zero of one airflow meter by its data sheet; a number as with `tolerance`.
    pub flow_zero_limit: Option<Kpa>,
    /// Most by which the zero of one airflow meter may drift before and after the engine was off.
    pub flow_drift_limit: Option<Kpa>,
    /// The section of the tee run, as `match` stores it.
    pub tee_run: Option<TeeRun>,
}

/// A key of the profile.
pub(super) struct Key {
    /// The key.
    pub name: &'static str,
    /// What its value has to be.
    pub needs: &'static str,
    /// A line of a profile.
    pub example: &'static str,
}

/// A key, what its value has to be, and a line to copy.
pub(super) const fn key(name: &'static str, needs: &'static str, example: &'static str) -> Key {
    Key { name, needs, example }
}

const PRESSURE: &str = "a pressure with its unit, in quotes, or a number";

pub(super) const KEYS: [Key; 24] = [
    key("car", "a text in quotes", "car = \"Blue saloon\""),
    key("carb1", "a name in quotes", "carb1 = \"Front\""),
    key("carb2", "a name in quotes", "carb2 = \"Rear\""),
    key("cylinders", "a whole number from 2 to 16", "cylinders = 4"),
    key("firing_order", "cylinders in quotes with dashes between", "firing_order = \"1-3-4-2\""),
    key("carb1_cylinders", "a list of cylinders", "carb1_cylinders = [1, 2]"),
    key("balance_pipe", "true or false, without quotes", "balance_pipe = true"),
    key("idle_target_rpm", "a number from 200 to 3000", "idle_target_rpm = 850"),
    key("tolerance", PRESSURE, "tolerance = \"10 mmHg\""),
    key("threshold_rpm", "a number above 0, up to 500", "threshold_rpm = 25"),
    key("baro", PRESSURE, "baro = \"1008 hPa\""),
    key("altitude_m", "a number of metres from -500 to 6000", "altitude_m = 120"),
    key("columns", "a text in quotes", "columns = \"vac1=Front,vac2=Rear\""),
    key("log_units", "a unit of pressure in quotes", "log_units = \"mbar\""),
    key("units", "a unit of pressure in quotes", "units = \"mmHg\""),
    key("sensor", "the part number of a known sensor in quotes", "sensor = \"MPX4115A\""),
    key("sensor_supply_v", "a number of volts from 2.5 to 6", "sensor_supply_v = 5.05"),
    key("sensor_offset_limit", PRESSURE, "sensor_offset_limit = \"1 kPa\""),
    key("sensor_gain_limit_percent", "a number from 0 to 50", "sensor_gain_limit_percent = 2.0"),
    key("sensor_drift_limit", PRESSURE, "sensor_drift_limit = \"0.5 kPa\""),
    key("flow_tolerance_percent", "a number above 0, up to 50", "flow_tolerance_percent = 3"),
    key("flow_meter_limit_percent", "a number from 0 to 50", "flow_meter_limit_percent = 2"),
    key("flow_zero_limit", PRESSURE, "flow_zero_limit = \"5 Pa\""),
    key("flow_drift_limit", PRESSURE, "flow_drift_limit = \"1 Pa\""),
];

/// The section of the tee run; it needs a heading of its own, and so is no key like the others.
const SECTION: Key =
    key(tee_section::NAME, "a section that 'evenbreath match' writes", "[tee_run]");

/// Every key, those of the section too.
fn keys() -> impl Iterator<Item = &'static Key> {
    KEYS.iter().chain([&SECTION]).chain(&tee_section::KEYS)
}

/// A value that cannot be used: its key and what is wrong.
pub(super) type Wrong = (&'static str, String);

impl Profile {
    /// Reads a profile.
    ///
    /// # Errors
    /// The file cannot be read, is no TOML, has a key that is not known or a value that makes no
    /// sense; the message names the line.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        Self::parse(path, &Self::text(path)?)
    }

    /// The words of a profile, comments and all.
    ///
    /// # Errors
    /// The file cannot be read, or is no text.
    pub fn text(path: &Path) -> Result<String, Failure> {
        fs::read_to_string(path).map_err(|source| {
            let source = match source.kind() {
                ErrorKind::InvalidData => io::Error::other("it is no text in UTF-8"),
                _ => source,
            };
            Failure::ProfileUnreadable { path: path.into(), source }
        })
    }

    /// Reads the words of the profile that messages call `path`.
    ///
    /// # Errors
    /// As [`Profile::read`], but for the file.
    pub fn parse(path: &Path, text: &str) -> Result<Self, Failure> {
        let failure = |line, what, advice| {
            let path = path.into();
            Failure::Profile { path, line, what, advice }
        };
        let table: Table = toml::from_str(text).map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            let before = text.get(..at).unwrap_or("");
            // A text that breaks off does so on the last line with anything on it.
            let before = if at == text.len() { before.trim_end() } else { before };
            let line = 1 + before.matches('\n').count();
            let (what, advice) = unreadable(error.message(), text.lines().nth(line - 1));
            failure(line, what, advice)
        })?;
        if let Some((name, inside)) = unknown(&table) {
            let place = if inside { " in the section [tee_run]" } else { "" };
            let what = format!("the key {name:?} is not known{place}");
            return Err(failure(line_of(text, name), what, nearest(name, inside)));
        }
        Self::from_table(&table).map_err(|(name, what)| {
            let example = keys().find(|k| k.name == name).map_or("", |k| k.example);
            // The message is cut at its last semicolon into what is wrong and what to do.
            let (what, advice) = match what.rsplit_once("; ") {
                Some((what, advice)) => (what, advice),
                None => (what.as_str(), "write it like this"),
            };
            let advice = format!("{advice}, for example: {example}");
            failure(line_of(text, name), format!("{name}: {what}"), advice)
        })
    }

    fn from_table(table: &Table) -> Result<Self, Wrong> {
        let units = unit(table, "units")?;
        let checked = |name, check: fn(Given, Option<PressureUnit>) -> Result<Kpa, String>| {
            let given = pressure(table, name)?;
            given.map(|given| check(given, units).map_err(|what| (name, what))).transpose()
        };
        let number = |name, check: fn(f64) -> Result<f64, String>| {
            let given = take(table, name, real)?;
            given.map(|given| check(given).map_err(|what| (name, what))).transpose()
        };
        let engine = profile_engine::read(table)?;
        Ok(Profile {
            car: take(table, "car", text)?,
            carb1: side(table, "carb1")?,
            carb2: side(table, "carb2")?,
            cylinders: engine.cylinders,
            firing_order: engine.firing_order,
            carb1_cylinders: engine.carb1_cylinders,
            balance_pipe: take(table, "balance_pipe", Value::as_bool)?,
            idle_target_rpm: number("idle_target_rpm", values::checked_idle_target)?,
            tolerance: checked("tolerance", values::checked_tolerance)?,
            threshold_rpm: number("threshold_rpm", values::checked_threshold)?,
            baro: checked("baro", values::checked_baro)?,
            altitude_m: number("altitude_m", values::checked_altitude)?,
            columns: take(table, "columns", text)?,
            log_units: unit(table, "log_units")?,
            units,
            sensor: sensor(table)?,
            sensor_supply_v: number("sensor_supply_v", supply)?,
            sensor_offset_limit: checked("sensor_offset_limit", offset_limit)?,
            sensor_gain_limit_percent: number("sensor_gain_limit_percent", gain_limit)?,
            sensor_drift_limit: checked("sensor_drift_limit", offset_limit)?,
            flow_tolerance_percent: number(
                "flow_tolerance_percent",
                values::checked_flow_tolerance,
            )?,
            flow_meter_limit_percent: number("flow_meter_limit_percent", gain_limit)?,
            flow_zero_limit: checked("flow_zero_limit", offset_limit)?,
            flow_drift_limit: checked("flow_drift_limit", offset_limit)?,
            tee_run: tee_section::read(table)?,
        })
    }
}

/// A key that is not known, and whether it stands in the section of the tee run.
fn unknown(table: &Table) -> Option<(&str, bool)> {
    let known = |keys: &[Key], name: &str| keys.iter().any(|key| key.name == name);
    let section = table.get(tee_section::NAME).and_then(Value::as_table);
    let inside = section.into_iter().flat_map(Table::keys);
    let outside = table.keys().filter(|name| name.as_str() != tee_section::NAME);
    let mut names = outside.filter(|name| !known(&KEYS, name)).map(String::as_str);
    let mut inner = inside.filter(|name| !known(&tee_section::KEYS, name)).map(String::as_str);
    names.next().map(|name| (name, false)).or_else(|| inner.next().map(|name| (name, true)))
}

/// What the reader of TOML found, in plain words, and what to do.
fn unreadable(message: &str, line: Option<&str>) -> (String, String) {
    let line = line.unwrap_or("").trim();
    let name = line.split('=').next().unwrap_or("").trim();
    let known = keys().find(|k| k.name == name);
    if message.contains("duplicate") {
        let what = format!("the key {name:?} stands in the profile twice");
        return (what, "take one of the two out".into());
    }
    let example = known.map_or(KEYS[1].example, |k| k.example);
    let what = match known {
        Some(key) => format!("{line:?} cannot be read: {name} needs {}", key.needs),
        None => format!("{line:?} cannot be read: a line is a key, an equals sign and a value"),
    };
    (what, format!("write it like this: {example}"))
}

/// Line of a key, counted from 1; a key that stands nowhere at a line's start is on the first.
fn line_of(text: &str, name: &str) -> usize {
    let starts = |line: &str| {
        let line = line.trim_start().trim_start_matches(['[', '"', '\'']);
        line.strip_prefix(name)
            .is_some_and(|rest| rest.trim_start().starts_with(['=', '.', ']', '"', '\'']))
    };
    1 + text.lines().position(starts).unwrap_or(0)
}

/// The key that was probably meant, of the section or of the profile, or all of them.
fn nearest(name: &str, inside: bool) -> String {
    let (known, section): (&[Key], _) =
        if inside { (&tee_section::KEYS, None) } else { (&KEYS, Some(&SECTION)) };
    let lower = name.to_lowercase();
    let likeness = |key: &Key| strsim::normalized_damerau_levenshtein(key.name, &lower);
    let best = known.iter().chain(section).max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
    match best {
        Some(key) if likeness(key) >= 0.5 => format!("did you mean {:?}?", key.name),
        _ => {
            let names: Vec<&str> = known.iter().map(|key| key.name).collect();
            format!("known keys are {}", names.join(", "))
        }
    }
}

/// The value of a key, or what it should be.
pub(super) fn take<T>(
    table: &Table,
    name: &'static str,
    read: impl Fn(&Value) -> Option<T>,
) -> Result<Option<T>, Wrong> {
    let Some(value) = table.get(name) else { return Ok(None) };
    let needs = keys().find(|k| k.name == name).map_or("", |k| k.needs);
    let wrong = || (name, format!("found {}, needed is {needs}", found(value)));
    read(value).map(Some).ok_or_else(wrong)
}

fn found(value: &Value) -> String {
    match value {
        Value::String(text) => format!("the text {text:?}"),
        Value::Integer(number) => format!("the number {number}"),
        Value::Float(number) => format!("the number {number}"),
        Value::Boolean(value) => format!("{value}"),
        Value::Datetime(date) => format!("the date {date}"),
        Value::Array(_) => "a list".into(),
        Value::Table(_) => "a section".into(),
    }
}

pub(super) fn text(value: &Value) -> Option<String> {
    value.as_str().map(str::to_string)
}

pub(super) fn real(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|number| number as f64))
}

fn side(table: &Table, name: &'static str) -> Result<Option<String>, Wrong> {
    let given = take(table, name, text)?;
    given.map(|given| values::name(&given).map_err(|what| (name, what))).transpose()
}

fn sensor(table: &Table) -> Result<Option<Transfer>, Wrong> {
    let Some(given) = take(table, "sensor", text)? else { return Ok(None) };
    Transfer::named(&given).map(Some).ok_or_else(|| {
        let known = transfer::KNOWN.map(|sensor| sensor.name).join(", ");
        ("sensor", format!("{given:?} is no sensor that is known; known are {known}"))
    })
}

fn supply(volts: f64) -> Result<f64, String> {
    if (2.5..=6.0).contains(&volts) {
        return Ok(volts);
    }
    Err(format!("{volts} V is no supply of a sensor; give 2.5 to 6"))
}

fn unit(table: &Table, name: &'static str) -> Result<Option<PressureUnit>, Wrong> {
    let Some(given) = take(table, name, text)? else { return Ok(None) };
    PressureUnit::parse(&given).map(Some).ok_or_else(|| {
        let known = PressureUnit::ALL.map(PressureUnit::symbol).join(", ");
        (name, format!("{given:?} is no unit of pressure; known are {known}"))
    })
}

fn pressure(table: &Table, name: &'static str) -> Result<Option<Given>, Wrong> {
    if let Some(given) = table.get(name).and_then(Value::as_str) {
        return values::pressure(given).map(Some).map_err(|what| (name, what));
    }
    Ok(take(table, name, real)?.map(Given::bare))
}

fn offset_limit(given: Given, named: Option<PressureUnit>) -> Result<Kpa, String> {
    let kpa = given.kpa(named.unwrap_or(PressureUnit::Kpa));
    if (0.0..=50.0).contains(&kpa.0) {
        return Ok(kpa);
    }
    Err(format!("{} kPa is no limit of an offset; give 0 to 50 kPa", kpa.0))
}

fn gain_limit(percent: f64) -> Result<f64, String> {
    if (0.0..=50.0).contains(&percent) {
        return Ok(percent);
    }
    Err(format!("{percent} % is no limit of a gain; give 0 to 50"))
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
                    threshold_rpm = 25\nbaro = 100.8\naltitude_m = 120\ncolumns = 'vac1=A'\nlog_units = 'mbar'\n\
                    units = 'inHg'\nfiring_order = '1-3-4-2'\ncarb1_cylinders = [1, 2]\n\
                    sensor = 'mpx4115a'\nsensor_supply_v = 5.05\nsensor_offset_limit = '5 mmHg'\n\
                    sensor_gain_limit_percent = 1.5\nsensor_drift_limit = 0.2\n\
                    flow_tolerance_percent = 4\nflow_meter_limit_percent = 1\nflow_zero_limit = '5 Pa'\n\
                    flow_drift_limit = '1 Pa'\n";
        let profile = parse(text).unwrap();
        assert!((profile.tolerance.unwrap().0 - 1.333_223_874_15).abs() < 1e-9);
        assert_eq!(profile.baro, Some(Kpa(100.8)));
        assert_eq!(profile.idle_target_rpm, Some(850.0));
        assert_eq!(profile.units, Some(PressureUnit::InHg));
        assert_eq!(text.lines().count(), KEYS.len());
        for key in KEYS {
            assert!(text.contains(&format!("{} = ", key.name)), "{}", key.name);
        }
    }

    #[test]
    fn every_example_is_a_profile() {
        let all = KEYS.map(|key| key.example).join("\n");
        assert_eq!(parse(&all).map(|profile| profile.cylinders), Ok(Some(4)));
    }

    #[test]
    fn a_bare_number_is_in_the_unit_of_the_profile() {
        let profile = parse("tolerance = 10\nunits = 'mmHg'\nsensor_offset_limit = 5\n").unwrap();
        assert!((profile.tolerance.unwrap().0 - 1.333_223_874_15).abs() < 1e-9);
        assert!((profile.sensor_offset_limit.unwrap().0 - 0.666_611_937).abs() < 1e-9);
        assert_eq!(parse("tolerance = 10\n").unwrap().tolerance, Some(Kpa(10.0)));
    }

    #[test]
    fn a_misspelt_key_is_named_with_its_line_and_the_nearest_one() {
        let message = parse("car = 'Blue'\ncylnders = 4\n").unwrap_err();
        assert!(message.contains("line 2"), "{message}");
        assert!(message.contains("\"cylnders\" is not known"), "{message}");
        assert!(message.contains("did you mean \"cylinders\"?"), "{message}");
        // Each key of the profile and of its section, with a letter too few in its middle.
        for (section, keys) in [("", &KEYS[..]), ("[tee_run]\n", &tee_section::KEYS[..])] {
            for key in keys {
                let middle = key.name.len() / 2;
                let misspelt = [&key.name[..middle], &key.name[middle + 1..]].concat();
                let message = parse(&format!("{section}{misspelt} = 4\n")).unwrap_err();
                let meant = format!("did you mean {:?}?", key.name);
                assert!(message.contains(&meant), "{misspelt}: {message}");
            }
        }
        let message = parse("[tee_rum]\ndof = 4\n").unwrap_err();
        assert!(message.contains("line 1") && message.contains("\"tee_run\""), "{message}");
        assert!(parse("Cylinders = 4\n").unwrap_err().contains("\"cylinders\""));
        let message = parse("zzz = 4\n").unwrap_err();
        assert!(message.contains("known keys are car, carb1"), "{message}");
    }

    #[test]
    fn a_value_that_makes_no_sense_is_named_with_its_line() {
        for (text, words) in [
            ("\ncylinders = 99\n", "99 cylinders"),
            ("\ntolerance = '10 stone'\n", "stone"),
            ("\ntolerance = true\n", "10 mmHg"),
            ("\ntolerance = -1\n", "above zero"),
            ("\nflow_tolerance_percent = 0\n", "above 0"),
            ("\nbaro = 760\n", "hPa"),
            ("\nunits = 'ells'\n", "known are Pa"),
            ("\nbalance_pipe = 'yes'\n", "true or false"),
            ("\ncar = \n", "car = \"Blue saloon\""),
            ("\ncarb1 = Front\n", "carb1 = \"Front\""),
            ("\ncarb1 = ' '\n", "letter"),
            ("\ncylinders = 'four'\n", "found the text \"four\", needed is a whole number from 2"),
            ("\ncylinders = -4\n", "found the number -4"),
            ("\nfiring_order = '1-3-3-2'\n", "names cylinder 3 twice"),
            ("\nfiring_order = '1-3-4-9'\n", "cylinder 9"),
            ("\nfiring_order = 'left'\n", "\"left\""),
            ("cylinders = 6\nfiring_order = '1-3-4-2'\n", "4 cylinders, but cylinders says 6"),
            ("\ncarb1_cylinders = [1, 2, 3, 4]\n", "leaves none"),
            ("\ncarb1_cylinders = [1, 1]\n", "names cylinder 1 twice"),
            ("\ncarb1_cylinders = [1, 7]\n", "cylinder 7"),
            ("\ncarb1_cylinders = 'front'\n", "a list of cylinders"),
            ("\nsensor = 'XYZ'\n", "known are MPX"),
            ("\nsensor_supply_v = 50\n", "50 V"),
            ("\nidle_target_rpm = [850]\n", "found a list"),
            ("\n[carb1]\nname = 'x'\n", "found a section"),
            ("\nthis is [ not toml\n", "an equals sign"),
            ("car = 'x'\ncar = 'y'\n", "twice"),
        ] {
            let message = parse(text).unwrap_err();
            assert!(message.contains(words), "{text}: {message}");
            assert!(message.contains("line 2"), "{text}: {message}");
            assert!(!message.contains("expected"), "{text}: {message}");
            assert!(message.contains("; "), "what to do? {message}");
        }
    }
}
