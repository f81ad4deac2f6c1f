//! The error of the sensor pair, and the differences freed from it.
//!
//! Two sensors at one vacuum `v` differ by `e(v) = a + g v`: `a` from their offsets, `g` from their
//! gains. The hoses as they should be show `d + e`; exchanged, `-d + e`; both on one tap, `e` alone;
//! with the engine off, where both see the atmosphere, `a`. Together with what is known of `a` and
//! `g` beforehand (the sensors' specification, or a tee run of the pair), all of it goes into one
//! least-squares problem: each difference then gets the best zero that the log allows, and an
//! uncertainty that knows what it rests on.

use crate::statistics::known_errors::{Fit, Observation, fit};
use crate::statistics::uncertainty::Component;

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
    /// Both hoses on one tap: both sensors see the same vacuum.
    Tee,
    /// Engine running, hoses as they should be, at setting number so-and-so.
    Direct(usize),
    /// Engine running, hoses exchanged, at setting number so-and-so.
    Swapped(usize),
}

/// What a tee run gave: the straight line between the two sensors.
#[derive(Debug, Clone, PartialEq)]
pub struct TeeRun {
    /// When it was made, `YYYY-MM-DD`.
    pub date: String,
    /// Days between it and the log that it is used on; absent when nobody could tell.
    pub age_days: Option<i64>,
    /// Sensor 1 less sensor 2 at the atmosphere, kPa.
    pub offset_kpa: f64,
    /// Standard uncertainty of the offset, kPa.
    pub u_offset_kpa: f64,
    /// What sensor 1 reads more than sensor 2 for each kilopascal, as a fraction.
    pub gain: f64,
    /// Standard uncertainty of the gain.
    pub u_gain: f64,
    /// Correlation of offset and gain, -1 to 1.
    pub correlation: f64,
    /// Degrees of freedom of the uncertainties.
    pub dof: f64,
    /// Scatter of the averages about the line, kPa.
    pub residual_kpa: f64,
    /// Least and greatest vacuum of the run, kPa.
    pub vacuum_kpa: (f64, f64),
}

/// A cause of uncertainty of the pair's offset and gain.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cause {
    name: &'static str,
    offset_variance: f64,
    covariance: f64,
    gain_variance: f64,
    dof: f64,
}

/// What is known of a pair beforehand: its offset and gain, and what makes them uncertain.
#[derive(Debug, Clone, PartialEq)]
pub struct Prior {
    offset_kpa: f64,
    gain: f64,
    causes: Vec<Cause>,
}

impl Prior {
    /// From the limits of one sensor, both taken as rectangular (JCGM 100, 4.3.7) and the two
    /// sensors as independent: `limit / sqrt 3 * sqrt 2`.
    pub fn from_limits(offset_kpa: f64, gain: f64) -> Self {
        let none = Cause {
            name: "sensor offsets, not measured",
            offset_variance: of_pair(offset_kpa).powi(2),
            covariance: 0.0,
            gain_variance: 0.0,
            dof: f64::INFINITY,
        };
        let gains = Cause {
            name: "sensor gains, not measured",
            offset_variance: 0.0,
            gain_variance: of_pair(gain).powi(2),
            ..none
        };
        Prior { offset_kpa: 0.0, gain: 0.0, causes: vec![none, gains] }
    }

    /// From a tee run of the pair, and the limit by which the offset of one sensor may have
    /// drifted since (rectangular, the two independent).
    pub fn from_tee_run(run: &TeeRun, drift_kpa: f64) -> Self {
        let line = Cause {
            name: "zero of the pair: stored tee run",
            offset_variance: run.u_offset_kpa.powi(2),
            covariance: run.correlation * run.u_offset_kpa * run.u_gain,
            gain_variance: run.u_gain.powi(2),
            dof: run.dof,
        };
        let drift = Cause {
            name: DRIFT,
            offset_variance: of_pair(drift_kpa).powi(2),
            covariance: 0.0,
            gain_variance: 0.0,
            dof: f64::INFINITY,
        };
        Prior { offset_kpa: run.offset_kpa, gain: run.gain, causes: vec![line, drift] }
    }

    /// Standard uncertainty of the offset, kPa.
    pub fn u_offset_kpa(&self) -> f64 {
        self.sum(|cause| cause.offset_variance).sqrt()
    }

    fn sum(&self, part: impl Fn(&Cause) -> f64) -> f64 {
        self.causes.iter().map(part).sum()
    }

