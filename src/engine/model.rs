//! The engine as a whole, moved on in small steps of time.
//!
//! A filling-and-emptying model, after Heywood, Internal Combustion Engine Fundamentals (1988),
//! chapters 7 and 14 (from memory), with the cylinders taken stroke by stroke. Explicit steps of
//! [`STEP_S`] solve
//!
//! | what | equation |
//! |---|---|
//! | air in a tract | `dm/dt = m_throttle + m_leak +- m_pipe - m_drawn`, `p = m R T/V`, `T` fixed |
//! | flow past throttle, leak, pipe | isentropic flow to the narrowest section: [`crate::gas::orifice`] |
//! | flow into a cylinder | speed-density, stroke by stroke: `m_drawn = m/V * dV_piston/dt * filling` |
//! | fuel | equivalence ratio of the side times the air that passes its jet |
//! | depression behind the slide | full once the flow lifts the slide, below that as flow squared |
//! | crankcase | [`super::breather`] |
//! | crank | `J dw/dt = gas + starter - friction - pumping - fan` |
//!
//! Heat to the tract walls, fuel films, valve overlap and pressure waves are left out: at idle the
//! tract is far shorter than a wave and slower than a cylinder. The depression law and the lags are
//! common practice, no published source.

use super::Action;
use super::breather::Breather;
use super::charge::Charge;
use super::combustion::{self, Arc, CYCLE, Cylinder};
use super::driver::Foot;
use super::noise::{Swing, Wander};
use super::settings::{Settings, Side};
use super::throughput::{CycleCut, Flows, Held, Ledger, STOICHIOMETRIC, Throughput, Work};
use super::tract::{Tract, flow};
use super::tune::{Hoses, Tune};
use crate::units::Kpa;
use rand_pcg::Pcg64;

/// Step of the integration, s: 1.3 degrees of crank at idle, 4 at 2800 rev/min.
pub(super) const STEP_S: f64 = 0.25e-3;

/// The longest step that [`Engine::with_step`] takes, s.
const LONGEST_STEP_S: f64 = 0.5e-3;

/// Flow through a throttle below which the slide rests and the depression falls, kg/s.
const RESTING_FLOW: f64 = 1.2e-3;

/// Time in which the slide follows the flow, s.
const SLIDE_S: f64 = 0.05;

/// Speed below which an engine that is not cranked stands still, rad/s.
const STANDSTILL: f64 = 3.0;

/// Speed at which the starter lets go, rad/s.
const CAUGHT: f64 = 45.0;

/// What is true of the engine at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Speed of the crank, rev/min.
    pub rpm: f64,
    /// Vacuum of tract 1 and tract 2 below the atmosphere.
    pub vacuum: [Kpa; 2],
    /// Vacuum at the ends of hose 1 and hose 2.
    pub at_hoses: [Kpa; 2],
    /// Crankcase below the atmosphere; negative when it is above.
    pub crankcase: Kpa,
}

/// A spark, as a pick-up on the ignition lead sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spark {
    /// When, s.
    pub(super) at_s: f64,
    /// Place in the firing order: the lobe of the distributor.
    pub(super) lobe: usize,
}

/// Flows into the tracts in one step, kg/s.
#[derive(Debug, Clone, Copy, Default)]
struct Inflow {
    throttle: [f64; 2],
    leak: [f64; 2],
    /// From tract 1 to tract 2.
    pipe: f64,
}

/// Account of the air of one tract since the engine was made, kg.
#[cfg(test)]
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Account {
    pub(super) entered: f64,
    pub(super) drawn: f64,
}

/// The model engine.
///
/// ```
/// use evenbreath::engine::{Action, Engine, Settings};
/// let mut engine = Engine::new(Settings::default(), 7);
/// engine.act(Action::EngineOn);
/// engine.run(10.0);
/// let look = engine.look();
/// assert!((700.0..1000.0).contains(&look.rpm));
/// ```
#[derive(Debug, Clone)]
pub struct Engine {
    settings: Settings,
    random: Pcg64,
    step_s: f64,
    steps: u64,
    angle: f64,
    omega: f64,
    tracts: [Tract; 2],
    cylinders: Vec<Cylinder>,
    breather: Breather,
    foot: Foot,
    wander: Wander,
    swing: Option<Swing>,
    tune: Tune,
    depression: [f64; 2],
    lit: bool,
    cranked: bool,
    /// Friction when the engine was made, as a share of that of a warm one.
    friction_share: f64,
    last_spark_s: f64,
    passed: Throughput,
    cut: CycleCut,
    work: Work,
}

