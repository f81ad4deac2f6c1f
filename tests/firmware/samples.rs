//! What is sampled and sent, against what was driven.

use crate::drive::{Drive, session, vacuum_kpa};
use crate::heard::{Heard, Sample};
use crate::workshop::{firmware, has_tools, make, play};

/// First numbers of a box whose counters wrap early: seq after 536 samples, micros after 5 s.
const FIRST_SEQ: u32 = 65_000;
const FIRST_MICROS: u32 = u32::MAX - 5_000_000;
/// A sample every 5 ms.
const PERIOD_US: u32 = 5_000;

fn near_the_wraps() -> [String; 2] {
    [format!("FIRST_SEQ={FIRST_SEQ}"), format!("FIRST_MICROS={FIRST_MICROS}")]
}

/// Samples taken from one time to another, s since the start of the box.
fn between(heard: &Heard, from_s: f64, to_s: f64) -> Vec<Sample> {
    let at_s = |s: &&Sample| f64::from(s.micros.wrapping_sub(FIRST_MICROS)) * 1e-6;
    heard.samples.iter().filter(|s| (from_s..to_s).contains(&at_s(s))).copied().collect()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    values.iter().sum::<f64>() / values.len() as f64
}

fn vacuums(samples: &[Sample]) -> [f64; 2] {
    [0, 1].map(|side| vacuum_kpa(mean(samples.iter().map(|s| f64::from(s.codes[side])))))
}

#[test]
fn speed_and_vacuum_are_what_was_driven() {
    if !has_tools("speed_and_vacuum_are_what_was_driven") {
        return;
    }
    let wraps = near_the_wraps();
    let elf = firmware("session", &[&wraps[0], &wraps[1]]);
    let drive = session();
    let (heard, left) = play("session", &elf, &drive, 0.0, |_| None);

    assert_eq!(heard.garbled, [""; 0]);
    assert_eq!((heard.samples.len(), heard.infos.len()), (left.samples, left.infos));
    assert_eq!((left.answers, left.other), (0, 0));
    // Every sample, evenly, and through both wraps.
    assert_eq!(heard.samples[0].seq, FIRST_SEQ);
    assert!(heard.steps().iter().all(|step| *step == (1, PERIOD_US)), "{:?}", heard.steps());
    assert!((6_190..=6_200).contains(&left.samples), "31 s at 200 a second: {}", left.samples);
    let last = heard.samples.last().unwrap();
    assert!(last.seq < FIRST_SEQ && last.micros < FIRST_MICROS, "no wrap: {last:?}");
    // Who it is: at the start, and every 10 s.
    let words = "EBI,two-hose-box,1,14,5000,MPXV6115V,MPXV6115V,200";
    assert!(heard.infos.iter().all(|(_, info)| info == words), "{:?}", heard.infos);
    let before: Vec<usize> = heard.infos.iter().map(|(before, _)| *before).collect();
    assert_eq!(before, [0, 2_001, 4_001, 6_001]);

    let zero = vacuums(&between(&heard, 0.5, 2.9));
    assert!((zero[0] - -0.9).abs() < 0.2 && (zero[1] - 0.6).abs() < 0.2, "{zero:?}");
    for (from_s, to_s) in [(9.0, 16.0), (17.0, 21.0), (23.0, 27.0)] {
        let samples = between(&heard, from_s, to_s);
        let (true_rpm, true_kpa) = drive.means(from_s, to_s);
        let rpm = mean(samples.iter().map(|s| f64::from(s.rpm_tenths.unwrap()) / 10.0));
        let kpa = vacuums(&samples);
        println!(
            "{from_s} to {to_s} s: {rpm:.2} rev/min of {true_rpm:.2}, {:.3} and {:.3} kPa of {:.3} and {:.3}",
            kpa[0] - zero[0],
            kpa[1] - zero[1],
            true_kpa[0],
            true_kpa[1]
        );
        assert!((rpm / true_rpm - 1.0).abs() < 0.005, "{from_s} s: {rpm}, not {true_rpm}");
        for side in 0..2 {
            let off = kpa[side] - zero[side] - true_kpa[side];
            assert!(off.abs() < 0.3, "{from_s} s, side {side}: off by {off} kPa");
        }
    }
}

