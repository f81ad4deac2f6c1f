//! False readings found, good ones left alone.

use crate::{cases, clock, noise, track};
use evenbreath::sample::{Remark, Track};
use evenbreath::signal::cleaning::clean;
use proptest::prelude::*;

/// Readings at each end of a log that have too few neighbours to be judged.
const BLIND: usize = 4;

/// Speed that swings as an engine can, each reading held for some rows.
fn speeds(count: usize, rpm: f64, swing: f64, period_s: f64, rate_hz: f64, seed: u64) -> Vec<f64> {
    let mut noise = noise(seed);
    (0..count)
        .map(|k| {
            let turn = std::f64::consts::TAU * k as f64 / rate_hz / period_s;
            rpm * (1.0 + swing * turn.sin() + 0.006 * noise())
        })
        .collect()
}

/// A log whose readings are each held for `held` rows.
fn held_track(readings: &[f64], held: usize, rate_hz: f64) -> Track {
    let rpm: Vec<f64> = readings.iter().flat_map(|n| vec![*n; held]).collect();
    let time_s = clock(rate_hz * held as f64, rpm.len() as f64 / (rate_hz * held as f64) + 1e-9);
    let vacuum = vec![55.0; rpm.len()];
    track(time_s, rpm, vacuum.clone(), vacuum)
}

/// No nine neighbours hold more than three false readings: with four of eight false no method that
/// looks at neighbours can tell which half to believe.
fn can_be_told(is_false: &[bool]) -> bool {
    is_false.windows(9).all(|window| window.iter().filter(|f| **f).count() <= 3)
}

