//! Intervals of the difference of two means, built from the parts that the findings use: a budget of
//! uncertainty components, and a fit.

use evenbreath::statistics::regression::least_squares;
use evenbreath::statistics::summary::{mean, sd};
use evenbreath::statistics::uncertainty::{Budget, Component};

/// Intervals of this level of the mean of `one` less that of `two`, which are equally long: paired,
/// by Welch and Satterthwaite, and with the scatters pooled.
pub fn intervals(one: &[f64], two: &[f64], level: f64) -> [(f64, f64); 3] {
    let pairs: Vec<f64> = one.iter().zip(two).map(|(a, b)| a - b).collect();
    let part = |x: &[f64]| {
        let n = x.len() as f64;
        Component::new("scatter", sd(x).unwrap() / n.sqrt(), n - 1.0)
    };
    let interval = |about: f64, parts: Vec<Component>| {
        Budget::new(parts).unwrap().interval(about, level).unwrap()
    };
    let paired = interval(mean(&pairs).unwrap(), vec![part(&pairs)]);
    let apart = mean(one).unwrap() - mean(two).unwrap();
    let welch = interval(apart, vec![part(one), part(two)]);
    // The pooled scatter is that of a fit on a constant and on which sample a value is of.
    let both = [one, two].concat();
    let first: Vec<f64> = (0..both.len()).map(|k| f64::from(u8::from(k < one.len()))).collect();
    let fit = least_squares(&both, &[&vec![1.0; both.len()], &first], None).unwrap();
    let scatter = Component::new("scatter", fit.u(1), fit.dof);
    [paired, welch, interval(fit.coefficients[1], vec![scatter])]
}
