//! The line with errors in both variables: `scipy.odr` with the errors of x and y given.
//!
//! scipy scales its covariance by the residual variance (`sd_beta`), and its linearised fit takes the
//! fitted points for the true ones: `u^2 = s^2 (ratio + b^2) / ((n - 1) s_f^2)`, `s_f^2` the variance
//! of the fitted x. Ours is Fuller's for large samples, which takes the x-error out of the variance
//! of x: with `e` the x-error's variance, `u^2 = s^2 (ratio + b^2) N / ((n - 1) (s_x^2 - e)^2)`,
//! `N = s_x^2 - e b^2/(ratio + b^2)`. So one is the other times `N s_f^2 / (s_x^2 - e)^2`, which
//! goes to 1 with the error, and every part of that factor is in what scipy answers.

use crate::bridge::ask;
use crate::tally::Tally;
use crate::{NINE_DIGITS, SEED, series};
use evenbreath::statistics::regression::{DemingLine, deming};
use evenbreath::statistics::summary::variance;
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::json;

/// The search of scipy.odr ends where its steps no longer change the sum of squares, so the slope is
/// good to about the root of the rounding; that sum itself is held to 1e-9.
const SEARCHED: f64 = 1e-7;

struct Case {
    x: Vec<f64>,
    y: Vec<f64>,
    ratio: f64,
}

/// Two sensors over some tens of kPa, of like and unlike errors, from small to a tenth of the range.
fn cases() -> Vec<Case> {
    let mut random = series::generator(SEED);
    (0..120)
        .map(|k| {
            let n = random.random_range(5..80);
            let (slope, offset) = (random.random_range(0.4..2.0), random.random_range(-3.0..3.0));
            let ratio = [1.0f64, 4.0, 0.3][k % 3];
            let error = [0.02, 0.3, 2.0][k / 3 % 3];
            let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
            let pair = |i: usize| {
                let truth = 30.0 + 40.0 * i as f64 / n as f64;
                let y = offset + slope * truth + ratio.sqrt() * error * normal();
                (truth + error * normal(), y)
            };
            let (x, y) = (0..n).map(pair).unzip();
            Case { x, y, ratio }
        })
        .collect()
}

#[test]
fn orthogonal_distance_regression() {
    let all = cases();
    let listed: Vec<_> =
        all.iter().map(|c| json!({"x": c.x, "y": c.y, "ratio": c.ratio})).collect();
    let Some(answer) = ask("errors_in_both.py", &json!({"cases": listed})) else { return };
    let [slopes, intercepts, sds, slants, errors, fitted] =
        ["slope", "intercept", "slope_sd", "slant", "x_error", "fitted"]
            .map(|name| answer.list(name));
    let mut line_tally = Tally::new("line with errors in both (scipy.odr)");
    let mut square_tally = Tally::new("line with errors in both, sum of squares (scipy.odr)");
    let mut u_tally = Tally::new("line with errors in both, uncertainties (scipy.odr)");
    let (mut nearest, mut furthest) = (f64::INFINITY, 0.0f64);
    for (k, case) in all.iter().enumerate() {
        let line = deming(&case.x, &case.y, case.ratio).unwrap();
        line_tally.near(&format!("slope {k}"), line.slope, slopes[k], SEARCHED);
        // An intercept is a difference of two levels of y: held to a part of the larger.
        let level = case.y.iter().fold(1.0f64, |m, v| m.max(v.abs()));
        line_tally.of_size(
            &format!("intercept {k}"),
            line.intercept,
            intercepts[k],
            (level, SEARCHED),
        );
        let off = |(x, y): (&f64, &f64)| (y - line.intercept - line.slope * x).powi(2);
        let squares: f64 = case.x.iter().zip(&case.y).map(off).sum();
        let squares = squares / (case.ratio + line.slope.powi(2));
        let expected = errors[k] * line.dof;
        square_tally.near(&format!("squares {k}"), squares, expected, NINE_DIGITS);
        let factor = fullers_factor(case, &line, errors[k], fitted[k]);
        let what = format!("u of slope {k}");
        u_tally.near(&what, line.slope_variance.sqrt(), sds[k] * factor.sqrt(), 1e-6);
        let slant = line.covariance / line.slope_variance;
        u_tally.near(&format!("covariance over variance {k}"), slant, slants[k], 1e-6);
        nearest = nearest.min(factor.sqrt());
        furthest = furthest.max(factor.sqrt());
    }
    // Fuller's is the wider, hardly so for small errors: a share of 10^-7 to some per cent here.
    assert!((1.0..1.0001).contains(&nearest), "{nearest}");
    assert!((1.01..1.2).contains(&furthest), "{furthest}");
}

/// Fuller's variance over that of the linearised fit, from what scipy answered.
fn fullers_factor(case: &Case, line: &DemingLine, x_error: f64, fitted: f64) -> f64 {
    let spread = variance(&case.x).unwrap();
    let share = line.slope.powi(2) / (case.ratio + line.slope.powi(2));
    (spread - share * x_error) * fitted / (spread - x_error).powi(2)
}
