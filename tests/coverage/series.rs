//! Series with known truth for the coverage tests: first-order noise of unit variance about a mean
//! of zero, with or without the hunting of an idle on top. Seeded: the same seed, the same series.

use rand::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use std::f64::consts::TAU;

/// The one generator of a test.
pub fn generator(seed: u64) -> Pcg64 {
    Pcg64::seed_from_u64(seed)
}

/// A slow oscillation about the mean; the period is in samples.
#[derive(Debug, Clone, Copy)]
#[allow(dead_code, reason = "each test binary that shares this file uses its own part")]
pub enum Hunting {
    /// None.
    None,
    /// A sine of random phase.
    Sine { amplitude: f64, period: f64 },
    /// A second-order resonance that keeps its phase for about three periods.
    Narrow { rms: f64, period: f64 },
}

/// What a series is made of.
#[derive(Debug, Clone, Copy)]
pub struct Model {
    /// Correlation of neighbours in the noise.
    pub lag1: f64,
    /// The oscillation on top.
    pub hunting: Hunting,
}

impl Model {
    /// `n` samples.
    pub fn series(&self, n: usize, random: &mut Pcg64) -> Vec<f64> {
        let mut x = first_order(n, self.lag1, random);
        match self.hunting {
            Hunting::None => {}
            Hunting::Sine { amplitude, period } => {
                let phase = random.random::<f64>();
                for (t, v) in x.iter_mut().enumerate() {
                    *v += amplitude * (TAU * (t as f64 / period + phase)).sin();
                }
            }
            Hunting::Narrow { rms, period } => {
                for (v, h) in x.iter_mut().zip(resonance(n, period, random)) {
                    *v += rms * h;
                }
            }
        }
        x
    }
}

fn normal(random: &mut Pcg64) -> f64 {
    StandardNormal.sample(random)
}

/// Stationary first-order noise of unit variance.
fn first_order(n: usize, lag1: f64, random: &mut Pcg64) -> Vec<f64> {
    let fresh = (1.0 - lag1 * lag1).sqrt();
    let mut x = normal(random);
    (0..n)
        .map(|_| {
            let now = x;
            x = lag1 * x + fresh * normal(random);
            now
        })
        .collect()
}

/// Stationary second-order resonance of unit variance; its amplitude falls to 1/e in three periods.
fn resonance(n: usize, period: f64, random: &mut Pcg64) -> Vec<f64> {
    let radius = 1.0 - 1.0 / (3.0 * period);
    let (a1, a2) = (2.0 * radius * (TAU / period).cos(), -radius * radius);
    let variance = (1.0 - a2) / ((1.0 + a2) * ((1.0 - a2).powi(2) - a1 * a1));
    let fresh = 1.0 / variance.sqrt();
    let settle = (20.0 * period) as usize;
    let (mut last, mut before) = (0.0, 0.0);
    let mut out = Vec::with_capacity(n);
    for t in 0..settle + n {
        let now = a1 * last + a2 * before + fresh * normal(random);
        (before, last) = (last, now);
        if t >= settle {
            out.push(now);
        }
    }
    out
}
