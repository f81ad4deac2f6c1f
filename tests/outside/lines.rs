//! NIST Statistical Reference Datasets, linear regression, and the line with errors in both
//! variables.

use super::{fixture, same};
use evenbreath::statistics::regression::{LinearFit, deming, least_squares};

/// Rows of a StRD regression file: from line 61 on, y first.
fn rows(name: &str) -> Vec<Vec<f64>> {
    let text = fixture(&format!("nist/{name}.dat"));
    let row = |l: &str| l.split_whitespace().map(|v| v.parse().unwrap()).collect();
    text.lines().skip(60).filter(|l| !l.trim().is_empty()).map(row).collect()
}

/// Fit of y on a constant and the other columns.
fn fitted(data: &[Vec<f64>]) -> LinearFit {
    let columns: Vec<Vec<f64>> = (0..data[0].len())
        .map(|c| data.iter().map(|r| if c == 0 { 1.0 } else { r[c] }).collect())
        .collect();
    let y: Vec<f64> = data.iter().map(|r| r[0]).collect();
    let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    least_squares(&y, &columns, None).unwrap()
}

#[track_caller]
fn check(name: &str, rows_expected: usize, certified: &[(f64, f64)], residual_sd: f64) {
    let data = rows(name);
    assert_eq!(data.len(), rows_expected);
    let fit = fitted(&data);
    for (i, (coefficient, sd)) in certified.iter().enumerate() {
        same(&format!("{name} B{i}"), fit.coefficients[i], *coefficient, 10.0);
        same(&format!("{name} sd of B{i}"), fit.u(i), *sd, 10.0);
    }
    same(&format!("{name} residual sd"), fit.variance().sqrt(), residual_sd, 10.0);
}

/// Certified values read in the file.
#[test]
fn norris() {
    let certified =
        [(-0.262323073774029, 0.232818234301152), (1.00211681802045, 0.429796848199937E-03)];
    check("Norris", 36, &certified, 0.884796396144373);
}

/// Certified values read in the file; the columns are nearly dependent.
#[test]
fn longley() {
    let certified = [
        (-3482258.63459582, 890420.383607373),
        (15.0618722713733, 84.9149257747669),
        (-0.358191792925910E-01, 0.334910077722432E-01),
        (-2.02022980381683, 0.488399681651699),
        (-1.03322686717359, 0.214274163161675),
        (-0.511041056535807E-01, 0.226073200069370),
        (1829.15146461355, 455.478499142212),
    ];
    check("Longley", 16, &certified, 304.854073561965);
}

/// Norris with errors in both variables: scipy 1.17.1 `scipy.odr`, `sx` 1 and `sy` the root of the
/// ratio; its standard deviations come from a linearised fit and differ from Fuller's by the part
/// of the x-error in the spread of x, one in 1e5 here.
#[test]
fn norris_with_errors_in_both() {
    let data = rows("Norris");
    let [y, x] = [0, 1].map(|c| data.iter().map(|r| r[c]).collect::<Vec<f64>>());
    let published = [
        (1.0, -0.26363947, 1.00211996, 0.23281849, 0.0004298),
        (4.0, -0.26285045, 1.00211808, 0.23282036, 0.00042979),
    ];
    for (ratio, intercept, slope, intercept_sd, slope_sd) in published {
        let line = deming(&x, &y, ratio).unwrap();
        same("slope", line.slope, slope, 8.0);
        same("intercept", line.intercept, intercept, 6.0);
        same("sd of slope", line.slope_variance.sqrt(), slope_sd, 3.5);
        same("sd of intercept", line.at(0.0).1, intercept_sd, 3.5);
    }
}