impl Engine {
    /// An engine at rest, warm, cap on, hoses on their own taps.
    pub fn new(settings: Settings, seed: u64) -> Self {
        let mut random = Pcg64::new(u128::from(seed), 1);
        let pressure = settings.baro_pa;
        let tract = |side: usize| {
            Tract::new(settings.tract_m3, settings.tract_k, pressure, settings.mixture[side])
        };
        let wander = Wander::new(settings.wander_spread, settings.wander_s, &mut random);
        let swing = settings.hunting.map(|h| Swing::new(h.period_s, h.depth, &mut random));
        let foot = Foot::new(settings.stroke_spread == 0.0, &mut random);
        Engine {
            tracts: [tract(0), tract(1)],
            cylinders: cylinders(&settings),
            breather: Breather::new(&settings),
            foot,
            wander,
            swing,
            tune: Tune::new(&settings),
            depression: [0.0; 2],
            lit: false,
            cranked: false,
            friction_share: 1.0,
            last_spark_s: 0.0,
            passed: Throughput::default(),
            cut: CycleCut::new(),
            work: Work::default(),
            step_s: STEP_S,
            steps: 0,
            angle: 0.0,
            omega: 0.0,
            random,
            settings,
        }
    }

    /// The same in steps of another length, s, of at most half a millisecond: to see what the step
    /// does to the result.
    pub fn with_step(settings: Settings, seed: u64, step_s: f64) -> Self {
        let step_s = if step_s > 0.0 { step_s.min(LONGEST_STEP_S) } else { STEP_S };
        Engine { step_s, ..Engine::new(settings, seed) }
    }

    /// The same engine in its state of this instant, and from now on without random variation: it
    /// goes to the steady state about which the other wanders.
    pub fn calmed(&self) -> Engine {
        let mut engine = self.clone();
        engine.friction_share = self.friction_share_now();
        engine.settings = self.settings.calm();
        engine.wander.calm();
        engine.swing = None;
        engine.foot.calm();
        engine
    }

    /// Does what a person would do, at once.
    ///
    /// A value out of reach is taken to the end of its reach, and one that is no number changes
    /// nothing.
    pub fn act(&mut self, action: Action) {
        match action {
            Action::EngineOff => (self.lit, self.cranked) = (false, false),
            Action::EngineOn => (self.lit, self.cranked) = (true, true),
            Action::Hold(rpm) => self.foot.hold(rpm.0),
            Action::Release => self.foot.release(),
            tuned => self.tune.act(tuned, &self.settings),
        }
    }

    /// Time since the engine was made, s.
    pub fn now_s(&self) -> f64 {
        self.steps as f64 * self.step_s
    }

    /// Length of a step, s.
    pub fn step_s(&self) -> f64 {
        self.step_s
    }

    /// Runs for a while.
    pub fn run(&mut self, seconds: f64) {
        for _ in 0..(seconds / self.step_s).round() as u64 {
            self.step();
        }
    }

    /// What is true now.
    pub fn look(&self) -> Look {
        let below = |pressure: f64| Kpa((self.settings.baro_pa - pressure) / 1000.0);
        let vacuum = [below(self.tracts[0].pressure()), below(self.tracts[1].pressure())];
        let at_hoses = match self.tune.hoses {
            Hoses::Direct => vacuum,
            Hoses::Swapped => [vacuum[1], vacuum[0]],
            Hoses::Together => [vacuum[0]; 2],
            Hoses::Off => [Kpa(0.0); 2],
        };
        let crankcase = below(self.breather.pressure);
        Look { rpm: combustion::rpm_of(self.omega), vacuum, at_hoses, crankcase }
    }

    /// Mean flows over the last working cycle.
    pub fn flows(&self) -> Flows {
        let crankcase = Kpa((self.settings.baro_pa - self.breather.pressure) / 1000.0);
        let depression = self.depression.map(|pascals| Kpa(pascals / 1000.0));
        let mixture = [self.tracts[0].charge.mixture(), self.tracts[1].charge.mixture()];
        self.cut.flows(crankcase, depression, mixture)
    }

