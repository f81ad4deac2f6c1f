//! What holds when flag, profile, log header and default speak of the same thing: the first of
//! them that says anything.

use super::args::{Car, Reading};
use super::days;
use super::failure::Failure;
use super::profile::Profile;
use super::sides;
use super::values::{self, Given};
use crate::findings::{Conditions, Sides, idle_vacuum};
use crate::log::{Baro, BaroFrom, Head, Log, ReadOptions, Taken};
use crate::sample::Track;
use crate::sensors::matching::TeeRun;
use crate::sensors::transfer::Transfer;
use crate::units::{Kpa, PressureUnit, STANDARD_ATMOSPHERE, VoltsToKpa};

/// Says what a pressure is in kPa when a bare number is in the unit named.
type Check = fn(Given, Option<PressureUnit>) -> Result<Kpa, String>;

/// Flags over profile.
#[derive(Debug, Clone)]
pub struct Wishes {
    reading: Reading,
    car: Car,
    profile: Profile,
    units: Option<PressureUnit>,
    tolerance: Option<Kpa>,
    baro: Option<Kpa>,
    flow_tolerance_percent: Option<f64>,
}

impl Wishes {
    /// Reads the profile, when there is one; `units` is what `--units` says.
    ///
    /// # Errors
    /// As [`Profile::read`], and a pressure on the command line that makes no sense.
    pub fn new(reading: &Reading, car: &Car, units: Option<PressureUnit>) -> Result<Self, Failure> {
        let profile = match &reading.profile {
            Some(path) => Profile::read(path)?,
            None => Profile::default(),
        };
        Self::with_profile(reading, car, units, profile)
    }

