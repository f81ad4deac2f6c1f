//! The idle drop: how often its interval holds the truth, and how often its verdict is wrong.
//!
//! The truth is the steady drop that the open cap would hold. A verdict is false when it is 'sealed'
//! with a truth at the threshold or below, 'not sealed or blocked' with a truth at the threshold or
//! above (falling or rising), or 'revs rise' with a rise of the threshold or less. A log that gives
//! no interval claims nothing and counts neither for nor against the coverage.

use crate::Extent;
use crate::breather_log::{Drift, Fan, Marks, Recipe, Response};
use crate::tally::{self, Share};
use evenbreath::findings::breather::{self, BreatherVerdict};
use evenbreath::findings::{Conditions, Sides};
use evenbreath::signal;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::time::Instant;

/// Least coverage, per cent.
const COVERAGE: f64 = 93.0;
/// Most false verdicts of a kind, per cent.
const FALSE: f64 = 5.0;
/// Least power where a cell has to have it, per cent.
const POWER: f64 = 95.0;
/// Smallest drop that counts: rev/min, and the share of the idle; the greater of the two.
const COUNTS: (f64, f64) = (20.0, 0.025);

/// What came of one log.
struct Outcome {
    interval: Option<(f64, f64)>,
    verdict: BreatherVerdict,
}

fn judge(recipe: &Recipe, seed: u64) -> Outcome {
    let signal = signal::prepare(recipe.log(seed), 4);
    let conditions = Conditions { sides: Sides::default(), ..Conditions::default() };
    let found = breather::find(&signal, &conditions);
    Outcome { interval: found.low_rpm.zip(found.high_rpm), verdict: found.verdict }
}

/// Counts of one row.
#[derive(Default)]
struct Tally {
    logs: u64,
    interval: Share,
    holds: Share,
    sealed: Share,
    not_sealed: Share,
    rises: Share,
    settled: Share,
    right: Share,
    widths: Vec<f64>,
}

impl Tally {
    fn count(&mut self, recipe: &Recipe, outcome: &Outcome) {
        let truth = recipe.drop_rpm;
        let threshold = COUNTS.0.max(COUNTS.1 * recipe.idle_rpm);
        let is = |verdict| outcome.verdict == verdict;
        self.logs += 1;
        self.interval.count(outcome.interval.is_some());
        if let Some((low, high)) = outcome.interval {
            self.holds.count(low <= truth && truth <= high);
            self.widths.push(high - low);
        }
        if truth <= threshold {
            self.sealed.count(is(BreatherVerdict::Sealed));
        }
        if truth.abs() >= threshold {
            self.not_sealed.count(is(BreatherVerdict::NotSealedOrBlocked));
        }
        if truth >= -threshold {
            self.rises.count(is(BreatherVerdict::RevsRise));
        }
        self.settled.count(!is(BreatherVerdict::NotSettled));
        let right = match truth {
            t if t > threshold => BreatherVerdict::Sealed,
            t if t < -threshold => BreatherVerdict::RevsRise,
            _ => BreatherVerdict::NotSealedOrBlocked,
        };
        self.right.count(is(right));
    }

    /// What is broken, in words; empty when all limits are kept.
    fn broken(&self, powerful: bool) -> String {
        let mut broken = Vec::new();
        if self.holds.clearly_below(COVERAGE) {
            broken.push("coverage");
        }
        for (share, name) in [
            (self.sealed, "false sealed"),
            (self.not_sealed, "false not sealed"),
            (self.rises, "false rise"),
        ] {
            if share.clearly_above(FALSE) {
                broken.push(name);
            }
        }
        if powerful && self.right.clearly_below(POWER) {
            broken.push("power");
        }
        broken.join(", ")
    }

    fn print(&self, name: &str, powerful: bool) -> bool {
        let width = tally::median(self.widths.clone());
        let width = width.map_or_else(|| "-".into(), |w| format!("{w:.1}"));
        let unsettled = Share { held: self.settled.of - self.settled.held, ..self.settled };
        let broken = self.broken(powerful);
        println!(
            "| {name} | {} | {} | {} | {} | {} | {} | {unsettled} | {} | {width} | {broken} |",
            self.logs,
            self.interval,
            self.holds,
            self.sealed,
            self.not_sealed,
            self.rises,
            self.right
        );
        broken.is_empty()
    }
}

fn heading(title: &str, first: &str) {
    println!("\n### {title}\n");
    println!(
        "| {first} | logs | interval % | holds % | false sealed % | false not sealed % | false rise % | not settled % | right % | median width | breaks |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|");
}

/// A row: its name, its recipe, and whether it has to have power.
struct Cell {
    name: String,
    recipe: Recipe,
    powerful: bool,
}

