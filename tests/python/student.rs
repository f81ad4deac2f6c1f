//! Student's t: `scipy.stats.t` and, at infinite degrees of freedom, `scipy.stats.norm`.

use crate::NINE_DIGITS;
use crate::bridge::ask;
use crate::tally::Tally;
use evenbreath::statistics::decision::probability_within;
use evenbreath::statistics::student::{cdf, coverage_factor, density, quantile};
use rand::Rng;
use serde_json::json;

/// Degrees of freedom up to a million, whole and not, both ways to the distribution.
const DOF: [f64; 26] = [
    0.5, 0.7, 1.0, 1.5, 2.0, 2.6, 3.0, 4.2, 5.0, 7.0, 9.99, 13.3, 16.75, 24.0, 30.0, 47.2, 100.0,
    333.3, 700.0, 999.5, 1000.0, 1234.5, 5000.0, 2e4, 1e5, 1e6,
];

/// Held to for probabilities below 1e-30.
const FAR_OUT: f64 = 1e-6;

/// Degrees of freedom and the other argument, every pair.
fn pairs(others: &[f64]) -> (Vec<f64>, Vec<f64>) {
    DOF.iter().flat_map(|dof| others.iter().map(move |other| (*dof, *other))).unzip()
}

#[test]
fn quantiles_and_coverage_factors() {
    let levels = [1e-6, 1e-4, 0.001, 0.005, 0.01, 0.025, 0.05, 0.1, 0.2, 0.317, 0.45];
    let both: Vec<f64> = levels.iter().copied().chain(levels.iter().map(|p| 1.0 - p)).collect();
    let (dof, p) = pairs(&both);
    let question = json!({"what": "quantile", "dof": dof, "at": p});
    let Some(answer) = ask("student.py", &question) else { return };
    let (t, normal) = (answer.list("t"), answer.list("normal"));
    let mut tally = Tally::new("Student's t, quantile (scipy.stats.t.ppf, norm.ppf)");
    for ((dof, p), expected) in dof.iter().zip(&p).zip(&t) {
        let found = quantile(*p, *dof).unwrap();
        tally.near(&format!("p {p}, dof {dof}"), found, *expected, NINE_DIGITS);
        if *p > 0.5 {
            let factor = coverage_factor(2.0 * p - 1.0, *dof).unwrap();
            tally.near(&format!("factor, p {p}, dof {dof}"), factor, *expected, NINE_DIGITS);
        }
    }
    for (p, expected) in both.iter().zip(&normal) {
        let found = quantile(*p, f64::INFINITY).unwrap();
        tally.near(&format!("p {p}, normal"), found, *expected, NINE_DIGITS);
    }
}

#[test]
fn probabilities() {
    let half = [1e-6, 0.001, 0.03, 0.1, 0.5, 1.0, 1.7, 1.96, 2.576, 3.3, 4.5, 6.0, 12.0, 40.0];
    let both: Vec<f64> = half.iter().flat_map(|t| [*t, -t]).collect();
    let (dof, t) = pairs(&both);
    let question = json!({"what": "cdf", "dof": dof, "at": t});
    let Some(answer) = ask("student.py", &question) else { return };
    let (below, normal, densities) =
        (answer.list("t"), answer.list("normal"), answer.list("density"));
    let mut tally = Tally::new("Student's t, probability (scipy.stats.t.cdf, norm.cdf)");
    for ((dof, t), expected) in dof.iter().zip(&t).zip(&below) {
        let found = cdf(*t, *dof).unwrap();
        // From 1000 degrees of freedom on ours is an expansion, which far out is good to fewer
        // digits of what is nothing by then.
        let limit = if *expected < 1e-30 { FAR_OUT } else { NINE_DIGITS };
        tally.near(&format!("t {t}, dof {dof}"), found, *expected, limit);
    }
    for (t, expected) in both.iter().zip(&normal) {
        let found = cdf(*t, f64::INFINITY).unwrap();
        tally.near(&format!("t {t}, normal"), found, *expected, NINE_DIGITS);
    }
    drop(tally);
    let mut tally = Tally::new("Student's t, density (scipy.stats.t.pdf)");
    for ((dof, t), expected) in dof.iter().zip(&t).zip(&densities) {
        let found = density(*t, *dof).unwrap();
        tally.near(&format!("t {t}, dof {dof}"), found, *expected, NINE_DIGITS);
    }
}

/// Probability of conformity. Ours is a difference of two probabilities near 1 where both limits lie
/// above the value, and scipy's one of the smaller tails, so it is held to a part of certainty, not
/// of itself: to 1e-10, of which the error function that ours rests on uses 4e-11.
#[test]
fn probabilities_of_conformity() {
    let mut random = crate::series::generator(crate::SEED);
    let cases: Vec<[f64; 5]> = (0..600)
        .map(|k| {
            let dof = if k % 3 == 0 {
                0.5 + 2.0 * random.random::<f64>()
            } else {
                1.0 + 10f64.powf(4.0 * random.random::<f64>())
            };
            let (value, u) =
                (random.random_range(-3.0..3.0), 10f64.powf(random.random_range(-2.0..0.5)));
            let low = random.random_range(-3.0..2.0);
            [value, u, dof, low, low + random.random_range(0.01..4.0)]
        })
        .collect();
    let column = |k: usize| -> Vec<f64> { cases.iter().map(|case| case[k]).collect() };
    let question = json!({"what": "within", "value": column(0), "u": column(1), "dof": column(2),
        "low": column(3), "high": column(4)});
    let Some(answer) = ask("student.py", &question) else { return };
    let (t, normal) = (answer.list("t"), answer.list("normal"));
    let mut tally = Tally::new("probability of conformity (scipy.stats.t.cdf, sf and norm)");
    for (k, [value, u, dof, low, high]) in cases.iter().copied().enumerate() {
        let found = |dof: f64| probability_within(value, u, dof, low, high).unwrap();
        tally.of_size(&format!("case {k}, t"), found(dof), t[k], (1.0, 1e-10));
        tally.of_size(&format!("case {k}, normal"), found(f64::INFINITY), normal[k], (1.0, 1e-10));
    }
}
