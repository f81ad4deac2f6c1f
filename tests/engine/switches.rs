//! What an instructor switches while the engine runs.

use super::idling;
use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Action, Engine, Layout, Prediction, Row, Running, Settings, Side};
use evenbreath::engine::{HIGHEST_HOLD_RPM, LARGEST_HOLE, RICHEST_MIXTURE};
use evenbreath::units::{Kpa, Millimetres, Rpm};

fn predicted(actions: &[Action]) -> Prediction {
    Prediction::of(&idling(&Settings::default(), actions))
}

#[test]
fn a_blocked_breather_lets_the_crankcase_rise_and_takes_the_drop_away() {
    let free = predicted(&[]);
    let blocked = predicted(&[Action::BreatherBlocked]);
    assert!(free.cap_on.means.crank_kpa > 1.0 && free.drop_rpm() > 30.0, "{free:?}");
    assert!((-4.0..-2.5).contains(&blocked.cap_on.means.crank_kpa), "{blocked:?}");
    assert!(blocked.drop_rpm().abs() < 0.1, "{}", blocked.drop_rpm());
    assert_eq!(blocked.cap_on.flows.breather_g_per_s, [0.0, 0.0]);
    // Blow-by goes out past the seals, or out of the filler.
    let shut = blocked.cap_on.flows;
    assert!((shut.seal_leak_g_per_s + shut.blow_by_g_per_s).abs() < 1e-3, "{shut:?}");
    let open = blocked.cap_off.flows;
    assert!(open.cap_g_per_s < -0.9 * open.blow_by_g_per_s, "{open:?}");
    let again = predicted(&[Action::BreatherBlocked, Action::BreatherFree]);
    assert!((again.cap_on.means.rpm - free.cap_on.means.rpm).abs() < 0.1, "{again:?}");
}

#[test]
fn a_stop_screw_goes_back_to_where_it_was() {
    let stop = |share: f64| Action::ThrottleStop { side: Side::One, share };
    let usual = predicted(&[]).cap_on.means;
    let twice = predicted(&[stop(0.9), stop(0.9)]).cap_on.means;
    let once = predicted(&[stop(0.9)]).cap_on.means;
    let fraction = Action::OpenThrottle { side: Side::One, fraction: -0.1 };
    let turned = predicted(&[fraction]).cap_on.means;
    assert!((twice.difference_kpa - once.difference_kpa).abs() < 0.01, "{twice:?} {once:?}");
    assert!((turned.difference_kpa - once.difference_kpa).abs() < 0.01, "{turned:?} {once:?}");
    assert!(once.difference_kpa > 3.0 && once.rpm < usual.rpm, "{once:?} {usual:?}");
    let back = predicted(&[stop(0.9), fraction, stop(1.0)]).cap_on.means;
    assert!((back.rpm - usual.rpm).abs() < 0.1, "{back:?} {usual:?}");
    assert!(back.difference_kpa.abs() < 0.01, "{back:?}");
}

#[test]
fn the_mixture_of_a_side_moves_the_speed_and_only_by_it_the_vacuums() {
    let mixture = |side: Side, ratio: f64| Action::Mixture { side, ratio };
    let usual = predicted(&[]).cap_on;
    let lean = predicted(&[mixture(Side::One, 0.85)]).cap_on;
    let rich = predicted(&[mixture(Side::One, 1.1)]).cap_on;
    assert!(lean.means.rpm < usual.means.rpm - 20.0, "{lean:?}");
    assert!(rich.means.rpm > usual.means.rpm + 5.0, "{rich:?}");
    assert!(lean.means.difference_kpa.abs() < 0.05, "{lean:?}");
    assert!((lean.flows.fuel_g_per_s[0] / lean.flows.fuel_g_per_s[1] - 0.85).abs() < 2e-3);
    assert!((lean.flows.mixture[0] / lean.flows.mixture[1] - 0.85).abs() < 2e-3, "{lean:?}");
    let both = predicted(&[mixture(Side::One, 1.5), mixture(Side::Two, 1.5)]);
    assert!(both.drop_rpm() < -20.0, "too rich, it speeds up: {}", both.drop_rpm());
    let none = idling(&Settings::default(), &Side::BOTH.map(|side| mixture(side, 0.0)));
    assert_eq!(Prediction::of(&none).cap_on.means.rpm, 0.0, "it runs without fuel");
}

