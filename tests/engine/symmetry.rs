//! Nothing but the names tells the sides apart.

use super::idling;
use evenbreath::engine::{Action, Layout, Prediction, Settings, Side};
use evenbreath::units::Millimetres;

/// What remains of the start, half a cycle apart on the two sides, and of the cut of the stretches.
const RPM: f64 = 0.01;
const KPA: f64 = 0.002;

fn swapped(pair: [f64; 2]) -> [f64; 2] {
    [pair[1], pair[0]]
}

fn mirrored(settings: &Settings) -> Settings {
    Settings {
        idle_area_mm2: swapped(settings.idle_area_mm2),
        tract_leak_mm2: swapped(settings.tract_leak_mm2),
        mixture: swapped(settings.mixture),
        ..settings.clone()
    }
}

#[test]
fn swapping_the_sides_swaps_the_results() {
    for layout in Layout::ALL {
        let settings = Settings {
            idle_area_mm2: Settings::of(layout).idle_area_mm2.map(|area| area * 0.93),
            tract_leak_mm2: [0.0, 0.8],
            mixture: [1.08, 0.97],
            ..Settings::of(layout)
        };
        let act = |side: Side| {
            [
                Action::TractLeak { side, hole: Millimetres(1.2) },
                Action::ThrottleStop { side, share: 1.1 },
            ]
        };
        let one = Prediction::of(&idling(&settings, &act(Side::One)));
        let two = Prediction::of(&idling(&mirrored(&settings), &act(Side::Two)));
        for (one, two) in [(one.cap_on, two.cap_on), (one.cap_off, two.cap_off)] {
            let (a, b) = (one.means, two.means);
            let sum = a.difference_kpa + b.difference_kpa;
            println!("{layout:?}: {:+.1e} rev/min, {sum:+.1e} kPa", a.rpm - b.rpm);
            assert!((a.rpm - b.rpm).abs() < RPM, "{layout:?}: {a:?} {b:?}");
            assert!((a.difference_kpa + b.difference_kpa).abs() < KPA, "{layout:?}: {a:?} {b:?}");
            assert!((a.difference_kpa).abs() > 1.0, "{layout:?}: the sides are alike: {a:?}");
            for side in 0..2 {
                let off = a.vac_kpa[side] - b.vac_kpa[1 - side];
                assert!(off.abs() < KPA, "{layout:?}: {off}");
                let flow = one.flows.throttle_g_per_s[side] / two.flows.throttle_g_per_s[1 - side];
                assert!((flow - 1.0).abs() < 1e-3, "{layout:?}: {flow}");
            }
        }
    }
}

#[test]
fn each_side_of_the_eight_draws_four_times_a_cycle_evenly() {
    let order = Layout::Eight.firing_order();
    for side in Side::BOTH {
        let places: Vec<usize> =
            (0..8).filter(|place| Layout::Eight.side(order[*place]) == side).collect();
        // Places are 90 degrees of crank apart.
        let gaps: Vec<usize> = (0..4).map(|k| (places[(k + 1) % 4] + 8 - places[k]) % 8).collect();
        assert_eq!(gaps, [2, 2, 2, 2], "{side:?}: {places:?}");
    }
    let mut numbers = order.to_vec();
    numbers.sort_unstable();
    assert_eq!(numbers, [1, 2, 3, 4, 5, 6, 7, 8]);
}
