//! Least squares, the fit with known errors, and the autoregression: statsmodels `WLS`, `GLS` and
//! `yule_walker`.

use crate::bridge::ask;
use crate::tally::Tally;
use crate::{NINE_DIGITS, SEED, series};
use evenbreath::statistics::autoregression::Autoregression;
use evenbreath::statistics::known_errors::{Observation, fit};
use evenbreath::statistics::regression::least_squares;
use evenbreath::statistics::summary::mean;
use rand::Rng;
use serde_json::json;

struct Case {
    y: Vec<f64>,
    columns: Vec<Vec<f64>>,
    u: Vec<f64>,
}

/// A level, a drift and up to three columns that are steps or noise; uncertainties of every size.
fn cases() -> Vec<Case> {
    let mut random = series::generator(SEED);
    let model = series::Model { lag1: 0.4, hunting: series::Hunting::None };
    (0..60)
        .map(|k| {
            let n = random.random_range(12..90);
            let mut columns = vec![vec![1.0; n], (0..n).map(|t| t as f64 / n as f64).collect()];
            if k % 2 == 0 {
                let at = random.random_range(3..n - 3);
                columns.push((0..n).map(|t| f64::from(u8::from(t >= at))).collect());
            }
            columns.extend((0..k / 2 % 3).map(|_| model.series(n, &mut random)));
            let y = model.series(n, &mut random).iter().map(|v| 850.0 + 3.0 * v).collect();
            let u = (0..n).map(|_| 10f64.powf(random.random_range(-1.0..1.0))).collect();
            Case { y, columns, u }
        })
        .collect()
}

#[test]
fn weighted_and_known_errors() {
    let all = cases();
    let listed: Vec<_> =
        all.iter().map(|c| json!({"y": c.y, "columns": c.columns, "u": c.u})).collect();
    let question = json!({"what": "fit", "cases": listed});
    let Some(answer) = ask("regression.py", &question) else { return };
    let mut ols = Tally::new("least squares, plain and weighted (statsmodels OLS, WLS)");
    let mut gls = Tally::new("fit with known errors (statsmodels WLS, fixed scale)");
    for (k, case) in all.iter().enumerate() {
        let columns: Vec<&[f64]> = case.columns.iter().map(Vec::as_slice).collect();
        let weights: Vec<f64> = case.u.iter().map(|u| u.powi(-2)).collect();
        for (name, weights) in [("plain", None), ("weighted", Some(weights.as_slice()))] {
            let found = least_squares(&case.y, &columns, weights).unwrap();
            let of = |what: &str| answer.list(&format!("{name}_{what}_{k}"));
            let (values, sds) = (of("values"), of("sds"));
            for i in 0..columns.len() {
                let what = format!("{name} {k}, coefficient {i}");
                // A coefficient may be near 0: held to a part of its uncertainty as well.
                let size = values[i].abs().max(sds[i]);
                ols.of_size(&what, found.coefficients[i], values[i], (size, NINE_DIGITS));
                ols.near(&format!("u of {what}"), found.u(i), sds[i], NINE_DIGITS);
            }
            ols.near(
                &format!("variance, {name} {k}"),
                found.variance(),
                of("scale")[0],
                NINE_DIGITS,
            );
        }
        let observations: Vec<Observation> = (0..case.y.len())
            .map(|t| Observation {
                coefficients: columns.iter().map(|c| c[t]).collect(),
                own: None,
                value: case.y[t],
                u: case.u[t],
            })
            .collect();
        let found = fit(&observations, 0).unwrap();
        let (values, covariance) =
            (answer.list(&format!("weighted_values_{k}")), answer.list(&format!("known_{k}")));
        for i in 0..columns.len() {
            let u = covariance[i * columns.len() + i].sqrt();
            let size = values[i].abs().max(u);
            gls.of_size(
                &format!("value {k}, {i}"),
                found.estimate[i],
                values[i],
                (size, NINE_DIGITS),
            );
            for j in 0..columns.len() {
                let expected = covariance[i * columns.len() + j];
                let size = u * covariance[j * columns.len() + j].sqrt();
                let what = format!("covariance {k}, {i} {j}");
                gls.of_size(&what, found.covariance[i][j], expected, (size, NINE_DIGITS));
            }
        }
    }
}

#[test]
fn autoregressions() {
    let all: Vec<Vec<f64>> = cases()
        .into_iter()
        .map(|case| {
            let level = mean(&case.y).unwrap();
            case.y.iter().map(|v| v - level).collect()
        })
        .collect();
    let question = json!({"what": "autoregression", "series": all, "orders": [1, 2, 5]});
    let Some(answer) = ask("regression.py", &question) else { return };
    let mut tally = Tally::new("autoregression (statsmodels yule_walker, mle)");
    for (k, x) in all.iter().enumerate() {
        for order in [1, 2, 5] {
            let found = Autoregression::fit(x, order).unwrap();
            let (phi, sigma) = (
                answer.list(&format!("phi_{k}_{order}")),
                answer.one(&format!("sigma_{k}_{order}")),
            );
            for (i, expected) in phi.iter().enumerate() {
                let what = format!("series {k}, order {order}, lag {}", i + 1);
                tally.of_size(&what, found.phi[i], *expected, (1.0, NINE_DIGITS));
            }
            tally.near(&format!("sigma {k}, order {order}"), found.sigma, sigma, NINE_DIGITS);
        }
    }
}
