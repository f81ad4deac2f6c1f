//! What `balance` and `breather` find in the log of a lesson, against what was true.

use crate::classroom::{Classroom, Judged};
use evenbreath::engine::Layout;
use evenbreath::findings::Verdict;
use evenbreath::findings::balance::Open;
use evenbreath::findings::breather::BreatherVerdict;
use evenbreath::recording::lesson::{Begin, SCENES, Shows};
use std::fmt::Write;
use std::sync::atomic::{AtomicUsize, Ordering};

/// How often the truth lay in an interval.
#[derive(Default)]
pub struct Tally {
    held: usize,
    of: usize,
    missed: String,
}

impl Tally {
    fn hold(&mut self, what: &str, truth: f64, low: f64, high: f64) {
        self.of += 1;
        if (low..=high).contains(&truth) {
            self.held += 1;
        } else {
            let _ = writeln!(self.missed, "{what}: {truth:.5} not in {low:.5} to {high:.5}");
        }
    }
}

/// Holds the figures of a judged log against the truth.
fn figures(name: &str, judged: &Judged, tally: &mut Tally) {
    for plateau in judged.balance.plateaus.iter() {
        let (mut seconds, mut difference) = (0.0, 0.0);
        for stretch in &plateau.stretches {
            let lasts = stretch.to_s - stretch.from_s;
            seconds += lasts;
            difference += lasts * judged.difference_kpa(stretch.from_s, stretch.to_s);
        }
        let at = format!("{name}, difference at {:.0} s", plateau.from_s);
        tally.hold(&at, difference / seconds, plateau.low_kpa, plateau.high_kpa);
        let at = format!("{name}, air share at {:.0} s", plateau.from_s);
        tally.hold(&at, judged.opening_ratio, plateau.air_low, plateau.air_high);
    }
    if let (Some(low), Some(high)) = (judged.breather.low_rpm, judged.breather.high_rpm) {
        tally.hold(&format!("{name}, drop"), judged.prediction.drop_rpm(), low, high);
    }
}

/// The verdicts that a log may not have: not settled is no false one, but the scenes must not have it.
fn verdicts(name: &str, judged: &Judged, shows: Shows) -> (Vec<String>, Vec<String>) {
    let (mut wrong, mut open) = (Vec::new(), Vec::new());
    let want = if shows.closed.is_some() { Verdict::OutOfTolerance } else { Verdict::InTolerance };
    let balance = &judged.balance;
    if balance.verdict == Verdict::NotSettled {
        open.push(format!("{name}: {}", balance.say));
    } else if balance.verdict != want {
        wrong.push(format!("{name}: {}", balance.say));
    } else if let Some(closed) = shows.closed {
        let opens: Vec<Open> = balance.plateaus.iter().map(|plateau| plateau.open).collect();
        if opens.iter().any(|open| *open != closed) {
            wrong.push(format!("{name}: {opens:?} for {closed:?}"));
        }
    }
    let breather = &judged.breather;
    if breather.verdict == BreatherVerdict::NotSettled {
        open.push(format!("{name}: {}", breather.say));
    } else if breather.verdict != shows.breather {
        wrong.push(format!("{name}: {}", breather.say));
    }
    (wrong, open)
}

/// Holds these lessons on all cores; gives them in their order.
fn held(lessons: &[(Begin, u64, String)]) -> Vec<(Judged, Shows)> {
    let next = AtomicUsize::new(0);
    let mut judged: Vec<(usize, (Judged, Shows))> = std::thread::scope(|scope| {
        let hold = || {
            let mut held = Vec::new();
            while let Some((begin, seed, name)) = lessons.get(next.fetch_add(1, Ordering::Relaxed))
            {
                let at = lessons.iter().position(|(_, _, other)| other == name).unwrap();
                let mut class = Classroom::new(*begin, *seed, name);
                let prediction = class.work();
                let shows = class.lesson.shows().unwrap();
                held.push((at, (class.judge(prediction), shows)));
            }
            held
        };
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let rows: Vec<_> = (0..cores).map(|_| scope.spawn(hold)).collect();
        rows.into_iter().flat_map(|row| row.join().unwrap()).collect()
    });
    judged.sort_by_key(|(at, _)| *at);
    judged.into_iter().map(|(_, judged)| judged).collect()
}

/// Of 26 figures and more at 95 %, five misses come once in a hundred honest runs.
const SCENE_MISSES: usize = 4;
/// Of 190 figures at 95 %, nine or ten are missed on average, nineteen once in three hundred honest runs.
const HIDDEN_MISSES: usize = 18;
/// Verdicts of 96 that may stay open: the odd cap test that a wandering idle has spoilt.
const HIDDEN_OPEN: usize = 6;

#[test]
fn every_scene_shows_what_it_says_and_the_truth_lies_in_the_intervals() {
    let scene = |k: usize| (Begin::Scene(k), 11 + k as u64, format!("scene-{}", k + 1));
    let lessons: Vec<(Begin, u64, String)> = (0..SCENES.len()).map(scene).collect();
    let mut tally = Tally::default();
    let mut wrong = Vec::new();
    for ((_, _, name), (judged, shows)) in lessons.iter().zip(held(&lessons)) {
        figures(name, &judged, &mut tally);
        let (false_ones, open) = verdicts(name, &judged, shows);
        wrong.extend(false_ones);
        wrong.extend(open);
    }
    println!("scenes: {} of {} held\n{}", tally.held, tally.of, tally.missed);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(tally.of >= 3 * SCENES.len(), "{} figures only", tally.of);
    assert!(tally.of - tally.held <= SCENE_MISSES, "{}", tally.missed);
}

#[test]
fn hidden_faults_are_found_and_the_truth_lies_in_the_intervals() {
    let lot = |seed: u64| {
        let layout = Layout::ALL[seed as usize % 3];
        (Begin::Hidden { layout, seed }, 100 + seed, format!("hidden-{seed}"))
    };
    let lessons: Vec<(Begin, u64, String)> = (0..48).map(lot).collect();
    let mut tally = Tally::default();
    let (mut wrong, mut open) = (Vec::new(), Vec::new());
    for ((_, _, name), (judged, shows)) in lessons.iter().zip(held(&lessons)) {
        figures(name, &judged, &mut tally);
        let (false_ones, open_ones) = verdicts(name, &judged, shows);
        wrong.extend(false_ones);
        open.extend(open_ones);
    }
    println!("hidden: {} of {} held\n{}", tally.held, tally.of, tally.missed);
    println!("open:\n{}", open.join("\n"));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(open.len() <= HIDDEN_OPEN, "{}", open.join("\n"));
    assert!(tally.of >= 3 * lessons.len(), "{} figures only", tally.of);
    assert!(tally.of - tally.held <= HIDDEN_MISSES, "{}", tally.missed);
}