    /// The error of the pair at the vacuum where it is independent of the gain, and the gain: two
    /// independent observations with the covariance of the prior. Each is (vacuum, value, u).
    fn observations(&self) -> [(f64, f64, f64); 2] {
        let gain_variance = self.sum(|cause| cause.gain_variance).max(LEAST_GAIN_VARIANCE);
        let covariance = self.sum(|cause| cause.covariance);
        let pivot_kpa = -covariance / gain_variance;
        let variance = self.sum(|cause| cause.offset_variance) + pivot_kpa * covariance;
        let at_pivot = self.offset_kpa + self.gain * pivot_kpa;
        [
            (pivot_kpa, at_pivot, variance.max(0.0).sqrt().max(MINUTE_KPA)),
            (0.0, self.gain, gain_variance.sqrt()),
        ]
    }
}

/// Name of the drift in the budget.
pub const DRIFT: &str = "drift of the sensors since the tee run";

/// Standard uncertainty of a difference of two, from the limit of one.
fn of_pair(limit: f64) -> f64 {
    (2.0_f64 / 3.0).sqrt() * limit
}

/// The pair's error and the differences freed from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Matching {
    fit: Fit,
    readings: usize,
    pivot_kpa: f64,
}

impl Matching {
    /// Solves for the pair's error and for `settings` differences; none when a setting has no
    /// reading or a reading is not finite. The cost is linear in the number of readings.
    pub fn solve(readings: &[Reading], settings: usize, prior: &Prior) -> Option<Self> {
        let of_pair = |pair: [f64; 2], value, u| Observation {
            coefficients: pair.to_vec(),
            own: None,
            value,
            u,
        };
        let seen = readings.iter().map(|reading| {
            let own = match reading.state {
                State::EngineOff | State::Tee => None,
                State::Direct(number) => Some((number, 1.0)),
                State::Swapped(number) => Some((number, -1.0)),
            };
            let (value, u) = (reading.difference_kpa, reading.u_kpa.max(MINUTE_KPA));
            Observation { own, ..of_pair([1.0, reading.vacuum_kpa], value, u) }
        });
        let [(pivot_kpa, value, u), (_, gain, u_gain)] = prior.observations();
        let known = [of_pair([1.0, pivot_kpa], value, u), of_pair([0.0, 1.0], gain, u_gain)];
        let seen: Vec<Observation> = seen.chain(known).collect();
        Some(Matching { fit: fit(&seen, settings)?, readings: readings.len(), pivot_kpa })
    }

    /// Difference of a setting, freed from the pair's error, kPa.
    pub fn difference_kpa(&self, setting: usize) -> f64 {
        self.fit.own(setting)
    }

    /// Numbers of the readings that move a setting's difference, rising, and its change with each.
    pub fn sensitivities(&self, setting: usize) -> Vec<(usize, f64)> {
        let movers = self.fit.movers(setting).into_iter().filter(|i| *i < self.readings);
        movers.map(|i| (i, self.fit.own_sensitivity(setting, i))).collect()
    }

