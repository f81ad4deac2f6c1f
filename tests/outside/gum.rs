//! The worked examples H.2 and H.3 of the GUM (JCGM 100:2008). Data and printed results as
//! transcribed in GTC's `GUM_H2.py` and `GUM_H3.py` and, for H.2, in suncal's tests (Table H.4); the
//! printed correlations are from memory; full digits were computed from the data.

use super::tally::Tally;
use evenbreath::statistics::regression::least_squares;
use evenbreath::statistics::summary::{mean, sd};
use evenbreath::statistics::uncertainty::correlated_u;

/// Readings of potential difference, V, current, A, and phase, rad.
const READINGS: [[f64; 5]; 3] = [
    [5.007, 4.994, 5.005, 4.990, 4.999],
    [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
    [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
];

/// Resistance, reactance and impedance of one reading.
fn impedance([v, i, phi]: [f64; 3]) -> [f64; 3] {
    [v / i * phi.cos(), v / i * phi.sin(), v / i]
}

/// Covariance of the means of three series of five.
fn covariance_of_means(data: &[[f64; 5]; 3]) -> Vec<Vec<f64>> {
    let centre = data.map(|x| mean(&x).unwrap());
    let products = |a: usize, b: usize| -> f64 {
        (0..5).map(|k| (data[a][k] - centre[a]) * (data[b][k] - centre[b])).sum()
    };
    (0..3).map(|a| (0..3).map(|b| products(a, b) / 20.0).collect()).collect()
}

/// Correlation of two functions of correlated quantities, from the uncertainty of their sum.
fn correlation(one: [f64; 3], two: [f64; 3], covariance: &[Vec<f64>]) -> f64 {
    let u = |gradient: &[f64]| correlated_u(gradient, covariance).unwrap();
    let sum: Vec<f64> = one.iter().zip(two).map(|(a, b)| a + b).collect();
    (u(&sum).powi(2) - u(&one).powi(2) - u(&two).powi(2)) / (2.0 * u(&one) * u(&two))
}

/// Means, then a linear function of them: printed 127.732, 219.847, 254.260 ohm, u 0.071, 0.295,
/// 0.236, correlations -0.588, -0.485, 0.993.
#[test]
fn h2_first_approach() {
    let mut tally = Tally::new("GUM H.2, correlated inputs");
    let covariance = covariance_of_means(&READINGS);
    let centre = READINGS.map(|x| mean(&x).unwrap());
    for (k, u) in [0.00320936131, 9.47100839e-6, 7.52063827e-4].into_iter().enumerate() {
        tally.digits("u of a mean", sd(&READINGS[k]).unwrap() / 5f64.sqrt(), u, 8.0);
    }
    let axis = |k: usize| [0, 1, 2].map(|i| f64::from(u8::from(i == k)));
    let r = |a: usize, b: usize| correlation(axis(a), axis(b), &covariance);
    tally.digits("r(V, I)", r(0, 1), -0.35531121981751196, 10.0);
    tally.digits("r(V, phi)", r(0, 2), 0.8576242108399619, 10.0);
    tally.digits("r(I, phi)", r(1, 2), -0.6451112176892567, 10.0);
    let found = impedance(centre);
    let expected = [127.73216992810208, 219.84651191263848, 254.25970194801894];
    for k in 0..3 {
        tally.digits("R, X, Z", found[k], expected[k], 12.0);
    }
    let [v, i, phi] = centre;
    let (s, c, z) = (phi.sin(), phi.cos(), v / i);
    let gradients =
        [[c / i, -z * c / i, -z * s], [s / i, -z * s / i, z * c], [1.0 / i, -z / i, 0.0]];
    for (gradient, u) in gradients.iter().zip([0.07107141, 0.29558168, 0.23633613]) {
        tally.digits("u", correlated_u(gradient, &covariance).unwrap(), u, 7.0);
    }
    let pairs =
        [(0, 1, -0.588429784423516), (0, 2, -0.4852592242099274), (1, 2, 0.9925116489490166)];
    for (a, b, expected) in pairs {
        let found = correlation(gradients[a], gradients[b], &covariance);
        tally.digits(&format!("r {a} {b}"), found, expected, 9.0);
    }
}

/// Every reading for itself, then means.
#[test]
fn h2_second_approach() {
    let mut tally = Tally::new("GUM H.2, second approach");
    let each = [0, 1, 2, 3, 4].map(|k| impedance(READINGS.map(|x| x[k])));
    let columns = [0, 1, 2].map(|c| each.map(|row| row[c]));
    let expected =
        [(127.73163048, 0.07127354), (219.8468946, 0.29548909), (254.26004959, 0.2362475)];
    for (column, (value, u)) in columns.iter().zip(expected) {
        tally.digits("value", mean(column).unwrap(), value, 9.0);
        tally.digits("u", sd(column).unwrap() / 5f64.sqrt(), u, 7.0);
    }
}

/// Correction of a thermometer against its reading less 20 degrees: printed -0.1712 (0.0029),
/// 0.00218 (0.00067), r -0.930, s 0.0035, at 30 degrees -0.1494 (0.0041).
#[test]
fn h3_calibration_line() {
    let mut tally = Tally::new("GUM H.3, calibration line");
    let t =
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b =
        [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let warmer = t.map(|t| t - 20.0);
    let fit = least_squares(&b, &[&[1.0; 11], &warmer], None).unwrap();
    tally.digits("y1", fit.coefficients[0], -0.17120379013134995, 11.0);
    tally.digits("y2", fit.coefficients[1], 0.002182697739887277, 11.0);
    tally.digits("s(y1)", fit.u(0), 0.0028775978351599503, 11.0);
    tally.digits("s(y2)", fit.u(1), 0.0006679387732278308, 11.0);
    tally.digits("s", fit.variance().sqrt(), 0.0034975639635052803, 11.0);
    let covariance: Vec<Vec<f64>> =
        fit.cofactors.iter().map(|row| row.iter().map(|c| c * fit.variance()).collect()).collect();
    let r = covariance[0][1] / (fit.u(0) * fit.u(1));
    tally.digits("r(y1, y2)", r, -0.9304296030934458, 11.0);
    let at_30 = fit.coefficients[0] + 10.0 * fit.coefficients[1];
    tally.digits("b(30)", at_30, -0.1493768127324772, 11.0);
    let u = correlated_u(&[1.0, 10.0], &covariance).unwrap();
    tally.digits("u(b(30))", u, 0.004138595752854942, 11.0);
}
