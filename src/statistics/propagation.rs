//! Coverage intervals by propagation of distributions (JCGM 101:2008, Supplement 1 to the GUM).
//!
//! Where a result is not linear in what it comes from, or where limits with nothing behind them but
//! their ends (rectangular distributions) make up most of its uncertainty, `value ± k u` promises a
//! probability that it does not keep. Here every input is drawn from its own distribution, and the
//! interval is read off the results. The draws fill their space evenly (Halton), so that the same
//! inputs give the same interval.

use super::{draws, student};
use statrs::distribution::{ContinuousCDF, Normal};

/// Draws: an end of the interval is then known to about 0.2 % of the interval's width.
const DRAWS: usize = 4096;
/// Places at which Student's t is worked out; between them it is interpolated.
const PLACES: usize = 65;
/// Normal deviate beyond the furthest draw.
const FURTHEST: f64 = 5.0;

/// What is known of an input beside its value: how its error is distributed about zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Error {
    /// Anything within plus and minus this limit, nothing beyond it.
    Within(f64),
    /// Student's t with this standard uncertainty and these degrees of freedom.
    Scattered {
        /// Standard uncertainty.
        u: f64,
        /// Degrees of freedom; infinity for the normal distribution.
        dof: f64,
    },
}

/// The interval that leaves out equal probabilities on both sides and holds `level` of what `model`
/// makes of the errors. An end is infinite where so much of the results is; `None` where a result is
/// no number, where `level` is none between 0 and 1, or degrees of freedom are not positive.
///
/// ```
/// use evenbreath::statistics::propagation::{Error, interval};
/// // A rectangle of half width 1: 95 % lie within 0.95, not within 1.96 / sqrt 3 = 1.13.
/// let (low, high) = interval(&[Error::Within(1.0)], 0.95, |errors| 7.0 + errors[0]).unwrap();
/// assert!((low - 6.05).abs() < 2e-3 && (high - 7.95).abs() < 2e-3);
/// ```
pub fn interval(errors: &[Error], level: f64, model: impl Fn(&[f64]) -> f64) -> Option<(f64, f64)> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    let scales: Vec<Scale> = errors.iter().map(Scale::of).collect::<Option<_>>()?;
    let mut drawn = vec![0.0; errors.len()];
    let mut results = Vec::with_capacity(DRAWS);
    for k in 0..DRAWS {
        for ((drawn, scale), normal) in
            drawn.iter_mut().zip(&scales).zip(draws::normal(k, errors.len()))
        {
            *drawn = scale.error(normal);
        }
        let result = model(&drawn);
        if result.is_nan() {
            return None;
        }
        results.push(result);
    }
    results.sort_by(f64::total_cmp);
    let end = |probability: f64| {
        let place = probability * DRAWS as f64 - 0.5;
        let before = place.floor().clamp(0.0, (DRAWS - 2) as f64);
        let (low, high) = (results[before as usize], results[before as usize + 1]);
        if low == high { low } else { low + (place - before) * (high - low) }
    };
    Some((end(0.5 * (1.0 - level)), end(0.5 * (1.0 + level))))
}

/// From a normal deviate to an error.
enum Scale {
    Within(f64),
    /// By how much Student's t is larger than the normal deviate of the same probability, times the
    /// standard uncertainty, at even places of the deviate.
    Scattered(Vec<f64>),
}

impl Scale {
    fn of(error: &Error) -> Option<Scale> {
        let times = |place: usize, u: f64, dof: f64| {
            let deviate = FURTHEST * place.max(1) as f64 / (PLACES - 1) as f64;
            let below = Normal::standard().cdf(-deviate);
            Some(u * student::quantile(below, dof)? / -deviate)
        };
        match *error {
            Error::Within(limit) => Some(Scale::Within(limit)),
            Error::Scattered { u, dof } => (0..PLACES)
                .map(|place| times(place, u, dof))
                .collect::<Option<_>>()
                .map(Scale::Scattered),
        }
    }

    fn error(&self, deviate: f64) -> f64 {
        match self {
            Scale::Within(limit) => limit * (2.0 * Normal::standard().cdf(deviate) - 1.0),
            Scale::Scattered(times) => {
                let place = deviate.abs().min(FURTHEST) / FURTHEST * (PLACES - 1) as f64;
                let before = (place as usize).min(PLACES - 2);
                let share = place - before as f64;
                deviate * (times[before] + share * (times[before + 1] - times[before]))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_scattered_input_has_students_interval() {
        for dof in [1.0, 2.0, 3.5, 12.0, 60.0, f64::INFINITY] {
            let wanted = student::coverage_factor(0.95, dof).unwrap();
            let (low, high) =
                interval(&[Error::Scattered { u: 1.0, dof }], 0.95, |errors| errors[0]).unwrap();
            // The furthest draws of a heavy tail lie far apart.
            let apart = if dof < 3.0 { 0.02 } else { 4e-3 };
            assert!((high / wanted - 1.0).abs() < apart, "{dof}: {high} {wanted}");
            assert!((low / wanted + 1.0).abs() < apart, "{dof}: {low} {wanted}");
        }
    }

    #[test]
    fn two_rectangles_make_a_trapezium() {
        // Of the sum of rectangles of half widths a < b, (a + b - x)^2 / 8ab lies beyond x in the tail.
        let (a, b) = (0.6, 1.0);
        let wanted = a + b - (8.0 * a * b * 0.025_f64).sqrt();
        let (low, high) =
            interval(&[Error::Within(a), Error::Within(b)], 0.95, |e| e[0] + e[1]).unwrap();
        assert!(
            (high - wanted).abs() < 5e-3 && (low + wanted).abs() < 5e-3,
            "{low} {high} {wanted}"
        );
    }

    #[test]
    fn what_is_no_number_has_no_interval_and_what_is_unbounded_an_infinite_end() {
        let one = [Error::Within(1.0)];
        assert_eq!(interval(&one, 0.95, |_| f64::NAN), None);
        assert_eq!(interval(&one, 1.0, |e| e[0]), None);
        assert_eq!(interval(&[Error::Scattered { u: 1.0, dof: 0.0 }], 0.95, |e| e[0]), None);
        let beyond = |e: &[f64]| if e[0] > 0.9 { f64::INFINITY } else { e[0] };
        let (low, high) = interval(&one, 0.95, beyond).unwrap();
        assert!((low + 0.95).abs() < 2e-3 && high == f64::INFINITY, "{low} {high}");
    }
}
