//! Decision rule of ISO 14253-1 in its default form: conformity or non-conformity is stated only
//! when the whole interval lies on one side of the limit. With it the probability of conformity of
//! JCGM 106:2012, and how much longer a log must be for a verdict.

use super::student;
use serde::Serialize;

/// Outcome of a comparison of an interval with a tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The whole interval lies inside the tolerance.
    InTolerance,
    /// The whole interval lies outside the tolerance.
    OutOfTolerance,
    /// The interval crosses a limit: neither is proven.
    NotSettled,
}

/// Verdict on `|d| <= tolerance` for a `d` known to lie between `low` and `high`, in the same unit.
/// An end on the limit counts as within it. Anything unordered or NaN is not settled.
pub fn decide(low: f64, high: f64, tolerance: f64) -> Verdict {
    if low > high || low.is_nan() || high.is_nan() || tolerance.is_nan() {
        Verdict::NotSettled
    } else if low >= -tolerance && high <= tolerance {
        Verdict::InTolerance
    } else if low > tolerance || high < -tolerance {
        Verdict::OutOfTolerance
    } else {
        Verdict::NotSettled
    }
}

/// Over several stretches: out when any is out, in when there are some and all are in.
///
/// ```
/// use evenbreath::statistics::decision::{Verdict, overall};
/// assert_eq!(overall([Verdict::InTolerance, Verdict::OutOfTolerance]), Verdict::OutOfTolerance);
/// assert_eq!(overall([]), Verdict::NotSettled);
/// ```
pub fn overall(verdicts: impl IntoIterator<Item = Verdict>) -> Verdict {
    let worse = |a: Verdict, b: Verdict| match (a, b) {
        (Verdict::OutOfTolerance, _) | (_, Verdict::OutOfTolerance) => Verdict::OutOfTolerance,
        (Verdict::InTolerance, Verdict::InTolerance) => Verdict::InTolerance,
        _ => Verdict::NotSettled,
    };
    verdicts.into_iter().reduce(worse).unwrap_or(Verdict::NotSettled)
}

/// Probability that a quantity measured as `value` with standard uncertainty `u` and `dof` degrees
/// of freedom (infinity: normal) lies between `low` and `high`; either may be infinite (JCGM
/// 106:2012, clause 7, from memory). `None` for `u` or `dof` not above zero, or for NaN.
pub fn probability_within(value: f64, u: f64, dof: f64, low: f64, high: f64) -> Option<f64> {
    if !(u > 0.0 && u.is_finite() && value.is_finite() && low <= high) {
        return None;
    }
    let below_high = student::cdf((high - value) / u, dof)?;
    let below_low = student::cdf((low - value) / u, dof)?;
    Some((below_high - below_low).max(0.0))
}

/// Probability that a quantity measured as `value` with standard uncertainty `u` and `dof` degrees
/// of freedom (infinity: normal) lies above `limit` (JCGM 106:2012, clause 7, from memory). `None`
/// for `u` or `dof` not above zero, or for NaN.
pub fn probability_above(value: f64, u: f64, dof: f64, limit: f64) -> Option<f64> {
    if !(u > 0.0 && u.is_finite() && value.is_finite()) {
        return None;
    }
    // From the limit up: one less the part below would lose the digits of a small probability.
    student::cdf((value - limit) / u, dof)
}

/// What is known when asking how much longer to log. All but the seconds and the factor are in the
/// unit of the measured quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoFar {
    /// Standard uncertainty that shrinks with the square root of time.
    pub u_random: f64,
    /// Standard uncertainty that stays: zero, gain, resolution.
    pub u_systematic: f64,
    /// Seconds logged.
    pub seconds: f64,
    /// Distance from the value to the nearest limit.
    pub to_limit: f64,
    /// Coverage factor of the interval, taken to stay as it is.
    pub coverage_factor: f64,
}

/// Seconds of log beyond those so far until the interval no longer reaches the limit, if the value
/// stays where it is; zero when it already does not. `None` when the systematic part alone reaches
/// the limit, so that time cannot settle it, or when an input makes no sense.
pub fn seconds_more(so_far: &SoFar) -> Option<f64> {
    let SoFar { u_random, u_systematic, seconds, to_limit, coverage_factor } = *so_far;
    let sound = [u_random, u_systematic].iter().all(|u| u.is_finite() && *u >= 0.0)
        && [seconds, coverage_factor].iter().all(|v| v.is_finite() && *v > 0.0)
        && to_limit.is_finite();
    if !sound {
        return None;
    }
    let allowed = to_limit.abs() / coverage_factor;
    let room = (allowed - u_systematic) * (allowed + u_systematic);
    if u_random * u_random <= room {
        return Some(0.0);
    }
    if room <= 0.0 {
        return None;
    }
    let more = seconds * (u_random * u_random / room - 1.0);
    more.is_finite().then_some(more)
}

