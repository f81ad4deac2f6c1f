//! Change points of a series whose noise is correlated.
//!
//! An idle is never white, and a method that takes it for white finds changes in nearly every
//! hunting one. [`changes`] asks three things before it calls a step a step:
//!
//! 1. the exact partition of a series with first-order noise (the module `partition` has the cost
//!    and the sources) has to pay for every change more than chance gives away: twice the logarithm
//!    of the length (the Bayesian information criterion for one level and one place), what the
//!    likelihood of a fresh start costs, and a margin;
//! 2. the correlation is not known. It is fitted about the levels found, from two starts: as if
//!    nothing changed, so that what correlation alone can explain stays noise, and from differences,
//!    so that many steps do not hide behind it. The likelier of the two is kept;
//! 3. noise of two kinds, slow wander with quick jitter on top, looks less correlated from one value
//!    to the next than it is over many. It is fitted too, once about the levels and once about one
//!    level alone. Where it shows more slow noise than the first-order model allows, the changes
//!    have to pay in proportion, and where it explains the whole series without them, there are none.
//!
//! Rates of false and of missed changes: `tests/coverage/README.md`.

pub use super::level_noise::{Noise, noise};
use super::{level_noise, partition, summary};

/// What a change pays above the information criterion, in squares of the innovations: with it a
/// flat series has a change in at most one of twenty, from 100 values on.
const MARGIN: f64 = 3.0;
/// The same in the comparison with slow and quick noise without any change.
const MARGIN_AGAINST_NOISE: f64 = 6.0;
/// Slow noise is paid for from this multiple of what the first-order model allows.
const MORE_SLOW_NOISE: f64 = 1.1;
/// The fewest values in which a change is looked for.
const LEAST_VALUES: usize = 8;
/// Partitions from one start, at most: the noise settles in two or three.
const MOST_TURNS: usize = 3;
/// Two noises give the same changes when the long-run gain and the scale differ by less than this
/// part: [`MARGIN`] is an eighth of the penalty.
const ALIKE: f64 = 0.03;

/// Starts of the segments after the first in the partition of `x` that minimises
/// `sum of squares within segments + penalty * changes`.
///
/// Values must be finite and the penalty positive; otherwise nothing is found.
///
/// ```
/// use evenbreath::statistics::changes::partition;
/// assert_eq!(partition(&[1.0, 1.1, 0.9, 5.0, 5.1, 4.9], 1.0), vec![3]);
/// ```
pub fn partition(x: &[f64], penalty: f64) -> Vec<usize> {
    partition::partition(x, 0.0, penalty)
}

/// Starts of the segments after the first in a series with correlated noise. Where noise may
/// explain the series as well, nothing is found.
///
/// ```
/// use evenbreath::statistics::changes::changes;
/// let jitter = |k: usize| ((k * k) % 7) as f64;
/// let x: Vec<f64> = (0..60).map(|k| jitter(k) + if k < 40 { 850.0 } else { 900.0 }).collect();
/// assert_eq!(changes(&x), vec![40]);
/// ```
pub fn changes(x: &[f64]) -> Vec<usize> {
    let sd = summary::sd(x).unwrap_or(0.0);
    if x.len() < LEAST_VALUES || !sd.is_finite() || sd <= 0.0 {
        return Vec::new();
    }
    let mean = summary::mean(x).unwrap_or(0.0);
    let scaled: Vec<f64> = x.iter().map(|v| (v - mean) / sd).collect();
    let found = likelier(&scaled);
    if found.is_empty() { found } else { beyond_noise(&scaled, found) }
}

/// What a change costs, in squares of the innovations.
fn penalty(n: usize, noise: Noise) -> f64 {
    2.0 * (n as f64).ln() - (1.0 - noise.rho * noise.rho).ln() + MARGIN
}

fn split(x: &[f64], noise: Noise, times: f64) -> Vec<usize> {
    let square = noise.sigma * noise.sigma;
    partition::partition(x, noise.rho, times * penalty(x.len(), noise) * square)
}

/// So near in correlation and scale that a change costs the same within a few hundredths.
fn alike(one: Noise, other: Noise) -> bool {
    same_gain(one, other) && (one.sigma / other.sigma - 1.0).abs() <= ALIKE
}

fn same_gain(one: Noise, other: Noise) -> bool {
    ((1.0 - one.rho) / (1.0 - other.rho) - 1.0).abs() <= ALIKE
}

/// Levels and noise by turns, until they stay: the changes and the noise about them.
fn settle(x: &[f64], start: Noise) -> (Vec<usize>, Noise) {
    let mut used = start;
    let mut found = split(x, start, 1.0);
    let mut noise = level_noise::about(x, &found);
    for _ in 1..MOST_TURNS {
        if found.is_empty() || noise.sigma <= 0.0 || alike(noise, used) {
            break;
        }
        used = noise;
        found = split(x, noise, 1.0);
        noise = level_noise::about(x, &found);
    }
    (found, noise)
}

/// The changes from the likelier of two starts.
fn likelier(x: &[f64]) -> Vec<usize> {
    let n = x.len() as f64;
    let score = |(found, noise): &(Vec<usize>, Noise)| {
        let fresh = -(1.0 - noise.rho * noise.rho).ln();
        2.0 * n * noise.sigma.ln() + fresh + penalty(x.len(), *noise) * found.len() as f64
    };
    let calm = level_noise::about(x, &[]);
    let seen = noise(x);
    let seen = Noise { rho: seen.rho.max(0.0), ..seen };
    if seen.sigma > 0.0 && same_gain(calm, seen) {
        // Two starts that differ in scale alone settle on the same: one between them is enough.
        return settle(x, Noise { rho: seen.rho, sigma: (calm.sigma * seen.sigma).sqrt() }).0;
    }
    let flat = settle(x, calm);
    if seen.sigma <= 0.0 || alike(seen, flat.1) {
        return flat.0;
    }
    let stepped = settle(x, seen);
    if score(&stepped) < score(&flat) { stepped.0 } else { flat.0 }
}