    /// The same with a profile that was read already.
    ///
    /// # Errors
    /// A pressure on the command line that makes no sense.
    pub fn with_profile(
        reading: &Reading,
        car: &Car,
        units: Option<PressureUnit>,
        profile: Profile,
    ) -> Result<Self, Failure> {
        let units = units.or(profile.units);
        let flag = |flag: &'static str, given: Option<Given>, check: Check| {
            let wrong = |what| Failure::Value { flag, what };
            given.map(|given| check(given, units)).transpose().map_err(wrong)
        };
        let tolerance = flag("tolerance", car.tolerance, values::checked_tolerance)?;
        let baro = flag("baro", reading.baro, values::checked_baro)?;
        Ok(Wishes {
            tolerance: tolerance.or(profile.tolerance),
            baro: baro.or(profile.baro),
            flow_tolerance_percent: profile.flow_tolerance_percent,
            reading: reading.clone(),
            car: car.clone(),
            profile,
            units,
        })
    }

    /// The same with what a flag says of the flow's tolerance, %.
    pub fn with_flow_tolerance(mut self, percent: Option<f64>) -> Self {
        self.flow_tolerance_percent = percent.or(self.flow_tolerance_percent);
        self
    }

    /// Unit of pressure in the answer.
    pub fn unit(&self) -> PressureUnit {
        self.units.unwrap_or(PressureUnit::Kpa)
    }

    /// What the car is called.
    pub fn car(&self) -> Option<String> {
        self.profile.car.clone()
    }

    /// The names of the sides that flag or profile give.
    pub fn names(&self) -> [Option<String>; 2] {
        let (car, profile) = (&self.car, &self.profile);
        [car.carb1.clone().or(profile.carb1.clone()), car.carb2.clone().or(profile.carb2.clone())]
    }

    /// Barometric pressure that flag or profile give, or the standard one of the height they give.
    pub fn baro(&self) -> Option<Kpa> {
        self.baro.or_else(|| self.read_options(String::new()).standard_baro)
    }

    /// The `# key: value` lines of a new log, from flags and profile.
    pub fn head(&self) -> Vec<(String, String)> {
        let (reading, profile) = (&self.reading, &self.profile);
        let [one, two] = self.names();
        let cylinders = reading.cylinders.or(profile.cylinders);
        let idle_target = self.car.idle_target.or(profile.idle_target_rpm);
        [
            ("engine", profile.car.clone()),
            ("carb1", one),
            ("carb2", two),
            ("cylinders", cylinders.map(|n| n.to_string())),
            ("idle_target_rpm", idle_target.map(|rpm| rpm.to_string())),
            ("baro_kpa", self.baro.map(|kpa| kpa.0.to_string())),
        ]
        .into_iter()
        .filter_map(|(key, value)| Some((key.to_string(), value?)))
        .collect()
    }

    /// The `# key: value` lines of a log that is played again: its own, and the names its headings give.
    ///
    /// # Errors
    /// As [`Wishes::conditions`].
    pub fn head_of(&self, log: &Log) -> Result<Vec<(String, String)>, Failure> {
        let sides = self.sides(&log.head, &log.taken)?;
        let named = sides != Sides::default();
        let head = &log.head;
        let side = |name: String| Some(name).filter(|_| named);
        let given = matches!(log.baro.from, BaroFrom::Header | BaroFrom::Column | BaroFrom::Given);
        Ok([
            ("engine", head.engine.clone()),
            ("carb1", side(sides.one)),
            ("carb2", side(sides.two)),
            ("cylinders", head.cylinders.map(|n| n.to_string())),
            ("idle_target_rpm", head.idle_target_rpm.map(|rpm| rpm.to_string())),
            ("baro_kpa", Some(log.baro.kpa.to_string()).filter(|_| given)),
        ]
        .into_iter()
        .filter_map(|(key, value)| Some((key.to_string(), value?)))
        .chain(head.started.iter().map(|started| ("first recorded".to_string(), started.clone())))
        .collect())
    }

    /// How to read the log that errors call `name`.
    pub fn read_options(&self, name: String) -> ReadOptions {
        ReadOptions {
            columns: self.reading.columns.clone().or_else(|| self.profile.columns.clone()),
            baro: self.baro,
            standard_baro: self
                .reading
                .altitude
                .or(self.profile.altitude_m)
                .and_then(idle_vacuum::standard_baro),
            lenient: self.reading.lenient,
            name,
            pressure_unit: self.reading.log_units.or(self.profile.log_units),
            sensor: self.sensor_line(),
        }
    }

    /// The line from volts to kilopascal: of the sensor that a flag names, else of the profile's. A
    /// supply belongs to the sensor beside which it is named.
    fn sensor_line(&self) -> Option<VoltsToKpa> {
        let sensor = self.profile.sensor;
        let line = |s: Transfer| s.line(self.profile.sensor_supply_v.unwrap_or(s.supply_v));
        self.reading.sensor_line().or_else(|| sensor.map(line))
    }

    /// The names of the sides: flag, profile, header, headings, default.
    ///
    /// # Errors
    /// [`Failure::SameNames`] where both have been given one name.
    fn sides(&self, head: &Head, taken: &[Taken]) -> Result<Sides, Failure> {
        let (car, profile) = (&self.car, &self.profile);
        let said = |flag: &Option<String>, profile: &Option<String>, head: &Option<String>| {
            flag.clone().or_else(|| profile.clone()).or_else(|| head.clone())
        };
        let one = said(&car.carb1, &profile.carb1, &head.carb1);
        let two = said(&car.carb2, &profile.carb2, &head.carb2);
        let filled = |from: Sides| Sides {
            one: one.clone().unwrap_or(from.one),
            two: two.clone().unwrap_or(from.two),
        };
        let apart = |sides: &Sides| !sides::same(&sides.one, &sides.two);
        let read = sides::from_headings(taken).map(filled).filter(apart);
        let sides = read.unwrap_or_else(|| filled(Sides::default()));
        if apart(&sides) {
            return Ok(sides);
        }
        Err(Failure::SameNames { name: sides.one })
    }

    /// The tee run of the profile, with its age when the log was made.
    fn tee_run(&self, head: &Head) -> Option<TeeRun> {
        let run = self.profile.tee_run.clone()?;
        let made = run.date.parse().ok();
        let age_days = made.and_then(|made| days::between(made, days::of_log(head)));
        Some(TeeRun { age_days, ..run })
    }

    /// What the findings are told while a log is being recorded.
    ///
    /// # Errors
    /// As [`Wishes::conditions`].
    pub fn live_conditions(
        &self,
        said: &[(String, String)],
        threshold: Option<f64>,
    ) -> Result<Conditions, Failure> {
        let (mut head, track) = (Head::default(), Track::default());
        for (key, value) in said {
            let number = || value.parse().ok();
            match key.as_str() {
                "carb1" => head.carb1 = Some(value.clone()),
                "carb2" => head.carb2 = Some(value.clone()),
                "cylinders" => head.cylinders = value.parse().ok(),
                "idle_target_rpm" => head.idle_target_rpm = number(),
                "baro_kpa" => head.baro_kpa = number(),
                _ => {}
            }
        }
        let given = self.baro().map(|Kpa(kpa)| Baro { kpa, u_kpa: 0.1, from: BaroFrom::Given });
        let in_head = head.baro_kpa.map(|kpa| Baro { kpa, u_kpa: 0.1, from: BaroFrom::Header });
        let standard = Baro { kpa: STANDARD_ATMOSPHERE.0, u_kpa: 1.0, from: BaroFrom::Standard };
        let baro = given.or(in_head).unwrap_or(standard);
        let nothing = (Vec::new(), Vec::new());
        let log =
            Log { head, track, rows: 0, bad_rows: 0, remarks: nothing.0, taken: nothing.1, baro };
        self.conditions(&log, threshold)
    }

    /// What the findings are told.
    ///
    /// # Errors
    /// [`Failure::SameNames`] where both sides have been given one name.
    pub fn conditions(&self, log: &Log, threshold: Option<f64>) -> Result<Conditions, Failure> {
        let (head, baro) = (&log.head, &log.baro);
        let (reading, car, profile) = (&self.reading, &self.car, &self.profile);
        let usual = Conditions::default();
        let share = |percent: Option<f64>, usual: f64| percent.map_or(usual, |p| p / 100.0);
        Ok(Conditions {
            sides: self.sides(head, &log.taken)?,
            cylinders: reading
                .cylinders
                .or(profile.cylinders)
                .or(head.cylinders)
                .unwrap_or(usual.cylinders),
            carb1_cylinders: profile.carb1_cylinders.clone().unwrap_or_default(),
            baro_kpa: baro.kpa,
            u_baro_kpa: baro.u_kpa,
            tolerance_kpa: self.tolerance.map_or(usual.tolerance_kpa, |kpa| kpa.0),
            threshold_rpm: threshold.or(profile.threshold_rpm),
            idle_target_rpm: car.idle_target.or(profile.idle_target_rpm).or(head.idle_target_rpm),
            balance_pipe: car.balance_pipe || profile.balance_pipe.unwrap_or(false),
            sensor_offset_limit_kpa: profile
                .sensor_offset_limit
                .map_or(usual.sensor_offset_limit_kpa, |kpa| kpa.0),
            sensor_gain_limit: share(profile.sensor_gain_limit_percent, usual.sensor_gain_limit),
            sensor_drift_limit_kpa: profile
                .sensor_drift_limit
                .map_or(usual.sensor_drift_limit_kpa, |kpa| kpa.0),
            flow_tolerance: share(self.flow_tolerance_percent, usual.flow_tolerance),
            flow_meter_limit: share(profile.flow_meter_limit_percent, usual.flow_meter_limit),
            flow_zero_limit_kpa: profile
                .flow_zero_limit
                .map_or(usual.flow_zero_limit_kpa, |kpa| kpa.0),
            flow_drift_limit_kpa: profile
                .flow_drift_limit
                .map_or(usual.flow_drift_limit_kpa, |kpa| kpa.0),
            tee_run: self.tee_run(head),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wishes(reading: Reading, car: Car, profile: Profile) -> Wishes {
        Wishes {
            reading,
            car,
            profile,
            units: None,
            tolerance: None,
            baro: None,
            flow_tolerance_percent: None,
        }
    }

    fn log(head: Head) -> Log {
        let baro = Baro { kpa: 100.0, u_kpa: 0.1, from: BaroFrom::Given };
        let (track, remarks, taken) = (Track::default(), Vec::new(), Vec::new());
        Log { head, track, rows: 0, bad_rows: 0, remarks, taken, baro }
    }

    fn conditions(reading: Reading, profile: Profile, head: Head) -> Conditions {
        wishes(reading, Car::default(), profile).conditions(&log(head), None).unwrap()
    }

    #[test]
    fn one_name_for_both_sides_is_refused_wherever_it_comes_from() {
        let named = |one: &str, two: &str, head: Head| {
            let car = Car { carb1: Some(one.into()), ..Car::default() };
            let profile = Profile { carb2: Some(two.into()), ..Profile::default() };
            wishes(Reading::default(), car, profile).conditions(&log(head), None)
        };
        assert!(named("Up", "Down", Head::default()).is_ok());
        let message = named("Up", "up", Head::default()).unwrap_err().to_string();
        assert!(message.contains("both sides are called \"Up\""), "{message}");
        let head = Head { carb1: Some("X".into()), carb2: Some("X".into()), ..Head::default() };
        let none = wishes(Reading::default(), Car::default(), Profile::default());
        assert!(none.conditions(&log(head), None).is_err());
    }

    #[test]
    fn flag_then_profile_then_header_then_default() {
        let flag = Reading { cylinders: Some(2), ..Reading::default() };
        let profile = Profile { cylinders: Some(6), ..Profile::default() };
        let head = Head { cylinders: Some(8), ..Head::default() };
        let got = |r: &Reading, p: &Profile, h: &Head| {
            conditions(r.clone(), p.clone(), h.clone()).cylinders
        };
        let (none, bare, silent) = (Reading::default(), Profile::default(), Head::default());
        assert_eq!(got(&flag, &profile, &head), 2);
        assert_eq!(got(&none, &profile, &head), 6);
        assert_eq!(got(&none, &bare, &head), 8);
        assert_eq!(got(&none, &bare, &silent), 4);
    }

    #[test]
    fn a_profile_speaks_of_sensors_in_its_own_units() {
        let profile = Profile {
            sensor_gain_limit_percent: Some(1.5),
            sensor_offset_limit: Some(Kpa(0.4)),
            ..Profile::default()
        };
        let got = conditions(Reading::default(), profile, Head::default());
        assert_eq!((got.sensor_gain_limit, got.sensor_offset_limit_kpa), (0.015, 0.4));
    }
}
