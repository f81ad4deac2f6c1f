//! Whatever comes in, nothing panics, and what comes out is in order.

use crate::{cases, noise};
use evenbreath::findings::balance::{self, Balance};
use evenbreath::findings::{Conditions, breather};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal::{Signal, prepare};
use evenbreath::units::Seconds;
use proptest::prelude::*;

/// A reading of a channel about its level: sound, missing, or a spike.
fn readings(level: f64, length: usize) -> impl Strategy<Value = Option<Vec<f64>>> {
    let reading = prop_oneof![
        12 => (0.9..1.1f64).prop_map(move |share| share * level),
        2 => Just(f64::NAN),
        1 => Just(0.0),
        1 => Just(level),
        1 => -1e4..1e4f64,
        1 => Just(1e12),
    ];
    prop::option::weighted(0.85, prop::collection::vec(reading, length))
}

/// Stretches of the log: how long, how fast, at what vacuum, with how much dirt.
fn scene() -> impl Strategy<Value = (Vec<(usize, f64, f64)>, f64, u64, f64)> {
    let speed = prop_oneof![Just(0.0), Just(f64::NAN), 20.0..100.0f64, 600.0..3500.0f64];
    let stretches = prop::collection::vec((5usize..300, speed, -1.0..75.0f64), 1..7);
    (stretches, prop_oneof![1.0..30.0f64, 30.0..300.0f64], any::<u64>(), 0.0..0.3f64)
}

const MARKS: [&str; 9] = [
    "cap off",
    "cap on",
    "hoses swapped",
    "hoses direct",
    "engine off",
    "engine on",
    "seal dipstick",
    "screw 1 +0.25",
    "lunch",
];

fn marks() -> impl Strategy<Value = Vec<(f64, usize)>> {
    prop::collection::vec((-2.0..60.0f64, 0..MARKS.len()), 0..6)
}

fn marked(mut track: Track, mut marks: Vec<(f64, usize)>) -> Track {
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    track.marks = marks.iter().map(|(at, k)| Mark::read(Seconds(*at), MARKS[*k])).collect();
    track
}

fn in_order(signal: &Signal) -> Result<(), TestCaseError> {
    let (cycles, samples) = (&signal.cycles, signal.track.len() as u32);
    for plateau in &signal.plateaus {
        prop_assert!(plateau.first_block < plateau.end_block && plateau.end_block <= cycles.len());
        prop_assert!(plateau.from_s < plateau.to_s, "{plateau:?}");
        prop_assert!(plateau.from_row <= plateau.to_row && plateau.to_row < samples, "{plateau:?}");
        prop_assert!(plateau.rpm.is_none_or(f64::is_finite), "{plateau:?}");
    }
    for pair in signal.plateaus.windows(2) {
        prop_assert!(pair[0].end_block <= pair[1].first_block, "{pair:?}");
        prop_assert!(pair[0].to_s <= pair[1].from_s + 1e-9, "{pair:?}");
        prop_assert!(pair[0].to_row <= pair[1].from_row, "{pair:?}");
    }
    prop_assert!(signal.steps.windows(2).all(|pair| pair[0].at_s <= pair[1].at_s));
    for step in &signal.steps {
        let parts = [step.at_s, step.before_rpm, step.after_rpm];
        prop_assert!(parts.iter().all(|v| v.is_finite()) && step.at_row < samples, "{step:?}");
    }
    for remark in &signal.remarks {
        prop_assert!(remark.count > 0 && !remark.text.contains("NaN"), "{remark:?}");
    }
    let numbers = [signal.ripple_rpm, signal.aliasing_r, Some(signal.sample_rate_hz)];
    prop_assert!(numbers.into_iter().flatten().all(f64::is_finite));
    Ok(())
}

fn finite(found: &Balance) -> Result<(), TestCaseError> {
    prop_assert!(found.zero.offset_kpa.is_finite() && found.zero.u_kpa.is_finite());
    for plateau in &found.plateaus {
        let parts = [
            plateau.difference_kpa,
            plateau.low_kpa,
            plateau.high_kpa,
            plateau.u_kpa,
            plateau.air1_over_air2,
            plateau.air_low,
            plateau.air_high,
        ];
        let maybe = [plateau.rpm, plateau.ripple1_kpa, plateau.ripple2_kpa, plateau.dof];
        let maybe = maybe.into_iter().chain([plateau.needs_s]).flatten();
        prop_assert!(parts.into_iter().chain(maybe).all(f64::is_finite), "{plateau:?}");
    }
    prop_assert!(!found.say.contains("NaN"), "{}", found.say);
    Ok(())
}

fn all_rooms(track: Track, cylinders: u32) -> Result<(), TestCaseError> {
    let signal = prepare(track, cylinders);
    in_order(&signal)?;
    let conditions = Conditions { cylinders, ..Conditions::default() };
    if signal.track.vac1_kpa.is_some() && signal.track.vac2_kpa.is_some() {
        finite(&balance::find(&signal, &conditions))?;
    }
    let found = breather::find(&signal, &conditions);
    let numbers = [found.idle_rpm, found.drop_rpm, found.low_rpm, found.high_rpm, found.tau_s];
    prop_assert!(numbers.into_iter().flatten().all(f64::is_finite), "{found:?}");
    prop_assert!(!found.say.contains("NaN"), "{}", found.say);
    Ok(())
}

proptest! {
    #![proptest_config(cases(300))]

    /// Readings without any order.
    #[test]
    fn rubbish_does_no_harm(
        (time, rpm, one, two, crank) in (0usize..250).prop_flat_map(|length| (
            prop::collection::vec(
                prop_oneof![8 => 0.015..0.025f64, 1 => 1e-6..1e-3f64, 1 => 0.1..700.0f64], length),
            readings(850.0, length),
            readings(55.0, length),
            readings(54.0, length),
            readings(0.5, length),
        )),
        marks in marks(),
        cylinders in 1u32..13,
    ) {
        let mut now = 0.0;
        let time_s: Vec<f64> = time.iter().map(|step| { now += step; now }).collect();
        let row = (0..time_s.len() as u32).collect();
        let track = Track {
            time_s: time_s.into(), rpm: rpm.map(Into::into), vac1_kpa: one.map(Into::into),
            vac2_kpa: two.map(Into::into), crank_kpa: crank.map(Into::into), row,
            ..Track::default()
        };
        all_rooms(marked(track, marks), cylinders)?;
    }

    /// A log that could be, with stretches of all kinds and dirt on top.
    #[test]
    fn dirt_on_a_log_does_no_harm(
        (stretches, rate_hz, seed, dirt) in scene(),
        marks in marks(),
        cylinders in 1u32..13,
    ) {
        let mut noise = noise(seed);
        let (mut now, mut time_s) = (0.0, Vec::new());
        let [mut rpm, mut one, mut two] = [const { Vec::new() }; 3];
        for (length, speed, vacuum) in stretches {
            for _ in 0..length {
                now += if noise() > 3.5 { 5.0 } else { 1.0 / rate_hz };
                time_s.push(now);
                let mut spoilt = |value: f64| match noise().abs() / (dirt + 1e-9) {
                    x if x > 2.0 => value,
                    x if x > 1.0 => f64::NAN,
                    x if x > 0.5 => 2.0 * value,
                    _ => 0.5 * value,
                };
                rpm.push(spoilt(speed * 1.01));
                one.push(spoilt(vacuum));
                two.push(spoilt(vacuum + 1.0));
            }
        }
        let track = crate::track(time_s, rpm, one, two);
        all_rooms(marked(track, marks), cylinders)?;
    }
}
