//! Stretches of steady speed.

use crate::{cases, clock, noise, track};
use evenbreath::sample::Track;
use evenbreath::signal::plateaus::{Kind, Plateau};
use evenbreath::signal::{Signal, prepare};
use proptest::prelude::*;
use std::f64::consts::TAU;

/// A log whose speed is a function of time, with noise on every reading.
fn driven(rate_hz: f64, lasts_s: f64, seed: u64, sd: f64, speed: impl Fn(f64) -> f64) -> Track {
    let time_s = clock(rate_hz, lasts_s);
    let mut noise = noise(seed);
    let rpm: Vec<f64> = time_s.iter().map(|t| speed(*t) + sd * noise()).collect();
    let mut vacuum = || time_s.iter().map(|_| 55.0 + 0.3 * noise()).collect();
    let (one, two) = (vacuum(), vacuum());
    track(time_s, rpm, one, two)
}

fn running(signal: &Signal) -> Vec<&Plateau> {
    signal.plateaus.iter().filter(|plateau| plateau.kind == Kind::Running).collect()
}

proptest! {
    #![proptest_config(cases(150))]

    #[test]
    fn two_levels_are_two_plateaus_and_one_step(
        rate_hz in 20.0..100.0f64,
        first in 600.0..2500.0f64,
        change in 70.0..600.0f64,
        up in any::<bool>(),
        lasts in (8.0..20.0f64, 8.0..20.0f64),
        sd in 0.5..6.0f64,
        seed in any::<u64>(),
    ) {
        let second = if up { first + change } else { first - change.min(0.4 * first) };
        let at_s = lasts.0;
        let speed = |t: f64| if t < at_s { first } else { second };
        let signal = prepare(driven(rate_hz, lasts.0 + lasts.1, seed, sd, speed), 4);
        let found = running(&signal);
        prop_assert_eq!(found.len(), 2, "{:#?}", found);
        for (plateau, rpm) in found.iter().zip([first, second]) {
            prop_assert!((plateau.rpm.unwrap() / rpm - 1.0).abs() < 0.01, "{rpm}: {plateau:?}");
        }
        prop_assert_eq!(signal.steps.len(), 1, "{:#?}", signal.steps);
        let block = |k: usize| signal.cycles.to_s[k] - signal.cycles.from_s[k];
        let longest = (0..signal.cycles.len()).map(block).fold(0.0, f64::max);
        let off = signal.steps[0].at_s - at_s;
        prop_assert!(off.abs() <= 2.0 * longest + 1.0 / rate_hz, "{off} s, block {longest} s");
        prop_assert!(signal.steps[0].sharp);
        // The ends of the log and the step are all that may be trimmed, by a second or so.
        prop_assert!(found[0].from_s < 4.0 && found[0].to_s > at_s - 1.5, "{:?}", found[0]);
        prop_assert!(found[1].from_s < at_s + 4.0, "{:?}", found[1]);
    }

    /// So steep that it rises by more than 2 % in the 3 s of the shortest plateau.
    #[test]
    fn a_ramp_is_no_plateau(
        rate_hz in 20.0..100.0f64,
        from in 700.0..1200.0f64,
        rise in 14.0..120.0f64,
        down in any::<bool>(),
        lasts_s in 8.0..25.0f64,
        sd in 0.5..4.0f64,
        seed in any::<u64>(),
    ) {
        let speed = |t: f64| from + rise * if down { lasts_s - t } else { t };
        let signal = prepare(driven(rate_hz, lasts_s, seed, sd, speed), 4);
        prop_assert!(signal.plateaus.is_empty(), "{:#?}", signal.plateaus);
        prop_assert!(signal.steps.is_empty(), "{:#?}", signal.steps);
    }

    #[test]
    fn a_steady_speed_is_one_plateau_without_a_step(
        rate_hz in 20.0..100.0f64,
        rpm in 600.0..3000.0f64,
        lasts_s in 6.0..40.0f64,
        sd in 0.5..8.0f64,
        seed in any::<u64>(),
    ) {
        let signal = prepare(driven(rate_hz, lasts_s, seed, sd, |_| rpm), 4);
        let found = running(&signal);
        prop_assert_eq!(found.len(), 1, "{:#?}", found);
        prop_assert!(found[0].to_s - found[0].from_s > 0.75 * lasts_s - 0.5, "{:?}", found[0]);
        prop_assert!((found[0].rpm.unwrap() / rpm - 1.0).abs() < 0.01, "{:?}", found[0]);
        prop_assert!(signal.steps.is_empty(), "{:#?}", signal.steps);
    }
}

