//! Coverage, false verdicts and power of the balance.

use crate::Extent;
use crate::balance_log::{EIGHT, FOUR, FOUR_EVEN, Firing, Plan, Ramp, SIX, SIX_EVEN, Steps, Zero};
use crate::tally::{self, Share};
use evenbreath::findings::balance::Open;
use evenbreath::findings::{Verdict, balance};
use evenbreath::sample::{Column, Track};
use evenbreath::{log, signal};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::time::Instant;

/// Intervals hold the truth in at least so many of a hundred.
const LEAST_COVERAGE: f64 = 93.0;
/// A verdict is false in at most so many.
const MOST_FALSE: f64 = 5.0;
/// Twice the tolerance is found in at least so many.
const LEAST_POWER: f64 = 99.0;
/// The tolerance that the program takes by itself, kPa.
const TOLERANCE_KPA: f64 = 1.3;
/// True differences crossed with every factor, kPa.
const DIFFERENCES_KPA: [f64; 7] = [-3.0, -1.3, 0.0, 0.8, 1.3, 2.6, 3.0];

/// A row of a table.
struct Cell {
    name: String,
    plan: Plan,
    /// Written as text and read back.
    as_text: bool,
    /// The power is held to its limit.
    powerful: bool,
}

/// What came of one log.
struct Outcome {
    /// Ends of every plateau's interval, kPa.
    intervals: Vec<(f64, f64)>,
    verdict: Verdict,
    /// Some plateau names a throttle to open, and it is the wrong one.
    wrong_side: bool,
}

/// What came of the logs of a cell.
#[derive(Default)]
struct Row {
    covered: Share,
    without: Share,
    wrong: Share,
    open: Share,
    right: Share,
    widths: Vec<f64>,
}

impl Row {
    fn count(&mut self, outcome: &Outcome, truth: f64) {
        for (low, high) in &outcome.intervals {
            self.covered.count(*low <= truth && truth <= *high);
            self.widths.push(high - low);
        }
        self.without.count(outcome.intervals.is_empty());
        let size = truth.abs();
        let (said_in, said_out) =
            (outcome.verdict == Verdict::InTolerance, outcome.verdict == Verdict::OutOfTolerance);
        // At exactly the tolerance nothing can be said, and whatever is said counts as false.
        let wrong = (said_in && size >= TOLERANCE_KPA)
            || (said_out && (size <= TOLERANCE_KPA || outcome.wrong_side));
        self.wrong.count(wrong);
        self.open.count(outcome.verdict == Verdict::NotSettled);
        self.right.count(!wrong && (said_in || said_out));
    }

    fn is_sound(&self, powerful: bool) -> bool {
        let narrow = self.covered.clearly_below(LEAST_COVERAGE);
        let wrong = self.wrong.clearly_above(MOST_FALSE);
        let weak = powerful && self.right.clearly_below(LEAST_POWER);
        !(narrow || wrong || weak)
    }

    fn print(&self, name: &str, powerful: bool) {
        let width = tally::median(self.widths.clone());
        let width = width.map_or_else(|| "-".into(), |w| format!("{w:.2}"));
        let sound = if self.is_sound(powerful) { "" } else { " **broken**" };
        println!(
            "| {name} | {} | {} | {} | {} | {} | {width} |{sound}",
            self.covered, self.wrong, self.open, self.right, self.without
        );
    }
}

const HEAD: &str = "coverage | false | not settled | right | no interval | width, kPa |";

fn head(title: &str, first: &str) {
    println!("\n### {title}\n\n| {first} | {HEAD}\n|---|---|---|---|---|---|---|---|");
}

