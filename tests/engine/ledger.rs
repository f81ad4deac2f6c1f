//! Mass and work: what entered is drawn or still there, what was done is in the flywheel.

use super::idling;
use evenbreath::engine::{Action, Engine, Layout, Ledger, Prediction, Settings, Side};
use evenbreath::units::{Millimetres, Rpm};

/// Rounding of some 10^5 sums of a few hundredths of a gram, kg.
const ROUNDING_KG: f64 = 1e-12;

fn busy(layout: Layout) -> (Ledger, Ledger) {
    let settings = Settings { balance_pipe_mm2: 3.0, ..Settings::of(layout) };
    let mut engine = Engine::new(settings, 5);
    let before = engine.ledger();
    let steps = [
        Action::EngineOn,
        Action::CapOff,
        Action::TractLeak { side: Side::Two, hole: Millimetres(2.0) },
        Action::Hold(Rpm(2500.0)),
        Action::CapOn,
        Action::BreatherBlocked,
        Action::HosesOff,
        Action::Release,
        Action::EngineOff,
    ];
    for action in steps {
        engine.act(action);
        engine.run(4.0);
    }
    (before, engine.ledger())
}

#[test]
fn air_that_entered_a_tract_is_drawn_or_still_there() {
    for layout in Layout::ALL {
        let (before, after) = busy(layout);
        let passed = after.passed.since(&before.passed);
        for side in 0..2 {
            let piped = if side == 0 { -passed.pipe_kg } else { passed.pipe_kg };
            let entered = passed.throttle_kg[side] + passed.tract_leak_kg[side] + piped;
            let kept = entered - passed.drawn_kg[side];
            let held = after.held.tract_kg[side] - before.held.tract_kg[side];
            assert!(passed.drawn_kg[side] > 0.1, "{layout:?} drew {passed:?}");
            assert!((kept - held).abs() < ROUNDING_KG, "{layout:?} side {side}: {kept} {held}");
        }
        assert!(passed.pipe_kg.abs() > 1e-4, "the pipe had no part in it: {passed:?}");
    }
}

#[test]
fn gas_that_entered_the_crankcase_left_by_the_breather_or_is_still_there() {
    for layout in Layout::ALL {
        let (before, after) = busy(layout);
        let passed = after.passed.since(&before.passed);
        let entered = passed.seal_leak_kg + passed.cap_kg + passed.blow_by_kg;
        let kept = entered - passed.breather_kg.iter().sum::<f64>();
        let held = after.held.crankcase_kg - before.held.crankcase_kg;
        assert!((kept - held).abs() < ROUNDING_KG, "{layout:?}: {kept} {held}");
        assert!(passed.cap_kg > 1e-3 && passed.blow_by_kg > 1e-3, "{passed:?}");
        for side in 0..2 {
            let (gas, fresh) = (passed.breather_kg[side], passed.breather_fresh_kg[side]);
            assert!(fresh > 0.0 && fresh < gas && gas < passed.throttle_kg[side], "{passed:?}");
        }
    }
}

#[test]
fn work_done_is_in_what_turns() {
    for layout in Layout::ALL {
        let settings = Settings::of(layout);
        let mut engine = Engine::new(settings, 3);
        for action in [Action::EngineOn, Action::FanOn, Action::Hold(Rpm(2200.0)), Action::Release]
        {
            engine.act(action);
            engine.run(5.0);
        }
        let work = engine.ledger().work;
        let done = work.gas_j + work.starter_j - work.friction_j - work.pumping_j - work.fan_j;
        let off = (done - work.kinetic_j).abs();
        println!("{layout:?}: {off:.3} J of {:.0} J done by the gas", work.gas_j);
        assert!(work.fan_j > 500.0 && work.starter_j > 20.0, "{work:?}");
        // An explicit step of torque T gains T^2 dt^2/(2 J) on what it should.
        assert!(off < 2e-4 * work.gas_j, "{layout:?}: {off} J of {work:?}");
    }
}