fn remark<'a>(remarks: &'a [Remark], code: &str) -> Option<&'a Remark> {
    remarks.iter().find(|remark| remark.code == code)
}

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn doubled_and_halved_readings_are_found_and_no_good_one(
        rpm in 500.0..3000.0f64,
        rate_hz in 10.0..50.0f64,
        held in 1usize..4,
        swing in 0.0..0.1f64,
        period_s in 3.0..10.0f64,
        chances in prop::collection::vec(0.0..1.0f64, 60..400),
        share in 0.0..0.05f64,
        seed in any::<u64>(),
    ) {
        let count = chances.len();
        let inside = BLIND..count - BLIND;
        let is_false: Vec<bool> = chances
            .iter()
            .enumerate()
            .map(|(k, chance)| inside.contains(&k) && *chance < share)
            .collect();
        prop_assume!(can_be_told(&is_false));
        let good = speeds(count, rpm, swing, period_s, rate_hz, seed);
        let readings: Vec<f64> = good
            .iter()
            .enumerate()
            .map(|(k, n)| match is_false[k] {
                true if chances[k] < 0.5 * share => 2.0 * n,
                true => 0.5 * n,
                false => *n,
            })
            .collect();
        let mut track = held_track(&readings, held, rate_hz);
        let remarks = clean(&mut track);
        let cleaned = track.rpm.unwrap();
        for (k, reading) in readings.iter().enumerate() {
            for found in cleaned.iter_over(k * held..(k + 1) * held) {
                if is_false[k] {
                    prop_assert!(found.is_nan(), "reading {k} of {count}, {reading}, was missed");
                } else {
                    prop_assert_eq!(found, *reading, "reading {} of {} was taken out", k, count);
                }
            }
        }
        let rows = held * is_false.iter().filter(|f| **f).count();
        let counted = remark(&remarks, "rpm_outlier").map_or(0, |remark| remark.count);
        prop_assert_eq!(counted, rows);
    }

    #[test]
    fn a_stuck_sensor_is_found_and_located(
        rate_hz in 10.0..100.0f64,
        before_s in 8.0..20.0f64,
        stuck_s in 3.3..10.0f64,
        after_s in 4.0..20.0f64,
        side in 0..2usize,
        kpa in 20.0..70.0f64,
        seed in any::<u64>(),
    ) {
        let time_s = clock(rate_hz, before_s + stuck_s + after_s);
        let mut noise = noise(seed);
        let mut columns = [(); 2].map(|()| -> Vec<f64> {
            time_s.iter().map(|_| 55.0 + 1.5 * noise()).collect()
        });
        let from = (before_s * rate_hz) as usize;
        let to = from + (stuck_s * rate_hz) as usize + 1;
        columns[side][from..to].fill(kpa);
        let [one, two] = columns.clone();
        let mut track = track(time_s.clone(), vec![850.0; time_s.len()], one, two);
        let remarks = clean(&mut track);
        let found = remark(&remarks, "stuck_sensor");
        prop_assert!(found.is_some(), "{remarks:?}");
        let found = found.unwrap();
        prop_assert_eq!((found.count, &found.at_s), (to - from, &vec![time_s[from]]));
        prop_assert!(found.text.contains(&format!("vacuum {}", side + 1)), "{}", found.text);
        for (k, column) in [track.vac1_kpa.unwrap(), track.vac2_kpa.unwrap()].iter().enumerate() {
            for (row, value) in column.iter().enumerate() {
                let stuck = k == side && (from..to).contains(&row);
                let right = if stuck { value.is_nan() } else { value == columns[k][row] };
                prop_assert!(right, "side {}, row {row}: {value}", k + 1);
            }
        }
    }

    #[test]
    fn a_live_sensor_and_a_standing_engine_are_not_stuck(
        rate_hz in 10.0..100.0f64,
        step_kpa in prop_oneof![Just(0.027), Just(0.1)],
        seed in any::<u64>(),
    ) {
        // Half a minute with the engine off, where a quiet converter may well give one code only,
        // and half a minute of idle in the steps of a coarse converter.
        let time_s = clock(rate_hz, 60.0);
        let mut noise = noise(seed);
        let rpm: Vec<f64> = time_s.iter().map(|t| if *t < 30.0 { 0.0 } else { 850.0 }).collect();
        let mut column = || -> Vec<f64> {
            let mut reading = |n: &f64| if *n == 0.0 { 0.4 } else { 55.0 + 1.5 * noise() };
            rpm.iter().map(|n| (reading(n) / step_kpa).round() * step_kpa).collect()
        };
        let (one, two) = (column(), column());
        let mut track = track(time_s, rpm.clone(), one.clone(), two.clone());
        prop_assert_eq!(clean(&mut track), vec![]);
        prop_assert_eq!((track.rpm, track.vac1_kpa), (Some(rpm.into()), Some(one.into())));
    }
}

#[test]
fn a_doubled_reading_at_the_end_of_a_log_is_found() {
    for at in [0, 1, 97, 99] {
        let mut readings = speeds(100, 850.0, 0.0, 5.0, 25.0, 3);
        readings[at] *= 2.0;
        let mut track = held_track(&readings, 1, 25.0);
        // The vacuums of this track never change, which is remarked upon too.
        let remarks = clean(&mut track);
        let outliers: Vec<_> = remarks.iter().filter(|r| r.code == "rpm_outlier").collect();
        assert_eq!(outliers.len(), 1, "reading {at}: {remarks:?}");
        assert_eq!(outliers[0].count, 1);
    }
}

/// Zeros of missed pulses go; those of an engine that stops from one reading to the next stay.
#[test]
fn a_stopped_engine_is_no_row_of_missed_pulses() {
    for held in [1, 5, 10] {
        let mut readings = speeds(300, 850.0, 0.01, 3.0, 10.0, 5);
        readings[100] = 0.0;
        readings[200..].fill(0.0);
        let mut track = held_track(&readings, held, 10.0);
        let remarks = clean(&mut track);
        let rpm = track.rpm.unwrap();
        let missed = remark(&remarks, "rpm_outlier").unwrap();
        assert_eq!(missed.count, held, "{missed:?}");
        assert!(rpm.iter_over(100 * held..101 * held).all(f64::is_nan), "{held}");
        assert!(rpm.iter_over(200 * held..rpm.len()).all(|n| n == 0.0), "{held}");
    }
}