/// An idle at 850 rev/min for a minute at 50 Hz: noise of 8 rev/min whose correlation from one
/// engine cycle to the next is `lag1`, and hunting of an amplitude and a period.
fn idle(lag1: f64, hunting_rpm: f64, period_s: f64, seed: u64) -> Track {
    let time_s = clock(50.0, 60.0);
    let mut normal = noise(seed);
    let keep = if lag1 > 0.0 { (lag1.ln() * 0.02 * 850.0 / 120.0).exp() } else { 0.0 };
    // White noise of the readings would vanish in the averages over a cycle of seven.
    let spread = if lag1 > 0.0 { 8.0 } else { 8.0 * 7.06f64.sqrt() };
    let (mut wander, start) = (normal(), normal());
    let speed: Vec<f64> = time_s
        .iter()
        .map(|t| {
            wander = keep * wander + (1.0 - keep * keep).sqrt() * normal();
            850.0 + spread * wander + hunting_rpm * (TAU * t / period_s + 9.0 * start).sin()
        })
        .collect();
    let mut vacuum = |side: f64| {
        speed.iter().map(|n| 57.0 + side + 0.01 * (n - 850.0) + 0.3 * normal()).collect()
    };
    let (one, two) = (vacuum(0.4), vacuum(-0.4));
    track(time_s, speed, one, two)
}

/// Logs with a step or with another number of running plateaus than one.
fn false_parts(logs: u64, idle: impl Fn(u64) -> Track) -> usize {
    let is_false = |seed: &u64| {
        let signal = prepare(idle(*seed), 4);
        !signal.steps.is_empty() || running(&signal).len() != 1
    };
    (0..logs).filter(is_false).count()
}

#[test]
fn a_flat_idle_is_one_plateau_whatever_its_noise() {
    for lag1 in [0.0, 0.3, 0.6, 0.8, 0.9] {
        for (hunting_rpm, period_s) in [(0.0, 1.0), (20.0, 1.5), (40.0, 2.5), (40.0, 4.0)] {
            let parts = false_parts(40, |seed| idle(lag1, hunting_rpm, period_s, 100 + seed));
            assert!(parts <= 2, "{lag1}, hunting {hunting_rpm} in {period_s} s: {parts} of 40");
        }
    }
}

#[test]
fn flares_dips_and_false_readings_do_not_part_an_idle() {
    let spoiled = |seed: u64| {
        let mut track = idle(0.6, 10.0, 2.0, 500 + seed);
        let mut rpm = track.rpm.unwrap().to_vec();
        for (k, n) in rpm.iter_mut().enumerate() {
            // A tap on the throttle, a stumble, and one doubled reading in two seconds.
            let flare = if (900..925).contains(&k) { 500.0 } else { 0.0 };
            let dip = if (1900..1940).contains(&k) { -200.0 } else { 0.0 };
            *n = (*n + flare + dip) * if k % 100 == 37 { 2.0 } else { 1.0 };
        }
        track.rpm = Some(rpm.into());
        track
    };
    assert!(false_parts(40, spoiled) <= 2);
    let (mut sum, mut lasts_s) = (0.0, f64::MAX);
    for seed in 0..10 {
        let signal = prepare(spoiled(seed), 4);
        let plateau = running(&signal)[0].clone();
        sum += plateau.rpm.unwrap() / 10.0;
        lasts_s = (plateau.to_s - plateau.from_s).min(lasts_s);
    }
    assert!((sum - 850.0).abs() < 8.0 && lasts_s > 50.0, "{sum} rev/min, {lasts_s} s");
}

#[test]
fn a_slow_warm_up_has_no_sharp_step_and_ends_in_its_idle() {
    for seed in 0..20 {
        let speed = |t: f64| 850.0 + 350.0 * (-t / 40.0).exp();
        let signal = prepare(driven(50.0, 240.0, 700 + seed, 4.0, speed), 4);
        assert!(signal.steps.iter().all(|step| !step.sharp), "{seed}: {:#?}", signal.steps);
        let found = running(&signal);
        let last = found.last().unwrap();
        assert!(last.to_s > 235.0 && last.to_s - last.from_s > 60.0, "{seed}: {last:?}");
        assert!((last.rpm.unwrap() - 850.0).abs() < 10.0, "{seed}: {last:?}");
        for plateau in &found {
            let fall = speed(plateau.from_s) - speed(plateau.to_s);
            // 2 % of the level, or what parts two plateaus; and the scatter of what is seen.
            assert!(fall < 40.0, "{seed}: falls by {fall} in {plateau:?}");
        }
    }
}

