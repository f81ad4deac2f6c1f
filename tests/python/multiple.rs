//! Holm's correction: `statsmodels.stats.multitest.multipletests`.

use crate::bridge::ask;
use crate::tally::Tally;
use crate::{NINE_DIGITS, SEED, series};
use evenbreath::statistics::multiple::holm;
use rand::Rng;
use serde_json::json;

#[test]
fn holms_correction() {
    let mut random = series::generator(SEED);
    let all: Vec<Vec<f64>> = (0..300)
        .map(|k| {
            let suspects = random.random_range(1..=25);
            let p = |_| match k % 3 {
                0 => random.random::<f64>(),
                // Ties, with 0 and 1 among them.
                1 => f64::from(random.random_range(0..=8u8)) / 8.0,
                _ => 10f64.powf(random.random_range(-9.0..0.0)),
            };
            (0..suspects).map(p).collect()
        })
        .collect();
    let Some(answer) = ask("multiple.py", &json!({"cases": all})) else { return };
    let expected = answer.list("holm");
    let found: Vec<f64> = all.iter().flat_map(|p| holm(p).unwrap()).collect();
    assert_eq!(found.len(), expected.len());
    let mut tally = Tally::new("Holm's correction (statsmodels multipletests)");
    for (k, (f, e)) in found.iter().zip(&expected).enumerate() {
        tally.near(&format!("value {k}"), *f, *e, NINE_DIGITS);
    }
}
