//! Rates of false alarms, of leaks found, and of diameters held, over simulated hunts: a few in every
//! test, many in the tables of `tests/coverage/README.md`.

use crate::scene::{Leak, NAMES, Scene};
use evenbreath::engine::{Hunting, Settings, Side};
use evenbreath::findings::hunt::{Hunt, HuntVerdict, Into, Suspect};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

/// Hunts of seeds from 0 on, by two threads, in the order of the seeds.
pub fn hunts<T: Send>(count: u64, hunt: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = AtomicU64::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let seed = next.fetch_add(1, Relaxed);
            if seed >= count {
                return done;
            }
            done.push((seed, hunt(seed)));
        }
    };
    let mut all = std::thread::scope(|scope| {
        let other = scope.spawn(work);
        let mut all = work();
        all.extend(other.join().unwrap());
        all
    });
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, found)| found).collect()
}

/// What many hunts of one scene came to.
#[derive(Debug, Default)]
pub struct Tally {
    pub hunts: usize,
    /// Hunts in which anything is said to leak that does not.
    pub false_alarms: usize,
    /// Hunts in which the culprit is said to leak.
    pub found: usize,
    /// ... and into the right place.
    pub placed: usize,
    /// Hunts in which the culprit is said to be sound.
    pub missed: usize,
    /// Innocent suspects, and those of them that are said to be sound.
    pub innocent: (usize, usize),
    /// Intervals of the speed and of both vacuums, and those of them that hold what sealing does: of
    /// the culprit and of the innocent.
    pub held: [(usize, usize); 2],
}

impl Tally {
    pub fn of(scene: &Scene, hunts: &[Hunt]) -> Self {
        let mut tally = Tally { hunts: hunts.len(), ..Tally::default() };
        let into = match scene.leak {
            Leak::Tract(Side::One, _) => Some(Into::Carb1),
            Leak::Tract(Side::Two, _) => Some(Into::Carb2),
            Leak::Seal(_) => Some(Into::BeforeThrottles),
            Leak::None => None,
        };
        let culprits = scene.truth();
        for hunt in hunts {
            assert_eq!(hunt.suspects.len(), NAMES.len(), "{}", hunt.say);
            let is_culprit =
                |s: &&Suspect| scene.leak != Leak::None && s.name == NAMES[scene.culprit];
            let (culprit, innocent): (Vec<&Suspect>, _) =
                hunt.suspects.iter().partition::<Vec<_>, _>(is_culprit);
            let leaks = |s: &&&Suspect| s.verdict == HuntVerdict::Leaks;
            tally.false_alarms += usize::from(innocent.iter().any(|s| leaks(&s)));
            tally.innocent.0 += innocent.len();
            tally.innocent.1 += innocent.iter().filter(|s| s.verdict == HuntVerdict::Sound).count();
            for suspect in &hunt.suspects {
                let is_culprit = is_culprit(&suspect);
                let truth = if is_culprit { culprits } else { [0.0; 3] };
                let held = &mut tally.held[usize::from(!is_culprit)];
                for ((low, high), truth) in intervals(suspect).into_iter().zip(truth) {
                    held.0 += 1;
                    held.1 += usize::from(low <= truth && truth <= high);
                }
            }
            for suspect in culprit {
                tally.found += usize::from(leaks(&&suspect));
                tally.placed += usize::from(suspect.into == into && into.is_some());
                tally.missed += usize::from(suspect.verdict == HuntVerdict::Sound);
            }
        }
        tally
    }
}

fn intervals(s: &Suspect) -> [(f64, f64); 3] {
    [
        (s.low_rpm.unwrap(), s.high_rpm.unwrap()),
        (s.low_vac1_kpa.unwrap(), s.high_vac1_kpa.unwrap()),
        (s.low_vac2_kpa.unwrap(), s.high_vac2_kpa.unwrap()),
    ]
}

