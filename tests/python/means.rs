//! The methods that the mean's interval was chosen among (`tests/coverage/candidates.rs`): what they
//! are compared by must be the real thing. Newey-West, regressions, Burg's recursion and plain
//! intervals from statsmodels, cosines from scipy.

use crate::bridge::ask;
use crate::candidates as c;
use crate::series::{Hunting, Model, generator};
use crate::tally::Tally;
use crate::{NINE_DIGITS, SEED};
use evenbreath::statistics::summary::{autocorrelation, mean, sd};
use serde_json::json;

/// From a series to the half width of its interval.
type Method = fn(&[f64]) -> f64;

/// Series of many lengths, correlations and kinds of hunting about a level of 850.
fn series() -> Vec<Vec<f64>> {
    let mut random = generator(SEED);
    let mut all = Vec::new();
    for n in [24, 60, 106, 375] {
        for lag1 in [0.0, 0.5, 0.9] {
            for hunting in [
                Hunting::None,
                Hunting::Sine { amplitude: 4.0, period: 14.2 },
                Hunting::Narrow { rms: 3.0, period: 7.1 },
            ] {
                let x = Model { lag1, hunting }.series(n, &mut random);
                all.push(x.into_iter().map(|v| 850.0 + v).collect());
            }
        }
    }
    all
}

#[test]
fn newey_west() {
    let all = series();
    let lags = [0, 1, 2, 4, 8, 15];
    let Some(answer) = ask("means.py", &json!({"series": all, "lags": lags})) else { return };
    let (by_lag, half) = (answer.list("newey_west_u"), answer.list("newey_west"));
    let mut tally = Tally::new("Newey-West standard error and interval (statsmodels OLS HAC)");
    for (k, x) in all.iter().enumerate() {
        for (j, lag) in lags.iter().enumerate() {
            let expected = by_lag[k * lags.len() + j];
            let what = format!("series {k}, lag {lag}");
            tally.near(&what, c::newey_west_u(x, *lag), expected, NINE_DIGITS);
        }
        tally.near(&format!("series {k}, interval"), c::newey_west(x), half[k], NINE_DIGITS);
    }
}

#[test]
fn the_other_methods() {
    let all = series();
    let Some(answer) = ask("means.py", &json!({"series": all, "lags": [1]})) else { return };
    let methods: [(&str, Method); 6] = [
        ("naive", c::naive),
        ("prewhitened_kernel", c::prewhitened_kernel),
        ("eight_batches", c::eight_batches),
        ("advised_cosines", c::advised_cosines),
        ("six_cosines", c::six_cosines),
        ("autoregression", c::autoregression),
    ];
    let mut tally = Tally::new("intervals of a mean, the other methods (statsmodels, scipy.fft)");
    for (name, method) in methods {
        let expected = answer.list(name);
        for (k, x) in all.iter().enumerate() {
            tally.near(&format!("{name}, series {k}"), method(x), expected[k], NINE_DIGITS);
        }
    }
}

#[test]
fn summaries() {
    let all = series();
    let Some(answer) = ask("means.py", &json!({"series": all, "lags": [1]})) else { return };
    let (means, sds, lags) = (answer.list("mean"), answer.list("sd"), answer.list("acf"));
    let mut tally = Tally::new("mean, sd and autocorrelation (statsmodels DescrStatsW, acf)");
    for (k, x) in all.iter().enumerate() {
        tally.near(&format!("mean {k}"), mean(x).unwrap(), means[k], NINE_DIGITS);
        tally.near(&format!("sd {k}"), sd(x).unwrap(), sds[k], NINE_DIGITS);
        for lag in 1..=5 {
            let found = autocorrelation(x, lag).unwrap();
            // A correlation may be near 0 by cancellation: held to a part of 1.
            let what = format!("series {k}, lag {lag}");
            tally.of_size(&what, found, lags[5 * k + lag - 1], (1.0, NINE_DIGITS));
        }
    }
}
