//! The decision rule against equivalence tests: two one-sided tests (TOST) at a level alpha find two
//! things equivalent exactly when the interval of level `1 - 2 alpha` lies inside the limits.

use crate::bridge::ask;
use crate::difference::intervals;
use crate::tally::Tally;
use crate::{NINE_DIGITS, SEED, series};
use evenbreath::statistics::decision::{Verdict, decide};
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::json;

/// Two samples, a tolerance on the difference of their means, and a risk.
struct Case {
    one: Vec<f64>,
    two: Vec<f64>,
    tolerance: f64,
    alpha: f64,
}

/// Cases on both sides of the limit and many near it.
fn cases(count: usize) -> Vec<Case> {
    let mut random = series::generator(SEED);
    let normals = |n: usize, level: f64, scatter: f64, random: &mut rand_pcg::Pcg64| {
        let value = |random: &mut rand_pcg::Pcg64| -> f64 { StandardNormal.sample(random) };
        (0..n).map(|_| level + scatter * value(random)).collect::<Vec<f64>>()
    };
    (0..count)
        .map(|k| {
            let alpha = [0.05, 0.025, 0.01, 0.1][k % 4];
            let tolerance = 10f64.powf(random.random_range(-1.0..1.0));
            // So that the standard error is a fair share of the tolerance.
            let n = random.random_range(3..30);
            let scatter = tolerance * (n as f64).sqrt() * random.random_range(0.05..0.6);
            let apart = tolerance * random.random_range(-2.0..2.0);
            let other = scatter * random.random_range(0.3..2.0);
            Case {
                one: normals(n, 50.0 + apart, scatter, &mut random),
                two: normals(n, 50.0, other, &mut random),
                tolerance,
                alpha,
            }
        })
        .collect()
}

fn ends_of(case: &Case) -> [(f64, f64); 3] {
    intervals(&case.one, &case.two, 1.0 - 2.0 * case.alpha)
}

#[test]
fn two_one_sided_tests() {
    let all = cases(800);
    let listed: Vec<_> = all
        .iter()
        .map(|c| json!({"one": c.one, "two": c.two, "tolerance": c.tolerance, "alpha": c.alpha}))
        .collect();
    let Some(answer) = ask("equivalence.py", &json!({"cases": listed})) else { return };
    let [low, high] = ["low", "high"].map(|name| answer.list(name));
    let [p_equal, p_apart] = ["p_equivalent", "p_apart"].map(|name| answer.list(name));
    let mut ends = Tally::new("ends of the interval of a difference (statsmodels tconfint)");
    let mut verdicts = Tally::new("verdicts (statsmodels ttost_paired, ttost_ind, ttest)");
    let mut seen = [0; 3];
    for (k, case) in all.iter().enumerate() {
        for (j, (from, to)) in ends_of(case).into_iter().enumerate() {
            let (at, what) = (3 * k + j, format!("case {k}, interval {j}"));
            // An end may lie near 0: held to a part of the interval's width.
            let width = high[at] - low[at];
            ends.of_size(&what, from, low[at], (width, NINE_DIGITS));
            ends.of_size(&what, to, high[at], (width, NINE_DIGITS));
            let expected = if p_equal[at] <= case.alpha {
                Verdict::InTolerance
            } else if p_apart[at] < case.alpha {
                Verdict::OutOfTolerance
            } else {
                Verdict::NotSettled
            };
            verdicts.same(&what, decide(from, to, case.tolerance), expected);
            seen[expected as usize] += 1;
        }
    }
    assert!(seen.iter().all(|count| *count > 200), "{seen:?}: a verdict is hardly tried");
}
