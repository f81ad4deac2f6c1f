//! The methods that the mean's interval was chosen among: each gives the half width of a 95 %
//! interval about the arithmetic mean.

use evenbreath::statistics::student::coverage_factor;
use evenbreath::statistics::summary::{mean, sd};
use std::f64::consts::PI;

fn t95(dof: f64) -> f64 {
    coverage_factor(0.95, dof.max(0.5)).unwrap()
}

fn centred(x: &[f64]) -> Vec<f64> {
    let m = mean(x).unwrap();
    x.iter().map(|v| v - m).collect()
}

/// `s / sqrt(n)` and Student's t.
pub fn naive(x: &[f64]) -> f64 {
    let n = x.len() as f64;
    sd(x).unwrap() / n.sqrt() * t95(n - 1.0)
}

fn lag_products(x: &[f64], lag: usize) -> f64 {
    x.iter().zip(&x[lag..]).map(|(a, b)| a * b).sum()
}

/// Standard error of the mean by Newey and West (1987, Econometrica 55:703, from memory): Bartlett
/// weights up to `lags`, the variance times n/(n - 1).
pub fn newey_west_u(x: &[f64], lags: usize) -> f64 {
    let (n, d) = (x.len() as f64, centred(x));
    let weight = |lag: usize| 1.0 - lag as f64 / (lags as f64 + 1.0);
    let tail: f64 = (1..=lags).map(|lag| weight(lag) * lag_products(&d, lag)).sum();
    let s = lag_products(&d, 0) + 2.0 * tail;
    (s / n / (n - 1.0)).sqrt()
}

/// Newey-West with the lag that programs take when nobody names one, `4 (n/100)^(2/9)`, and
/// Student's t.
pub fn newey_west(x: &[f64]) -> f64 {
    let n = x.len() as f64;
    newey_west_u(x, (4.0 * (n / 100.0).powf(2.0 / 9.0)) as usize) * t95(n - 1.0)
}

/// Quadratic-spectral kernel after prewhitening by a first-order fit, Andrews' automatic bandwidth.
pub fn prewhitened_kernel(x: &[f64]) -> f64 {
    let n = x.len() as f64;
    let d = centred(x);
    let slope = |e: &[f64]| lag_products(e, 1) / lag_products(&e[..e.len() - 1], 0);
    let a = slope(&d).clamp(-0.97, 0.97);
    let e: Vec<f64> = d.windows(2).map(|w| w[1] - a * w[0]).collect();
    let r = slope(&e);
    let bandwidth = 1.3221 * (4.0 * r * r / (1.0 - r).powi(4) * n).powf(0.2);
    let mut s = lag_products(&e, 0);
    for lag in 1..e.len() {
        let u = lag as f64 / bandwidth;
        if u > 8.0 {
            break;
        }
        let q = 1.2 * PI * u;
        s +=
            2.0 * 25.0 / (12.0 * PI * PI * u * u) * (q.sin() / q - q.cos()) * lag_products(&e, lag);
    }
    1.96 * (s.max(0.0) / n / (1.0 - a).powi(2) / n).sqrt()
}

/// Eight batch means and Student's t.
pub fn eight_batches(x: &[f64]) -> f64 {
    let means: Vec<f64> = x.chunks_exact(x.len() / 8).take(8).map(|c| mean(c).unwrap()).collect();
    sd(&means).unwrap() / 8f64.sqrt() * t95(7.0)
}

/// Equal-weighted cosines, `count` of them, and Student's t.
pub fn cosines(x: &[f64], count: usize) -> f64 {
    let (n, d) = (x.len() as f64, centred(x));
    let power = |k: usize| {
        let wave = |t: usize| (PI * k as f64 * (t as f64 + 0.5) / n).cos();
        let c: f64 = d.iter().enumerate().map(|(t, v)| v * wave(t)).sum();
        c * c * 2.0 / n
    };
    let level = (1..=count).map(power).sum::<f64>() / count as f64;
    (level / n).sqrt() * t95(count as f64)
}

/// The number of cosines that Lazarus and others advise, `0.4 n^(2/3)`.
pub fn advised_cosines(x: &[f64]) -> f64 {
    cosines(x, (0.4 * (x.len() as f64).powf(2.0 / 3.0)) as usize)
}

/// Six cosines.
pub fn six_cosines(x: &[f64]) -> f64 {
    cosines(x, 6)
}

/// Autoregression by Burg's recursion, order by corrected AIC up to `8 log10 n`; degrees of freedom
/// by the delta method, bias of the slow noise taken out to first order.
pub fn autoregression(x: &[f64]) -> f64 {
    let n = x.len() as f64;
    let (gain, share, variance, order) = burg(&centred(x));
    // Relative variance of the long-run gain, which is also its relative bias by centring.
    let relative = share / (n * gain * gain);
    let dof = 1.0 / (2.0 * relative + 1.0 / (n - order - 1.0));
    let u = (variance * n / (n - order - 1.0) / n).sqrt() / gain * (1.0 + relative);
    u * t95(dof)
}

/// Sum of the prediction-error filter, the share of the start in its information, innovation
/// variance and order of the best autoregression.
fn burg(d: &[f64]) -> (f64, f64, f64, f64) {
    let n = d.len() as f64;
    let (mut forward, mut backward) = (d.to_vec(), d.to_vec());
    let mut variance = lag_products(d, 0) / n;
    let (mut gain, mut start, mut left) = (1.0, 0.0, 1.0);
    let aicc = |v: f64, p: f64| n * v.ln() + 2.0 * (p + 2.0) * n / (n - p - 3.0);
    let mut best = (aicc(variance, 0.0), (gain, 0.0, variance, 0.0));
    for p in 1..=(8.0 * n.log10()) as usize {
        let (mut top, mut bottom) = (0.0, 0.0);
        for t in p..d.len() {
            top += 2.0 * forward[t] * backward[t - 1];
            bottom += forward[t].powi(2) + backward[t - 1].powi(2);
        }
        let k: f64 = top / bottom;
        for t in (p..d.len()).rev() {
            let f = forward[t];
            forward[t] = f - k * backward[t - 1];
            backward[t] = backward[t - 1] - k * f;
        }
        start += gain * gain / left;
        gain *= 1.0 - k;
        left *= 1.0 - k * k;
        variance *= 1.0 - k * k;
        let score = aicc(variance, p as f64);
        if score < best.0 {
            best = (score, (gain, start * left, variance, p as f64));
        }
    }
    best.1
}