/// Runs the table.
pub fn table(extent: Extent) -> bool {
    let started = Instant::now();
    let mut sound = true;
    println!("\n## Breather");
    let only = std::env::args().skip_while(|a| a != "--only").nth(1);
    let tables = if extent.short {
        vec![("A few cells", few())]
    } else {
        vec![
            ("By the true drop, central conditions", central()),
            ("One thing varied, three openings", varied(3)),
            ("One thing varied, one opening", varied(1)),
            ("Answers of no kind that the findings know", strange()),
        ]
    };
    let mut number = 1000;
    for (title, cells) in tables {
        heading(title, "cell");
        for cell in cells {
            number += 1;
            if only.as_ref().is_some_and(|word| !cell.name.contains(word)) {
                continue;
            }
            let outcomes =
                tally::each(extent.logs, |k| judge(&cell.recipe, tally::seed(number, k)));
            let mut row = Tally::default();
            outcomes.iter().for_each(|outcome| row.count(&cell.recipe, outcome));
            sound &= row.print(&cell.name, cell.powerful);
            eprintln!("breather: {:.0} s, {}", started.elapsed().as_secs_f64(), cell.name);
        }
    }
    let random = only.as_ref().is_none_or(|word| "everything at random".contains(word));
    if !extent.short && random {
        sound &= at_random(extent.logs);
        eprintln!("breather: {:.0} s", started.elapsed().as_secs_f64());
    }
    sound
}

const DROPS: [f64; 9] = [0.0, 10.0, 20.0, 30.0, 40.0, 60.0, 100.0, 200.0, -40.0];

fn central() -> Vec<Cell> {
    let mut cells = Vec::new();
    for openings in 1..=3 {
        for drop_rpm in DROPS {
            cells.push(Cell {
                name: format!("{openings} x {drop_rpm:.0}"),
                recipe: Recipe { openings, drop_rpm, ..Recipe::CENTRAL },
                powerful: drop_rpm == 60.0,
            });
        }
    }
    cells
}

/// The few of the short form: the threshold and three times it, in fair and in foul weather.
fn few() -> Vec<Cell> {
    let all = varied(3).into_iter().chain(varied(1)).chain(central());
    let names = [
        "1 x 60",
        "3 x 20",
        "hunting 20 in 2.5 s, 20",
        "marks late, 20",
        "fan comes, 20",
        "correlation 0.9, 20",
        "marks missing, 60",
    ];
    all.filter(|cell| names.contains(&cell.name.as_str())).collect()
}

/// A factor: its name and, for every level, a word and what it changes.
type Factor = (&'static str, Vec<(&'static str, fn(&mut Recipe))>);

fn factors() -> Vec<Factor> {
    vec![
        (
            "correlation",
            vec![
                ("0", |r| r.lag1 = 0.0),
                ("0.3", |r| r.lag1 = 0.3),
                ("0.6", |r| r.lag1 = 0.6),
                ("0.8", |r| r.lag1 = 0.8),
                ("0.9", |r| r.lag1 = 0.9),
            ],
        ),
        (
            "hunting",
            vec![
                ("none", |_| ()),
                ("10 in 2.5 s", |r| r.hunting = (10.0, 2.5)),
                ("20 in 2.5 s", |r| r.hunting = (20.0, 2.5)),
                ("40 in 1 s", |r| r.hunting = (40.0, 1.0)),
                ("40 in 2.5 s", |r| r.hunting = (40.0, 2.5)),
                ("40 in 5 s", |r| r.hunting = (40.0, 5.0)),
            ],
        ),
        (
            "rate",
            vec![
                ("10 Hz", |r| r.rate_hz = 10.0),
                ("20 Hz", |r| r.rate_hz = 20.0),
                ("50 Hz", |r| r.rate_hz = 50.0),
                ("200 Hz", |r| r.rate_hz = 200.0),
                ("1000 Hz", |r| r.rate_hz = 1000.0),
            ],
        ),
        (
            "noise",
            vec![
                ("5", |r| r.noise_rpm = 5.0),
                ("8", |r| r.noise_rpm = 8.0),
                ("15", |r| r.noise_rpm = 15.0),
            ],
        ),
        (
            "drift",
            vec![
                ("none", |r| r.drift = Drift::None),
                ("line of 30 a minute", |r| r.drift = Drift::Line(30.0)),
                ("warming up", |r| r.drift = Drift::WarmUp(-40.0, 40.0)),
            ],
        ),
        (
            "answer",
            vec![
                ("in 0.3 s", |r| r.response = Response::FirstOrder(0.3)),
                ("in 1 s", |r| r.response = Response::FirstOrder(1.0)),
                ("in 3 s", |r| r.response = Response::FirstOrder(3.0)),
                ("with undershoot", |r| r.response = Response::Undershoot(4.0, 0.4)),
                ("with a slow mixture", |r| r.response = Response::SlowMixture(0.3, 4.0)),
                ("with a slow return", |r| r.response = Response::SlowReturn(0.6, 2.5)),
            ],
        ),
        (
            "fan",
            vec![
                ("none", |_| ()),
                ("comes", |r| r.fan = Fan::Comes(30.0)),
                ("comes and goes", |r| r.fan = Fan::ComesAndGoes(30.0)),
            ],
        ),
        (
            "marks",
            vec![
                ("exact", |_| ()),
                ("late", |r| r.marks = Marks::Late),
                ("missing", |r| r.marks = Marks::Missing),
                ("less one", |r| r.marks = Marks::OneMissing),
            ],
        ),
        ("cap", vec![("put on", |_| ()), ("left off", |r| r.left_off = true)]),
        (
            "speed column",
            vec![
                ("fresh", |_| ()),
                ("held 0.25 s", |r| r.held_s = 0.25),
                ("held 1 s", |r| r.held_s = 1.0),
                ("with spikes", |r| r.spikes = 0.01),
            ],
        ),
    ]
}

