//! What a class holds beside its readings: the steady state that the engine goes to from here.

use super::Action;
use super::model::Engine;
use super::recording::Means;
use super::throughput::Flows;

/// Shortest stretch that is averaged, s; it ends with a working cycle.
const STRETCH_S: f64 = 1.0;

/// Seconds of the model after which a state that has not settled is averaged as it is, and how long
/// that average is.
const LONGEST_S: f64 = 60.0;
const STRAYING_S: f64 = 20.0;

/// Change from one stretch to the next below which nothing moves any more: rev/min and kPa.
const STILL_RPM: f64 = 0.02;
const STILL_KPA: f64 = 0.004;

/// Stretches in a row that must not move.
const STILL_STRETCHES: usize = 3;

/// A steady state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steady {
    /// Means over whole working cycles.
    pub means: Means,
    /// Flows over the last of them.
    pub flows: Flows,
    /// The engine came to rest in that state; else it strays (it hunts), and these are the means
    /// over the last twenty seconds.
    pub settled: bool,
}

/// The steady states of an engine as it is tuned, without random variation, with the cap on and off.
///
/// It runs a calmed copy of the engine twice, each time until nothing moves any more, and at most 60
/// seconds of the model: 120 in all, a tenth of a second of one core or so (the bench `engine` holds
/// it under a second). A page computes it on a thread of its own from a clone of the engine; what
/// would be if something else were done is asked of a clone to which it was done.
///
/// ```
/// use evenbreath::engine::{Action, Engine, Prediction, Settings};
/// let mut engine = Engine::new(Settings::default(), 7);
/// engine.act(Action::EngineOn);
/// engine.run(10.0);
/// let prediction = Prediction::of(&engine);
/// assert!((20.0..100.0).contains(&prediction.drop_rpm()));
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    /// With the filler cap on.
    pub cap_on: Steady,
    /// With the filler cap off.
    pub cap_off: Steady,
}

impl Prediction {
    /// Where this engine goes from the state it is in: one that stands still stays so, and a foot
    /// that holds the revs goes on holding them.
    pub fn of(engine: &Engine) -> Prediction {
        Prediction {
            cap_on: steady_with(engine, Action::CapOn),
            cap_off: steady_with(engine, Action::CapOff),
        }
    }

    /// Speed with the cap on less that with the cap off, rev/min; negative when the engine speeds up.
    pub fn drop_rpm(&self) -> f64 {
        self.cap_on.means.rpm - self.cap_off.means.rpm
    }
}

fn steady_with(engine: &Engine, action: Action) -> Steady {
    let mut engine = engine.calmed();
    engine.act(action);
    settle(&mut engine)
}

/// Sums of a stretch.
#[derive(Debug, Clone, Copy, Default)]
struct Stretch {
    steps: u64,
    rpm: f64,
    vac_kpa: [f64; 2],
    crank_kpa: f64,
}

impl Stretch {
    fn add(&mut self, engine: &Engine) {
        let look = engine.look();
        self.steps += 1;
        self.rpm += look.rpm;
        self.vac_kpa[0] += look.vacuum[0].0;
        self.vac_kpa[1] += look.vacuum[1].0;
        self.crank_kpa += look.crankcase.0;
    }

    fn join(&mut self, other: &Stretch) {
        self.steps += other.steps;
        self.rpm += other.rpm;
        self.vac_kpa[0] += other.vac_kpa[0];
        self.vac_kpa[1] += other.vac_kpa[1];
        self.crank_kpa += other.crank_kpa;
    }

    fn means(&self) -> Means {
        let steps = self.steps.max(1) as f64;
        let vac_kpa = self.vac_kpa.map(|sum| sum / steps);
        Means {
            rpm: self.rpm / steps,
            vac_kpa,
            difference_kpa: vac_kpa[0] - vac_kpa[1],
            crank_kpa: self.crank_kpa / steps,
        }
    }
}

/// Runs on to the end of the first working cycle that ends after a stretch.
fn stretch(engine: &mut Engine) -> Stretch {
    let mut stretch = Stretch::default();
    let mut cycles = engine.cycles();
    loop {
        engine.step();
        stretch.add(engine);
        let ended = engine.cycles() != cycles;
        cycles = engine.cycles();
        // A cycle, or half a second in its place, always ends: the loop does too.
        if ended && stretch.steps as f64 * engine.step_s() >= STRETCH_S {
            return stretch;
        }
    }
}

fn still(now: &Means, before: &Means) -> bool {
    let near = |a: f64, b: f64, within: f64| (a - b).abs() < within;
    near(now.rpm, before.rpm, STILL_RPM)
        && near(now.vac_kpa[0], before.vac_kpa[0], STILL_KPA)
        && near(now.vac_kpa[1], before.vac_kpa[1], STILL_KPA)
        && near(now.crank_kpa, before.crank_kpa, STILL_KPA)
}

/// Runs until nothing moves any more, or for as long as is allowed.
fn settle(engine: &mut Engine) -> Steady {
    let from_s = engine.now_s();
    let mut before = stretch(engine).means();
    let mut unmoved = 0;
    let mut late = Stretch::default();
    while engine.now_s() - from_s < LONGEST_S {
        let next = stretch(engine);
        let means = next.means();
        unmoved = if still(&means, &before) { unmoved + 1 } else { 0 };
        if unmoved == STILL_STRETCHES {
            return Steady { means, flows: engine.flows(), settled: true };
        }
        if engine.now_s() - from_s > LONGEST_S - STRAYING_S {
            late.join(&next);
        }
        before = means;
    }
    Steady { means: late.means(), flows: engine.flows(), settled: false }
}
