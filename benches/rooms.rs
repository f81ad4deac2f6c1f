//! How long each room takes: reading, cleaning, cycle averages, plateaus, the mean's interval, change
//! points, the breather fit, writing. `cargo bench --bench rooms`, or with a word of a name behind `--`.

mod made;

use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use evenbreath::findings::{Conditions, breather, cap_fit, openings};
use evenbreath::log::journal::{Columns, Journal, JournalRow, Start};
use evenbreath::log::{self, ReadOptions};
use evenbreath::sample::Track;
use evenbreath::signal::{self, Signal, cleaning, cycles, plateaus, ripple};
use evenbreath::statistics::{changes, correlated};
use std::sync::LazyLock;

/// Counts what every bench allocates.
#[global_allocator]
static ALLOCATOR: divan::AllocProfiler = divan::AllocProfiler::system();

fn main() {
    divan::main();
}

/// A job of ten minutes at these rates, Hz.
const RATES: [u32; 3] = [50, 200, 1000];
const CYLINDERS: u32 = 4;

/// The texts of the jobs, made once.
static TEXTS: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    RATES.iter().map(|rate| made::text(&made::job(f64::from(*rate), 1))).collect()
});

fn text(rate: u32) -> &'static [u8] {
    let at = RATES.iter().position(|r| *r == rate).unwrap_or_default();
    &TEXTS[at]
}

fn read(text: &[u8]) -> Track {
    log::read(text, &ReadOptions::default()).expect("a made log can be read").track
}

/// A cap test as the breather's finding gets it.
fn cap_test(times: u32) -> Signal {
    signal::prepare(read(&made::text(&made::cap_test(50.0, times))), CYLINDERS)
}

#[divan::bench(args = RATES)]
fn reading(bencher: Bencher, rate: u32) {
    let text = text(rate);
    bencher
        .counter(BytesCount::new(text.len()))
        .bench(|| log::read(black_box(text), &ReadOptions::default()));
}

#[divan::bench(args = RATES)]
fn cleaning_a_job(bencher: Bencher, rate: u32) {
    let track = read(text(rate));
    bencher
        .counter(ItemsCount::new(track.len()))
        .with_inputs(|| track.clone())
        .bench_local_refs(cleaning::clean);
}

#[divan::bench(args = RATES)]
fn ripple_of_a_job(bencher: Bencher, rate: u32) {
    // Without a pick-up every window counts.
    let track = Track { rpm: None, ..read(text(rate)) };
    let interval_s = 1.0 / f64::from(rate);
    bencher
        .counter(ItemsCount::new(track.len()))
        .bench_local(|| ripple::fundamentals(black_box(&track), interval_s));
}

#[divan::bench(args = RATES)]
fn cycle_averages(bencher: Bencher, rate: u32) {
    let mut track = read(text(rate));
    cleaning::clean(&mut track);
    let speed = track.rpm.clone().unwrap_or_default();
    let interval_s = 1.0 / f64::from(rate);
    bencher.counter(ItemsCount::new(track.len())).bench_local(|| {
        let speeds = || {
            |at: usize, _: &[f64], speeds: &mut [f64]| {
                speed.cursor().read(at, speeds);
            }
        };
        cycles::cut(black_box(&track), speeds, interval_s, true)
    });
}

#[divan::bench(args = RATES)]
fn plateaus_of_a_job(bencher: Bencher, rate: u32) {
    let signal = signal::prepare(read(text(rate)), CYLINDERS);
    let speed = signal.cycles.rpm.clone().unwrap_or_default();
    bencher
        .counter(ItemsCount::new(speed.len()))
        .bench_local(|| plateaus::find(black_box(&signal.cycles), &speed));
}

#[divan::bench(args = RATES)]
fn everything_before_the_findings(bencher: Bencher, rate: u32) {
    let track = read(text(rate));
    bencher
        .counter(ItemsCount::new(track.len()))
        .with_inputs(|| track.clone())
        .bench_local_values(|track| signal::prepare(track, CYLINDERS));
}

#[divan::bench(args = [100, 1_000, 10_000, 100_000])]
fn interval_of_a_mean(bencher: Bencher, n: usize) {
    let series = made::levels(n, 0.6, usize::MAX, 0.0);
    bencher
        .counter(ItemsCount::new(n))
        .bench_local(|| correlated::mean_interval(black_box(&series), 0.95));
}

/// Where nothing changes: the case that turns quadratic when pruning fails.
#[divan::bench(args = [1_000, 10_000, 50_000, 100_000, 200_000])]
fn changes_of_a_flat_series(bencher: Bencher, n: usize) {
    let series = made::levels(n, 0.6, usize::MAX, 0.0);
    bencher.counter(ItemsCount::new(n)).bench_local(|| changes::changes(black_box(&series)));
}

#[divan::bench(args = [1_000, 10_000, 50_000, 100_000, 200_000])]
fn changes_of_a_stepped_series(bencher: Bencher, n: usize) {
    let series = made::levels(n, 0.6, 400, 6.0);
    bencher.counter(ItemsCount::new(n)).bench_local(|| changes::changes(black_box(&series)));
}

/// By the number of openings of the cap.
#[divan::bench(args = [1, 3, 6])]
fn breather_fit(bencher: Bencher, times: u32) {
    let signal = cap_test(times);
    let found = openings::find(&signal).expect("the test is marked");
    assert_eq!(found.len(), times as usize);
    bencher.bench_local(|| cap_fit::fit(black_box(&signal), &found));
}

#[divan::bench(args = [1, 3, 6])]
fn breather_finding_without_marks(bencher: Bencher, times: u32) {
    let mut signal = cap_test(times);
    signal.track.marks.clear();
    let conditions = Conditions::default();
    bencher.bench_local(|| breather::find(black_box(&signal), &conditions));
}

/// Rows of one round of writing: 560 kB.
const ROWS: u64 = 10_000;

fn journal_row(k: u64) -> JournalRow<'static> {
    let turn = k as f64 * 0.37;
    JournalRow {
        time_s: k as f64 * 0.001,
        rpm: Some(850.0 + 9.0 * turn.sin()),
        kpa: [Some(57.0 + 3.0 * turn.sin()), Some(56.0 + 3.0 * turn.cos())],
        crank_kpa: None,
        seq: Some(k),
        host_s: k as f64 * 0.001 + 0.0021,
        mark: if k % 5000 == 7 { "cap off" } else { "" },
    }
}

/// Takes rows into memory alone, or into a file and onto the disk as well.
#[divan::bench(args = ["memory", "file"])]
fn writing_rows(bencher: Bencher, to: &str) {
    let path = std::env::temp_dir().join(format!("evenbreath-bench-{}.csv", std::process::id()));
    let columns = Columns { absolute: false, crank: false, seq: true };
    let start = Start { columns, head: Vec::new() };
    let (path, to_file) = (&path, to == "file");
    let rows: Vec<JournalRow> = (0..ROWS).map(journal_row).collect();
    bencher
        .counter(ItemsCount::new(ROWS))
        .with_inputs(|| {
            let _ = std::fs::remove_file(path);
            Journal::create(path, &start).expect("the folder of temporary files takes a file")
        })
        .bench_local_values(|mut journal| {
            rows.iter().for_each(|row| journal.row(black_box(row)));
            if to_file {
                journal.tick(0.0).expect("there is room for a megabyte");
            }
            journal
        });
    let _ = std::fs::remove_file(path);
}