/// Answers of no kind that the findings know, three openings and one.
fn strange() -> Vec<Cell> {
    let answers: Factor = (
        "answer",
        vec![
            ("after 0.4 s", |r| r.response = Response::Delayed(0.4, 0.8)),
            ("after 1 s", |r| r.response = Response::Delayed(1.0, 0.8)),
            ("that stiffens", |r| r.response = Response::Stiffening(1.5)),
        ],
    );
    [3, 1].into_iter().flat_map(|openings| crossed(openings, vec![answers.clone()])).collect()
}

fn varied(openings: usize) -> Vec<Cell> {
    crossed(openings, factors())
}

fn crossed(openings: usize, factors: Vec<Factor>) -> Vec<Cell> {
    let mut cells = Vec::new();
    for (factor, levels) in factors {
        for (level, change) in levels {
            // The threshold, where verdicts go wrong, and three times it, where a drop must be found.
            for drop_rpm in [20.0, 60.0] {
                let mut recipe = Recipe { openings, drop_rpm, ..Recipe::CENTRAL };
                change(&mut recipe);
                let name = format!("{factor} {level}, {drop_rpm:.0}");
                let is_new = recipe != Recipe { openings, drop_rpm, ..Recipe::CENTRAL };
                if is_new {
                    cells.push(Cell { name, recipe, powerful: false });
                }
            }
        }
    }
    cells
}

/// Everything drawn at once, and summed up by the level of each thing.
fn at_random(logs: u64) -> bool {
    let factors = factors();
    let drawn = tally::each(10 * logs, |k| {
        let mut random = Pcg64::seed_from_u64(tally::seed(999, k));
        let mut recipe = Recipe {
            openings: random.random_range(1..=3),
            drop_rpm: DROPS[random.random_range(0..DROPS.len())],
            idle_rpm: random.random_range(650.0..1000.0),
            ..Recipe::CENTRAL
        };
        let mut levels = Vec::new();
        for (_, choices) in &factors {
            // Half of all things are as they are in the middle of all.
            let level = random.random_range(0..2 * choices.len()).checked_sub(choices.len());
            level.iter().for_each(|level| choices[*level].1(&mut recipe));
            levels.push(level);
        }
        let outcome = judge(&recipe, tally::seed(998, k));
        (recipe, levels, outcome)
    });
    heading("Everything at random", "logs with");
    let mut sound = true;
    let mut row = |name: &str, keep: &dyn Fn(&Recipe, &[Option<usize>]) -> bool| {
        let mut row = Tally::default();
        let kept = drawn.iter().filter(|(recipe, levels, _)| keep(recipe, levels));
        kept.for_each(|(recipe, _, outcome)| row.count(recipe, outcome));
        sound &= row.print(name, false);
    };
    row("all", &|_, _| true);
    for openings in 1..=3 {
        row(&format!("openings {openings}"), &|recipe, _| recipe.openings == openings);
    }
    for drop_rpm in DROPS {
        row(&format!("drop {drop_rpm:.0}"), &|recipe, _| recipe.drop_rpm == drop_rpm);
    }
    for (at, (factor, choices)) in factors.iter().enumerate() {
        for (level, (word, _)) in choices.iter().enumerate() {
            row(&format!("{factor} {word}"), &|_, levels| levels[at] == Some(level));
        }
    }
    sound
}
