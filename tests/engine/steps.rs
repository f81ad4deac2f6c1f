//! What the length of the step does to the result.

use evenbreath::engine::{Action, Engine, Layout, Prediction, Settings};

fn idle(settings: &Settings, step_s: f64) -> Prediction {
    let mut engine = Engine::with_step(settings.calm(), 1, step_s);
    engine.act(Action::EngineOn);
    engine.run(8.0);
    Prediction::of(&engine)
}

#[test]
fn a_step_of_half_the_length_changes_the_idle_by_little() {
    for layout in Layout::ALL {
        let settings = Settings { idle_area_mm2: [10.2, 11.4], ..Settings::of(layout) };
        let [usual, half, long] = [0.25e-3, 0.125e-3, 0.5e-3].map(|step| idle(&settings, step));
        for (name, other, rpm, kpa) in [("half", half, 0.2, 0.04), ("double", long, 0.4, 0.08)] {
            let moved = usual.cap_on.means.rpm - other.cap_on.means.rpm;
            let drop = usual.drop_rpm() - other.drop_rpm();
            let vac = [0, 1].map(|side: usize| {
                usual.cap_on.means.vac_kpa[side] - other.cap_on.means.vac_kpa[side]
            });
            println!("{layout:?} {name}: {moved:+.3} rev/min, drop {drop:+.3}, {vac:+.4?} kPa");
            assert!(moved.abs() < rpm && drop.abs() < rpm, "{layout:?}: {moved} {drop}");
            assert!(vac.iter().all(|vac| vac.abs() < kpa), "{layout:?}: {vac:?}");
        }
    }
}

#[test]
fn a_step_is_never_longer_than_half_a_millisecond() {
    for (asked, got) in [(1.0, 0.5e-3), (0.1e-3, 0.1e-3), (0.0, 0.25e-3), (f64::NAN, 0.25e-3)] {
        assert_eq!(Engine::with_step(Settings::default(), 1, asked).step_s(), got);
    }
    assert_eq!(Engine::new(Settings::default(), 1).step_s(), 0.25e-3);
}
