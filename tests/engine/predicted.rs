//! What a class sets beside its readings.

use super::idling;
use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Action, Engine, Hunting, Prediction, Running, Script, Settings, Side};
use evenbreath::engine::{record, steady};
use evenbreath::units::{Millimetres, Rpm, Seconds};

#[test]
fn it_agrees_with_forty_seconds_of_a_calm_log() {
    let leak = Action::TractLeak { side: Side::Two, hole: Millimetres(1.5) };
    let shut = Action::OpenThrottle { side: Side::One, fraction: -0.1 };
    for actions in [vec![], vec![leak], vec![shut, Action::FanOn]] {
        let prediction = Prediction::of(&idling(&Settings::default(), &actions));
        for (cap, got) in [(Action::CapOn, prediction.cap_on), (Action::CapOff, prediction.cap_off)]
        {
            let want = steady(&Settings::default(), &[&actions[..], &[cap]].concat()).unwrap();
            assert!(got.settled, "{actions:?} {cap:?}");
            assert!((got.means.rpm - want.rpm).abs() < 0.3, "{got:?} {want:?}");
            assert!((got.means.crank_kpa - want.crank_kpa).abs() < 0.005, "{got:?} {want:?}");
            for side in 0..2 {
                let off = got.means.vac_kpa[side] - want.vac_kpa[side];
                assert!(off.abs() < 0.02, "{got:?} {want:?}");
            }
        }
    }
}

#[test]
fn it_is_what_a_varying_engine_wanders_about() {
    let hunting = Some(Hunting { period_s: 3.0, depth: 0.02 });
    let settings = Settings { hunting, ..Settings::default() };
    let shut = Action::ThrottleStop { side: Side::Two, share: 0.93 };
    let mut running = Running::new(&settings, &SensorBox::default(), 4, true);
    running.act(shut);
    // Taken in the midst of the first second after the screw was turned.
    while running.next_row(0.6).is_some() {}
    let prediction = Prediction::of(running.engine());
    let script = Script::idling(Seconds(400.0)).act(Seconds(0.0), shut);
    let slow = SensorBox { rate_hz: 1.0, ..SensorBox::default() };
    let truth = record(&settings, &slow, &script, 21).truth;
    let wandering = truth.mean(Seconds(10.0), Seconds(400.0)).unwrap();
    let means = prediction.cap_on.means;
    assert!((means.rpm - wandering.rpm).abs() < 2.5, "{means:?} {wandering:?}");
    assert!((means.difference_kpa - wandering.difference_kpa).abs() < 0.1, "{wandering:?}");
}

#[test]
fn it_is_the_same_from_whatever_moment_of_whatever_run() {
    let hunting = Some(Hunting { period_s: 4.0, depth: 0.05 });
    let settings =
        Settings { hunting, stroke_spread: 0.12, wander_spread: 0.02, ..Settings::default() };
    let want = steady(&settings, &[Action::CapOn]).unwrap();
    for seed in 1..=12 {
        let mut engine = Engine::new(settings.clone(), seed);
        engine.act(Action::EngineOn);
        engine.run(10.0 + 0.37 * seed as f64);
        if seed % 3 == 0 {
            engine.act(Action::CapOff);
            engine.run(1.0);
        }
        if seed % 4 == 0 {
            engine.act(Action::Hold(Rpm(1500.0)));
            engine.run(3.0);
            engine.act(Action::Release);
        }
        let state = Prediction::of(&engine).cap_on;
        assert!(state.settled, "seed {seed}: {state:?}");
        assert!((state.means.rpm - want.rpm).abs() < 0.15, "seed {seed}: {state:?} {want:?}");
        assert!(state.means.difference_kpa.abs() < 0.01, "seed {seed}: {state:?}");
        let vac = state.means.vac_kpa[0] - want.vac_kpa[0];
        assert!(vac.abs() < 0.02, "seed {seed}: {state:?} {want:?}");
    }
}

#[test]
fn to_predict_leaves_the_engine_alone() {
    let mut engine = Engine::new(Settings::default(), 9);
    engine.act(Action::EngineOn);
    engine.run(9.3);
    let mut other = engine.clone();
    let _ = Prediction::of(&engine);
    engine.run(5.0);
    other.run(5.0);
    assert_eq!(engine.look(), other.look());
    assert_eq!(engine.ledger(), other.ledger());
}

#[test]
fn it_knows_the_warmth_and_the_foot_of_the_moment() {
    let settings = Settings { warming: 5e-4, ..Settings::default() };
    let at = |seconds: f64| {
        let mut engine = Engine::new(settings.clone(), 2);
        engine.act(Action::EngineOn);
        engine.run(seconds);
        Prediction::of(&engine).cap_on.means.rpm
    };
    let (cold, warm) = (at(10.0), at(110.0));
    assert!(warm > cold + 20.0, "{cold} {warm}");
    let mut engine = idling(&Settings::default(), &[Action::Hold(Rpm(2000.0))]);
    engine.run(2.0);
    let held = Prediction::of(&engine).cap_on;
    assert!((held.means.rpm - 2000.0).abs() < 10.0, "{held:?}");
}

#[test]
fn an_engine_at_rest_is_predicted_to_rest() {
    let prediction = Prediction::of(&Engine::new(Settings::default(), 1));
    for state in [prediction.cap_on, prediction.cap_off] {
        assert_eq!(state.means.rpm, 0.0);
        assert!(state.settled && state.means.vac_kpa[0].abs() < 1e-6, "{state:?}");
    }
}

#[test]
fn an_engine_that_surges_is_said_not_to_settle_and_its_mean_is_given() {
    // Tracts sixteen times as large fill more slowly than the flywheel answers.
    let settings = Settings { tract_m3: 25.0e-3, ..Settings::default() };
    let steady = Prediction::of(&idling(&Settings::default(), &[])).cap_on;
    let surging = Prediction::of(&idling(&settings, &[])).cap_on;
    assert!(!surging.settled, "{surging:?}");
    assert!((surging.means.rpm - steady.means.rpm).abs() < 5.0, "{surging:?} {steady:?}");
}
