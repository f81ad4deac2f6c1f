//! The statistics against series of known truth, and against one real log.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use evenbreath::statistics::correlated::{fit, mean_interval};
use evenbreath::statistics::regression::deming;
use evenbreath::statistics::robust::hampel;
use evenbreath::statistics::student::coverage_factor;
use evenbreath::statistics::summary;

#[path = "coverage/candidates.rs"]
mod candidates;
#[path = "coverage/changes_table.rs"]
mod changes_table;
#[path = "coverage/series.rs"]
mod series;
#[path = "coverage/table.rs"]
mod table;

/// Seed of every series here; a failure repeats exactly.
const SEED: u64 = 20_261_125;

/// Part of `runs` series whose 95 % interval holds the true mean, zero.
fn held(runs: usize, n: usize, model: &series::Model) -> f64 {
    let mut random = series::generator(SEED);
    let hits = (0..runs)
        .map(|_| mean_interval(&model.series(n, &mut random), 0.95).unwrap())
        .filter(|m| m.low <= 0.0 && 0.0 <= m.high)
        .count();
    hits as f64 / runs as f64
}

// 400 runs of a true 95 % scatter by 1.1 %: 91.5 to 99.5 % is more than three of that below.
// `s / sqrt(n)` holds 73 % at a correlation of 0.5 and 38 % at 0.9, so these can fail.
#[test]
fn the_mean_of_a_correlated_series_is_held() {
    for lag1 in [0.0, 0.5, 0.9] {
        let part = held(400, 106, &series::Model { lag1, hunting: series::Hunting::None });
        assert!((0.915..=0.985).contains(&part), "correlation {lag1}: {part}");
    }
}

#[test]
fn the_mean_of_a_hunting_series_is_held() {
    for hunting in [
        series::Hunting::Sine { amplitude: 4.0, period: 14.0 },
        series::Hunting::Narrow { rms: 3.0, period: 14.0 },
    ] {
        for lag1 in [0.3, 0.8] {
            let part = held(400, 106, &series::Model { lag1, hunting });
            assert!((0.915..=1.0).contains(&part), "{hunting:?}, correlation {lag1}: {part}");
        }
    }
}

// Kept clear of, the wave leaves the band of 106 values four coefficients: half widths of 1.0 and
// 1.2 that hold 99 % and more. Subtracted beforehand it leaves too little: 88 %.
#[test]
fn an_even_wave_widens_the_interval_no_more_than_it_must() {
    for (lag1, widest) in [(0.0, 0.35), (0.5, 0.6)] {
        let hunting = series::Hunting::Sine { amplitude: 4.0, period: 28.4 };
        let model = series::Model { lag1, hunting };
        let mut random = series::generator(SEED);
        let found = (0..400).map(|_| mean_interval(&model.series(106, &mut random), 0.95).unwrap());
        let (mut held, mut halves) = (0, Vec::new());
        for m in found {
            held += usize::from(m.low <= 0.0 && 0.0 <= m.high);
            halves.push(0.5 * (m.high - m.low));
        }
        halves.sort_by(f64::total_cmp);
        assert!((366..=394).contains(&held), "correlation {lag1}: {held} of 400");
        assert!(halves[200] < widest, "correlation {lag1}: half width {}", halves[200]);
    }
}

#[test]
fn held_values_do_not_narrow_the_interval() {
    let mut random = series::generator(SEED);
    let model = series::Model { lag1: 0.3, hunting: series::Hunting::None };
    let (mut hits, mut ratio) = (0, 0.0);
    for _ in 0..400 {
        let once = model.series(106, &mut random);
        let four: Vec<f64> = once.iter().flat_map(|v| [*v; 4]).collect();
        let (a, b) = (mean_interval(&once, 0.95).unwrap(), mean_interval(&four, 0.95).unwrap());
        ratio += (b.high - b.low) / (a.high - a.low) / 400.0;
        hits += usize::from(b.low <= 0.0 && 0.0 <= b.high);
    }
    assert!((0.9..1.15).contains(&ratio), "width changed by {ratio}");
    assert!(hits >= 366, "{hits} of 400");
}

/// Cap tests: cycles in the log, and the cycles at which the cap comes off and goes on. At 7.1
/// cycles a second: idle 15 s, off 10 s, on 10 s, once and three times.
const CAP_TESTS: [(usize, &[usize]); 2] =
    [(249, &[107, 178]), (533, &[107, 178, 249, 320, 391, 462])];

/// Columns of a cap test: level, drift, and a step that settles in one second.
fn cap_columns(n: usize, edges: &[usize]) -> [Vec<f64>; 3] {
    let (mut off, mut settled) = (0.0, 0.0);
    let step = (0..n).map(|t| {
        if edges.contains(&t) {
            off = 1.0 - off;
        }
        settled += (off - settled) / 7.1;
        settled
    });
    let step = step.collect();
    [vec![1.0; n], (0..n).map(|t| t as f64 / n as f64 - 0.5).collect(), step]
}

