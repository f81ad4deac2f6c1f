//! Slow changes of speed, in noise from nearly none to noise that stays alike over ten cycles.

use crate::{clock, noise, track};
use evenbreath::sample::Track;
use evenbreath::signal::plateaus::{Kind, Plateau};
use evenbreath::signal::prepare;

/// Noise of the speed from cycle to cycle: lag-1 correlation, standard deviation in rev/min, and
/// amplitude of a hunting with a period of 2.5 s, rev/min.
#[derive(Debug, Clone, Copy)]
struct Restless(f64, f64, f64);

const NOISES: [Restless; 4] = [
    Restless(0.0, 2.0, 0.0),
    Restless(0.5, 8.0, 0.0),
    Restless(0.5, 8.0, 10.0),
    Restless(0.9, 8.0, 0.0),
];

/// Rev/min a second, for so many seconds.
const RAMPS: [(f64, f64); 3] = [(5.0, 30.0), (10.0, 20.0), (23.0, 12.0)];

const LOGS: u64 = 40;

/// A log at 50 Hz whose speed is a function of time, with noise.
fn driven(lasts_s: f64, noisy: Restless, seed: u64, speed: impl Fn(f64) -> f64) -> Track {
    let Restless(lag1, sd, hunting_rpm) = noisy;
    let time_s = clock(50.0, lasts_s);
    let mut normal = noise(seed);
    let keep = if lag1 > 0.0 { (lag1.ln() * 0.02 * 850.0 / 120.0).exp() } else { 0.0 };
    let (mut wander, start) = (normal(), normal());
    let rpm = time_s.iter().map(|t| {
        wander = keep * wander + (1.0 - keep * keep).sqrt() * normal();
        let hunting = hunting_rpm * (std::f64::consts::TAU * t / 2.5 + 9.0 * start).sin();
        speed(*t) + sd * wander + hunting
    });
    let rpm: Vec<f64> = rpm.collect();
    let mut vacuum = || time_s.iter().map(|_| 55.0 + 0.3 * normal()).collect();
    let (one, two) = (vacuum(), vacuum());
    track(time_s, rpm, one, two)
}

fn running(track: Track) -> Vec<Plateau> {
    let plateaus = prepare(track, 4).plateaus;
    plateaus.into_iter().filter(|plateau| plateau.kind == Kind::Running).collect()
}

/// Held at 850 rev/min for 15 s, a ramp, and held for 15 s on the level above.
fn between_levels(rise: f64, lasts_s: f64) -> impl Fn(f64) -> f64 {
    move |t| 850.0 + rise * (t - 15.0).clamp(0.0, lasts_s)
}

#[test]
fn both_levels_are_found_and_little_of_the_ramp_between_them() {
    for (rise, lasts_s) in RAMPS {
        for noisy in NOISES {
            let speed = between_levels(rise, lasts_s);
            let (mut far, mut held, mut within) = (0, 0, 0);
            for seed in 0..LOGS {
                let found = running(driven(30.0 + lasts_s, noisy, 1000 + seed, &speed));
                let moves = |p: &Plateau| speed(p.to_s) - speed(p.from_s);
                far += found.iter().filter(|p| moves(p) > 60.0).count();
                assert!(found.iter().all(|p| moves(p) < 80.0), "{seed}: {found:#?}");
                let covers =
                    |from: f64, to: f64| found.iter().any(|p| p.from_s < from && p.to_s > to);
                held += u32::from(covers(5.0, 11.0))
                    + u32::from(covers(20.0 + lasts_s, 26.0 + lasts_s));
                within +=
                    found.iter().filter(|p| p.from_s > 15.0 && p.to_s < 15.0 + lasts_s).count();
            }
            let what = format!("{rise} rev/min a second, {noisy:?}");
            // What parts two levels is 20 rev/min; what noise is allowed is twice that, and the
            // estimate of a rise strays by that noise.
            assert!(far <= 2, "{what}: {far} of 80 move by more than 60 rev/min");
            assert!(held >= 74, "{what}: {held} of 80 levels");
            let most = if rise > 20.0 { 0 } else { 2 };
            assert!(within <= most, "{what}: {within} plateaus on {LOGS} ramps");
        }
    }
}

#[test]
fn a_ramp_alone_is_no_plateau_however_long() {
    for (rise, _) in RAMPS {
        for noisy in NOISES {
            for lasts_s in [6.0, 9.0, 15.0, 22.0, 30.0] {
                let mut plateaus = 0;
                for seed in 0..LOGS / 2 {
                    let track = driven(lasts_s, noisy, 2000 + seed, |t| 800.0 + rise * t);
                    for p in running(track) {
                        plateaus += 1;
                        let moved = rise * (p.to_s - p.from_s);
                        let what = format!("{rise} rev/min a second, {lasts_s} s, {noisy:?}");
                        assert!(rise < 20.0 && moved < 60.0, "{what}, {seed}: {moved} in {p:?}");
                    }
                }
                let most = if rise < 10.0 { 6 } else { 3 };
                assert!(plateaus <= most, "{rise}, {lasts_s} s, {noisy:?}: {plateaus}");
            }
        }
    }
}

/// The noise of an idle makes a rise by itself; it is a plateau all the same.
#[test]
fn slow_noise_is_no_ramp() {
    for lasts_s in [12.0, 15.0, 30.0] {
        let noisy = Restless(0.9, 8.0, 0.0);
        let one = |seed: &u64| {
            let found = running(driven(lasts_s, noisy, 3000 + seed, |_| 850.0));
            found.len() == 1 && found[0].to_s - found[0].from_s > 0.6 * lasts_s
        };
        let whole = (0..200).filter(one).count();
        assert!(whole >= 196, "{lasts_s} s: {whole} of 200");
    }
}

/// A warm-up of minutes: whatever passes for a plateau moves by no more than a plateau may.
#[test]
fn a_slow_warm_up_does_not_widen_its_own_allowance() {
    for noisy in NOISES {
        for tau_s in [15.0, 40.0, 90.0] {
            for seed in 0..10 {
                let speed = |t: f64| 850.0 + 350.0 * (-t / tau_s).exp();
                for p in running(driven(120.0, noisy, 4000 + seed, speed)) {
                    let fell = speed(p.from_s) - speed(p.to_s);
                    assert!(fell < 60.0, "{tau_s} s, {noisy:?}, {seed}: {fell} in {p:?}");
                }
            }
        }
    }
}
