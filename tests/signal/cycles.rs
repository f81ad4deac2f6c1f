//! Averages over whole cycles.

use crate::{cases, noise, track};
use evenbreath::sample::Track;
use evenbreath::signal::cycles::{Cycles, cut};
use proptest::prelude::*;

/// Sampling instants and the speed at each: a rate with jitter, a speed that swings, gaps.
#[derive(Debug, Clone)]
struct Drive {
    interval_s: f64,
    time_s: Vec<f64>,
    speed: Vec<f64>,
}

/// A gap is longer than this many sampling intervals.
const GAP_INTERVALS: f64 = 6.0;

impl Drive {
    fn track(&self, vac1: Vec<f64>, vac2: Vec<f64>) -> Track {
        track(self.time_s.clone(), self.speed.clone(), vac1, vac2)
    }

    fn cut(&self, vac1: Vec<f64>, vac2: Vec<f64>) -> Cycles {
        let speeds = || {
            |at: usize, _: &[f64], speeds: &mut [f64]| {
                speeds.copy_from_slice(&self.speed[at..][..speeds.len()]);
            }
        };
        cut(&self.track(vac1, vac2), speeds, self.interval_s, true)
    }

    fn gaps(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        let gap = |pair: &&[f64]| pair[1] - pair[0] > GAP_INTERVALS * self.interval_s;
        self.time_s.windows(2).filter(gap).map(|pair| (pair[0], pair[1]))
    }

    /// `integral n/120 dt` between gaps, by the trapezoid rule.
    fn cycles(&self) -> f64 {
        let pairs = self.time_s.windows(2).zip(self.speed.windows(2));
        let joined = pairs.filter(|(t, _)| t[1] - t[0] <= GAP_INTERVALS * self.interval_s);
        joined.map(|(t, n)| (n[0] + n[1]) / 240.0 * (t[1] - t[0])).sum()
    }

    /// Vacuum with noise about a level.
    fn vacuum(&self, seed: u64) -> Vec<f64> {
        let mut noise = noise(seed);
        self.time_s.iter().map(|_| 55.0 + 2.0 * noise()).collect()
    }
}

prop_compose! {
    /// At least one sample a cycle: below that no average over a cycle exists.
    fn drives()(
        rpm in 400.0..4000.0f64,
        samples_a_cycle in 1.3..60.0f64,
        count in 30usize..400,
        swing in 0.0..0.2f64,
        gaps in prop::collection::vec((any::<prop::sample::Index>(), 7.0..100.0f64), 0..3),
        seed in any::<u64>(),
    ) -> Drive {
        let interval_s = 120.0 / rpm / samples_a_cycle;
        let mut noise = noise(seed);
        let mut steps: Vec<f64> =
            (0..count).map(|_| interval_s * (1.0 + 0.1 * noise()).clamp(0.5, 1.5)).collect();
        for (place, length) in gaps {
            steps[place.index(count)] = length * interval_s;
        }
        let mut now = 0.0;
        let time_s = steps.iter().map(|step| { now += step; now }).collect();
        let speed = (0..count)
            .map(|k| rpm * (1.0 + swing * (k as f64 / 15.0 + seed as f64 % 7.0).sin()))
            .collect();
        Drive { interval_s, time_s, speed }
    }
}