#[test]
fn the_gas_does_less_than_the_ideal_cycle_could() {
    for settings in [Settings::default(), Settings { mixture: [1.25; 2], ..Settings::default() }] {
        let mut engine = idling(&settings, &[]);
        let before = engine.ledger();
        engine.run(20.0);
        let after = engine.ledger();
        let fuel: f64 = after.passed.since(&before.passed).fuel_kg.iter().sum();
        // Lower heating value of petrol, 44 MJ/kg: Heywood, appendix D; from memory.
        let efficiency = (after.work.gas_j - before.work.gas_j) / (fuel * 44.0e6);
        let otto = 1.0 - settings.compression.powf(-0.4);
        assert!(efficiency > 0.05 && efficiency < 0.5 * otto, "{efficiency}");
    }
}

#[test]
fn the_drawn_flows_are_means_of_the_ledger_and_balance_in_a_steady_state() {
    let leak = Action::TractLeak { side: Side::One, hole: Millimetres(1.5) };
    let seals = Action::SealLeak(Millimetres(2.0));
    for cap in [Action::CapOn, Action::CapOff] {
        let mut engine = idling(&Settings::default(), &[leak, seals, cap]);
        engine.run(30.0);
        let before = engine.ledger();
        engine.run(4.0);
        let passed = engine.ledger().passed.since(&before.passed);
        let flows = engine.flows();
        let near = |a: f64, b: f64| (a - b).abs() < 2e-3 * a.abs().max(b.abs()) + 1e-6;
        for side in 0..2 {
            let entered = flows.throttle_g_per_s[side] + flows.tract_leak_g_per_s[side];
            assert!(near(entered, flows.drawn_g_per_s[side]), "{flows:?}");
            assert!(near(flows.throttle_g_per_s[side], 250.0 * passed.throttle_kg[side]));
        }
        let into = flows.seal_leak_g_per_s + flows.cap_g_per_s + flows.blow_by_g_per_s;
        assert!(near(into, flows.breather_g_per_s.iter().sum()), "{flows:?}");
        assert!(near(flows.blow_by_g_per_s, 250.0 * passed.blow_by_kg), "{flows:?}");
        let pull = Settings::default().depression_pa / 1000.0;
        assert!(flows.depression.iter().all(|d| (d.0 - pull).abs() < 0.01), "{flows:?}");
        for (side, slide) in flows.slide_g_per_s().into_iter().enumerate() {
            let fresh = flows.breather_fresh_g_per_s[side];
            let air = flows.throttle_g_per_s[side] + flows.tract_leak_g_per_s[side];
            let mixture = (flows.throttle_g_per_s[side] - fresh) / air;
            assert!((mixture - flows.mixture[side]).abs() < 2e-3, "{mixture} {flows:?}");
            assert!(slide > 0.0 && slide < flows.throttle_g_per_s[side], "{flows:?}");
        }
    }
}

#[test]
fn an_engine_twice_as_large_with_everything_twice_as_large_idles_alike() {
    let four = Prediction::of(&idling(&Settings::of(Layout::Four), &[]));
    for layout in [Layout::Six, Layout::Eight] {
        let large = Prediction::of(&idling(&Settings::of(layout), &[]));
        let (small, large) = (four.cap_on, large.cap_on);
        let times = layout.cylinders() as f64 / 4.0;
        println!("{layout:?}: {:?}\nFour: {:?}", large.means, small.means);
        // The pulses of the four are further apart, which moves its mean a little.
        assert!((large.means.rpm - small.means.rpm).abs() < 10.0, "{large:?} {small:?}");
        assert!((large.means.vac_kpa[0] - small.means.vac_kpa[0]).abs() < 0.5);
        let flow = large.flows.drawn_g_per_s[0] / small.flows.drawn_g_per_s[0];
        assert!((flow / times - 1.0).abs() < 0.01, "{layout:?} draws {flow} times as much");
    }
}
