//! The model against the laws it must obey, not against the estimators.

use super::recording::{Means, steady};
use super::sensors::{Pickup, Sensor, SensorBox};
use super::settings::{Layout, Settings, Side};
use super::tract::flow;
use super::{Action, Engine, Hunting, Script, record};
use crate::units::{Millimetres, Rpm, Seconds};

fn calm_idle(settings: &Settings, actions: &[Action]) -> Means {
    steady(settings, actions).unwrap()
}

fn drop_of(settings: &Settings) -> f64 {
    calm_idle(settings, &[]).rpm - calm_idle(settings, &[Action::CapOff]).rpm
}

#[test]
fn the_air_that_enters_is_drawn_or_still_there() {
    let mut engine = Engine::new(Settings::default(), 5);
    let before = engine.air_in_tracts();
    engine.act(Action::EngineOn);
    engine.run(8.0);
    engine.act(Action::Hold(Rpm(2000.0)));
    engine.run(4.0);
    let after = engine.air_in_tracts();
    for side in 0..2 {
        let account = engine.accounts()[side];
        let kept = account.entered - account.drawn;
        assert!(account.entered > 0.02, "side {side} drew {} kg", account.entered);
        assert!((kept - (after[side] - before[side])).abs() < 1e-12, "side {side} lost {kept} kg");
    }
}

#[test]
fn equal_settings_give_equal_mean_vacuum() {
    for layout in [Layout::Four, Layout::Six] {
        let calm = calm_idle(&Settings { layout, ..Settings::default() }, &[]);
        assert!(calm.difference_kpa.abs() < 0.01, "{layout:?}: {calm:?}");
    }
    let script = Script::idling(Seconds(60.0));
    let recording = record(&Settings::default(), &SensorBox::default(), &script, 11);
    let noisy = recording.truth.mean(Seconds(0.0), Seconds(60.0)).unwrap();
    assert!(noisy.difference_kpa.abs() < 0.02, "{noisy:?}");
}

#[test]
fn choked_flow_is_constant() {
    // 0.040 414 7 kg sqrt(K)/(s N): mass-flow constant of air, check value L06 (mpmath).
    let constant = 0.040_414_697_548 * 101_325.0 * 1e-6 / 298.0_f64.sqrt();
    for manifold in [20.0e3, 40.0e3, 53.0e3] {
        let got = flow(1e-6, 101_325.0, manifold, 298.0);
        assert!((got / constant - 1.0).abs() < 1e-5, "{manifold} Pa: {got}");
    }
    assert!(flow(1e-6, 101_325.0, 60.0e3, 298.0) < constant);
    assert!(flow(1e-6, 40.0e3, 101_325.0, 298.0) < 0.0);
    // An engine whose fan cuts in runs slower on the same air.
    let air_per_second = |fan: bool| {
        let mut engine = Engine::new(Settings::default().calm(), 1);
        engine.act(Action::EngineOn);
        engine.run(15.0);
        if fan {
            engine.act(Action::FanOn);
        }
        engine.run(10.0);
        let before = engine.accounts()[0].entered;
        engine.run(5.0);
        (engine.look().rpm, engine.accounts()[0].entered - before)
    };
    let (free, loaded) = (air_per_second(false), air_per_second(true));
    assert!(free.0 - loaded.0 > 30.0, "{free:?} {loaded:?}");
    assert!((free.1 / loaded.1 - 1.0).abs() < 1e-3, "{free:?} {loaded:?}");
}

#[test]
fn an_idle_without_variation_is_steady_and_believable() {
    let script = Script::idling(Seconds(40.0));
    let recording = record(&Settings::default().calm(), &SensorBox::default(), &script, 1);
    let early = recording.truth.mean(Seconds(0.0), Seconds(10.0)).unwrap();
    let late = recording.truth.mean(Seconds(30.0), Seconds(40.0)).unwrap();
    assert!((early.rpm - late.rpm).abs() < 0.1, "{early:?} {late:?}");
    assert!((early.vac_kpa[0] - late.vac_kpa[0]).abs() < 0.02, "{early:?} {late:?}");
    assert!((800.0..900.0).contains(&late.rpm), "{late:?}");
    assert!((50.0..65.0).contains(&late.vac_kpa[0]), "{late:?}");
}

