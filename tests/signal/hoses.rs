//! Hoses exchanged, marked or not.

use crate::{cases, clock, noise, track};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal::prepare;
use evenbreath::units::Seconds;
use proptest::prelude::*;

/// What a pair of sensors sees while somebody handles the hoses.
#[derive(Debug, Clone)]
struct Scene {
    /// Vacuum of side 1 less that of side 2, kPa.
    difference_kpa: f64,
    /// Sensor 1 reads this much more than sensor 2, kPa.
    pair_kpa: f64,
    /// When the hoses come off and are on again, s.
    handled_s: (f64, f64),
    /// Engine off at the start, s.
    off_s: f64,
    seed: u64,
}

prop_compose! {
    fn scenes()(
        size in 0.8..5.0f64,
        front in any::<bool>(),
        pair_kpa in -1.8..1.8f64,
        idle_s in 12.0..20.0f64,
        handling_s in 1.5..4.0f64,
        off_s in prop_oneof![Just(0.0), 4.0..8.0f64],
        seed in any::<u64>(),
    ) -> Scene {
        let from = off_s + idle_s;
        let difference_kpa = if front { size } else { -size };
        Scene { difference_kpa, pair_kpa, handled_s: (from, from + handling_s), off_s, seed }
    }
}

/// Which hoses come off, and what happens afterwards: with one hose alone the difference turns over
/// as well, as when somebody turns a screw meanwhile.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Handling {
    Exchanged,
    BackAgain,
    OneOnly,
}

impl Scene {
    fn track(&self, handling: Handling) -> Track {
        let time_s = clock(25.0, self.handled_s.1 + 16.0);
        let mut noise = noise(self.seed);
        let (mut rpm, mut one, mut two) = (Vec::new(), Vec::new(), Vec::new());
        for t in &time_s {
            let off = (self.handled_s.0..self.handled_s.1).contains(t);
            let turned = handling != Handling::BackAgain && *t >= self.handled_s.1;
            let sign = if turned { -1.0 } else { 1.0 };
            let runs = *t >= self.off_s;
            let half = 0.5 * sign * self.difference_kpa;
            let at = |vacuum: f64, off: bool| if runs && !off { vacuum } else { 0.0 };
            let error = 0.5 * self.pair_kpa;
            one.push(at(56.0 + half, off) + error + 0.3 * noise());
            let second_off = off && handling != Handling::OneOnly;
            two.push(at(56.0 - half, second_off) - error + 0.3 * noise());
            rpm.push(if runs { 850.0 + 4.0 * noise() } else { 0.0 });
        }
        track(time_s, rpm, one, two)
    }
}

proptest! {
    #![proptest_config(cases(120))]

    #[test]
    fn hoses_exchanged_without_a_mark_are_found(scene in scenes()) {
        let signal = prepare(scene.track(Handling::Exchanged), 4);
        prop_assert_eq!(signal.hoses.len(), 1, "{:?}", signal.hoses);
        prop_assert!(signal.hoses[0].swapped);
        let late = signal.hoses[0].at_s - scene.handled_s.1;
        prop_assert!(late.abs() <= 0.5, "{late} s");
        let said = signal.remarks.iter().filter(|remark| remark.code == "hoses_swapped").count();
        prop_assert_eq!(said, 1, "{:?}", signal.remarks);
    }

    #[test]
    fn hoses_that_go_back_to_their_own_places_are_not_exchanged(scene in scenes()) {
        let signal = prepare(scene.track(Handling::BackAgain), 4);
        prop_assert!(signal.hoses.is_empty(), "{:?}", signal.hoses);
    }

    #[test]
    fn one_hose_alone_is_no_exchange_whatever_the_difference_does(scene in scenes()) {
        let signal = prepare(scene.track(Handling::OneOnly), 4);
        prop_assert!(signal.hoses.is_empty(), "{:?}", signal.hoses);
    }

    #[test]
    fn marks_go_before_the_data(scene in scenes(), late_s in -4.0..4.0f64, back in any::<bool>()) {
        // The data say the opposite of a mark 'hoses direct': the person knows better what was done,
        // the data when.
        let mut track = scene.track(Handling::Exchanged);
        let at = Seconds(scene.handled_s.1 + late_s);
        track.marks.push(Mark::read(at, if back { "hoses direct" } else { "Hoses  SWAPPED" }));
        let signal = prepare(track, 4);
        prop_assert_eq!(signal.hoses.len(), 1);
        prop_assert_eq!(signal.hoses[0].swapped, !back);
        let away = signal.hoses[0].at_s - scene.handled_s.1;
        prop_assert!(away.abs() <= 0.5, "{away} s");
        prop_assert!(signal.remarks.iter().all(|remark| remark.code != "hoses_swapped"));
    }

    #[test]
    fn a_mark_far_from_any_handling_stands_as_it_is(scene in scenes(), early_s in 8.5..11.0f64) {
        let mut track = scene.track(Handling::Exchanged);
        let at = Seconds(scene.handled_s.0 - early_s);
        track.marks.push(Mark::read(at, "hoses swapped"));
        let signal = prepare(track, 4);
        let hoses: Vec<(f64, bool)> = signal.hoses.iter().map(|h| (h.at_s, h.swapped)).collect();
        prop_assert_eq!(hoses, vec![(at.0, true)]);
    }
}