#[cfg(test)]
mod tests {
    use super::*;
    use Verdict::*;

    #[test]
    fn only_a_whole_interval_decides() {
        assert_eq!(decide(-1.0, 1.2, 1.3), InTolerance);
        assert_eq!(decide(-1.3, 1.3, 1.3), InTolerance);
        assert_eq!(decide(1.0, 1.4, 1.3), NotSettled);
        assert_eq!(decide(-2.0, 2.0, 1.3), NotSettled);
        assert_eq!(decide(1.31, 2.0, 1.3), OutOfTolerance);
        assert_eq!(decide(-3.0, -1.31, 1.3), OutOfTolerance);
        assert_eq!(decide(2.0, 1.0, 1.3), NotSettled);
        assert_eq!(decide(f64::NAN, 1.0, 1.3), NotSettled);
        assert_eq!(decide(f64::NEG_INFINITY, f64::INFINITY, 1.3), NotSettled);
    }

    #[test]
    fn four_times_the_log_halves_the_random_part() {
        let so_far = SoFar {
            u_random: 0.2,
            u_systematic: 0.0,
            seconds: 15.0,
            to_limit: 0.2,
            coverage_factor: 2.0,
        };
        assert!((seconds_more(&so_far).unwrap() - 45.0).abs() < 1e-9);
        // 0.06^2 + 0.08^2 = 0.1^2: the random part must fall from 0.2 to 0.08.
        let both = SoFar { u_systematic: 0.06, ..so_far };
        assert!((seconds_more(&both).unwrap() - 15.0 * 5.25).abs() < 1e-9);
        assert_eq!(seconds_more(&SoFar { u_systematic: 0.1, ..so_far }), None);
        assert_eq!(seconds_more(&SoFar { to_limit: 0.4, ..so_far }), Some(0.0));
        assert_eq!(seconds_more(&SoFar { seconds: 0.0, ..so_far }), None);
        assert_eq!(seconds_more(&SoFar { u_random: f64::NAN, ..so_far }), None);
    }

    #[test]
    fn the_probability_above_a_limit() {
        let above = |value, u, dof, limit| probability_above(value, u, dof, limit).unwrap();
        // JCGM 106:2012, burst strength of a container against a least one (from memory), with the
        // normal distribution: Phi(2.29), by scipy 1.17.1.
        assert!((above(509.7, 8.6, f64::INFINITY, 490.0) - 0.989_009_547_384_822).abs() < 1e-12);
        // One degree of freedom is Cauchy's distribution: 1/2 + arctan(t)/pi.
        assert!((above(25.0, 5.0, 1.0, 20.0) - 0.75).abs() < 1e-12);
        assert!((above(15.0, 5.0, 1.0, 20.0) - 0.25).abs() < 1e-12);
        // Two: 1/2 + t/(2 sqrt(2 + t^2)), at t = 2 and far below the limit.
        let two = |t: f64| 0.5 + t / (2.0 * (2.0 + t * t).sqrt());
        assert!((above(30.0, 5.0, 2.0, 20.0) - two(2.0)).abs() < 1e-12);
        assert!((above(0.0, 1.0, 2.0, 2000.0) / two(-2000.0) - 1.0).abs() < 1e-6);
        assert_eq!(above(20.0, 5.0, 7.0, 20.0), 0.5);
        assert_eq!(above(20.0, 5.0, 7.0, f64::NEG_INFINITY), 1.0);
    }

    #[test]
    fn probability_needs_an_uncertainty() {
        assert_eq!(probability_above(1.0, 0.0, 5.0, 0.0), None);
        assert_eq!(probability_above(1.0, 0.1, 0.0, 0.0), None);
        assert_eq!(probability_above(f64::NAN, 0.1, 5.0, 0.0), None);
        assert_eq!(probability_above(1.0, 0.1, 5.0, f64::NAN), None);
        assert_eq!(probability_within(1.0, 0.0, 5.0, 0.0, 2.0), None);
        assert_eq!(probability_within(1.0, 0.1, 0.0, 0.0, 2.0), None);
        assert_eq!(probability_within(1.0, 0.1, 5.0, 2.0, 0.0), None);
        assert_eq!(probability_within(f64::NAN, 0.1, 5.0, 0.0, 2.0), None);
    }
}