#[test]
fn variation_leaves_the_mean_where_it_is() {
    let hunting = Some(Hunting { period_s: 3.0, depth: 0.02 });
    for settings in [Settings::default(), Settings { hunting, ..Settings::default() }] {
        let calm = calm_idle(&settings, &[]);
        let script = Script::idling(Seconds(400.0));
        let slow = SensorBox { rate_hz: 1.0, ..SensorBox::default() };
        let truth = record(&settings, &slow, &script, 21).truth;
        let noisy = truth.mean(Seconds(0.0), Seconds(400.0)).unwrap();
        assert!((noisy.rpm - calm.rpm).abs() < 2.5, "{noisy:?} {calm:?}");
        assert!((noisy.vac_kpa[0] - calm.vac_kpa[0]).abs() < 0.1, "{noisy:?} {calm:?}");
    }
}

#[test]
fn the_throttle_that_is_shut_further_has_the_higher_vacuum() {
    let base = calm_idle(&Settings::default(), &[]);
    let shut = Action::OpenThrottle { side: Side::One, fraction: -0.1 };
    let uneven = calm_idle(&Settings::default(), &[shut]);
    assert!((3.0..5.5).contains(&uneven.difference_kpa), "{uneven:?}");
    assert!(uneven.rpm < base.rpm, "less air, less speed: {uneven:?} {base:?}");
    let joined = Settings { balance_pipe_mm2: 4.0, ..Settings::default() };
    let diluted = calm_idle(&joined, &[shut]);
    assert!(diluted.difference_kpa > 0.0, "{diluted:?}");
    assert!(diluted.difference_kpa < 0.8 * uneven.difference_kpa, "{diluted:?} {uneven:?}");
    let hole = Action::TractLeak { side: Side::Two, hole: Millimetres(1.5) };
    let leaking = calm_idle(&Settings::default(), &[hole]);
    assert!(leaking.difference_kpa > 2.0, "the leak lowers vacuum 2: {leaking:?}");
}

#[test]
fn the_idle_drop_tells_of_the_breather() {
    let sealed = Settings::default();
    let leaking = Settings { seal_leak_mm2: 25.0, ..sealed.clone() };
    let half = Settings { seal_leak_mm2: 7.0, ..sealed.clone() };
    let blocked = Settings { breather_mm2: 0.02, seal_leak_mm2: 2.0, ..sealed.clone() };
    let rich = Settings { mixture: [1.5; 2], ..sealed.clone() };
    assert!((35.0..80.0).contains(&drop_of(&sealed)), "{}", drop_of(&sealed));
    assert!(drop_of(&leaking).abs() < 6.0, "{}", drop_of(&leaking));
    assert!(drop_of(&half) < drop_of(&sealed) && drop_of(&half) > drop_of(&leaking));
    assert!(drop_of(&blocked).abs() < 1.0, "{}", drop_of(&blocked));
    assert!(drop_of(&rich) < -25.0, "{}", drop_of(&rich));
    let closed = |settings: &Settings| calm_idle(settings, &[]).crank_kpa;
    assert!(closed(&sealed) > 1.0, "{}", closed(&sealed));
    assert!((0.0..0.4).contains(&closed(&leaking)), "{}", closed(&leaking));
    assert!(closed(&blocked) < -0.2, "{}", closed(&blocked));
    let open = calm_idle(&sealed, &[Action::CapOff]).crank_kpa;
    assert!(open.abs() < 0.05, "{open}");
}

#[test]
fn an_engine_that_is_off_stands_still_at_the_atmosphere() {
    let script = Script::idling(Seconds(20.0))
        .marked(Seconds(5.0), Action::EngineOff, "engine off")
        .marked(Seconds(14.0), Action::EngineOn, "engine on");
    let recording = record(&Settings::default(), &SensorBox::default(), &script, 2);
    let off = recording.truth.mean(Seconds(10.0), Seconds(14.0)).unwrap();
    assert_eq!(off.rpm, 0.0);
    assert!(off.vac_kpa[0].abs() < 1e-3 && off.vac_kpa[1].abs() < 1e-3, "{off:?}");
    let again = recording.truth.mean(Seconds(18.0), Seconds(20.0)).unwrap();
    assert!(again.rpm > 700.0, "{again:?}");
    let silent = recording.rows.iter().filter(|row| row.rpm.is_none());
    let times: Vec<f64> = silent.map(|row| row.time_s).collect();
    assert!(times[0] > 5.0 && times[times.len() - 1] < 15.5, "{times:?}");
    let marks: Vec<&str> =
        recording.rows.iter().map(|row| row.mark.as_str()).filter(|m| !m.is_empty()).collect();
    assert_eq!(marks, ["engine off", "engine on"]);
}

