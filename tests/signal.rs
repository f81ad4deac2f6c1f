//! Properties of the signal room, on tracks made at random with known truth.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "signal/cleaning.rs"]
mod cleaning;
#[path = "signal/cycles.rs"]
mod cycles;
#[path = "signal/dirt.rs"]
mod dirt;
#[path = "signal/hoses.rs"]
mod hoses;
#[path = "signal/plateaus.rs"]
mod plateaus;
#[path = "signal/ramps.rs"]
mod ramps;

use evenbreath::sample::Track;
use proptest::test_runner::{Config, RngSeed};
use rand::{Rng, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;

/// A number of cases, the same on every run, and no file of past failures.
fn cases(cases: u32) -> Config {
    Config {
        cases,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_125),
        ..Config::default()
    }
}

/// Normal noise of unit variance.
fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut random = Pcg64::seed_from_u64(seed);
    move || random.sample(StandardNormal)
}

/// A track with a column for both vacuums and the speed, row `k` at `time_s[k]`.
fn track(time_s: Vec<f64>, rpm: Vec<f64>, vac1: Vec<f64>, vac2: Vec<f64>) -> Track {
    Track {
        row: (0..time_s.len() as u32).collect(),
        time_s: time_s.into(),
        rpm: Some(rpm.into()),
        vac1_kpa: Some(vac1.into()),
        vac2_kpa: Some(vac2.into()),
        ..Track::default()
    }
}

/// Times from 0 on at a rate, for some seconds.
fn clock(rate_hz: f64, lasts_s: f64) -> Vec<f64> {
    (0..(rate_hz * lasts_s) as usize).map(|k| k as f64 / rate_hz).collect()
}