/// No reading here and there.
fn with_holes(mut column: Vec<f64>, holes: &[prop::sample::Index]) -> Vec<f64> {
    for hole in holes {
        let at = hole.index(column.len());
        column[at] = f64::NAN;
    }
    column
}

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn the_average_of_a_constant_is_the_constant(
        drive in drives(),
        kpa in -5.0..90.0f64,
        holes in prop::collection::vec(any::<prop::sample::Index>(), 0..6),
    ) {
        let constant = vec![kpa; drive.time_s.len()];
        let cut = drive.cut(constant.clone(), with_holes(constant, &holes));
        let (whole, holed) = (cut.vac1_kpa.unwrap(), cut.vac2_kpa.unwrap());
        prop_assert!(whole.iter().all(|v| (v - kpa).abs() < 1e-9), "{whole:?}");
        prop_assert!(holed.iter().all(|v| v.is_nan() || (v - kpa).abs() < 1e-9), "{holed:?}");
        let lost = holed.iter().filter(|v| v.is_nan()).count();
        prop_assert!(lost <= 3 * holes.len(), "{lost} blocks lost to {} holes", holes.len());
    }

    #[test]
    fn the_cycles_add_up_to_the_phase(drive in drives()) {
        let cut = drive.cut(drive.vacuum(1), drive.vacuum(2));
        let fastest = drive.speed.iter().copied().fold(0.0, f64::max);
        // A block holds one cycle, or with a slow logger as many as hold eight samples.
        let block = (8.0 * fastest / 120.0 * drive.interval_s).ceil().max(1.0);
        let left = drive.cycles() - cut.cycles.iter().sum::<f64>();
        let stretches = 1.0 + drive.gaps().count() as f64;
        prop_assert!((-1e-6..stretches * block).contains(&left), "{left} of blocks of {block}");
        for k in 0..cut.len() {
            let rpm = 120.0 * cut.cycles[k] / (cut.to_s[k] - cut.from_s[k]);
            prop_assert!((cut.rpm.as_ref().unwrap()[k] / rpm - 1.0).abs() < 1e-9);
            prop_assert!((cut.cycles[k] - cut.cycles[k].round()).abs() < 1e-9, "not whole");
        }
    }

    #[test]
    fn blocks_follow_each_other_and_keep_out_of_gaps(drive in drives()) {
        let cut = drive.cut(drive.vacuum(1), drive.vacuum(2));
        for k in 0..cut.len() {
            prop_assert!(cut.from_s[k] < cut.to_s[k]);
            prop_assert!(k == 0 || cut.to_s[k - 1] <= cut.from_s[k] + 1e-9);
            for (from, to) in drive.gaps() {
                let outside = cut.to_s[k] <= from + 1e-9 || cut.from_s[k] >= to - 1e-9;
                prop_assert!(outside, "{}..{} in the gap {from}..{to}", cut.from_s[k], cut.to_s[k]);
            }
        }
    }

    #[test]
    fn samples_slower_than_the_cycles_are_blocks_that_do_not_span_a_gap(
        rpm in 700.0..3000.0f64,
        steps in prop::collection::vec(prop_oneof![9 => 0.9..1.1f64, 1 => 7.0..40.0f64], 5..80),
    ) {
        let interval_s = 1.5 * 120.0 / rpm;
        let mut now = 0.0;
        let time_s: Vec<f64> = steps.iter().map(|s| { now += s * interval_s; now }).collect();
        let speed = vec![rpm; time_s.len()];
        let drive = Drive { interval_s, time_s, speed };
        let cut = drive.cut(drive.vacuum(1), drive.vacuum(2));
        prop_assert_eq!(cut.len(), drive.time_s.len());
        prop_assert!((1..cut.len()).all(|k| cut.to_s[k - 1] <= cut.from_s[k] + 1e-9));
        for (from, to) in drive.gaps() {
            let spans = |k: usize| cut.from_s[k] <= from && cut.to_s[k] >= to;
            prop_assert!(!(0..cut.len()).any(spans), "a block spans {from}..{to}");
        }
    }

    #[test]
    fn an_offset_shows_in_every_block(drive in drives(), kpa in -3.0..3.0f64) {
        let (one, two) = (drive.vacuum(1), drive.vacuum(2));
        let plain = drive.cut(one.clone(), two.clone());
        let shifted = drive.cut(one.iter().map(|v| v + kpa).collect(), two);
        let (a, b) = (plain.vac1_kpa.unwrap(), shifted.vac1_kpa.unwrap());
        prop_assert!(a.iter().zip(&b).all(|(a, b)| (b - a - kpa).abs() < 1e-9));
        prop_assert_eq!(plain.vac2_kpa, shifted.vac2_kpa);
        prop_assert_eq!(plain.from_s, shifted.from_s);
    }

    #[test]
    fn a_ripple_of_whole_cycles_averages_out(
        rpm in 400.0..4000.0f64,
        samples_a_cycle in 8.0..80.0f64,
        harmonic in 1..=2i32,
        start in 0.0..1.0f64,
        amplitude in 0.5..8.0f64,
    ) {
        let interval_s = 120.0 / rpm / samples_a_cycle;
        let time_s: Vec<f64> =
            (0..(20.0 * samples_a_cycle) as usize).map(|k| k as f64 * interval_s).collect();
        let phase = |t: &f64| std::f64::consts::TAU * f64::from(harmonic) * (t * rpm / 120.0 + start);
        let ripple: Vec<f64> = time_s.iter().map(|t| 55.0 + amplitude * phase(t).sin()).collect();
        let drive = Drive { interval_s, speed: vec![rpm; time_s.len()], time_s };
        let means = drive.cut(ripple.clone(), ripple).vac1_kpa.unwrap();
        prop_assert!(means.len() >= 18, "{} blocks", means.len());
        let left = means.iter().map(|v| (v - 55.0).abs()).fold(0.0, f64::max);
        prop_assert!(left < 0.02 * amplitude, "{left} of {amplitude} kPa");
    }
}