    /// What passed, what is there, and what work was done since the engine was made.
    pub fn ledger(&self) -> Ledger {
        let tract_kg = [self.tracts[0].charge.air, self.tracts[1].charge.air];
        let held = Held { tract_kg, crankcase_kg: self.breather.held_kg() };
        let kinetic_j = 0.5 * self.settings.inertia * self.omega * self.omega;
        Ledger { passed: self.passed, held, work: Work { kinetic_j, ..self.work } }
    }

    /// Working cycles that have ended, or half seconds without one.
    pub(super) fn cycles(&self) -> u64 {
        self.cut.cuts
    }

    /// Moves on by one step; the spark, if one fell into it.
    pub(super) fn step(&mut self) -> Option<Spark> {
        let rpm = combustion::rpm_of(self.omega);
        let travel = self.foot.advance(rpm, self.step_s, &mut self.random);
        let inflow = self.inflow(travel);
        self.fill(&inflow, rpm);
        let turn = self.omega * self.step_s;
        let torque = self.draw_and_push(turn, rpm);
        let from = self.angle;
        self.omega = (self.omega + torque / self.settings.inertia * self.step_s).max(0.0);
        if self.omega < STANDSTILL && !self.cranked && torque < 0.0 {
            self.omega = 0.0;
        }
        if self.omega > CAUGHT {
            self.cranked = false;
        }
        self.angle = (from + turn) % CYCLE;
        self.steps += 1;
        self.cut.see(&self.passed, self.steps, self.step_s, from + turn >= CYCLE);
        self.sparks(from, turn, rpm)
    }

    fn inflow(&self, travel: f64) -> Inflow {
        let s = &self.settings;
        let pressure = [self.tracts[0].pressure(), self.tracts[1].pressure()];
        let mut inflow = Inflow::default();
        for side in Side::BOTH.map(Side::index) {
            let moved = (travel - s.lost_motion[side]).max(0.0);
            let open = self.tune.idle_area_mm2[side] + s.linkage_area_mm2[side] * moved;
            let upstream = s.baro_pa - self.depression[side];
            inflow.throttle[side] = flow(open * 1e-6, upstream, pressure[side], s.ambient_k);
            let leak = self.tune.leak_mm2(side);
            if leak > 0.0 {
                inflow.leak[side] = flow(leak * 1e-6, s.baro_pa, pressure[side], s.ambient_k);
            }
        }
        if s.balance_pipe_mm2 > 0.0 {
            inflow.pipe = flow(s.balance_pipe_mm2 * 1e-6, pressure[0], pressure[1], s.tract_k);
        }
        inflow
    }

    /// Fills the tracts. A carburettor meters fuel to the air that passes its jet; what comes from
    /// the breather passes the throttle and not the jet, and takes the place of metered air.
    ///
    /// Blow-by grows with the pressure in the cylinders, taken as that of the charge, up to idle
    /// speed with the number of strokes: common practice, no published source.
    fn fill(&mut self, inflow: &Inflow, rpm: f64) {
        let (s, step_s) = (&self.settings, self.step_s);
        let pressure = 0.5 * (self.tracts[0].pressure() + self.tracts[1].pressure());
        let blow_by = s.blow_by * pressure / 44.0e3 * (rpm / 850.0).clamp(0.0, 1.0);
        let passed = &mut self.passed;
        let given =
            self.breather.advance((s, &self.tune), self.depression, blow_by, step_s, passed);
        for side in Side::BOTH.map(Side::index) {
            let air = inflow.throttle[side];
            let metered = (air - given[side].fresh).max(0.0);
            let fuel = self.tune.mixture[side] * metered;
            let entered = (air + inflow.leak[side]) * step_s;
            self.tracts[side].charge.add(Charge { air: entered, fuel: fuel * step_s });
            passed.throttle_kg[side] += air * step_s;
            passed.tract_leak_kg[side] += inflow.leak[side] * step_s;
            passed.fuel_kg[side] += fuel * step_s / STOICHIOMETRIC;
            let pull = s.depression_pa * (air / RESTING_FLOW).powi(2).min(1.0);
            self.depression[side] += (pull - self.depression[side]) * step_s / SLIDE_S;
        }
        let (from, to) = if inflow.pipe >= 0.0 { (0, 1) } else { (1, 0) };
        let piped = self.tracts[from].charge.take(inflow.pipe.abs() * step_s);
        self.tracts[to].charge.add(piped);
        passed.pipe_kg += piped.air.copysign(inflow.pipe);
    }

