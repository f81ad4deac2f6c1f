//! How the statistics grow with the length of a log: a table, and two limits.
//!
//! `cargo bench --bench growth` times everything that is done with the cycles of one hour of idle
//! (25,000 of them) against [`MOST_MS`], and plateaus, change points, the mean's interval and the
//! balance on up to 200,000 cycles: no worse than `n ln n`. It fails when a limit is broken.

mod made;

use evenbreath::findings::{Conditions, balance, breather};
use evenbreath::signal::{self, Signal, plateaus};
use evenbreath::statistics::{changes, correlated};
use made::Idle;
use std::hint::black_box;
use std::process::ExitCode;
use std::time::Instant;

/// Cycles of one hour of idle.
const HOUR: usize = 25_000;
/// All statistics of that hour, the change points counted within the plateaus, ms.
const MOST_MS: f64 = 60.0;
/// Lengths of the curve, cycles.
const LENGTHS: [usize; 5] = [1_000, 10_000, 25_000, 50_000, 200_000];
/// The curve is judged from this length on, below which a call's fixed costs show.
const JUDGED_FROM: usize = 10_000;
/// Time over `n ln n` may grow by this factor from there: caches fill, other processes disturb.
const MOST_GROWTH: f64 = 2.0;
/// Below this the clock and the caches say more than the work, ms.
const TOO_SHORT_MS: f64 = 0.5;
/// Rounds, of which the best counts.
const ROUNDS: usize = 7;
const CYLINDERS: u32 = 4;

const KINDS: [(&str, Idle); 5] = [
    ("flat", Idle::Flat),
    ("hunting", Idle::Hunting),
    ("many steps", Idle::Steps),
    ("slow ramp", Idle::Ramp),
    ("slow wander", Idle::Wander),
];

/// What is timed, on a signal that is ready.
type Work = fn(&Signal);

const WORKS: [(&str, Work); 5] = [
    ("change points", |signal| drop(black_box(changes::changes(speed(signal))))),
    ("plateaus", |signal| drop(black_box(plateaus::find(&signal.cycles, speed(signal))))),
    ("mean interval", |signal| {
        black_box(correlated::mean_interval(speed(signal), 0.95));
    }),
    ("balance", |signal| drop(black_box(balance::find(signal, &Conditions::default())))),
    ("breather", |signal| drop(black_box(breather::find(signal, &Conditions::default())))),
];
/// Of these the first ones belong to the curve.
const CURVES: usize = 4;

fn main() -> ExitCode {
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !std::env::args().any(|word| word == "--bench") {
        println!("growth: nothing is timed without --bench");
        return ExitCode::SUCCESS;
    }
    let kept = [hour(), curve()];
    if kept.iter().all(|kept| *kept) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn speed(signal: &Signal) -> &[f64] {
    signal.cycles.rpm.as_deref().unwrap_or_default()
}

fn best_ms(work: Work, signal: &Signal) -> f64 {
    let one = |_| {
        let start = Instant::now();
        work(signal);
        1e3 * start.elapsed().as_secs_f64()
    };
    (0..ROUNDS).map(one).fold(f64::INFINITY, f64::min)
}

fn word(kept: bool) -> &'static str {
    if kept { "kept" } else { "BROKEN" }
}

/// The whole statistics of an hour.
fn hour() -> bool {
    println!("one hour, {HOUR} cycles, ms, best of {ROUNDS}");
    print!("{:<12}", "");
    WORKS.iter().for_each(|(name, _)| print!("{name:>15}"));
    println!("{:>15}  limit {MOST_MS}", "together");
    let mut kept = true;
    for (name, kind) in KINDS {
        let signal = signal::prepare(made::idle(kind, HOUR), CYLINDERS);
        let times = WORKS.map(|(_, work)| best_ms(work, &signal));
        // The change points stand first, and the plateaus contain them.
        let together: f64 = times[1..].iter().sum();
        print!("{name:<12}");
        times.iter().for_each(|ms| print!("{ms:>15.2}"));
        println!("{together:>15.2}  {}", word(together <= MOST_MS));
        kept &= together <= MOST_MS;
    }
    kept
}

/// Time by length, and over `n ln n` beside that of [`JUDGED_FROM`].
fn curve() -> bool {
    println!("\nby length: ms, and in brackets ms over n ln n beside {JUDGED_FROM} cycles");
    print!("{:<28}", "");
    LENGTHS.iter().for_each(|n| print!("{n:>16}"));
    println!("  limit {MOST_GROWTH}");
    let mut kept = true;
    for (kind_name, kind) in KINDS {
        let signals = LENGTHS.map(|n| signal::prepare(made::idle(kind, n), CYLINDERS));
        for (name, work) in &WORKS[..CURVES] {
            let times = signals.each_ref().map(|signal| best_ms(*work, signal));
            let rates: Vec<f64> = times
                .iter()
                .zip(LENGTHS)
                .map(|(ms, n)| ms.max(TOO_SHORT_MS) / (n as f64 * (n as f64).ln()))
                .collect();
            let from = LENGTHS.iter().position(|n| *n == JUDGED_FROM).unwrap_or(0);
            let growth: Vec<f64> = rates.iter().map(|rate| rate / rates[from]).collect();
            let fits = growth[from..].iter().all(|g| *g <= MOST_GROWTH);
            print!("{:<28}", format!("{kind_name}: {name}"));
            times
                .iter()
                .zip(&growth)
                .for_each(|(ms, g)| print!("{:>16}", format!("{ms:.2} ({g:.2})")));
            println!("  {}", word(fits));
            kept &= fits;
        }
    }
    kept
}
