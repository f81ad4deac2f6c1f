//! What holds when flag, profile, log header and default speak of the same thing: the first of
//! them that says anything.

use super::args::{Car, Output, Reading};
use super::failure::Failure;
use super::profile::Profile;
use crate::findings::{Conditions, Sides};
use crate::log::{Baro, Head, ReadOptions};
use crate::units::PressureUnit;

/// Flags over profile.
#[derive(Debug, Clone)]
pub struct Wishes {
    reading: Reading,
    car: Car,
    profile: Profile,
}

impl Wishes {
    /// Reads the profile, when there is one.
    ///
    /// # Errors
    /// As [`Profile::read`].
    pub fn new(reading: &Reading, car: &Car) -> Result<Self, Failure> {
        let profile = match &reading.profile {
            Some(path) => Profile::read(path)?,
            None => Profile::default(),
        };
        Ok(Wishes { reading: reading.clone(), car: car.clone(), profile })
    }

    /// Unit of pressure in the answer.
    pub fn unit(&self, output: &Output) -> PressureUnit {
        output.units.or(self.profile.units).unwrap_or(PressureUnit::Kpa)
    }

    /// What the car is called.
    pub fn car(&self) -> Option<String> {
        self.profile.car.clone()
    }

    /// How to read the log that errors call `name`.
    pub fn read_options(&self, name: String) -> ReadOptions {
        ReadOptions {
            columns: self.reading.columns.clone().or_else(|| self.profile.columns.clone()),
            baro: self.reading.baro.or(self.profile.baro),
            lenient: self.reading.lenient,
            name,
            pressure_unit: self.reading.log_units.or(self.profile.log_units),
        }
    }

    /// What the findings are told.
    pub fn conditions(&self, head: &Head, baro: &Baro, threshold: Option<f64>) -> Conditions {
        let (reading, car, profile) = (&self.reading, &self.car, &self.profile);
        let usual = Conditions::default();
        let name = |flag: &Option<String>, profile: &Option<String>, head: &Option<String>| {
            flag.clone().or_else(|| profile.clone()).or_else(|| head.clone())
        };
        Conditions {
            sides: Sides {
                one: name(&car.carb1, &profile.carb1, &head.carb1).unwrap_or(usual.sides.one),
                two: name(&car.carb2, &profile.carb2, &head.carb2).unwrap_or(usual.sides.two),
            },
            cylinders: reading
                .cylinders
                .or(profile.cylinders)
                .or(head.cylinders)
                .unwrap_or(usual.cylinders),
            baro_kpa: baro.kpa,
            u_baro_kpa: baro.u_kpa,
            tolerance_kpa: car
                .tolerance
                .or(profile.tolerance)
                .map_or(usual.tolerance_kpa, |kpa| kpa.0),
            threshold_rpm: threshold.or(profile.threshold_rpm),
            idle_target_rpm: car.idle_target.or(profile.idle_target_rpm).or(head.idle_target_rpm),
            balance_pipe: car.balance_pipe || profile.balance_pipe.unwrap_or(false),
            sensor_offset_limit_kpa: profile
                .sensor_offset_limit
                .map_or(usual.sensor_offset_limit_kpa, |kpa| kpa.0),
            sensor_gain_limit: profile
                .sensor_gain_limit_percent
                .map_or(usual.sensor_gain_limit, |percent| percent / 100.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::BaroFrom;
    use crate::units::Kpa;

    fn conditions(reading: Reading, profile: Profile, head: Head) -> Conditions {
        let baro = Baro { kpa: 100.0, u_kpa: 0.1, from: BaroFrom::Given };
        Wishes { reading, car: Car::default(), profile }.conditions(&head, &baro, None)
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