/// The scenes of the table.
pub fn scenes() -> Vec<(&'static str, Scene)> {
    let plain = Scene::default;
    let engine = |settings: Settings| Scene { settings, ..Scene::default() };
    let of = Settings::default;
    let hunting = Settings { hunting: Some(Hunting { period_s: 2.8, depth: 0.045 }), ..of() };
    let warming = Settings { warming: 4e-4, ..of() };
    let lean = Settings { mixture: [0.88; 2], ..of() };
    let rich = Settings { mixture: [1.3; 2], ..of() };
    let rough = Settings { stroke_spread: 0.15, wander_spread: 0.012, ..of() };
    let leak = |scene: Scene, leak: Leak| Scene { leak, ..scene };
    let tract = |mm: f64| Leak::Tract(Side::Two, mm);
    vec![
        ("nothing leaks", plain()),
        ("nothing leaks, it hunts", engine(hunting.clone())),
        ("nothing leaks, it warms up", engine(warming.clone())),
        ("nothing leaks, it runs roughly", engine(rough.clone())),
        ("nothing leaks, a fan in one trial", Scene { fan: Some((79.0, 85.0)), ..plain() }),
        ("nothing leaks, a fan from one trial on", Scene { fan: Some((80.0, 900.0)), ..plain() }),
        ("2 mm into tract 2", leak(plain(), tract(2.0))),
        ("1 mm into tract 2", leak(plain(), tract(1.0))),
        ("2 mm into tract 2, it hunts", leak(engine(hunting.clone()), tract(2.0))),
        ("2 mm into tract 2, lean", leak(engine(lean.clone()), tract(2.0))),
        ("2 mm into tract 2, rich", leak(engine(rich.clone()), tract(2.0))),
        ("2 mm into tract 2, it runs roughly", leak(engine(rough.clone()), tract(2.0))),
        ("2 mm into tract 2, fan", Scene { fan: Some((46.0, 52.0)), ..leak(plain(), tract(2.0)) }),
        ("seal 4 mm", leak(plain(), Leak::Seal(4.0))),
        ("seal 4 mm, lean", leak(engine(lean), Leak::Seal(4.0))),
        ("seal 4 mm, it hunts", leak(engine(hunting), Leak::Seal(4.0))),
        ("seal 4 mm, it warms up", leak(engine(warming), Leak::Seal(4.0))),
        ("seal 4 mm, it runs roughly", leak(engine(rough), Leak::Seal(4.0))),
        ("seal 4 mm, rich", leak(engine(rich), Leak::Seal(4.0))),
    ]
}

/// Hunts of a cell of the tables.
fn cell() -> u64 {
    std::env::var("EVENBREATH_HUNTS").ok().and_then(|n| n.parse().ok()).unwrap_or(100)
}

#[test]
#[ignore = "a table: minutes"]
fn table_of_verdicts() {
    println!(
        "| scene | false alarms | found | right place | called sound | innocent called sound | held, culprit | held, innocent |"
    );
    for (name, scene) in scenes() {
        let tally = Tally::of(&scene, &hunts(cell(), |seed| scene.hunt(seed)));
        let percent = |n: usize, of: usize| 100.0 * n as f64 / of.max(1) as f64;
        let of = |n: usize| percent(n, tally.hunts);
        println!(
            "| {name} | {:.1} % | {:.1} % | {:.1} % | {:.1} % | {:.0} % | {:.1} % | {:.1} % |",
            of(tally.false_alarms),
            of(tally.found),
            of(tally.placed),
            of(tally.missed),
            percent(tally.innocent.1, tally.innocent.0),
            percent(tally.held[0].1, tally.held[0].0),
            percent(tally.held[1].1, tally.held[1].0)
        );
    }
}

/// A hole and a jet with all that is not known of them: label and diameter of the jet, discharge of
/// the leak against the jet's, the true diameter.
pub fn hole(seed: u64, (mm, side): (f64, Side), settings: &Settings) -> Scene {
    let mut random = Pcg64::seed_from_u64(seed + 7_000);
    let jet = 1.5 + random.random_range(-0.05..0.05);
    let discharge: f64 = 1.0 + random.random_range(-0.1..0.1);
    Scene {
        settings: settings.clone(),
        leak: Leak::Tract(side, mm * discharge.sqrt()),
        jet: Some((1.5, jet)),
        ..Scene::default()
    }
}

/// Whether the interval of the culprit's hole holds the diameter, and its half width, mm, with the
/// middle less the truth.
pub fn held(hunt: &Hunt, mm: f64) -> Option<(bool, f64, f64)> {
    let culprit = hunt.suspects.iter().find(|s| s.name == NAMES[2])?;
    let (low, high) = (culprit.hole_low_mm?, culprit.hole_high_mm?);
    Some((low <= mm && mm <= high, 0.5 * (high - low), culprit.hole_mm? - mm))
}

#[test]
#[ignore = "a table: minutes"]
fn table_of_holes() {
    println!("| hole | held | half width | mean error | no diameter |");
    let lean = Settings { mixture: [0.88; 2], ..Settings::default() };
    let rich = Settings { mixture: [1.3; 2], ..Settings::default() };
    for (name, mm, side, settings) in [
        ("1 mm, side 2", 1.0, Side::Two, &Settings::default()),
        ("2 mm, side 2", 2.0, Side::Two, &Settings::default()),
        ("2 mm, side 1", 2.0, Side::One, &Settings::default()),
        ("2 mm, side 2, lean", 2.0, Side::Two, &lean),
        ("2 mm, side 2, rich", 2.0, Side::Two, &rich),
        ("3 mm, side 2, rich", 3.0, Side::Two, &rich),
    ] {
        let all = hunts(cell(), |seed| held(&hole(seed, (mm, side), settings).hunt(seed), mm));
        let told: Vec<(bool, f64, f64)> = all.iter().copied().flatten().collect();
        let n = told.len() as f64;
        let held = told.iter().filter(|t| t.0).count();
        let mean = |of: fn(&(bool, f64, f64)) -> f64| told.iter().map(of).sum::<f64>() / n;
        println!(
            "| {name} | {:.1} % | {:.2} mm | {:.3} mm | {} of {} |",
            100.0 * held as f64 / n,
            mean(|t| t.1),
            mean(|t| t.2),
            all.len() - told.len(),
            all.len()
        );
    }
}
