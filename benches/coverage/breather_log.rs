//! Logs of a cap test whose drop is known.
//!
//! The engine here is a speed that answers a load through a differential equation, integrated in
//! steps of time; a noise that every working cycle draws anew; a pick-up that tells the speed of the
//! last pulse; and a person with a cap, a stop watch and a thumb that comes late.

use crate::noise::{Hunting, normal};
use evenbreath::sample::{Mark, RowNumbers, Track};
use evenbreath::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::VecDeque;
use std::f64::consts::TAU;

/// How the speed answers when air comes in or stays out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Response {
    /// A flywheel: first order, time constant in s.
    FirstOrder(f64),
    /// Goes beyond its new level and comes back: second order, natural period in s and damping.
    Undershoot(f64, f64),
    /// A part of the drop comes slowly, as the mixture settles: that part, its time constant, s.
    SlowMixture(f64, f64),
    /// Falls with the first time constant and comes back with the second, s.
    SlowReturn(f64, f64),
    /// Waits for the air to arrive, then a flywheel: delay and time constant, s.
    Delayed(f64, f64),
    /// Pulled the harder the further away, as by a torque that grows faster than the speed: twice the
    /// pull of the first order at 60 rev/min, its own near the end; time constant, s.
    Stiffening(f64),
}

/// How the idle moves by itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Drift {
    /// Not at all.
    None,
    /// Along a straight line, rev/min per minute.
    Line(f64),
    /// An engine that warms up: this far from its level at the start, time constant in s.
    WarmUp(f64, f64),
}

/// A load besides the cap; its size in rev/min.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fan {
    /// None.
    None,
    /// Comes and stays.
    Comes(f64),
    /// Comes, and goes after 5 to 15 s.
    ComesAndGoes(f64),
}

/// What the person marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Marks {
    /// Every edge, to the sample.
    Exact,
    /// Every edge, 0.5 to 2 s late.
    Late,
    /// No edge.
    Missing,
    /// Every edge but one.
    OneMissing,
}

/// What is simulated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recipe {
    /// Openings of the cap.
    pub openings: usize,
    /// Steady drop that the open cap holds, rev/min; negative for a rise.
    pub drop_rpm: f64,
    /// Idle speed with the cap on, rev/min.
    pub idle_rpm: f64,
    /// Correlation of the noise from one cycle to the next.
    pub lag1: f64,
    /// Standard deviation of the noise of the cycles, rev/min.
    pub noise_rpm: f64,
    /// Amplitude of the hunting, rev/min, and its period, s.
    pub hunting: (f64, f64),
    /// Rows a second.
    pub rate_hz: f64,
    /// How the idle moves by itself.
    pub drift: Drift,
    /// How the engine answers.
    pub response: Response,
    /// A load besides the cap.
    pub fan: Fan,
    /// What is marked.
    pub marks: Marks,
    /// The cap stays off the last time.
    pub left_off: bool,
    /// The speed column speaks anew only this often, s; 0 for every row.
    pub held_s: f64,
    /// Share of rows with a doubled or halved speed.
    pub spikes: f64,
}

impl Recipe {
    /// The middle of all: a plain engine, a careful person.
    pub const CENTRAL: Recipe = Recipe {
        openings: 3,
        drop_rpm: 0.0,
        idle_rpm: 800.0,
        lag1: 0.6,
        noise_rpm: 8.0,
        hunting: (0.0, 2.5),
        rate_hz: 50.0,
        drift: Drift::Line(5.0),
        response: Response::FirstOrder(1.0),
        fan: Fan::None,
        marks: Marks::Exact,
        left_off: false,
        held_s: 0.0,
        spikes: 0.0,
    };

    /// One log of this recipe.
    pub fn log(&self, seed: u64) -> Track {
        let mut random = Pcg64::seed_from_u64(seed);
        let plan = Plan::new(self, &mut random);
        Bench { recipe: self, random, plan }.run()
    }
}

/// When things happen, s.
struct Plan {
    caps: Vec<(f64, f64)>,
    fan: (f64, f64),
    end: f64,
}

/// A fan keeps this far from the cap's edges, s: nobody could part the two.
const APART_S: f64 = 3.0;

