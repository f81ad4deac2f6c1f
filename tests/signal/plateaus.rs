//! Stretches of steady speed.

use crate::{cases, clock, noise, track};
use evenbreath::sample::Track;
use evenbreath::signal::plateaus::{Kind, Plateau};
use evenbreath::signal::{Signal, prepare};
use proptest::prelude::*;

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
