//! What goes wrong, and what the box makes of it.

use crate::drive::Drive;
use crate::workshop::{firmware, has_tools, play};

/// Interrupt mask of timer 1, address in the data space (data sheet, "Register Summary"; from memory).
const TIMSK1: u16 = 0x6f;
/// Overflow and capture as before, the compare that samples masked: the main loop is still woken.
const NO_SAMPLING: u8 = 0x21;

#[test]
fn a_slow_wire_loses_whole_sentences_and_their_numbers_tell() {
    if !has_tools("a_slow_wire_loses_whole_sentences_and_their_numbers_tell") {
        return;
    }
    let drive = Drive::even(6.0, [4_600.0, 2_500.0], 850.0, 2.0);
    let elf = firmware("slow-wire", &["BAUD=38400"]);
    let (heard, left) = play("slow-wire", &elf, &drive, 0.0, |_| None);
    assert_eq!(heard.garbled, [""; 0], "a sentence is sent whole or not at all");
    assert_eq!(heard.samples.len(), left.samples);
    let steps = heard.steps();
    // Time goes with the number: what is missing was taken, at its time.
    assert!(steps.iter().all(|(seq, micros)| *micros == seq * 5_000), "{steps:?}");
    let lost: u32 = steps.iter().map(|(seq, _)| seq - 1).sum();
    // 200 sentences of some 37 characters are 7,400 a second; the wire carries fewer than 3,840.
    assert!((500..800).contains(&lost), "{lost} lost");
    let taken = heard.samples.last().unwrap().seq + 1;
    assert_eq!(taken as usize, heard.samples.len() + lost as usize);
}

#[test]
fn the_watchdog_restarts_a_box_that_no_longer_samples() {
    if !has_tools("the_watchdog_restarts_a_box_that_no_longer_samples") {
        return;
    }
    let drive = Drive::even(4.0, [4_600.0, 2_500.0], 850.0, 2.0).poke(2.0, TIMSK1, NO_SAMPLING);
    let (heard, left) = play("watchdog", &firmware("watchdog", &[]), &drive, 0.0, |_| None);
    assert_eq!(heard.samples.len(), left.samples);
    let starts: Vec<usize> = heard.infos.iter().map(|(before, _)| *before).collect();
    assert_eq!(starts.len(), 2, "one info at the start, one after the restart: {starts:?}");
    assert!((397..=400).contains(&starts[1]), "it stopped at 2 s: {starts:?}");
    let again = heard.samples[starts[1]];
    assert_eq!((again.seq, again.micros < 5_000), (0, true), "{again:?}");
    // 4 s less the half second that the watchdog waits.
    assert!((690..=705).contains(&left.samples), "{}", left.samples);
    // The speed comes back too.
    assert_eq!(heard.samples.last().unwrap().rpm_tenths, Some(8_500));
}

#[test]
fn stack_and_interrupts_stay_within_their_limits() {
    if !has_tools("stack_and_interrupts_stay_within_their_limits") {
        return;
    }
    // The busiest there is: the highest rate, the fastest engine.
    let drive = Drive::even(5.0, [4_600.0, 2_500.0], 12_000.0, 2.0);
    let elf = firmware("load", &["FIRST_HZ=250"]);
    let (heard, left) = play("load", &elf, &drive, 0.0, |_| None);
    println!("{}", left.remarks);
    let number = |start: &str| -> f64 {
        let line = left.remarks.lines().find_map(|line| line.strip_prefix(start)).unwrap();
        line.split_whitespace().next().unwrap().parse().unwrap()
    };
    assert!(number("stack: ") < 300.0, "{}", left.remarks);
    assert!(number("interrupts held up: ") < 35.0, "{}", left.remarks);
    // Nothing was lost all the same.
    assert!(heard.steps().iter().all(|(seq, _)| *seq == 1));
}
