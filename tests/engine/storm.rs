//! Whatever is switched, in whatever order, with whatever numbers: the state stays one of an engine.

use evenbreath::engine::{Action, Engine, Layout, Settings, Side};
use evenbreath::units::{Millimetres, Rpm};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -2.0..30.0f64,
        1 => -1e12..1e12f64,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(f64::NEG_INFINITY),
        1 => Just(0.0),
        1 => Just(-0.0),
        1 => Just(f64::MIN_POSITIVE),
    ]
}

fn action() -> impl Strategy<Value = Action> {
    let plain = prop::sample::select(vec![
        Action::CapOff,
        Action::CapOn,
        Action::BreatherBlocked,
        Action::BreatherFree,
        Action::EngineOff,
        Action::HosesOff,
        Action::HosesSwapped,
        Action::HosesDirect,
        Action::HosesTogether,
        Action::Release,
        Action::FanOn,
        Action::FanOff,
    ]);
    let sized = (0..6, any::<bool>(), number()).prop_map(|(kind, one, value)| {
        let side = if one { Side::One } else { Side::Two };
        match kind {
            0 => Action::OpenThrottle { side, fraction: value },
            1 => Action::ThrottleStop { side, share: value },
            2 => Action::Mixture { side, ratio: value },
            3 => Action::TractLeak { side, hole: Millimetres(value) },
            4 => Action::SealLeak(Millimetres(value)),
            _ => Action::Hold(Rpm(value * 300.0)),
        }
    });
    prop_oneof![3 => plain, 2 => Just(Action::EngineOn), 6 => sized]
}

/// The engine's state is one that an engine can be in.
fn sound(engine: &Engine) -> Result<(), TestCaseError> {
    let look = engine.look();
    prop_assert!((0.0..12_000.0).contains(&look.rpm), "{look:?}");
    for vacuum in look.vacuum.iter().chain(&look.at_hoses) {
        prop_assert!((-1.0..=101.325).contains(&vacuum.0), "{look:?}");
    }
    prop_assert!((-10.0..10.0).contains(&look.crankcase.0), "{look:?}");
    let flows = engine.flows();
    let pairs = [
        flows.throttle_g_per_s,
        flows.tract_leak_g_per_s,
        flows.drawn_g_per_s,
        flows.fuel_g_per_s,
        flows.breather_g_per_s,
        flows.breather_fresh_g_per_s,
        flows.mixture,
    ];
    let single = [flows.pipe_g_per_s, flows.seal_leak_g_per_s, flows.cap_g_per_s];
    for value in pairs.iter().flatten().chain(&single).chain([&flows.blow_by_g_per_s]) {
        prop_assert!(value.abs() < 500.0, "{flows:?}");
    }
    let work = engine.ledger().work;
    let sum = work.gas_j + work.starter_j + work.friction_j + work.pumping_j + work.fan_j;
    prop_assert!((sum + work.kinetic_j).is_finite(), "{work:?}");
    Ok(())
}

/// The same cases on every run, and no file of past failures.
fn cases() -> ProptestConfig {
    ProptestConfig {
        cases: 80,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_125),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn no_storm_of_actions_brings_the_engine_out_of_its_senses(
        layout in prop::sample::select(Layout::ALL.to_vec()),
        pipe in prop::sample::select(vec![0.0, 4.0]),
        seed in any::<u64>(),
        actions in prop::collection::vec((action(), 0.0..0.6f64), 1..60),
    ) {
        let settings = Settings { balance_pipe_mm2: pipe, ..Settings::of(layout) };
        let mut engine = Engine::new(settings, seed);
        engine.act(Action::EngineOn);
        engine.run(2.0);
        for (action, seconds) in actions {
            engine.act(action);
            for _ in 0..(seconds / 0.05) as usize {
                engine.run(0.05);
                sound(&engine)?;
            }
        }
        // And it can be brought back.
        for side in Side::BOTH {
            for undo in [
                Action::ThrottleStop { side, share: 1.0 },
                Action::Mixture { side, ratio: 1.0 },
                Action::TractLeak { side, hole: Millimetres(0.0) },
            ] {
                engine.act(undo);
            }
        }
        for undo in [
            Action::Release,
            Action::CapOn,
            Action::BreatherFree,
            Action::HosesDirect,
            Action::FanOff,
            Action::SealLeak(Millimetres(0.8)),
            Action::EngineOff,
        ] {
            engine.act(undo);
        }
        engine.run(8.0);
        // Less than half a degree a day: as the tracts fill, what is left of the pumping torque falls,
        // and a piston at rest in its power stroke may give way to it.
        let rpm = engine.look().rpm;
        prop_assert!(rpm < 1e-6, "the engine is off and turns at {rpm} rev/min");
        engine.act(Action::EngineOn);
        engine.run(12.0);
        let look = engine.look();
        prop_assert!((650.0..1100.0).contains(&look.rpm), "{:?}", look);
    }
}