impl Plan {
    /// Idle about 15 s, off about 10 s, on about 10 s.
    fn new(recipe: &Recipe, random: &mut Pcg64) -> Self {
        let mut caps = Vec::new();
        let mut at = random.random_range(13.0..17.0);
        for _ in 0..recipe.openings {
            let on = at + random.random_range(8.5..11.5);
            caps.push((at, on));
            at = on + random.random_range(8.5..11.5);
        }
        let end = at;
        if recipe.left_off
            && let Some(last) = caps.last_mut()
        {
            last.1 = f64::INFINITY;
        }
        let edges: Vec<f64> = caps.iter().flat_map(|(off, on)| [*off, *on]).collect();
        let free = |t: f64| edges.iter().all(|edge| (t - edge).abs() >= APART_S);
        let mut when = |from: f64, to: f64| {
            let tries = (0..1000).map(|_| random.random_range(from..to));
            tries.into_iter().find(|t| free(*t)).unwrap_or(f64::INFINITY)
        };
        let fan = match recipe.fan {
            Fan::None => (f64::INFINITY, f64::INFINITY),
            Fan::Comes(_) => (when(4.0, end - 4.0), f64::INFINITY),
            Fan::ComesAndGoes(_) => {
                let comes = when(4.0, end - 10.0);
                (comes, when(comes + 5.0, comes + 15.0))
            }
        };
        Plan { caps, fan, end }
    }

    fn cap_is_off(&self, t: f64) -> bool {
        self.caps.iter().any(|(off, on)| t >= *off && t < *on)
    }

    fn fan_runs(&self, t: f64) -> bool {
        t >= self.fan.0 && t < self.fan.1
    }
}

/// State of the speed under one load.
#[derive(Default)]
struct Answer {
    level: f64,
    rate: f64,
    slow: f64,
    /// What is on its way, newest last.
    coming: VecDeque<f64>,
}

impl Answer {
    /// The speed lost after another `dt` under `wanted`.
    fn step(&mut self, response: Response, wanted: f64, dt: f64) -> f64 {
        match response {
            Response::FirstOrder(tau) => self.level += (wanted - self.level) * dt / tau,
            Response::Undershoot(period, damping) => {
                let turn = TAU / period;
                let pull = turn * turn * (wanted - self.level) - 2.0 * damping * turn * self.rate;
                self.rate += pull * dt;
                self.level += self.rate * dt;
            }
            Response::SlowMixture(part, tau) => {
                self.level += ((1.0 - part) * wanted - self.level) * dt / 0.6;
                self.slow += (part * wanted - self.slow) * dt / tau;
            }
            Response::Delayed(delay, tau) => {
                self.coming.push_back(wanted);
                let arrived = if self.coming.len() as f64 * dt > delay {
                    self.coming.pop_front().unwrap_or(wanted)
                } else {
                    0.0
                };
                self.level += (arrived - self.level) * dt / tau;
            }
            Response::Stiffening(tau) => {
                let left = wanted - self.level;
                self.level += left * (1.0 + left.abs() / 60.0) * dt / tau;
            }
            Response::SlowReturn(fall, back) => {
                let leaves = (wanted - self.level) * wanted > 0.0;
                self.level += (wanted - self.level) * dt / if leaves { fall } else { back };
            }
        }
        self.level + self.slow
    }
}

struct Bench<'a> {
    recipe: &'a Recipe,
    random: Pcg64,
    plan: Plan,
}

/// Longest step of the integration, s.
const STEP_S: f64 = 0.01;
/// Vacuum lost for a rev/min lost, kPa, and the manifold's lag behind it, s.
const VACUUM: (f64, f64) = (0.012, 0.15);
/// Pulses of the pick-up in a working cycle of four cylinders.
const PULSES: f64 = 4.0;