/// Of the changes found, those that slow and quick noise together do not explain.
fn beyond_noise(x: &[f64], mut found: Vec<usize>) -> Vec<usize> {
    let price = 2.0 * (x.len() as f64).ln() + MARGIN_AGAINST_NOISE;
    let mut best = (level_noise::mixed(x, &[]).score, Vec::new());
    loop {
        let (noise, mixed) = (level_noise::about(x, &found), level_noise::mixed(x, &found));
        let score = mixed.score + price * found.len() as f64;
        if score < best.0 {
            best = (score, found.clone());
        }
        let allowed = (noise.sigma / (1.0 - noise.rho)).powi(2);
        let times = mixed.long_run / allowed;
        if times.is_nan() || times <= MORE_SLOW_NOISE {
            return best.1;
        }
        let fewer = split(x, noise, times);
        if fewer.is_empty() || fewer.len() >= found.len() {
            return best.1;
        }
        found = fewer;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::StandardNormal;

    fn ar1(random: &mut rand_pcg::Pcg64, n: usize, r: f64) -> Vec<f64> {
        let mut last: f64 = random.sample(StandardNormal);
        (0..n)
            .map(|_| {
                let e: f64 = random.sample(StandardNormal);
                last = r * last + (1.0 - r * r).sqrt() * e;
                last
            })
            .collect()
    }

    // 1000 series at a true 5 % scatter by 0.7 %, at a true 98 % by 0.4 %.
    #[test]
    fn flat_correlated_series_seldom_get_a_change_and_steps_are_found() {
        for (r, least) in [(0.0, 0.97), (0.5, 0.975), (0.8, 0.975), (0.9, 0.975), (0.95, 0.975)] {
            let mut random = rand_pcg::Pcg64::seed_from_u64(5);
            let (mut false_alarms, mut found, mut alone) = (0, 0, 0);
            for _ in 0..1000 {
                let mut x = ar1(&mut random, 400, r);
                false_alarms += usize::from(!changes(&x).is_empty());
                x[200..].iter_mut().for_each(|v| *v += 4.0);
                let places = changes(&x);
                found += usize::from(places.iter().any(|c| c.abs_diff(200) <= 4));
                alone += usize::from(places.len() == 1);
            }
            println!("r {r}: false {false_alarms}, step found {found}, alone {alone} of 1000");
            assert!(false_alarms <= 50, "r {r}: {false_alarms} false of 1000");
            assert!(found as f64 >= 1000.0 * least, "r {r}: {found} of 1000 found");
            assert!(alone >= 950, "r {r}: {alone} of 1000 found alone");
        }
    }

    #[test]
    fn slow_wander_with_jitter_and_hunting_are_no_changes() {
        let mut random = rand_pcg::Pcg64::seed_from_u64(6);
        let (mut wander, mut hunting) = (0, 0);
        for _ in 0..300 {
            let slow = ar1(&mut random, 400, 0.95);
            let quick = ar1(&mut random, 400, 0.0);
            let start: f64 = random.random();
            let sine = |t: usize| 2.0 * (std::f64::consts::TAU * (t as f64 / 14.0 + start)).sin();
            let both: Vec<f64> = slow.iter().zip(&quick).map(|(a, b)| a + b).collect();
            let hunted: Vec<f64> = quick.iter().enumerate().map(|(t, v)| v + sine(t)).collect();
            wander += usize::from(!changes(&both).is_empty());
            hunting += usize::from(!changes(&hunted).is_empty());
        }
        assert!(wander <= 15 && hunting <= 15, "{wander}, {hunting} of 300");
    }

    #[test]
    fn many_steps_are_found_each_in_its_place() {
        for r in [0.0, 0.5, 0.9] {
            let mut random = rand_pcg::Pcg64::seed_from_u64(7);
            let mut x = ar1(&mut random, 1200, r);
            x.iter_mut().enumerate().for_each(|(t, v)| *v += 6.0 * ((t / 100) % 2) as f64);
            let found = changes(&x);
            let wanted: Vec<usize> = (1..12).map(|k| 100 * k).collect();
            let near = |w: &usize| found.iter().any(|c| c.abs_diff(*w) <= 1);
            assert!(wanted.iter().all(near) && found.len() <= 13, "{r}: {found:?}");
        }
    }

    #[test]
    fn steps_without_noise_are_found_and_nothing_where_nothing_can_be() {
        let step: Vec<f64> = (0..100).map(|t| if t < 60 { 3.0 } else { 5.0 }).collect();
        assert_eq!(changes(&step), [60]);
        assert!(partition(&[], 1.0).is_empty());
        assert!(partition(&[1.0, f64::NAN, 2.0], 1.0).is_empty());
        assert!(changes(&[3.0; 100]).is_empty());
        assert!(changes(&[f64::MAX; 100]).is_empty());
        assert!(partition(&[3.0; 100], 1.0).is_empty());
        let mut broken = step;
        broken[7] = f64::NAN;
        assert!(changes(&broken).is_empty());
    }
}