#[test]
fn a_foot_holds_the_revs() {
    let script = Script::idling(Seconds(30.0)).act(Seconds(2.0), Action::Hold(Rpm(2000.0)));
    let truth = record(&Settings::default(), &SensorBox::default(), &script, 4).truth;
    let held = truth.mean(Seconds(15.0), Seconds(30.0)).unwrap();
    assert!((held.rpm - 2000.0).abs() < 40.0, "{held:?}");
}

#[test]
fn each_side_of_the_four_draws_at_180_and_540_degrees() {
    let places = |layout: Layout| -> Vec<usize> {
        let order = layout.firing_order().iter().enumerate();
        order.filter(|(_, n)| layout.side(**n) == Side::One).map(|(place, _)| place).collect()
    };
    // Places are 180 degrees apart in the four, 120 in the six.
    assert_eq!(places(Layout::Four), [0, 3]);
    assert_eq!(places(Layout::Six), [0, 2, 4]);
}

#[test]
fn the_box_adds_its_errors_and_hoses_can_be_swapped() {
    let ideal = Sensor { noise_kpa: 0.0, step_kpa: 1e-6, ..Sensor::default() };
    let sensors = SensorBox {
        vacuum: [ideal.with(0.6, 1.01), ideal.with(-0.3, 0.99)],
        ..SensorBox::default()
    };
    let uneven = Settings { idle_area_mm2: [10.2, 11.2], ..Settings::default() };
    for (action, swap) in [(Action::HosesDirect, false), (Action::HosesSwapped, true)] {
        let script = Script::idling(Seconds(30.0)).act(Seconds(0.0), action);
        let recording = record(&uneven, &sensors, &script, 9);
        let truth = recording.truth.mean(Seconds(1.0), Seconds(30.0)).unwrap();
        let late = || recording.rows.iter().filter(|row| row.time_s > 1.0);
        let read = |channel: usize| {
            late().map(|row| row.vac_kpa[channel]).sum::<f64>() / late().count() as f64
        };
        let seen = if swap { [1, 0] } else { [0, 1] };
        let want = [0.6 + 1.01 * truth.vac_kpa[seen[0]], -0.3 + 0.99 * truth.vac_kpa[seen[1]]];
        for (channel, want) in want.into_iter().enumerate() {
            let error = read(channel) - want;
            assert!(error.abs() < 0.06, "channel {channel}, swapped {swap}: {error}");
        }
    }
}

#[test]
fn the_pickup_reads_the_speed_and_its_glitches_are_factors_of_two() {
    let script = Script::idling(Seconds(30.0));
    let pickup = Pickup { doubled: 0.02, halved: 0.02, ..Pickup::default() };
    let sensors = SensorBox { pickup: Some(pickup), rate_hz: 100.0, ..SensorBox::default() };
    let recording = record(&Settings::default(), &sensors, &script, 13);
    let truth = recording.truth.mean(Seconds(0.0), Seconds(30.0)).unwrap();
    let all: Vec<f64> = recording.rows.iter().filter_map(|row| row.rpm).map(|rpm| rpm.0).collect();
    assert_eq!(all.len(), recording.rows.len(), "a box that is on has a reading on every row");
    let near = |factor: f64| {
        let kept = all.iter().filter(move |rpm| (**rpm / truth.rpm / factor - 1.0).abs() < 0.15);
        kept.copied().collect::<Vec<f64>>()
    };
    let plain = near(1.0);
    let mean = plain.iter().sum::<f64>() / plain.len() as f64;
    assert!((mean - truth.rpm).abs() < 1.0, "{mean} {truth:?}");
    assert!(near(2.0).len() > 20 && near(0.5).len() > 20, "no glitches");
    assert!(plain.len() > all.len() * 9 / 10, "{} of {}", plain.len(), all.len());
}

#[test]
fn rows_come_at_the_rate_and_follow_the_seed() {
    let script = Script::idling(Seconds(10.0));
    let make = |seed: u64| record(&Settings::default(), &SensorBox::default(), &script, seed);
    let first = make(1);
    assert_eq!(first.rows.len(), 500);
    assert!(first.rows.windows(2).all(|pair| pair[1].time_s > pair[0].time_s));
    assert_eq!(first, make(1));
    assert_ne!(first.rows, make(2).rows);
}
