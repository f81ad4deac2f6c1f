//! Newey-West standard errors of the means of NIST's univariate sets, computed with statsmodels
//! 0.15.0 (`OLS(y, 1).fit(cov_type='HAC')`, no small-sample correction). The method is one that the
//! mean's interval was chosen among; `tests/python/means.rs` compares more of it.

use super::candidates::newey_west_u;
use super::tally::Tally;
use super::univariate::numbers;

#[test]
fn nist_sets() {
    let mut tally = Tally::new("Newey-West, NIST sets (statsmodels)");
    for (name, lags, expected) in [
        ("Lew", 4, 11.094968392474128),
        ("Lew", 10, 6.914304744842066),
        ("Michelso", 4, 0.011235965112085128),
        ("Michelso", 10, 0.012724145122203951),
        ("Mavro", 3, 0.00011423785712277004),
        ("Mavro", 10, 0.00016369045732170348),
        ("Lottery", 4, 16.599670606132715),
        ("Lottery", 10, 14.692857914262728),
    ] {
        let x = numbers(name);
        let n = x.len() as f64;
        let found = newey_west_u(&x, lags) * ((n - 1.0) / n).sqrt();
        tally.near(&format!("{name}, lag {lags}"), found, expected, 1e-12);
    }
}
