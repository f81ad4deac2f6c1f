//! The tee run against simulated logs of known truth. The simulation shares no formula with the
//! finding: a vacuum that follows a throttle by a first-order law, a ripple by crank angle read at
//! each sensor's own time, offsets, gains, white and slow noise, a converter.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use evenbreath::findings::Conditions;
use evenbreath::findings::pair_match::{self, MatchVerdict, PairMatch};
use evenbreath::sample::{Mark, RowNumbers, Track};
use evenbreath::signal;
use evenbreath::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;
use std::f64::consts::TAU;

/// What is simulated.
#[derive(Clone)]
struct Run {
    rate: f64,
    /// From this second on: vacuum aimed at, kPa, and speed, rev/min.
    story: Vec<(f64, f64, f64)>,
    seconds: f64,
    offset: [f64; 2],
    gain: [f64; 2],
    /// Seconds by which each sensor is late.
    late: [f64; 2],
    /// White noise of one reading, kPa.
    white: f64,
    /// Slow noise of one sensor, kPa, and its correlation time, s.
    slow: (f64, f64),
    /// Hunting of the idle vacuum: amplitude, kPa, and period, s.
    hunt: (f64, f64),
    /// What sensor 1 reads more at half of 80 kPa, of a bow through 0 and 80, kPa.
    bow: f64,
    /// Amplitude of the ripple, as a share of the vacuum.
    ripple: f64,
    /// Half the width of a hysteresis of sensor 1, kPa.
    hysteresis: f64,
    /// The second hose is on another tract, which draws half a cycle later.
    apart: bool,
    marks: Vec<(f64, &'static str)>,
}

const STORY: [(f64, f64, f64); 14] = [
    (0.0, 0.0, 0.0),
    (8.0, 57.0, 850.0),
    (22.0, 62.0, 2000.0),
    (34.0, 57.0, 850.0),
    (42.0, 22.0, 1500.0),
    (43.2, 78.0, 2200.0),
    (46.0, 57.0, 850.0),
    (52.0, 35.0, 1800.0),
    (54.0, 76.0, 2400.0),
    (57.0, 57.0, 850.0),
    (62.0, 66.0, 2800.0),
    (74.0, 57.0, 850.0),
    (82.0, 0.0, 0.0),
    (92.0, 0.0, 0.0),
];

impl Default for Run {
    fn default() -> Self {
        Run {
            rate: 50.0,
            story: STORY.to_vec(),
            seconds: 92.0,
            offset: [0.55, -0.35],
            gain: [1.009, 0.992],
            late: [0.0; 2],
            white: 0.06,
            slow: (0.0, 1.0),
            hunt: (0.0, 2.5),
            bow: 0.0,
            ripple: 0.06,
            hysteresis: 0.0,
            apart: false,
            marks: vec![],
        }
    }
}

/// Steps of the simulation a second.
const FINE: f64 = 1000.0;

impl Run {
    /// Vacuum and speed on the fine grid, and the speed's phase in cycles.
    fn fine(&self, random: &mut Pcg64) -> Vec<(f64, f64, f64)> {
        let (mut vacuum, mut speed, mut phase) = (self.story[0].1, self.story[0].2, 0.0);
        let start: f64 = random.random();
        let mut wander = 0.0;
        (0..(self.seconds * FINE) as u32)
            .map(|k| {
                let t = f64::from(k) / FINE;
                let (_, aim, rpm) = *self.story.iter().rfind(|s| s.0 <= t).unwrap();
                let kick: f64 = random.sample(StandardNormal);
                wander += -wander / (0.4 * FINE) + 0.02 * kick;
                vacuum += (aim - vacuum) / (0.45 * FINE);
                speed += (rpm - speed) / (0.5 * FINE);
                let turning = if speed < 80.0 { 0.0 } else { speed };
                phase += turning / 120.0 / FINE;
                let hunting = self.hunt.0 * (TAU * (t / self.hunt.1 + start)).sin();
                let alive = (vacuum / 57.0).min(1.0);
                (vacuum + alive * (wander + hunting), turning, phase)
            })
            .collect()
    }

