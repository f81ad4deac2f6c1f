//! The error of the sensor pair, and the differences freed from it.
//!
//! Two sensors at one vacuum `v` differ by `e(v) = a + g v`: `a` from their offsets, `g` from their
//! gains. The hoses as they should be show `d + e`; exchanged, `-d + e`; with the engine off, where
//! both see the atmosphere, `a` alone. Together with what the sensors' specification says of `a` and
//! `g` beforehand, all of it goes into one least-squares problem: each difference then gets the best
//! zero that the log allows, and an uncertainty that knows what it rests on.

use crate::statistics::known_errors::{Fit, Observation, fit};

/// A mean difference of the two readings over a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Mean of sensor 1 less sensor 2, kPa.
    pub difference_kpa: f64,
    /// Standard uncertainty of that mean, kPa.
    pub u_kpa: f64,
    /// Mean vacuum of the two, kPa.
    pub vacuum_kpa: f64,
    /// What the stretch is.
    pub state: State,
}

/// State of the engine and the hoses over a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Engine off: both sensors see the atmosphere.
    EngineOff,
    /// Engine running, hoses as they should be, at setting number so-and-so.
    Direct(usize),
    /// Engine running, hoses exchanged, at setting number so-and-so.
    Swapped(usize),
}

/// What the specification says of a pair beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Standard uncertainty of the offset difference, kPa.
    pub u_offset_kpa: f64,
    /// Standard uncertainty of the gain difference, as a fraction.
    pub u_gain: f64,
}

impl Prior {
    /// From the limits of one sensor, both taken as rectangular (JCGM 100, 4.3.7) and the two
    /// sensors as independent: `limit / sqrt 3 * sqrt 2`.
    pub fn from_limits(offset_kpa: f64, gain: f64) -> Self {
        let pair = (2.0_f64 / 3.0).sqrt();
        Prior { u_offset_kpa: pair * offset_kpa, u_gain: pair * gain }
    }
}

/// The pair's error and the differences freed from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Matching {
    fit: Fit,
    readings: usize,
}

/// Number of unknowns that belong to the pair: offset and gain.
const PAIR: usize = 2;

impl Matching {
    /// Solves for the pair's error and for `settings` differences; none when a setting has no
    /// reading or a reading is not finite.
    pub fn solve(readings: &[Reading], settings: usize, prior: Prior) -> Option<Self> {
        let row = |pair: [f64; PAIR], setting: Option<(usize, f64)>| {
            let mut coefficients = vec![0.0; PAIR + settings];
            coefficients[..PAIR].copy_from_slice(&pair);
            if let Some((number, sign)) = setting {
                *coefficients.get_mut(PAIR + number)? = sign;
            }
            Some(coefficients)
        };
        let mut seen = Vec::with_capacity(readings.len() + PAIR);
        for reading in readings {
            let setting = match reading.state {
                State::EngineOff => None,
                State::Direct(number) => Some((number, 1.0)),
                State::Swapped(number) => Some((number, -1.0)),
            };
            let coefficients = row([1.0, reading.vacuum_kpa], setting)?;
            let (value, u) = (reading.difference_kpa, reading.u_kpa.max(MINUTE_KPA));
            seen.push(Observation { coefficients, value, u });
        }
        let (u_offset, u_gain) = (prior.u_offset_kpa, prior.u_gain);
        seen.push(Observation { coefficients: row([1.0, 0.0], None)?, value: 0.0, u: u_offset });
        seen.push(Observation { coefficients: row([0.0, 1.0], None)?, value: 0.0, u: u_gain });
        Some(Matching { fit: fit(&seen)?, readings: readings.len() })
    }

    /// Difference of a setting, freed from the pair's error, kPa.
    pub fn difference_kpa(&self, setting: usize) -> f64 {
        self.fit.estimate[PAIR + setting]
    }

    /// Change of a setting's difference with a reading.
    pub fn sensitivity(&self, setting: usize, reading: usize) -> f64 {
        self.fit.sensitivity[PAIR + setting][reading]
    }

    /// Part of a setting's standard uncertainty that the specification leaves: (offset, gain), kPa.
    pub fn left_by_prior_kpa(&self, setting: usize, prior: Prior) -> (f64, f64) {
        let row = &self.fit.sensitivity[PAIR + setting];
        let (offset, gain) = (row[self.readings], row[self.readings + 1]);
        ((offset * prior.u_offset_kpa).abs(), (gain * prior.u_gain).abs())
    }

    /// Error of the pair at a vacuum and its standard uncertainty, kPa.
    pub fn error_kpa(&self, vacuum_kpa: f64) -> (f64, f64) {
        let (e, c) = (&self.fit.estimate, &self.fit.covariance);
        let variance = c[0][0] + 2.0 * vacuum_kpa * c[0][1] + vacuum_kpa.powi(2) * c[1][1];
        (e[0] + e[1] * vacuum_kpa, variance.max(0.0).sqrt())
    }
}

/// No mean is known better than this, kPa; it keeps the problem solvable for noiseless readings.
const MINUTE_KPA: f64 = 1e-6;

#[cfg(test)]
mod tests {
    use super::*;

    const PRIOR: Prior = Prior { u_offset_kpa: 0.8, u_gain: 0.016 };

    fn reading(difference_kpa: f64, vacuum_kpa: f64, state: State) -> Reading {
        Reading { difference_kpa, u_kpa: 0.02, vacuum_kpa, state }
    }

    #[test]
    fn a_hose_swap_takes_out_offset_and_gain() {
        // True difference 2.0, offset 0.7, gain difference 1.5 % at 55 kPa: e = 1.525.
        let readings =
            [reading(3.525, 55.0, State::Direct(0)), reading(-0.475, 55.0, State::Swapped(0))];
        let found = Matching::solve(&readings, 1, PRIOR).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 1e-9);
        let (offset, gain) = found.left_by_prior_kpa(0, PRIOR);
        assert!(offset < 1e-6 && gain < 1e-6, "{offset} {gain}");
    }

    #[test]
    fn engine_off_takes_out_the_offset_and_leaves_the_gain() {
        let readings = [reading(0.7, 0.0, State::EngineOff), reading(2.7, 55.0, State::Direct(0))];
        let found = Matching::solve(&readings, 1, PRIOR).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 0.01);
        let (offset, gain) = found.left_by_prior_kpa(0, PRIOR);
        assert!(offset < 0.03 && (gain - 0.88).abs() < 0.01, "{offset} {gain}");
    }

    #[test]
    fn a_swap_at_idle_and_engine_off_reach_other_vacuums() {
        let readings = [
            reading(0.7, 0.0, State::EngineOff),
            reading(3.525, 55.0, State::Direct(0)),
            reading(-0.475, 55.0, State::Swapped(0)),
            reading(0.7 + 0.015 * 30.0 - 1.0, 30.0, State::Direct(1)),
        ];
        let found = Matching::solve(&readings, 2, PRIOR).unwrap();
        assert!((found.difference_kpa(1) + 1.0).abs() < 0.01);
        let (error, u) = found.error_kpa(55.0);
        assert!((error - 1.525).abs() < 0.01 && u < 0.02, "{error} {u}");
    }

    #[test]
    fn a_setting_without_a_reading_is_not_answered() {
        assert_eq!(Matching::solve(&[reading(0.1, 55.0, State::Direct(0))], 2, PRIOR), None);
    }
}