#[test]
fn no_edge_means_no_speed() {
    if !has_tools("no_edge_means_no_speed") {
        return;
    }
    let wraps = near_the_wraps();
    let elf = firmware("silence", &[&wraps[0], &wraps[1]]);
    let (heard, _) = play("silence", &elf, &session(), 0.0, |_| None);
    assert!(between(&heard, 0.0, 3.0).iter().all(|s| s.rpm_tenths.is_none()), "before the start");
    // The last edge falls into the last turn before 27 s, a turn at 2,000 rev/min being 0.03 s.
    assert!(between(&heard, 23.0, 28.95).iter().all(|s| s.rpm_tenths.is_some()), "too early");
    assert!(
        between(&heard, 29.01, 31.0).iter().all(|s| s.rpm_tenths.is_none()),
        "two seconds after"
    );
}

#[test]
fn ringing_counts_only_without_a_dead_time() {
    if !has_tools("ringing_counts_only_without_a_dead_time") {
        return;
    }
    let drive = Drive::even(3.0, [4_600.0, 2_500.0], 850.0, 2.0);
    let read = |name: &str, choices: &[&str]| {
        let (heard, _) = play(name, &firmware(name, choices), &drive, 0.0, |_| None);
        heard.samples.last().unwrap().rpm_tenths.unwrap()
    };
    assert_eq!(read("dead-time", &[]), 8_500);
    // Four edges for each: the same drive shows that the dead time, and nothing else, does it.
    assert_eq!(read("no-dead-time", &["DEAD_TIME_US=1"]), 34_000);
}

#[test]
fn pulses_a_turn_are_a_choice_of_the_build() {
    if !has_tools("pulses_a_turn_are_a_choice_of_the_build") {
        return;
    }
    for pulses in [1, 3, 4] {
        let drive = Drive::even(2.0, [4_600.0, 2_500.0], 3_000.0, f64::from(pulses));
        let name = format!("pulses-{pulses}");
        let elf = firmware(&name, &[&format!("PULSES_A_TURN={pulses}")]);
        let (heard, _) = play(&name, &elf, &drive, 0.0, |_| None);
        let found = heard.samples.last().unwrap().rpm_tenths.unwrap();
        assert!(found.abs_diff(30_000) <= 3, "{pulses} a turn: {found} tenths of rev/min");
    }
}

#[test]
fn codes_keep_their_scale_at_every_rate() {
    if !has_tools("codes_keep_their_scale_at_every_rate") {
        return;
    }
    let drive = Drive::even(2.0, [4_600.0, 250.0], 850.0, 2.0);
    for hz in [10_u32, 15, 16, 50, 100, 125, 126, 200, 250] {
        let name = format!("rate-{hz}");
        let elf = firmware(&name, &[&format!("FIRST_HZ={hz}")]);
        let (heard, _) = play(&name, &elf, &drive, 0.0, |_| None);
        // The simulated converter gives 1,023 at the supply and cuts: 941.1 and 51.1 steps.
        assert!(heard.samples.iter().all(|s| s.codes == [941 * 16, 51 * 16]), "{hz} a second");
        // A sensor of its own for each slot: no leak from one sum into the other.
        let period = 1e6 / f64::from(hz);
        let steps = heard.steps();
        let long = mean(steps.iter().map(|(_, micros)| f64::from(*micros)));
        assert!((long / period - 1.0).abs() < 1e-3, "{hz} a second: {long} us");
        assert!(
            heard.samples.len().abs_diff(2 * hz as usize) <= 2,
            "{hz}: {}",
            heard.samples.len()
        );
    }
}

#[test]
fn it_stays_small() {
    if !has_tools("it_stays_small") {
        return;
    }
    let checked = make("size", "check-size", &[]);
    let said = String::from_utf8_lossy(&checked.stdout);
    println!("{said}");
    assert!(checked.status.success(), "{said}");
}
