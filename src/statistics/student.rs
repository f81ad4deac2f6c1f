//! Student's t with any positive degrees of freedom, infinity (the normal distribution) included.
//!
//! statrs 0.19 gives the distribution function up to [`MANY`] degrees of freedom. Beyond that its
//! continued fraction is cut short (error 1e-5 at a million) and its inverse may search without
//! end, so there Hill's expansion in 1/dof takes over (Communications of the ACM 13 (1970) 617,
//! algorithms 395 and 396, from memory), and the inverse is searched here.

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};
use statrs::function::beta::checked_beta_reg;

/// Degrees of freedom from which the expansion about the normal is good to eleven digits.
const MANY: f64 = 1000.0;

/// Probability that a t variable with `dof` degrees of freedom lies at or below `t`.
/// `None` when `t` is NaN or `dof` is not positive.
pub fn cdf(t: f64, dof: f64) -> Option<f64> {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    if t.is_infinite() {
        return Some(if t > 0.0 { 1.0 } else { 0.0 });
    }
    if dof >= MANY {
        return Some(Normal::standard().cdf(normal_deviate(t, dof)));
    }
    if t * t < 1.0 {
        // statrs passes 1 - t^2/(dof + t^2) on, from which a small t cannot be had back: at 1e-6
        // and 999 degrees of freedom that costs 4e-7 of the probability.
        let share = checked_beta_reg(0.5, 0.5 * dof, t * t / (dof + t * t)).ok()?;
        return Some(0.5 + 0.5 * share.copysign(t));
    }
    StudentsT::new(0.0, 1.0, dof).ok().map(|d| d.cdf(t))
}

/// The normal deviate that is exceeded as often as `t` with many degrees of freedom.
fn normal_deviate(t: f64, dof: f64) -> f64 {
    if dof.is_infinite() {
        return t;
    }
    let a = dof - 0.5;
    let b = 48.0 * a * a;
    let w2 = a * (t * t / dof).ln_1p();
    let first = (w2 + 3.0) / b;
    let second =
        (((4.0 * w2 + 33.0) * w2 + 240.0) * w2 + 855.0) / (10.0 * b * (b + 0.8 * w2 * w2 + 100.0));
    t.signum() * w2.sqrt() * (1.0 + first - second)
}

/// The value that a t variable with `dof` degrees of freedom stays below with probability `p`.
/// `None` unless `0 < p < 1` and `dof > 0`, or where the value is too large for a f64.
pub fn quantile(p: f64, dof: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    if dof.is_infinite() {
        return Some(Normal::standard().inverse_cdf(p));
    }
    if p > 0.5 {
        return quantile(1.0 - p, dof).map(|t| -t);
    }
    let mut low = -1.0;
    while cdf(low, dof)? > p {
        low *= 2.0;
        if low < -1e150 {
            return None;
        }
    }
    let mut high = 0.0;
    // Near the answer with many degrees of freedom (the first term of the expansion of
    // R. A. Fisher and E. A. Cornish, Technometrics 2 (1960) 209; from memory).
    let normal = Normal::standard().inverse_cdf(p);
    let start = normal + (normal.powi(3) + normal) / (4.0 * dof);
    let mut t = if start > low && start < high { start } else { 0.5 * (low + high) };
    // Newton within a bracket that always holds the answer; halving where Newton leaves it.
    for _ in 0..100 {
        let over = cdf(t, dof)? - p;
        if over > 0.0 {
            high = t
        } else {
            low = t
        }
        let newton = t - over / density(t, dof)?;
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        let moved = (next - t).abs();
        t = next;
        if moved <= 1e-14 * t.abs() {
            break;
        }
    }
    Some(t)
}

/// Density of a t variable with `dof` degrees of freedom at `t`. `None` when `t` is NaN or `dof` is
/// not positive.
pub fn density(t: f64, dof: f64) -> Option<f64> {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    StudentsT::new(0.0, 1.0, dof).ok().map(|d| d.pdf(t))
}

/// Coverage factor: `quantile` at the upper end of a symmetric interval that holds `level`.
/// `None` unless `0 < level < 1` and `dof > 0`.
pub fn coverage_factor(level: f64, dof: f64) -> Option<f64> {
    quantile(0.5 + 0.5 * level, dof)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantile_and_cdf_undo_each_other_over_the_whole_range() {
        for dof in [0.5, 1.0, 2.6, 16.75, 400.0, 999.0, 1001.0, 1e6, 1e9, f64::INFINITY] {
            for p in [0.0005, 0.025, 0.3, 0.5, 0.84134, 0.975, 0.99865] {
                let t = quantile(p, dof).unwrap();
                let back = cdf(t, dof).unwrap();
                assert!((back - p).abs() < 1e-9, "dof {dof}, p {p}: t {t} gives {back}");
            }
        }
    }

    #[test]
    fn the_two_ways_to_the_distribution_meet() {
        for t in [-5.0, -1.96, -0.1, 0.7, 3.3] {
            let (below, above) = (cdf(t, 999.999_999).unwrap(), cdf(t, 1000.0).unwrap());
            assert!((below - above).abs() < 1e-11, "t {t}: {below} and {above}");
        }
    }

    #[test]
    fn a_small_t_is_not_lost() {
        for dof in [0.5, 3.0, 47.2, 333.3, 999.5] {
            for t in [1e-9, 1e-6, -1e-6, 1e-5] {
                // The next term of the series is t^3/6.
                let straight = 0.5 + t * density(0.0, dof).unwrap();
                assert!((cdf(t, dof).unwrap() - straight).abs() < 1e-15, "t {t}, dof {dof}");
            }
        }
        assert_eq!((cdf(0.0, 3.0), cdf(-0.0, 3.0)), (Some(0.5), Some(0.5)));
    }

    #[test]
    fn senseless_arguments_give_nothing() {
        for (p, dof) in [(0.0, 5.0), (1.0, 5.0), (f64::NAN, 5.0), (0.5, 0.0), (0.5, f64::NAN)] {
            assert_eq!(quantile(p, dof), None);
        }
        assert_eq!(cdf(f64::NAN, 3.0), None);
        assert_eq!(cdf(1.0, -1.0), None);
        assert_eq!(cdf(f64::INFINITY, 3.0), Some(1.0));
    }
}