#[test]
fn an_engine_that_stands_is_told_from_one_that_runs() {
    for seed in 0..20 {
        let mut normal = noise(900 + seed);
        let time_s = clock(50.0, 40.0);
        let runs = |t: &f64| (8.0..31.0).contains(t);
        let rpm = time_s.iter().map(|t| if runs(t) { 850.0 + 6.0 * normal() } else { 0.0 });
        let rpm: Vec<f64> = rpm.collect();
        let mut vacuum = |offset: f64| {
            let level = |t: &f64| if runs(t) { 57.0 } else { 0.0 };
            time_s.iter().map(|t| offset + level(t) + 0.1 * normal()).collect()
        };
        let (one, two) = (vacuum(0.8), vacuum(-0.6));
        let signal = prepare(track(time_s, rpm, one, two), 4);
        let kinds: Vec<Kind> = signal.plateaus.iter().map(|p| p.kind).collect();
        let wanted = [Kind::EngineOff, Kind::Running, Kind::EngineOff];
        assert_eq!(kinds, wanted, "{seed}: {:#?}", signal.plateaus);
        let [before, between, after] = [0, 1, 2].map(|k| &signal.plateaus[k]);
        assert!(before.to_s <= 8.2 && before.to_s > 6.5, "{before:?}");
        // The last cycle may reach the first reading of the standing engine, the row after 31 s; a
        // block that holds readings of both, 0.16 s, belongs to neither.
        assert!(between.from_s >= 7.9 && between.to_s <= 31.03, "{between:?}");
        assert!(after.from_s >= 30.97 && after.from_s < 31.2, "{after:?}");
        assert!(signal.steps.is_empty(), "{:?}", signal.steps);
    }
}

/// The slower the speed settles, the later the plateau begins, and its mean is that of the level.
#[test]
fn settling_is_trimmed_by_the_data() {
    let begins = |tau_s: f64| {
        let mut sum = 0.0;
        for seed in 0..10 {
            let speed = |t: f64| {
                if t < 20.0 { 1500.0 } else { 850.0 + 650.0 * (-(t - 20.0) / tau_s).exp() }
            };
            let signal = prepare(driven(50.0, 60.0, 1100 + seed, 4.0, speed), 4);
            let found = running(&signal);
            assert_eq!(found.len(), 2, "{tau_s}: {found:#?}");
            assert!(found[0].to_s < 20.2 && found[0].to_s > 18.0, "{:?}", found[0]);
            let after = found[1].clone();
            assert!((after.rpm.unwrap() - 850.0).abs() < 3.0, "{tau_s}: {after:?}");
            sum += (after.from_s - 20.0) / 10.0;
        }
        sum
    };
    let [quick, slow, slowest] = [0.3, 1.0, 2.5].map(begins);
    assert!(quick < 3.0 && quick < slow && slow < slowest, "{quick}, {slow}, {slowest} s");
    // 650 rev/min have fallen below 20 after 3.5 time constants.
    assert!(slowest > 3.5 * 2.5 - 1.0, "{slowest} s");
}

/// A pick-up shows a start half a second late and a stop at once, while the manifold fills slowly: the
/// standstill ends where the vacuum leaves its zero, whatever the speed says.
#[test]
fn an_engine_off_stretch_holds_no_reading_of_a_running_engine() {
    for seed in 0..20 {
        let mut normal = noise(5000 + seed);
        let time_s = clock(50.0, 40.0);
        let runs = |t: f64| (8.0..31.0).contains(&t);
        let shown = |t: &f64| if runs(*t) && *t > 8.5 { 850.0 + 6.0 * normal() } else { 0.0 };
        let rpm: Vec<f64> = time_s.iter().map(shown).collect();
        let mut vacuum = |offset: f64| {
            let level = |t: f64| match t {
                t if runs(t) => 57.0 * (1.0 - (-(t - 8.0) / 0.3).exp()),
                t if t >= 31.0 => 57.0 * (-(t - 31.0) / 0.4).exp(),
                _ => 0.0,
            };
            time_s.iter().map(|t| offset + level(*t) + 0.02 * normal()).collect()
        };
        let (one, two) = (vacuum(0.8), vacuum(-0.6));
        let signal = prepare(track(time_s, rpm, one, two), 4);
        let off: Vec<&Plateau> =
            signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff).collect();
        assert_eq!(off.len(), 2, "{seed}: {:#?}", signal.plateaus);
        assert!(off[0].to_s <= 8.02 && off[0].to_s > 7.6, "{seed}: {:?}", off[0]);
        // 57 kPa have fallen to the quarter of a kilopascal that counts as rest after 2.2 s.
        assert!(off[1].from_s > 32.8 && off[1].from_s < 33.8, "{seed}: {:?}", off[1]);
        for plateau in off {
            let blocks = plateau.first_block..plateau.end_block;
            let vacuum = signal.cycles.vac1_kpa.as_ref().unwrap();
            assert!(vacuum[blocks].iter().all(|v| (v - 0.8).abs() < 0.3), "{seed}: {plateau:?}");
        }
    }
}