    /// Lets the cylinders draw through a small turn, and sums the torques on the crank, N m.
    fn draw_and_push(&mut self, turn: f64, rpm: f64) -> f64 {
        let s = &self.settings;
        let swept = s.swept_m3 / self.cylinders.len() as f64;
        let mut torque = 0.0;
        for cylinder in &mut self.cylinders {
            let from = (self.angle - cylinder.start).rem_euclid(CYCLE);
            let arc = Arc { from, to: from + turn };
            let volume = Cylinder::swept(arc, swept);
            let tract = &mut self.tracts[cylinder.tract];
            if volume > 0.0 {
                let share = combustion::filling(tract.pressure(), s.baro_pa, s.compression);
                let air = tract.density() * volume * share * cylinder.draw_now;
                let drawn = tract.charge.take(air);
                self.passed.drawn_kg[cylinder.tract] += drawn.air;
                cylinder.draw_in(drawn);
            }
            torque += cylinder.torque(arc);
        }
        self.work.gas_j += torque * turn;
        self.net_torque(torque, turn, rpm)
    }

    /// What friction, pumping, fan and starter make of the torque of the gas, N m.
    ///
    /// Pumping is the ideal throttled intake stroke: mean effective pressure `p_exhaust - p_tract`,
    /// with the exhaust at the atmosphere (Heywood, chapters 5 and 13; from memory).
    fn net_torque(&mut self, gas: f64, turn: f64, rpm: f64) -> f64 {
        let s = &self.settings;
        let pumping: f64 =
            self.tracts.iter().map(|t| 0.5 * (s.baro_pa - t.pressure()).max(0.0)).sum();
        let friction = combustion::friction_pressure(rpm) * self.friction_share_now();
        let mut torque = gas - combustion::torque_of(friction + pumping, s.swept_m3);
        self.work.friction_j += combustion::torque_of(friction, s.swept_m3) * turn;
        self.work.pumping_j += combustion::torque_of(pumping, s.swept_m3) * turn;
        if self.tune.fan {
            torque -= s.fan_nm;
            self.work.fan_j += s.fan_nm * turn;
        }
        if self.cranked {
            let starter = combustion::starter_torque(rpm);
            torque += starter;
            self.work.starter_j += starter * turn;
        }
        torque
    }

    /// Friction now as a share of that of a warm engine.
    fn friction_share_now(&self) -> f64 {
        let warmed = self.settings.warming * self.steps as f64 * self.step_s;
        (self.friction_share - warmed).max(0.5)
    }

    /// Lights the cylinders whose compression ends in this turn.
    fn sparks(&mut self, from: f64, turn: f64, rpm: f64) -> Option<Spark> {
        let now = self.now_s();
        let mut spark = None;
        for lobe in 0..self.cylinders.len() {
            let since = (from - self.cylinders[lobe].start).rem_euclid(CYCLE);
            let ahead = CYCLE / 2.0 - since;
            if !(ahead > 0.0 && ahead <= turn) {
                continue;
            }
            let passed = now - self.last_spark_s;
            self.last_spark_s = now;
            self.wander.advance(passed, &mut self.random);
            let mut common = self.wander.value;
            if let Some(swing) = &mut self.swing {
                swing.advance(passed, &mut self.random);
                common += swing.value();
            }
            let cylinder = &mut self.cylinders[lobe];
            cylinder.spark(&self.settings, rpm, common, self.lit, &mut self.random);
            if self.lit {
                spark = Some(Spark { at_s: now - (1.0 - ahead / turn) * self.step_s, lobe });
            }
        }
        spark
    }

    #[cfg(test)]
    pub(super) fn accounts(&self) -> [Account; 2] {
        let passed = &self.passed;
        [0, 1].map(|side: usize| Account {
            entered: passed.throttle_kg[side] + passed.tract_leak_kg[side],
            drawn: passed.drawn_kg[side],
        })
    }

    #[cfg(test)]
    pub(super) fn air_in_tracts(&self) -> [f64; 2] {
        [self.tracts[0].charge.air, self.tracts[1].charge.air]
    }
}

fn cylinders(settings: &Settings) -> Vec<Cylinder> {
    let order = settings.layout.firing_order();
    let spacing = CYCLE / order.len() as f64;
    order
        .iter()
        .enumerate()
        .map(|(place, &number)| {
            let draw = settings.draw.get(number - 1).copied().unwrap_or(1.0);
            Cylinder::new(place as f64 * spacing, settings.layout.side(number).index(), draw)
        })
        .collect()
}