/// Prints the tables of the balance; true when every row keeps the limits.
pub fn run(extent: Extent) -> bool {
    println!(
        "## Balance\n\n{} logs a cell. Limits: coverage at least {LEAST_COVERAGE} %, false verdicts at most \
         {MOST_FALSE} %, an imbalance of twice the tolerance found from 15 s at 50 Hz in at least \
         {LEAST_POWER} % (rows marked *). False: in tolerance said while the truth is outside, out of \
         tolerance while it is inside, the wrong throttle named; at exactly the tolerance of {TOLERANCE_KPA} \
         kPa either. Width: median of high less low. All in % of the logs but coverage, which is of the \
         intervals.",
        extent.logs
    );
    let started = Instant::now();
    let mut number = 0;
    let mut sound = true;
    for (title, first, cells) in if extent.short { short() } else { tables() } {
        head(&title, first);
        let count = cells.len();
        for (k, cell) in cells.iter().enumerate() {
            number += 1;
            let seconds = started.elapsed().as_secs();
            eprintln!("{title}: {} of {count}, {} ({seconds} s)", k + 1, cell.name);
            sound &= row(cell, number, extent.logs);
        }
    }
    if !extent.short {
        sound &= at_random(extent.logs, started);
    }
    println!("\nTook {} s.", started.elapsed().as_secs());
    sound
}

fn row(cell: &Cell, number: u64, logs: u64) -> bool {
    let outcomes = tally::each(logs, |k| judge(&cell.plan, cell.as_text, tally::seed(number, k)));
    let mut row = Row::default();
    outcomes.iter().for_each(|outcome| row.count(outcome, cell.plan.difference_kpa));
    row.print(&cell.name, cell.powerful);
    row.is_sound(cell.powerful)
}

fn judge(plan: &Plan, as_text: bool, seed: u64) -> Outcome {
    let track = plan.log(seed);
    let track = if as_text { read_back(&track) } else { track };
    let found = balance::find(&signal::prepare(track, plan.firing.cylinders), &plan.conditions());
    let right_side = if plan.difference_kpa > 0.0 { Open::Carb1 } else { Open::Carb2 };
    Outcome {
        intervals: found.plateaus.iter().map(|p| (p.low_kpa, p.high_kpa)).collect(),
        verdict: found.verdict,
        wrong_side: found
            .plateaus
            .iter()
            .any(|p| p.verdict == Verdict::OutOfTolerance && p.open != right_side),
    }
}

/// The log as the text that a logger writes, read like one.
fn read_back(track: &Track) -> Track {
    let mut text = String::from("time_s,rpm,vac1_kpa,vac2_kpa,mark\n");
    let column = |column: &Option<Column>, k: usize| {
        let value = column.as_ref().map_or(f64::NAN, |c| c.at(k));
        if value.is_finite() { format!("{value:.3}") } else { String::new() }
    };
    let mut marks = track.marks.iter().peekable();
    for (k, t) in track.time_s.iter().enumerate() {
        let mark = marks.next_if(|mark| mark.at.0 <= t).map_or("", |mark| &mark.text);
        text += &format!(
            "{t:.4},{},{},{},{mark}\n",
            column(&track.rpm, k),
            column(&track.vac1_kpa, k),
            column(&track.vac2_kpa, k)
        );
    }
    match log::read(text.as_bytes(), &log::ReadOptions::default()) {
        Ok(log) => log.track,
        Err(error) => panic!("a simulated log is not read: {error}"),
    }
}