    fn track(&self, seed: u64) -> Track {
        let mut random = Pcg64::seed_from_u64(seed);
        let fine = self.fine(&mut random);
        let n = (self.seconds * self.rate) as u32;
        let keep = (-1.0 / self.rate / self.slow.1).exp();
        let mut slow = [0, 1].map(|_| self.slow.0 * random.sample::<f64, _>(StandardNormal));
        let mut track = Track::default();
        let mut time_s = Vec::new();
        let mut columns = [Vec::new(), Vec::new()];
        let (mut rpm, mut held) = (Vec::new(), 0.0f64);
        for k in 0..n {
            let t = f64::from(k) / self.rate;
            for side in 0..2 {
                let at = (((t - self.late[side]) * FINE).max(0.0) as usize).min(fine.len() - 1);
                let (level, _, phase) = fine[at];
                let shift = if self.apart && side == 1 { 0.5 } else { 0.0 };
                let ripple = self.ripple * level.max(0.0) * (TAU * (2.0 * phase + shift)).sin();
                let mut seen = level + ripple;
                if side == 0 {
                    seen += self.bow * 4.0 * (seen / 80.0) * (1.0 - seen / 80.0);
                    // Play: what is held follows only when pushed.
                    held = held.clamp(seen - self.hysteresis, seen + self.hysteresis);
                    seen = held;
                }
                let kick: f64 = random.sample(StandardNormal);
                slow[side] = keep * slow[side] + (1.0 - keep * keep).sqrt() * self.slow.0 * kick;
                let hiss: f64 = random.sample(StandardNormal);
                let read =
                    self.offset[side] + self.gain[side] * seen + slow[side] + self.white * hiss;
                columns[side].push((read / 0.027).round() * 0.027);
            }
            rpm.push(fine[(t * FINE) as usize].1);
            time_s.push(t);
        }
        let [one, two] = columns;
        track.row = RowNumbers::all(time_s.len());
        track.time_s = time_s.into();
        [track.rpm, track.vac1_kpa, track.vac2_kpa] =
            [rpm, one, two].map(|column| Some(column.into()));
        track.marks = self.marks.iter().map(|(t, text)| Mark::read(Seconds(*t), text)).collect();
        track
    }

    fn found(&self, seed: u64) -> PairMatch {
        pair_match::find(&signal::prepare(self.track(seed), 4), &Conditions::default())
    }