impl Bench<'_> {
    fn run(mut self) -> Track {
        let recipe = *self.recipe;
        let parts = (1.0 / recipe.rate_hz / STEP_S).ceil().max(1.0) as u32;
        let dt = 1.0 / recipe.rate_hz / f64::from(parts);
        let mut engine = Engine::new(&recipe, &mut self.random);
        // An engine that has run before the log begins.
        (0..(3.0 / dt) as u32)
            .for_each(|_| engine.step(&recipe, &self.plan, 0.0, dt, &mut self.random));
        let mut track = Track::default();
        let mut time_s = Vec::new();
        let (mut rpm, mut one, mut two) = (Vec::new(), Vec::new(), Vec::new());
        let mut shown = (f64::NEG_INFINITY, 0.0);
        for row in 0..(self.plan.end * recipe.rate_hz) as u32 {
            let t = f64::from(row) / recipe.rate_hz;
            for part in 0..parts {
                engine.step(&recipe, &self.plan, t + f64::from(part) * dt, dt, &mut self.random);
            }
            if t >= shown.0 + recipe.held_s {
                shown = (t, engine.pulse_rpm);
            }
            let wild = self.random.random::<f64>() < recipe.spikes;
            let factor = if !wild {
                1.0
            } else if self.random.random() {
                2.0
            } else {
                0.5
            };
            rpm.push((shown.1 * factor * 10.0).round() / 10.0);
            let mut read = |side: f64| {
                let stroke = (TAU * (2.0 * engine.phase + 0.25 * side)).sin();
                let seen = engine.vacuum + 3.0 * stroke + 0.05 * normal(&mut self.random);
                (seen * 50.0).round() / 50.0
            };
            one.push(read(1.0));
            two.push(read(-1.0));
            time_s.push(t);
        }
        track.row = RowNumbers::all(time_s.len());
        track.time_s = time_s.into();
        [track.rpm, track.vac1_kpa, track.vac2_kpa] =
            [rpm, one, two].map(|column| Some(column.into()));
        track.marks = self.marks();
        track
    }

    fn marks(&mut self) -> Vec<Mark> {
        let mut marks = Vec::new();
        for (off, on) in &self.plan.caps {
            for (edge, words) in [(*off, "cap off"), (*on, "cap on")] {
                let late = match self.recipe.marks {
                    Marks::Late => self.random.random_range(0.5..2.0),
                    _ => 0.0,
                };
                if edge.is_finite() {
                    marks.push(Mark::read(Seconds(edge + late), words));
                }
            }
        }
        match self.recipe.marks {
            Marks::Missing => marks.clear(),
            Marks::OneMissing => {
                let forgotten = self.random.random_range(0..marks.len());
                marks.remove(forgotten);
            }
            Marks::Exact | Marks::Late => {}
        }
        marks
    }
}

/// What turns.
struct Engine {
    cap: Answer,
    fan: Answer,
    /// Deviation of this cycle, rev/min.
    cycle_rpm: f64,
    hunting: Hunting,
    /// Working cycles turned.
    phase: f64,
    /// When the last pulse came, and the mean speed between it and the one before.
    pulse_s: f64,
    pulse_rpm: f64,
    clock_s: f64,
    vacuum: f64,
}

impl Engine {
    fn new(recipe: &Recipe, random: &mut Pcg64) -> Self {
        Engine {
            cap: Answer::default(),
            fan: Answer::default(),
            cycle_rpm: recipe.noise_rpm * normal(random),
            hunting: Hunting::new(recipe.hunting.0, recipe.hunting.1, random),
            phase: random.random(),
            pulse_s: 0.0,
            pulse_rpm: recipe.idle_rpm,
            clock_s: 0.0,
            vacuum: 57.0,
        }
    }

    fn step(&mut self, recipe: &Recipe, plan: &Plan, t: f64, dt: f64, random: &mut Pcg64) {
        let wanted = if plan.cap_is_off(t) { recipe.drop_rpm } else { 0.0 };
        let load = match recipe.fan {
            Fan::Comes(size) | Fan::ComesAndGoes(size) if plan.fan_runs(t) => size,
            _ => 0.0,
        };
        let lost = self.cap.step(recipe.response, wanted, dt)
            + self.fan.step(Response::FirstOrder(0.8), load, dt);
        let drift = match recipe.drift {
            Drift::None => 0.0,
            Drift::Line(slope) => slope * t / 60.0,
            Drift::WarmUp(far, tau) => far * (-t / tau).exp(),
        };
        let hunt = self.hunting.step(dt, random);
        let speed = recipe.idle_rpm + drift - lost + self.cycle_rpm + hunt;
        let before = self.phase;
        self.phase += speed / 120.0 * dt;
        self.clock_s += dt;
        let pulse = (self.phase * PULSES).floor();
        if pulse > (before * PULSES).floor() {
            // The moment of the pulse within the step.
            let at = self.clock_s - (self.phase - pulse / PULSES) * 120.0 / speed;
            self.pulse_rpm = 120.0 / PULSES / (at - self.pulse_s);
            self.pulse_s = at;
        }
        if self.phase.floor() > before.floor() {
            let kept = recipe.lag1 * self.cycle_rpm;
            let fresh = (1.0 - recipe.lag1 * recipe.lag1).sqrt() * recipe.noise_rpm;
            self.cycle_rpm = kept + fresh * normal(random);
        }
        let pulled = 57.0 + VACUUM.0 * (speed - recipe.idle_rpm);
        self.vacuum += (pulled - self.vacuum) * dt / VACUUM.1;
    }
}