type TableOf = (String, &'static str, Vec<Cell>);

/// Plans named, crossed with differences.
fn crossed(plans: &[(String, Plan)], differences: &[f64]) -> Vec<Cell> {
    plans
        .iter()
        .flat_map(|(name, plan)| {
            differences.iter().map(move |d| {
                let plan = Plan { difference_kpa: *d, ..*plan };
                // Twice the tolerance from 15 s at 50 Hz, by a pair whose zero is known.
                let settled = matches!(plan.zero, Zero::Matched | Zero::Swap);
                let powerful = settled
                    && d.abs() >= 2.0 * TOLERANCE_KPA
                    && plan.rate_hz >= 50.0
                    && plan.seconds >= 15.0
                    && plan.held_hz.is_none()
                    && !plan.dirty;
                let star = if powerful { "*" } else { "" };
                Cell { name: format!("{name} | {d}{star}"), plan, as_text: false, powerful }
            })
        })
        .collect()
}

fn named<T: Copy>(
    values: &[T],
    name: impl Fn(T) -> String,
    plan: impl Fn(T) -> Plan,
) -> Vec<(String, Plan)> {
    values.iter().map(|v| (name(*v), plan(*v))).collect()
}

const RATES_HZ: [f64; 6] = [10.0, 20.0, 50.0, 100.0, 250.0, 1000.0];
const LAGS: [f64; 5] = [0.0, 0.3, 0.5, 0.7, 0.9];
const HUNTINGS_RPM: [f64; 4] = [0.0, 10.0, 20.0, 40.0];
const SECONDS: [f64; 5] = [10.0, 15.0, 30.0, 60.0, 120.0];
const FIRINGS: [Firing; 5] = [FOUR, FOUR_EVEN, SIX, SIX_EVEN, EIGHT];

fn zero_name(zero: Zero) -> String {
    match zero {
        Zero::Matched => "matched pair",
        Zero::EngineOff => "engine off, gains within 2 %",
        Zero::Swap => "hoses swapped",
        Zero::Missing => "none, offsets within 1 kPa",
    }
    .into()
}

fn tables() -> Vec<TableOf> {
    let centre = Plan::default();
    let all = &DIFFERENCES_KPA;
    let few = &[0.0, 1.3, 2.6][..];
    let mut tables = vec![
        (
            "Sampling rate".into(),
            "Hz | true, kPa",
            crossed(&named(&RATES_HZ, |v| format!("{v}"), |v| Plan { rate_hz: v, ..centre }), all),
        ),
        (
            "Correlation from cycle to cycle".into(),
            "lag 1 | true, kPa",
            crossed(&named(&LAGS, |v| format!("{v}"), |v| Plan { lag1: v, ..centre }), all),
        ),
        (
            "Hunting".into(),
            "rev/min | true, kPa",
            crossed(
                &named(&HUNTINGS_RPM, |v| format!("{v}"), |v| Plan { hunting_rpm: v, ..centre }),
                all,
            ),
        ),
        (
            "Duration".into(),
            "s | true, kPa",
            crossed(&named(&SECONDS, |v| format!("{v}"), |v| Plan { seconds: v, ..centre }), all),
        ),
        (
            "Zero of the pair".into(),
            "zero | true, kPa",
            crossed(&named(&Zero::ALL, zero_name, |v| Plan { zero: v, ..centre }), all),
        ),
        (
            "Cylinders and firing".into(),
            "sides draw | true, kPa",
            crossed(&named(&FIRINGS, |v| v.name.into(), |v| Plan { firing: v, ..centre }), few),
        ),
        ("Readings that are less than perfect".into(), "readings | true, kPa", imperfect(few)),
        ("A ramp between two levels".into(), "ramp | true, kPa", crossed(&ramps(), few)),
        (
            "A slow logger that keeps step with the engine".into(),
            "logger | true, kPa",
            in_step(few),
        ),
    ];
    let mut text = crossed(&[("hoses swapped".into(), Plan { zero: Zero::Swap, ..centre })], few);
    text.iter_mut().for_each(|cell| cell.as_text = true);
    tables.push(("Written as text and read back".into(), "zero | true, kPa", text));
    tables
}

fn imperfect(differences: &[f64]) -> Vec<Cell> {
    let centre = Plan::default();
    let swap = Plan { zero: Zero::Swap, ..centre };
    // A hose with a restrictor and an engine like a clock: nothing dithers the steps.
    let calm = Plan {
        swing_kpa: [0.0, 0.0],
        side_sd_kpa: 0.005,
        speed_sd_rpm: 0.2,
        hunting_rpm: 0.0,
        hiss_kpa: 0.005,
        ..centre
    };
    let plans: Vec<(String, Plan)> = [
        ("10 bits", Plan { steps: Steps::TenBits, ..centre }),
        ("steps of 0.1 kPa", Plan { steps: Steps::Rounded(0.1), ..centre }),
        ("steps of 0.1 kPa, nothing moves", Plan { steps: Steps::Rounded(0.1), ..calm }),
        ("steps of 0.5 kPa, nothing moves", Plan { steps: Steps::Rounded(0.5), ..calm }),
        (
            "channels of 25 Hz in 100 rows a second",
            Plan { rate_hz: 100.0, held_hz: Some(25.0), ..centre },
        ),
        (
            "channels of 10 Hz in 100 rows a second",
            Plan { rate_hz: 100.0, held_hz: Some(10.0), ..centre },
        ),
        (
            "channels of 7 Hz at 840 rev/min, 50 rows a second",
            Plan { rpm: 840.0, speed_sd_rpm: 1.0, hunting_rpm: 0.0, held_hz: Some(7.0), ..centre },
        ),
        ("drop-outs and spikes", Plan { dirty: true, ..centre }),
        ("drop-outs and spikes, hoses swapped", Plan { dirty: true, ..swap }),
        ("warming up, 60 s", Plan { warming: true, seconds: 60.0, ..centre }),
        ("warming up, hoses swapped after 30 s", Plan { warming: true, seconds: 30.0, ..swap }),
    ]
    .into_iter()
    .map(|(name, plan)| (name.to_string(), plan))
    .collect();
    crossed(&plans, differences)
}

/// 840 rev/min are 7 cycles a second.
fn in_step(differences: &[f64]) -> Vec<Cell> {
    let steady = Plan { rpm: 840.0, seconds: 30.0, hunting_rpm: 0.0, lag1: 0.0, ..Plan::default() };
    let mut plans = Vec::new();
    for (rate_hz, speed_sd_rpm, firing) in [
        (7.0, 0.0, FOUR),
        (7.0, 2.0, FOUR),
        (7.0, 8.0, FOUR),
        (7.05, 1.0, FOUR),
        (7.3, 1.0, FOUR),
        (14.0, 0.0, FOUR),
        (14.0, 2.0, FOUR),
        (14.0, 8.0, FOUR),
        (13.9, 1.0, FOUR_EVEN),
        (14.0, 1.0, FOUR_EVEN),
        (21.0, 1.0, FOUR),
        (21.0, 1.0, SIX),
        (28.0, 1.0, FOUR),
        (28.0, 1.0, EIGHT),
        (10.5, 1.0, FOUR),
        (10.0, 1.0, FOUR),
        (5.0, 1.0, FOUR),
        (3.5, 1.0, FOUR),
    ] {
        let name = format!("{rate_hz} Hz, speed within {speed_sd_rpm} rev/min, {}", firing.name);
        plans.push((name, Plan { rate_hz, speed_sd_rpm, firing, ..steady }));
    }
    let rounded =
        Plan { rate_hz: 7.025, rpm: 843.0, speed_sd_rpm: 1.0, speed_step_rpm: 10.0, ..steady };
    plans.push(("7.025 Hz at 843 rev/min logged in steps of 10".into(), rounded));
    let swapped = Plan { rate_hz: 7.0, speed_sd_rpm: 1.0, zero: Zero::Swap, ..steady };
    plans.push(("7 Hz, speed within 1 rev/min, hoses swapped".into(), swapped));
    crossed(&plans, differences)
}

/// Two levels and a ramp between them, slow to quick, in noise from white to strongly correlated.
fn ramps() -> Vec<(String, Plan)> {
    let mut plans = Vec::new();
    for (rpm_a_second, lasts_s) in [(5.0, 30.0), (10.0, 20.0), (23.0, 12.0)] {
        for (lag1, speed_sd_rpm) in [(0.0, 2.0), (0.5, 8.0), (0.9, 8.0)] {
            let ramp = Some(Ramp { rpm_a_second, lasts_s });
            let name = format!("{rpm_a_second} rev/min a second for {lasts_s} s, lag 1 of {lag1}");
            plans.push((name, Plan { lag1, speed_sd_rpm, ramp, ..Plan::default() }));
        }
    }
    plans
}

/// A few telling cells.
fn short() -> Vec<TableOf> {
    let centre = Plan::default();
    let swap = Plan { zero: Zero::Swap, ..centre };
    let in_step = Plan {
        rate_hz: 7.0,
        rpm: 840.0,
        speed_sd_rpm: 1.0,
        lag1: 0.0,
        hunting_rpm: 0.0,
        seconds: 30.0,
        ..centre
    };
    let plans = [
        ("centre", centre),
        ("lag 1 of 0.9", Plan { lag1: 0.9, ..centre }),
        ("hunting by 40 rev/min", Plan { hunting_rpm: 40.0, ..centre }),
        ("10 Hz", Plan { rate_hz: 10.0, ..centre }),
        ("hoses swapped", swap),
        ("engine off", Plan { zero: Zero::EngineOff, ..centre }),
        ("drop-outs and spikes, hoses swapped", Plan { dirty: true, ..swap }),
        ("7 Hz in step with 840 rev/min", in_step),
    ]
    .map(|(name, plan)| (name.to_string(), plan));
    let differences = &[0.0, 1.3, 2.6];
    let mut cells = crossed(&plans, differences);
    cells.extend(crossed(&ramps(), differences));
    vec![("Short form".into(), "cell | true, kPa", cells)]
}

/// Every factor drawn anew for every log.
fn draw(random: &mut Pcg64) -> Plan {
    let pick = |n: usize, random: &mut Pcg64| random.random_range(0..n);
    let difference_kpa = match random.random_range(0..6) {
        0 => 0.0,
        1 => TOLERANCE_KPA,
        2 => -TOLERANCE_KPA,
        _ => random.random_range(-3.0..3.0),
    };
    let plan = Plan {
        rate_hz: RATES_HZ[pick(RATES_HZ.len(), random)] * random.random_range(0.9..1.0),
        lag1: LAGS[pick(LAGS.len(), random)],
        hunting_rpm: HUNTINGS_RPM[pick(HUNTINGS_RPM.len(), random)],
        seconds: SECONDS[pick(SECONDS.len(), random)],
        difference_kpa,
        zero: Zero::ALL[pick(4, random)],
        firing: FIRINGS[pick(FIRINGS.len(), random)],
        rpm: random.random_range(650.0..1100.0),
        speed_sd_rpm: random.random_range(0.5..10.0),
        side_sd_kpa: random.random_range(0.05..0.4),
        steps: [Steps::Fine, Steps::TenBits, Steps::Rounded(0.1)][pick(3, random)],
        ..Plan::default()
    };
    Plan { dirty: pick(4, random) == 0, warming: pick(4, random) == 0, ..plan }
}

/// Cells' worth of logs in the table of random draws.
const WORTH: u64 = 8;

/// A factor of the plan, and its level in words.
type Factor<'a> = (&'a str, &'a dyn Fn(&Plan) -> String);

fn at_random(logs: u64, started: Instant) -> bool {
    const CELL: u64 = 1 << 20;
    let total = logs * WORTH;
    eprintln!("everything at random: {total} logs ({} s)", started.elapsed().as_secs());
    let outcomes = tally::each(total, |k| {
        let seed = tally::seed(CELL, k);
        let plan = draw(&mut Pcg64::seed_from_u64(!seed));
        (plan, judge(&plan, false, seed))
    });
    head(&format!("Everything at random, {total} logs, by one factor at a time"), "factor | level");
    let near = |value: f64, levels: &[f64]| {
        levels.iter().copied().find(|level| value <= *level).unwrap_or(value).to_string()
    };
    let factors: [Factor; 10] = [
        ("all", &|_| "all".into()),
        ("Hz, up to", &|p| near(p.rate_hz, &RATES_HZ)),
        ("lag 1", &|p| p.lag1.to_string()),
        ("hunting, rev/min", &|p| p.hunting_rpm.to_string()),
        ("s", &|p| p.seconds.to_string()),
        ("zero", &|p| zero_name(p.zero)),
        ("firing", &|p| p.firing.name.into()),
        ("drop-outs and spikes", &|p| p.dirty.to_string()),
        ("warming up", &|p| p.warming.to_string()),
        ("true, kPa", &|p| match p.difference_kpa.abs() {
            0.0 => "0 exactly".into(),
            d if d == TOLERANCE_KPA => "the tolerance exactly".into(),
            d if d < TOLERANCE_KPA => "inside".into(),
            _ => "outside".into(),
        }),
    ];
    let mut sound = true;
    for (name, level) in factors {
        let mut rows: Vec<(String, Row)> = Vec::new();
        for (plan, outcome) in &outcomes {
            let level = level(plan);
            let at = rows.iter().position(|r| r.0 == level).unwrap_or_else(|| {
                rows.push((level, Row::default()));
                rows.len() - 1
            });
            rows[at].1.count(outcome, plan.difference_kpa);
        }
        rows.sort_by(|a, b| match (a.0.parse::<f64>(), b.0.parse::<f64>()) {
            (Ok(a), Ok(b)) => a.total_cmp(&b),
            _ => a.0.cmp(&b.0),
        });
        for (level, row) in &rows {
            row.print(&format!("{name} | {level}"), false);
            sound &= row.is_sound(false);
        }
    }
    sound
}