// Least squares with independent errors holds 40 to 60 % at a correlation of 0.8.
#[test]
fn a_step_in_correlated_and_hunting_noise_is_held() {
    let hunts = [series::Hunting::None, series::Hunting::Narrow { rms: 3.0, period: 14.2 }];
    let (n, edges) = CAP_TESTS[0];
    let columns = cap_columns(n, edges);
    let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    for hunting in hunts {
        for lag1 in [0.0, 0.8] {
            let mut random = series::generator(SEED);
            let model = series::Model { lag1, hunting };
            let hits = (0..300)
                .map(|_| {
                    let noise = model.series(n, &mut random);
                    let y: Vec<f64> =
                        noise.iter().zip(columns[2]).map(|(v, s)| v - 5.0 * s).collect();
                    fit(&y, &columns).unwrap().coefficient(2).unwrap().interval(0.95).unwrap()
                })
                .filter(|(low, high)| *low <= -5.0 && -5.0 <= *high)
                .count();
            // 300 runs of 95 % scatter by 1.3 %.
            assert!((273..=300).contains(&hits), "{hunting:?}, {lag1}: {hits} of 300");
        }
    }
}

// Two like sensors over 30 to 70 kPa with errors of 4 kPa each, which would flatten the line of
// least squares to a slope of 0.91.
#[test]
fn a_line_with_errors_in_both_is_held() {
    let mut random = series::generator(SEED);
    let white = series::Model { lag1: 0.0, hunting: series::Hunting::None };
    let (n, slope, offset) = (80, 1.02, -0.4);
    let (mut slopes, mut values) = (0, 0);
    for _ in 0..1000 {
        let truth = (0..n).map(|i| 30.0 + 40.0 * i as f64 / (n - 1) as f64);
        let (ex, ey) = (white.series(n, &mut random), white.series(n, &mut random));
        let (x, y): (Vec<f64>, Vec<f64>) = truth
            .zip(ex.iter().zip(&ey))
            .map(|(t, (a, b))| (t + 4.0 * a, offset + slope * t + 4.0 * b))
            .unzip();
        let line = deming(&x, &y, 1.0).unwrap();
        let t = coverage_factor(0.95, line.dof).unwrap();
        slopes += usize::from((line.slope - slope).abs() <= t * line.slope_variance.sqrt());
        let (at, u) = line.at(35.0);
        values += usize::from((at - (offset + slope * 35.0)).abs() <= t * u);
    }
    // 1000 runs of 95 % scatter by 0.7 %.
    assert!((925..=975).contains(&slopes), "slope held in {slopes} of 1000");
    assert!((925..=975).contains(&values), "value at 35 held in {values} of 1000");
}

/// Idle log of a petrol car, see shared/real-logs/README.md: engine speed is held for about four
/// rows; naive standard error 0.14 rev/min, about 1.05 by the count of independent samples there.
#[test]
fn a_real_idle_log_gets_an_honest_standard_error() {
    let above = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).ancestors();
    let found = above.map(|a| a.join("shared/real-logs/idle7.csv")).find(|p| p.exists());
    let Some(path) = found else {
        eprintln!(
            "NOT RUN: no shared/real-logs/idle7.csv above the crate; the real log was not tried"
        );
        return;
    };
    let text = std::fs::read_to_string(path).unwrap();
    let x: Vec<f64> = text
        .lines()
        .skip(1)
        .skip(25)
        .take(1905)
        .map(|row| row.split(',').nth(1).unwrap().trim().parse().unwrap())
        .collect();
    let m = mean_interval(&x, 0.95).unwrap();
    assert!((m.mean - 651.2).abs() < 0.3, "{m:?}");
    assert!((0.7..1.5).contains(&m.u), "{m:?}");
}

proptest::proptest! {
    /// Whatever comes in, NaN and infinity included, nothing panics and no figure is NaN.
    #[test]
    fn nothing_panics_and_nothing_is_nan(
        x in proptest::collection::vec(proptest::num::f64::ANY, 0..40),
        small in proptest::collection::vec(-3i8..3, 0..40),
        half in 0usize..6,
    ) {
        let small: Vec<f64> = small.into_iter().map(f64::from).collect();
        for x in [x, small] {
            let ones = vec![1.0; x.len()];
            let ramp: Vec<f64> = (0..x.len()).map(|t| t as f64).collect();
            if let Some(m) = mean_interval(&x, 0.95) {
                let parts = [m.mean, m.u, m.dof, m.low, m.high, m.n_effective];
                proptest::prop_assert!(parts.iter().all(|v| !v.is_nan()), "{x:?} {m:?}");
            }
            if let Some(e) = fit(&x, &[&ones, &ramp]).ok().and_then(|f| f.coefficient(1)) {
                let parts = [e.value, e.u, e.dof];
                proptest::prop_assert!(parts.iter().all(|v| !v.is_nan()), "{x:?} {e:?}");
            }
            if let Some(h) = hampel(&x, half, 3.0, 0.0) {
                proptest::prop_assert!(h.values.iter().all(|v| v.is_finite()));
            }
            let line = deming(&ramp, &x, 1.0);
            proptest::prop_assert!(line.is_none_or(|l| !l.slope.is_nan() && !l.at(1.0).1.is_nan()));
            let plain = [summary::sd(&x), summary::autocorrelation(&x, half), summary::mad(&x)];
            proptest::prop_assert!(plain.iter().flatten().all(|v| !v.is_nan()));
        }
    }
}