    /// Parts of a setting's standard uncertainty that the prior leaves, kPa: one a cause.
    pub fn left_by_prior(&self, setting: usize, prior: &Prior) -> Vec<Component> {
        // The observations of the prior are e(pivot) = a + g pivot and g.
        let to_offset = self.fit.own_sensitivity(setting, self.readings);
        let to_gain =
            to_offset * self.pivot_kpa + self.fit.own_sensitivity(setting, self.readings + 1);
        let part = |cause: &Cause| {
            let variance = to_offset * to_offset * cause.offset_variance
                + 2.0 * to_offset * to_gain * cause.covariance
                + to_gain * to_gain * cause.gain_variance;
            Component { name: cause.name, u: variance.max(0.0).sqrt(), dof: cause.dof }
        };
        prior.causes.iter().map(part).collect()
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
/// ... and no gain better than a ten-millionth.
const LEAST_GAIN_VARIANCE: f64 = 1e-14;

#[cfg(test)]
mod tests {
    use super::*;

    /// Standard uncertainties of the pair: 0.8 kPa and 1.6 %.
    fn specification() -> Prior {
        let limit = 1.5_f64.sqrt();
        Prior::from_limits(limit * 0.8, limit * 0.016)
    }

    fn tee_run() -> TeeRun {
        TeeRun {
            date: "2026-03-14".into(),
            age_days: Some(20),
            offset_kpa: 0.7,
            u_offset_kpa: 0.03,
            gain: 0.015,
            u_gain: 0.0006,
            correlation: -0.9,
            dof: 30.0,
            residual_kpa: 0.05,
            vacuum_kpa: (0.0, 70.0),
        }
    }

    fn left(found: &Matching, prior: &Prior) -> (f64, f64) {
        let parts = found.left_by_prior(0, prior);
        (parts[0].u, parts[1].u)
    }

    fn reading(difference_kpa: f64, vacuum_kpa: f64, state: State) -> Reading {
        Reading { difference_kpa, u_kpa: 0.02, vacuum_kpa, state }
    }

    #[test]
    fn a_hose_swap_takes_out_offset_and_gain() {
        // True difference 2.0, offset 0.7, gain difference 1.5 % at 55 kPa: e = 1.525.
        let readings =
            [reading(3.525, 55.0, State::Direct(0)), reading(-0.475, 55.0, State::Swapped(0))];
        let found = Matching::solve(&readings, 1, &specification()).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 1e-9);
        let (offset, gain) = left(&found, &specification());
        assert!(offset < 1e-6 && gain < 1e-6, "{offset} {gain}");
    }

    #[test]
    fn engine_off_takes_out_the_offset_and_leaves_the_gain() {
        let readings = [reading(0.7, 0.0, State::EngineOff), reading(2.7, 55.0, State::Direct(0))];
        let found = Matching::solve(&readings, 1, &specification()).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 0.01);
        let (offset, gain) = left(&found, &specification());
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
        let found = Matching::solve(&readings, 2, &specification()).unwrap();
        assert!((found.difference_kpa(1) + 1.0).abs() < 0.01);
        let (error, u) = found.error_kpa(55.0);
        assert!((error - 1.525).abs() < 0.01 && u < 0.02, "{error} {u}");
    }

    #[test]
    fn a_setting_without_a_reading_is_not_answered() {
        let readings = [reading(0.1, 55.0, State::Direct(0))];
        assert_eq!(Matching::solve(&readings, 2, &specification()), None);
    }

    #[test]
    fn a_tee_run_leaves_its_own_uncertainty_and_the_drift() {
        // e = 0.7 + 0.015 * 55 = 1.525; its u from the run: sqrt(0.03^2 + 0.033^2 - 1.8 * 0.03 *
        // 0.033) = 0.0144; the drift of two sensors within 0.3 kPa: 0.3 * sqrt(2/3) = 0.245.
        let prior = Prior::from_tee_run(&tee_run(), 0.3);
        let readings = [reading(3.525, 55.0, State::Direct(0))];
        let found = Matching::solve(&readings, 1, &prior).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 1e-9);
        let (line, drift) = left(&found, &prior);
        assert!((line - 0.0144).abs() < 2e-4 && (drift - 0.245).abs() < 1e-3, "{line} {drift}");
        let (error, u) = found.error_kpa(55.0);
        assert!((error - 1.525).abs() < 1e-9 && (u - line.hypot(drift)).abs() < 1e-9, "{u}");
    }

    #[test]
    fn engine_off_takes_out_the_drift_and_keeps_the_gain_of_the_tee_run() {
        let prior = Prior::from_tee_run(&tee_run(), 0.3);
        // Both sensors' offsets have drifted apart by 0.25 kPa.
        let readings =
            [reading(0.95, 0.0, State::EngineOff), reading(3.775, 55.0, State::Direct(0))];
        let found = Matching::solve(&readings, 1, &prior).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 0.02, "{}", found.difference_kpa(0));
        let (line, drift) = left(&found, &prior);
        assert!(line < 0.04 && drift < 0.02, "{line} {drift}");
    }

    #[test]
    fn both_hoses_on_one_tap_give_the_error_at_that_vacuum() {
        let readings = [reading(1.525, 55.0, State::Tee), reading(3.525, 55.0, State::Direct(0))];
        let found = Matching::solve(&readings, 1, &specification()).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 1e-3, "{}", found.difference_kpa(0));
        let (offset, gain) = left(&found, &specification());
        assert!(offset < 1e-3 && gain < 1e-3, "{offset} {gain}");
    }

    #[test]
    fn sensors_said_to_have_no_error_are_taken_at_their_word() {
        let readings = [reading(2.0, 55.0, State::Direct(0))];
        let found = Matching::solve(&readings, 1, &Prior::from_limits(0.0, 0.0)).unwrap();
        assert!((found.difference_kpa(0) - 2.0).abs() < 1e-6);
    }
}