    /// True error at the mean vacuum of the two readings, kPa.
    fn error(&self, mean_kpa: f64) -> f64 {
        // r1 = o1 + g1 p, r2 = o2 + g2 p, their mean is given: solved for p.
        let (o, g) = (self.offset, self.gain);
        let p = (2.0 * mean_kpa - o[0] - o[1]) / (g[0] + g[1]);
        (o[0] + g[0] * p) - (o[1] + g[1] * p)
    }
}

/// Of `runs` simulated runs, how many intervals hold the truth at 20, 40 and 60 kPa; and the mean
/// half width of the intervals at 60 kPa.
fn held(run: &Run, runs: u64) -> ([usize; 3], f64) {
    let (mut held, mut width) = ([0; 3], 0.0);
    let mut random = Pcg64::seed_from_u64(99);
    for seed in 0..runs {
        let mut reach = |by: f64| random.random_range(-by..by);
        let offset = [reach(1.0), reach(1.0)];
        let gain = [1.0 + reach(0.02), 1.0 + reach(0.02)];
        let run = Run { offset, gain, ..run.clone() };
        let found = run.found(seed);
        assert_eq!(found.verdict, MatchVerdict::Matched, "{seed}: {}", found.say);
        for (place, vacuum) in [20.0, 40.0, 60.0].into_iter().enumerate() {
            let at = found.error.iter().find(|at| at.vacuum_kpa == vacuum).unwrap();
            let truth = run.error(vacuum);
            held[place] += usize::from(at.low_kpa <= truth && truth <= at.high_kpa);
            if vacuum == 60.0 {
                width += 0.5 * (at.high_kpa - at.low_kpa) / runs as f64;
            }
        }
    }
    (held, width)
}

fn noises() -> [(&'static str, Run); 6] {
    let plain = Run::default();
    [
        ("white noise", plain.clone()),
        ("correlated noise, 0.5 s", Run { slow: (0.05, 0.5), ..plain.clone() }),
        ("correlated noise, 3 s", Run { slow: (0.05, 3.0), ..plain.clone() }),
        ("8 ms late, 50 Hz", Run { late: [0.0, 0.008], ..plain.clone() }),
        ("8 ms late, 200 Hz", Run { late: [0.0, 0.008], rate: 200.0, ..plain.clone() }),
        (
            "late, correlated, hunting",
            Run { late: [0.006, 0.0], slow: (0.04, 1.0), hunt: (2.0, 2.8), ..plain },
        ),
    ]
}

/// `EVENBREATH_RUNS` sets how many runs a row has.
#[test]
fn the_error_of_the_pair_lies_in_its_interval() {
    let asked = std::env::var("EVENBREATH_RUNS").ok().and_then(|n| n.parse().ok());
    let runs = asked.unwrap_or(60);
    for (name, run) in noises() {
        let (held, width) = held(&run, runs);
        println!(
            "{name}: of {runs} runs the truth is held in {held:?} at 20, 40, 60 kPa; half width at \
             60 kPa {width:.4} kPa"
        );
        for count in held {
            // Five standard deviations of a count at 95 %.
            let least = 0.95 * runs as f64 - 5.0 * (0.0475 * runs as f64).sqrt();
            assert!(count as f64 >= least, "{name}: {held:?} of {runs}");
        }
    }
}

fn codes(found: &PairMatch) -> Vec<&'static str> {
    found.remarks.iter().map(|remark| remark.code).collect()
}

/// The same run with other vacuums aimed at.
fn aimed(story: &[(f64, f64, f64)], seconds: f64) -> Run {
    Run { story: story.to_vec(), seconds, ..Run::default() }
}

#[test]
fn only_what_lies_between_the_marks_counts() {
    // Before the T-piece and after it the second sensor is on a tract 6 kPa off.
    let run = Run { marks: vec![(21.0, "tee on"), (80.0, "tee off")], ..Run::default() };
    let mut track = run.track(3);
    let off = |t: f64| if (8.0..20.5).contains(&t) { 6.0 } else { 0.0 };
    let rows = track.vac2_kpa.as_ref().unwrap().iter().zip(&track.time_s);
    track.vac2_kpa = Some(rows.map(|(reading, t)| reading - off(t)).collect());
    let conditions = Conditions::default();
    let found = pair_match::find(&signal::prepare(track.clone(), 4), &conditions);
    assert_eq!(found.verdict, MatchVerdict::Matched, "{}", found.say);
    let at = found.error.iter().find(|at| at.vacuum_kpa == 60.0).unwrap();
    let truth = run.error(60.0);
    assert!((at.error_kpa - truth).abs() < 0.03, "{at:?} {truth}");
    assert!(!codes(&found).contains(&"tee_unmarked"));
    track.marks.clear();
    let whole = pair_match::find(&signal::prepare(track, 4), &conditions);
    assert!(codes(&whole).contains(&"tee_unmarked"));
    let other = whole.error.iter().find(|at| at.vacuum_kpa == 60.0);
    assert!(other.is_none_or(|at| (at.error_kpa - truth).abs() > 0.1), "{other:?}");
}

#[test]
fn a_vacuum_that_hardly_moves_gives_the_offset_alone() {
    let idle = aimed(&[(0.0, 57.0, 850.0)], 40.0);
    let found = idle.found(1);
    assert_eq!(found.verdict, MatchVerdict::OffsetOnly);
    assert!(found.say.contains("20.00 kPa are needed"), "{}", found.say);
    let at = found.error[0];
    assert!((at.vacuum_kpa - 57.0).abs() < 1.5 && found.gain.is_none());
    assert!(at.low_kpa <= idle.error(57.0) && idle.error(57.0) <= at.high_kpa, "{at:?}");
    let rest = aimed(&[(0.0, 0.0, 0.0)], 40.0).found(1);
    assert!(rest.say.contains("At the atmosphere sensor 1 reads 0.90 kPa more"), "{}", rest.say);
}

#[test]
fn what_gives_no_line_is_refused_with_the_reason() {
    let short = Run { seconds: 7.0, ..aimed(&[(0.0, 0.0, 0.0), (3.0, 57.0, 850.0)], 7.0) };
    let apart = Run { apart: true, ..Run::default() };
    for (run, verdict, words) in [
        (short, MatchVerdict::NotSettled, "10 s are needed"),
        (apart, MatchVerdict::NotOneTap, "swing at different times"),
        (
            Run { gain: [0.1, 1.0], ..Run::default() },
            MatchVerdict::SensorDead,
            "sensor 1 hardly moves",
        ),
        (
            Run { gain: [1.0, 1.35], ..Run::default() },
            MatchVerdict::NotOneTap,
            "were not on one tap",
        ),
        (
            Run { gain: [1.0, 1.13], ..Run::default() },
            MatchVerdict::NotOneTap,
            "more than any specification",
        ),
    ] {
        let found = run.found(5);
        assert_eq!(found.verdict, verdict, "{}", found.say);
        assert!(found.say.contains(words), "{}", found.say);
        assert!(found.covariance.is_none() && found.offset_kpa.is_none());
    }
}

#[test]
fn a_log_without_a_reading_is_no_tee_run() {
    for track in [Track::default(), Run { seconds: 0.5, ..Run::default() }.track(1)] {
        let found = pair_match::find(&signal::prepare(track, 4), &Conditions::default());
        assert_eq!(found.verdict, MatchVerdict::NotSettled, "{}", found.say);
    }
}

#[test]
fn bending_and_hysteresis_are_said_and_widen() {
    let width = |found: &PairMatch| found.offset_high_kpa.unwrap() - found.offset_low_kpa.unwrap();
    let straight = Run::default().found(2);
    assert_eq!(codes(&straight), ["tee_unmarked"]);
    let jumped = aimed(&[(0.0, 0.0, 0.0), (20.0, 57.0, 850.0)], 40.0);
    let mut track = jumped.track(2);
    let passing = track.time_s.iter().map(|t| (20.0..24.0).contains(&t)).collect::<Vec<_>>();
    for column in [&mut track.vac1_kpa, &mut track.vac2_kpa].into_iter().flatten() {
        let rows = column.iter().zip(&passing);
        *column = rows.map(|(v, out)| if *out { f64::NAN } else { v }).collect();
    }
    let jumped = pair_match::find(&signal::prepare(track, 4), &Conditions::default());
    assert!(codes(&jumped).contains(&"tee_unseen"), "{:?}", jumped.remarks);
    let bent = Run { bow: 0.6, ..Run::default() }.found(2);
    assert!(codes(&bent).contains(&"pair_bends"), "{:?}", bent.remarks);
    // Ripple shakes a hysteresis out of the averages: it shows through narrow hoses only.
    let stiff = Run { hysteresis: 0.25, ripple: 0.0, ..Run::default() }.found(2);
    assert!(codes(&stiff).contains(&"pair_hysteresis"), "{:?}", stiff.remarks);
    for found in [bent, stiff] {
        assert!(width(&found) > 10.0 * width(&straight), "{found:?}");
    }
}
