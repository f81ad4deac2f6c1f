//! Change points by least squares: `ruptures`, with `Pelt`, `Dynp` and `KernelCPD`.
//!
//! Two partitions may tie, so the sums are compared: squares within segments plus penalties, of what
//! we find and of what they find, and then the places themselves where the search is the same.

use crate::bridge::ask;
use crate::tally::Tally;
use crate::{NINE_DIGITS, SEED, series};
use evenbreath::statistics::changes::partition;
use evenbreath::statistics::summary::mean;
use rand::Rng;
use serde_json::json;

struct Case {
    x: Vec<f64>,
    penalty: f64,
}

/// Series with none to many steps in white and correlated noise, and penalties from ones that part
/// nearly every value to ones that part nothing.
fn cases(count: usize, longest: usize, stiffest: f64) -> Vec<Case> {
    let mut random = series::generator(SEED);
    (0..count)
        .map(|k| {
            let lag1 = [0.0, 0.5, 0.9][k % 3];
            let n = random.random_range(2..=longest);
            let model = series::Model { lag1, hunting: series::Hunting::None };
            let mut x = model.series(n, &mut random);
            let mut level = 850.0;
            for v in &mut x {
                if random.random_range(0.0..1.0) < 0.04 {
                    level += random.random_range(-6.0..6.0);
                }
                *v += level;
            }
            Case { x, penalty: 10f64.powf(random.random_range(-0.5..stiffest)) }
        })
        .collect()
}

fn squares(x: &[f64], starts: &[usize]) -> f64 {
    let mut edges = vec![0];
    edges.extend(starts);
    edges.push(x.len());
    let within = |w: &[usize]| {
        let segment = &x[w[0]..w[1]];
        let level = mean(segment).unwrap();
        segment.iter().map(|v| (v - level).powi(2)).sum::<f64>()
    };
    edges.windows(2).map(within).sum()
}

/// Compares with a search for the cheapest partition, and with the cheapest of as many changes.
fn compare(what: &'static str, search: &str, all: &[Case]) {
    let found: Vec<Vec<usize>> = all.iter().map(|case| partition(&case.x, case.penalty)).collect();
    let listed: Vec<_> = all
        .iter()
        .zip(&found)
        .map(
            |(case, starts)| json!({"x": case.x, "penalty": case.penalty, "changes": starts.len()}),
        )
        .collect();
    let Some(answer) = ask("changes.py", &json!({"search": search, "cases": listed})) else {
        return;
    };
    let mut tally = Tally::new(what);
    let mut seen = [0; 3];
    for (k, (case, ours)) in all.iter().zip(&found).enumerate() {
        let cost = |starts: &[usize]| squares(&case.x, starts) + case.penalty * starts.len() as f64;
        let by_penalty = answer.places(&format!("by_penalty_{k}"));
        let by_number = answer.places(&format!("by_number_{k}"));
        tally.near(&format!("cost {k}"), cost(ours), cost(&by_penalty), NINE_DIGITS);
        tally.near(&format!("cost of as many {k}"), cost(ours), cost(&by_number), NINE_DIGITS);
        tally.same(&format!("places {k}"), ours, &by_penalty);
        seen[ours.len().min(2)] += 1;
    }
    assert!(seen.iter().all(|count| *count > all.len() / 20), "{seen:?}: a kind is hardly tried");
}

#[test]
fn short_series_by_plain_search() {
    compare("change points (ruptures Pelt, Dynp)", "plain", &cases(60, 60, 2.0));
}

#[test]
fn long_series_by_kernel_search() {
    compare("change points (ruptures KernelCPD)", "kernel", &cases(200, 400, 4.0));
}
