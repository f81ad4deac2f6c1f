//! The model engine in real time: what share of a core does it take, and how long does a prediction
//! keep its thread?
//!
//! `cargo bench --bench engine` runs every layout by itself and under a box that samples it, and
//! predicts from an idle and from an engine that never settles, the longest case. It fails when a
//! limit is broken.

use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Engine, Layout, Prediction, Running, Settings};
use std::hint::black_box;
use std::process::ExitCode;
use std::time::Instant;

/// Seconds of the model in a round.
const MODEL_S: f64 = 60.0;
/// Rounds, of which the best counts: it is the one that other processes disturbed least.
const ROUNDS: usize = 5;
/// Share of a core that the model may take in real time.
const MOST_SHARE: f64 = 0.1;
/// A prediction, s.
const LONGEST_PREDICTION_S: f64 = 1.0;
/// Rates of the box, Hz.
const RATES: [f64; 2] = [50.0, 1000.0];

fn main() -> ExitCode {
    // `cargo test --benches` runs every bench without this word, to see that it starts.
    if !std::env::args().any(|word| word == "--bench") {
        println!("engine: nothing is timed without --bench");
        return ExitCode::SUCCESS;
    }
    let mut kept = true;
    for layout in Layout::ALL {
        kept &= alone(layout);
        for rate_hz in RATES {
            kept &= under_a_box(layout, rate_hz);
        }
    }
    kept &= predicted("prediction, an idle", &Settings::default());
    let surging = Settings { tract_m3: 25.0e-3, ..Settings::default() };
    kept &= predicted("prediction, never settled", &surging);
    if kept { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Best time of the rounds, s, after something that is not timed.
fn best<T>(mut ready: impl FnMut() -> T, mut timed: impl FnMut(T)) -> f64 {
    let round = |_| {
        let made = ready();
        let start = Instant::now();
        timed(made);
        start.elapsed().as_secs_f64()
    };
    (0..ROUNDS).map(round).fold(f64::INFINITY, f64::min)
}

fn idling(settings: Settings) -> Engine {
    let mut engine = Engine::new(settings, 1);
    engine.act(Action::EngineOn);
    engine.run(8.0);
    engine
}

/// The engine by itself, asked for its flows fifty times a second.
fn alone(layout: Layout) -> bool {
    let seconds = best(
        || idling(Settings::of(layout)),
        |mut engine| {
            for _ in 0..(MODEL_S * 50.0) as usize {
                engine.run(0.02);
                black_box(engine.flows());
            }
        },
    );
    judged(&format!("{layout:?}, flows at 50 Hz"), seconds)
}

/// The engine under a box with all its sensors.
fn under_a_box(layout: Layout, rate_hz: f64) -> bool {
    let crankcase = Some(Sensor::crankcase(0.0));
    let sensors = SensorBox { rate_hz, jitter_s: 0.0, crankcase, ..SensorBox::default() };
    let seconds = best(
        || Running::new(&Settings::of(layout), &sensors, 1, true),
        |mut running| {
            while let Some(row) = running.next_row(MODEL_S) {
                black_box(row);
            }
        },
    );
    judged(&format!("{layout:?}, a box at {rate_hz} Hz"), seconds)
}

fn judged(what: &str, seconds: f64) -> bool {
    let share = seconds / MODEL_S;
    let kept = share <= MOST_SHARE;
    println!(
        "{what:<28} {:>6.0} seconds of the model a second, {:.3} % of a core (limit {:.0} %)  {}",
        1.0 / share,
        100.0 * share,
        100.0 * MOST_SHARE,
        word(kept)
    );
    kept
}

fn predicted(what: &str, settings: &Settings) -> bool {
    let seconds = best(
        || idling(settings.clone()),
        |engine| {
            black_box(Prediction::of(&engine));
        },
    );
    let kept = seconds <= LONGEST_PREDICTION_S;
    println!("{what:<28} {seconds:.4} s (limit {LONGEST_PREDICTION_S} s)  {}", word(kept));
    kept
}

fn word(kept: bool) -> &'static str {
    if kept { "kept" } else { "BROKEN" }
}
