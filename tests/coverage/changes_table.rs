//! The table of change points behind `README.md` in this folder, run by hand; it prints it.

use super::series::{Hunting, Model, generator};
use evenbreath::statistics::changes::changes;
use rand_pcg::Pcg64;

/// Series a cell and seed.
const RUNS: usize = 2000;
/// Height of the step, in standard deviations of the first-order noise.
const STEP: f64 = 4.0;

/// How a method did over the series of one cell and seed, in per cent.
#[derive(Clone, Copy)]
struct Rates {
    /// Flat series with a change.
    false_change: f64,
    /// Stepped series with a change within 4, within 10 samples of the step.
    near: [f64; 2],
    /// Stepped series with one change, and that within 10 samples.
    alone: f64,
}

fn rates(n: usize, seed: u64, draw: &dyn Fn(usize, &mut Pcg64) -> Vec<f64>) -> Rates {
    let mut random = generator(seed);
    let (mut false_change, mut near, mut alone) = (0, [0; 2], 0);
    for _ in 0..RUNS {
        let mut x = draw(n, &mut random);
        false_change += usize::from(!changes(&x).is_empty());
        x[n / 2..].iter_mut().for_each(|v| *v += STEP);
        let found = changes(&x);
        let within = |reach: usize| found.iter().any(|c| c.abs_diff(n / 2) <= reach);
        near[0] += usize::from(within(4));
        near[1] += usize::from(within(10));
        alone += usize::from(found.len() == 1 && within(10));
    }
    let part = |count: usize| 100.0 * count as f64 / RUNS as f64;
    Rates { false_change: part(false_change), near: near.map(part), alone: part(alone) }
}

/// One row: the rates over three seeds, lowest to highest.
fn row(label: &str, n: usize, draw: &dyn Fn(usize, &mut Pcg64) -> Vec<f64>) {
    let all = [0, 1, 2].map(|k| rates(n, super::SEED + 1000 * k + n as u64, draw));
    let range = |of: fn(&Rates) -> f64| {
        let figures = all.map(|r| of(&r));
        let (low, high) =
            figures.iter().fold((100.0f64, 0.0f64), |(l, h), v| (l.min(*v), h.max(*v)));
        format!("{low:.1} to {high:.1}")
    };
    let columns: [fn(&Rates) -> f64; 4] =
        [|r| r.false_change, |r| r.near[0], |r| r.near[1], |r| r.alone];
    println!("| {label} | {} |", columns.map(range).join(" | "));
}

#[test]
#[ignore = "the long table: cargo test --release --test statistics -- --ignored --nocapture"]
fn table_of_changes() {
    let head = "| series | false | step within 4 | within 10 | alone |\n|---|---|---|---|---|";
    for n in [100, 400, 2000] {
        println!("\nn = {n}\n\n{head}");
        for tenth in (0..=9).map(|k| 0.1 * f64::from(k)).chain([0.95]) {
            let model = Model { lag1: tenth, hunting: Hunting::None };
            row(&format!("{tenth:.2}"), n, &|n, random| model.series(n, random));
        }
    }
    println!("\nn = 400, hunting and jitter\n\n{head}");
    for period in [7.0, 14.0, 30.0] {
        for hunting in
            [Hunting::Sine { amplitude: 2.0, period }, Hunting::Narrow { rms: 1.4, period }]
        {
            for lag1 in [0.0, 0.5, 0.8, 0.9] {
                let model = Model { lag1, hunting };
                let label = format!("{}; {lag1}", super::table::name(hunting));
                row(&label, 400, &|n, random| model.series(n, random));
            }
        }
    }
    for (n, lag1, jitter) in
        [(400, 0.9, 1.0), (400, 0.95, 1.0), (400, 0.95, 0.5), (400, 0.98, 0.5), (100, 0.95, 1.0)]
    {
        let slow = Model { lag1, hunting: Hunting::None };
        let quick = Model { lag1: 0.0, hunting: Hunting::None };
        row(&format!("{lag1} and jitter {jitter}, n = {n}"), n, &|n, random| {
            let (slow, quick) = (slow.series(n, random), quick.series(n, random));
            slow.iter().zip(&quick).map(|(a, b)| a + jitter * b).collect()
        });
    }
}
