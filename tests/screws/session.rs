//! A person who tunes an engine: logs it, turns what is proposed, logs again.
//!
//! The engine is the model of `src/engine`. A screw turns a plate on a lever: the opening grows with the square of
//! the angle, `share = (1 + g t / 2)^2`, which the estimator, linear in turns, knows nothing of. The person misses
//! every turn by up to a twelfth of a turn either way, all values alike likely, and marks what was meant.

use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Running, Settings, Side, steady};
use evenbreath::findings::balance::{self, Balance};
use evenbreath::findings::{Conditions, Verdict};
use evenbreath::sample::{Mark, RowNumbers, Track};
use evenbreath::signal;
use evenbreath::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

/// What a session is made of.
#[derive(Debug, Clone, Copy)]
pub struct Scene {
    /// Opening that a turn adds, as a share of the idle opening.
    pub gain: f64,
    /// Where each screw stands at first, turns from where the engine is balanced at its target.
    pub start: [f64; 2],
    /// Share of the opening at which the engine is on its target.
    pub level: f64,
    /// Spread of the slow wander of the engine's work, in place of the model's own.
    pub wander_spread: f64,
}

impl Scene {
    /// One at random: a turn opens by 8 to 25 % (all factors alike likely), each screw is off by up to half a turn.
    pub fn random(random: &mut Pcg64) -> Scene {
        let gain = 0.08 * (25.0_f64 / 8.0).powf(random.random::<f64>());
        let start = [0, 1].map(|_| random.random_range(-0.5..0.5));
        let level = random.random_range(0.94..1.06);
        Scene { gain, start, level, wander_spread: random.random_range(0.0..0.006) }
    }
}

/// One judgement of a session, and what was true.
#[derive(Debug, Clone)]
pub struct Step {
    /// What the program said.
    pub finding: Balance,
    /// True difference, kPa, and speed, rev/min, of the engine as it is turned now, about which it wanders.
    pub truth: (f64, f64),
}

impl Step {
    /// In tolerance, and the idle within 25 rev/min of its target: as it is, not as it is judged.
    pub fn is_good(&self, target_rpm: f64) -> bool {
        self.truth.0.abs() <= 1.3 && (self.truth.1 - target_rpm).abs() <= 25.0
    }
}

/// A whole session.
pub struct Session {
    /// As it was found, then after each round of turns.
    pub steps: Vec<Step>,
    /// Idle wanted, rev/min.
    pub target_rpm: f64,
    /// The log of it all.
    pub track: Track,
    /// What was told of the car.
    pub conditions: Conditions,
}

struct Bench {
    running: Running,
    /// Time, speed, vacuums.
    columns: [Vec<f64>; 4],
    marks: Vec<Mark>,
    now_s: f64,
    screws: [f64; 2],
    scene: Scene,
    settings: Settings,
}

impl Bench {
    fn share(&self, side: usize) -> f64 {
        self.scene.level * (1.0 + 0.5 * self.scene.gain * self.screws[side]).powi(2)
    }

    fn log(&mut self, seconds: f64) {
        self.now_s += seconds;
        while let Some(row) = self.running.next_row(self.now_s) {
            let rpm = row.rpm.map_or(f64::NAN, |rpm| rpm.0);
            let values = [row.time_s, rpm, row.vac_kpa[0], row.vac_kpa[1]];
            self.columns.iter_mut().zip(values).for_each(|(column, value)| column.push(value));
        }
    }

    fn track(&self) -> Track {
        let [time_s, rpm, one, two] = self.columns.clone();
        Track {
            row: RowNumbers::all(time_s.len()),
            time_s: time_s.into(),
            rpm: Some(rpm.into()),
            vac1_kpa: Some(one.into()),
            vac2_kpa: Some(two.into()),
            marks: self.marks.clone(),
            ..Track::default()
        }
    }

    fn mark(&mut self, words: &str) {
        let at = self.columns[0].last().copied().unwrap_or(0.0);
        self.marks.push(Mark::read(Seconds(at), words));
    }

    fn set(&mut self, side: usize) {
        let share = self.share(side);
        let side = [Side::One, Side::Two][side];
        self.running.act(Action::ThrottleStop { side, share });
    }

    fn truth(&self) -> (f64, f64) {
        let mut settings = self.settings.clone();
        for side in 0..2 {
            settings.idle_area_mm2[side] *= self.share(side);
        }
        let means = steady(&settings, &[]).unwrap();
        (means.difference_kpa, means.rpm)
    }

    fn judged(&self, conditions: &Conditions) -> Step {
        let signal = signal::prepare(self.track(), conditions.cylinders);
        Step { finding: balance::find(&signal, conditions), truth: self.truth() }
    }
}

/// Plays a session of at most so many rounds of turns.
pub fn play(scene: Scene, rounds: usize, seed: u64) -> Session {
    let mut random = Pcg64::seed_from_u64(seed);
    let settings = Settings { wander_spread: scene.wander_spread, ..Settings::default() };
    let sensor = |random: &mut Pcg64| {
        Sensor::default().with(random.random_range(-1.0..1.0), random.random_range(0.98..1.02))
    };
    let vacuum = [sensor(&mut random), sensor(&mut random)];
    let sensors = SensorBox { vacuum, ..SensorBox::default() };
    let running = Running::new(&settings, &sensors, seed, false);
    let (columns, marks) = Default::default();
    let mut bench =
        Bench { running, columns, marks, now_s: 0.0, screws: scene.start, scene, settings };
    let mut level = bench.settings.clone();
    level.idle_area_mm2 = level.idle_area_mm2.map(|area| area * scene.level);
    let target_rpm = steady(&level, &[]).unwrap().rpm;
    let conditions = Conditions { idle_target_rpm: Some(target_rpm), ..Conditions::default() };
    for side in 0..2 {
        bench.set(side);
    }
    // The zero: engine off, then the hoses exchanged at idle.
    bench.log(5.0);
    bench.running.act(Action::EngineOn);
    bench.mark("engine on");
    bench.log(12.0);
    for (action, words) in
        [(Action::HosesSwapped, "hoses swapped"), (Action::HosesDirect, "hoses direct")]
    {
        bench.running.act(Action::HosesOff);
        bench.log(2.0);
        bench.running.act(action);
        bench.mark(words);
        bench.log(18.0);
    }
    let mut steps = vec![bench.judged(&conditions)];
    for _ in 0..rounds {
        let last = steps.last().unwrap();
        let turns = last.finding.screws.as_ref().and_then(|screws| screws.proposal);
        let turns = turns.map_or([0.0; 2], |proposal| proposal.turns);
        if turns == [0.0; 2] {
            // Nothing to turn: done, or only more of the same idle tells more.
            if last.finding.verdict == Verdict::InTolerance {
                break;
            }
            bench.log(20.0);
            steps.push(bench.judged(&conditions));
            continue;
        }
        turn(&mut bench, turns, &mut random);
        bench.log(20.0);
        steps.push(bench.judged(&conditions));
    }
    Session { steps, target_rpm, track: bench.track(), conditions }
}

fn turn(bench: &mut Bench, turns: [f64; 2], random: &mut Pcg64) {
    for (side, asked) in turns.into_iter().enumerate().filter(|(_, turns)| *turns != 0.0) {
        bench.screws[side] += asked + random.random_range(-1.0 / 12.0..1.0 / 12.0);
        bench.set(side);
        bench.log(3.0);
        bench.mark(&format!("screw {} {:+}", side + 1, (asked * 1e4).round() / 1e4));
    }
}
