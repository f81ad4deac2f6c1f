//! The long comparison behind `README.md` in this folder, run by hand; it prints the tables.

use super::candidates as c;
use super::series::{Hunting, Model, generator};
use evenbreath::statistics::correlated::{fit, mean_interval};

/// From a series to the centre and half width of its interval.
type Method<'a> = &'a dyn Fn(&[f64]) -> (f64, f64);

/// Hunting of the table for a period in samples: none, a sine, a resonance.
fn huntings(periods: &[f64]) -> Vec<Hunting> {
    let mut all = vec![Hunting::None];
    for &period in periods {
        all.push(Hunting::Sine { amplitude: 4.0, period });
        all.push(Hunting::Narrow { rms: 3.0, period });
    }
    all
}

pub fn name(hunting: Hunting) -> String {
    match hunting {
        Hunting::None => "none".into(),
        Hunting::Sine { amplitude, period } => format!("sine {amplitude}, {period}"),
        Hunting::Narrow { rms, period } => format!("narrow {rms}, {period}"),
    }
}

fn median(x: &mut [f64]) -> f64 {
    x.sort_by(f64::total_cmp);
    x[x.len() / 2]
}

/// One line of a table: part held and median half width of each method.
fn line(
    runs: usize,
    mut draw: impl FnMut() -> Vec<f64>,
    methods: &[(&str, Method)],
) -> Vec<(f64, f64)> {
    let mut held = vec![0usize; methods.len()];
    let mut half = vec![Vec::with_capacity(runs); methods.len()];
    for _ in 0..runs {
        let x = draw();
        for (i, (_, method)) in methods.iter().enumerate() {
            let (centre, width) = method(&x);
            held[i] += usize::from(centre.abs() <= width);
            half[i].push(width);
        }
    }
    let part = |h: &usize| 100.0 * *h as f64 / runs as f64;
    held.iter().map(part).zip(half.iter_mut().map(|h| median(h))).collect()
}

fn print_table(title: &str, names: &[&str], rows: &[(String, Vec<(f64, f64)>)]) {
    println!("\n{title}\n\n| series | {} |", names.join(" | "));
    println!("|---|{}", "---|".repeat(names.len()));
    for (label, cells) in rows {
        let cells: Vec<String> = cells.iter().map(|(p, h)| format!("{p:.1} / {h:.2}")).collect();
        println!("| {label} | {} |", cells.join(" | "));
    }
    for (i, name) in names.iter().enumerate() {
        let cells = || rows.iter().map(|r| r.1[i].0);
        let fair = cells().filter(|p| (93.5..=97.0).contains(p)).count();
        let least = cells().fold(100.0, f64::min);
        let over = cells().filter(|p| *p > 97.0).count();
        println!(
            "{name}: {fair} of {} cells 93.5 to 97 %, {over} above, least {least:.1} %",
            rows.len()
        );
    }
}

/// Cells of every length: (n, periods). 60 and 106 cycles are 8.5 and 15 s at 850 rev/min, 375
/// values 15 s at 25 a second; periods are 1, 2 and 4 s.
const LENGTHS: [(usize, &[f64]); 5] = [
    (60, &[7.1, 14.2, 28.4]),
    (106, &[7.1, 14.2, 28.4]),
    (200, &[7.1, 14.2, 28.4]),
    (375, &[25.0, 50.0, 100.0]),
    (900, &[7.1, 14.2, 28.4]),
];

#[test]
#[ignore = "the long comparison: cargo test --release --test statistics -- --ignored --nocapture"]
fn table_of_means() {
    let about_mean = |f: fn(&[f64]) -> f64| {
        move |x: &[f64]| (evenbreath::statistics::summary::mean(x).unwrap(), f(x))
    };
    let this = |x: &[f64]| {
        let m = mean_interval(x, 0.95).unwrap();
        (m.mean, m.high - m.mean)
    };
    let [naive, newey_west, kernel, batches, advised, six, autoregression] = [
        c::naive,
        c::newey_west,
        c::prewhitened_kernel,
        c::eight_batches,
        c::advised_cosines,
        c::six_cosines,
        c::autoregression,
    ]
    .map(about_mean);
    let methods: [(&str, Method); 8] = [
        ("s/sqrt(n)", &naive),
        ("Newey-West", &newey_west),
        ("prewhitened kernel", &kernel),
        ("8 batches", &batches),
        ("cosines", &advised),
        ("6 cosines", &six),
        ("autoregression", &autoregression),
        ("mean_interval", &this),
    ];
    let names: Vec<&str> = methods.iter().map(|m| m.0).collect();
    for (n, periods) in LENGTHS {
        let mut rows = Vec::new();
        for hunting in huntings(periods) {
            for lag1 in [0.0, 0.3, 0.5, 0.7, 0.8, 0.9] {
                let mut random = generator(super::SEED + n as u64);
                let model = Model { lag1, hunting };
                let cells = line(2000, || model.series(n, &mut random), &methods);
                rows.push((format!("{}; {lag1}", name(hunting)), cells));
            }
        }
        print_table(&format!("n = {n}"), &names, &rows);
    }
}

#[test]
#[ignore = "the long comparison: cargo test --release --test statistics -- --ignored --nocapture"]
fn table_of_steps() {
    for (n, edges) in super::CAP_TESTS {
        let columns = super::cap_columns(n, edges);
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let ordinary = |y: &[f64]| {
            let f = evenbreath::statistics::regression::least_squares(y, &columns, None).unwrap();
            (f.coefficients[2], f.u(2) * 1.96)
        };
        let this = |y: &[f64]| {
            let e = fit(y, &columns).unwrap().coefficient(2).unwrap();
            (e.value, e.interval(0.95).unwrap().1 - e.value)
        };
        let methods: [(&str, Method); 2] = [("least squares", &ordinary), ("fit", &this)];
        let mut rows = Vec::new();
        for hunting in huntings(&[7.1, 14.2, 28.4]) {
            for lag1 in [0.0, 0.3, 0.5, 0.7, 0.8, 0.9] {
                let mut random = generator(super::SEED + n as u64);
                let model = Model { lag1, hunting };
                let cells = line(2000, || model.series(n, &mut random), &methods);
                rows.push((format!("{}; {lag1}", name(hunting)), cells));
            }
        }
        print_table(&format!("step, n = {n}"), &["least squares", "fit"], &rows);
    }
}

#[test]
#[ignore = "prints times: cargo test --release --test statistics -- --ignored --nocapture"]
fn cost() {
    let model = Model { lag1: 0.5, hunting: Hunting::Narrow { rms: 3.0, period: 14.0 } };
    let mut random = generator(super::SEED);
    let time = |what: &str, work: &mut dyn FnMut()| {
        let started = std::time::Instant::now();
        (0..20).for_each(|_| work());
        println!("{what}: {:.2} ms", started.elapsed().as_secs_f64() * 1e3 / 20.0);
    };
    for n in [106, 900, 25_000] {
        let x = model.series(n, &mut random);
        time(&format!("mean_interval of {n}"), &mut || {
            std::hint::black_box(mean_interval(&x, 0.95));
        });
    }
    for (n, edges) in super::CAP_TESTS {
        let columns = super::cap_columns(n, edges);
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let y = model.series(n, &mut random);
        time(&format!("fit of {n} on 3 columns, one coefficient"), &mut || {
            std::hint::black_box(fit(&y, &columns).unwrap().coefficient(2));
        });
    }
}
