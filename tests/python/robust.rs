//! Medians, quantiles and the Hampel filter: `numpy`, `scipy.stats.median_abs_deviation`,
//! `scipy.signal.medfilt`.

use crate::bridge::ask;
use crate::tally::Tally;
use crate::{NINE_DIGITS, SEED, series};
use evenbreath::statistics::robust::{hampel, running_median};
use evenbreath::statistics::summary::{MAD_TO_SD, mad, quantile};
use rand::Rng;
use serde_json::json;

const HALF: [usize; 3] = [1, 3, 7];
const QUANTILES: [f64; 7] = [0.0, 0.1, 0.25, 0.5, 0.841, 0.99, 1.0];
const THRESHOLD: f64 = 3.0;

/// Engine speeds with readings doubled and halved now and then; every other series is held to whole
/// revolutions, so that windows have ties and no scatter.
fn speeds() -> Vec<Vec<f64>> {
    let mut random = series::generator(SEED);
    let model = series::Model { lag1: 0.6, hunting: series::Hunting::None };
    (0..25)
        .map(|k| {
            let n = random.random_range(1..120);
            let noise = model.series(n, &mut random);
            let read = |v: &f64| {
                let speed = 850.0 + 4.0 * v;
                let speed = if k % 2 == 0 { speed } else { speed.round() };
                match random.random_range(0..15) {
                    0 => 2.0 * speed,
                    1 => 0.5 * speed,
                    _ => speed,
                }
            };
            noise.iter().map(read).collect()
        })
        .collect()
}

#[test]
fn medians_and_quantiles() {
    let all = speeds();
    let question =
        json!({"series": all, "half": HALF, "quantiles": QUANTILES, "threshold": THRESHOLD});
    let Some(answer) = ask("robust.py", &question) else { return };
    let [mads, scaled, quantiles] = ["mad", "scaled", "quantiles"].map(|name| answer.list(name));
    let mut tally = Tally::new("MAD and quantiles (scipy.stats, numpy)");
    for (k, x) in all.iter().enumerate() {
        let found = mad(x).unwrap();
        tally.near(&format!("MAD {k}"), found, mads[k], NINE_DIGITS);
        tally.near(&format!("scaled MAD {k}"), found * MAD_TO_SD, scaled[k], NINE_DIGITS);
        for (j, p) in QUANTILES.iter().enumerate() {
            let expected = quantiles[QUANTILES.len() * k + j];
            let what = format!("series {k}, quantile {p}");
            tally.near(&what, quantile(x, *p).unwrap(), expected, NINE_DIGITS);
        }
    }
}

#[test]
fn the_hampel_filter() {
    let all = speeds();
    let question =
        json!({"series": all, "half": HALF, "quantiles": QUANTILES, "threshold": THRESHOLD});
    let Some(answer) = ask("robust.py", &question) else { return };
    let [medians, filtered, wild] = ["medians", "filtered", "wild"].map(|name| answer.list(name));
    let mut tally =
        Tally::new("running median and Hampel filter (scipy.signal, numpy, scipy.stats)");
    let (mut at, mut replaced) = (0, 0);
    for (k, x) in all.iter().enumerate() {
        for half in HALF {
            let median = running_median(x, half).unwrap();
            let found = hampel(x, half, THRESHOLD, 0.0).unwrap();
            let here = at..at + x.len();
            let what = format!("series {k}, half window {half}");
            for (i, place) in here.clone().enumerate() {
                tally.near(&what, median[i], medians[place], NINE_DIGITS);
                tally.near(&what, found.values[i], filtered[place], NINE_DIGITS);
            }
            let expected: Vec<usize> =
                wild[here].iter().enumerate().filter(|(_, w)| **w > 0.0).map(|(i, _)| i).collect();
            replaced += expected.len();
            tally.same(&what, found.replaced, expected);
            at += x.len();
        }
    }
    assert!(replaced > 200, "only {replaced} wild values: the filter is hardly tried");
}