#[test]
fn values_out_of_reach_are_taken_to_its_end_and_no_number_changes_nothing() {
    let leak = |mm: f64| Action::TractLeak { side: Side::Two, hole: Millimetres(mm) };
    let flow = |actions: &[Action]| {
        let mut engine = idling(&Settings::default(), actions);
        engine.run(1.0);
        (engine.flows().tract_leak_g_per_s, engine.flows().fuel_g_per_s)
    };
    assert_eq!(flow(&[leak(1e9)]), flow(&[leak(LARGEST_HOLE.0)]));
    assert_eq!(flow(&[leak(-3.0)]), flow(&[leak(0.0)]));
    assert_eq!(flow(&[leak(1.5), leak(f64::NAN)]), flow(&[leak(1.5)]));
    let rich = |ratio: f64| Action::Mixture { side: Side::One, ratio };
    assert_eq!(flow(&[rich(f64::INFINITY)]), flow(&[rich(RICHEST_MIXTURE)]));
    assert_eq!(flow(&[rich(f64::NAN)]), flow(&[]));
    assert_ne!(flow(&[rich(RICHEST_MIXTURE)]), flow(&[]));
    let hold = |rpm: f64| Action::Hold(Rpm(rpm));
    let speed = |actions: &[Action]| {
        let mut engine = idling(&Settings::default(), actions);
        engine.run(6.0);
        engine.look().rpm
    };
    assert_eq!(speed(&[hold(f64::NAN)]), speed(&[]));
    assert_eq!(speed(&[hold(f64::INFINITY)]), speed(&[hold(HIGHEST_HOLD_RPM)]));
    assert_eq!(speed(&[hold(1800.0), hold(f64::NAN)]), speed(&[hold(1800.0)]));
    assert_ne!(speed(&[hold(1800.0)]), speed(&[]));
}

#[test]
fn every_layout_starts_idles_and_stops() {
    for layout in Layout::ALL {
        let mut engine = Engine::new(Settings::of(layout), 3);
        assert_eq!(engine.look().rpm, 0.0);
        engine.act(Action::EngineOn);
        engine.run(15.0);
        let look = engine.look();
        assert!((780.0..950.0).contains(&look.rpm), "{layout:?}: {look:?}");
        engine.act(Action::EngineOff);
        engine.run(6.0);
        assert_eq!(engine.look().rpm, 0.0, "{layout:?}");
        assert!(engine.flows().drawn_g_per_s[0] < 1e-9, "{:?}", engine.flows());
    }
}

fn rows(change: impl FnOnce(&mut Running)) -> Vec<Row> {
    let mut running = Running::new(&Settings::default(), &SensorBox::default(), 7, false);
    change(&mut running);
    std::iter::from_fn(|| running.next_row(19.99)).collect()
}

#[test]
fn a_sensor_gets_another_offset_while_it_runs_and_nothing_else_moves() {
    let before = rows(|_| {});
    let after = rows(|running| {
        running.set_offset(Side::Two, Kpa(0.81));
        running.set_offset(Side::Two, Kpa(f64::NAN));
        running.set_offset(Side::One, Kpa(f64::INFINITY));
        assert_eq!(running.sensor(Side::Two).offset_kpa, 0.81);
    });
    assert_eq!(before.len(), after.len());
    for (before, after) in before.iter().zip(&after) {
        assert_eq!((before.time_s, before.vac_kpa[0]), (after.time_s, after.vac_kpa[0]));
        // 0.81 is 30 steps of the converter.
        let moved = after.vac_kpa[1] - before.vac_kpa[1];
        assert!((moved - 0.81).abs() < 1e-9, "{moved}");
    }
}

#[test]
fn a_sensor_gets_another_noise_while_it_runs() {
    let spread = |rows: &[Row], channel: usize| {
        let squares: f64 = rows.iter().map(|row| row.vac_kpa[channel].powi(2)).sum();
        (squares / rows.len() as f64).sqrt()
    };
    let loud = rows(|running| {
        running.set_noise(Side::One, Kpa(0.6));
        running.set_noise(Side::Two, Kpa(-1.0));
        running.set_noise(Side::One, Kpa(f64::NAN));
    });
    let noise = spread(&loud, 0);
    // A standard deviation of 1000 readings is known to 2.2 %.
    assert!((noise / 0.6 - 1.0).abs() < 0.09, "{noise}");
    assert_eq!(spread(&loud, 1), 0.0);
}
