//! Memory is asked for a log, not a row: reading and averaging twice as many rows allocates hardly more often.
#![allow(clippy::unwrap_used, reason = "a test that cannot read its own log should stop")]

use evenbreath::engine::sensors::SensorBox;
use evenbreath::engine::{Script, Settings, record};
use evenbreath::log::{self, ReadOptions};
use evenbreath::signal::{cleaning, cycles};
use evenbreath::units::Seconds;
use stats_alloc::{INSTRUMENTED_SYSTEM, Region, StatsAlloc};
use std::alloc::System;
use std::fmt::Write;

#[global_allocator]
static ALLOCATOR: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

/// An idle at 1 kHz as a canonical log.
fn idle(seconds: f64) -> String {
    let sensors = SensorBox { rate_hz: 1000.0, jitter_s: 0.0, ..SensorBox::default() };
    let script = Script::idling(Seconds(seconds));
    let mut text = "time_s,rpm,vac1_kpa,vac2_kpa,mark\n".to_string();
    for row in record(&Settings::default(), &sensors, &script, 7).rows {
        let rpm = row.rpm.map_or(String::new(), |rpm| format!("{:.1}", rpm.0));
        let [one, two] = row.vac_kpa;
        writeln!(text, "{:.3},{rpm},{one:.2},{two:.2},", row.time_s).unwrap();
    }
    text
}

/// How often memory is asked for, or asked to grow, while some work is done.
fn allocations<T>(work: impl FnOnce() -> T) -> (usize, T) {
    let region = Region::new(ALLOCATOR);
    let done = work();
    let change = region.change();
    (change.allocations + change.reallocations, done)
}

#[test]
fn a_row_more_asks_for_no_memory_of_its_own() {
    let [half, whole] = [30.0, 60.0].map(idle);
    let read = |text: &str| log::read(text.as_bytes(), &ReadOptions::default()).unwrap();
    let (of_half, first) = allocations(|| read(&half));
    let (of_whole, second) = allocations(|| read(&whole));
    let rows = second.rows - first.rows;
    assert_eq!(rows, 30_000);
    println!("reading: {of_half} times for {} rows, {of_whole} for {}", first.rows, second.rows);
    assert!(of_whole.abs_diff(of_half) < rows / 1000, "{of_half} and {of_whole}");
    let [of_half, of_whole] = [&first.track, &second.track].map(|track| {
        let speeds = || |_: usize, _: &[f64], speeds: &mut [f64]| speeds.fill(850.0);
        allocations(|| cycles::cut(track, speeds, 0.001, true)).0
    });
    println!("cycles: {of_half} and {of_whole} times");
    assert!(of_whole.abs_diff(of_half) < rows / 1000, "{of_half} and {of_whole}");
    let [of_half, of_whole] = [first.track, second.track].map(|mut track| {
        let (times, _) = allocations(|| cleaning::clean(&mut track));
        times
    });
    println!("cleaning: {of_half} and {of_whole} times");
    assert!(of_whole.abs_diff(of_half) < rows / 1000, "{of_half} and {of_whole}");
}
