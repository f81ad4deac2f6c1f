//! The engine as a whole, moved on in small steps of time.

use super::Action;
use super::breather::Breather;
use super::charge::Charge;
use super::combustion::{self, Arc, CYCLE, Cylinder};
use super::driver::Foot;
use super::noise::{Swing, Wander};
use super::settings::{Settings, Side};
use super::tract::{Tract, flow};
use crate::gas::orifice::area_of_hole;
use crate::units::Kpa;
use rand_pcg::Pcg64;

/// Step of the integration, s: 1.3 degrees of crank at idle, 4 at 2800 rev/min.
pub(super) const STEP_S: f64 = 0.25e-3;

/// Flow through a throttle below which the slide rests and the depression falls, kg/s.
const RESTING_FLOW: f64 = 1.2e-3;

/// Discharge coefficient of a drilled or torn hole. Common practice, no published source.
const HOLE_DISCHARGE: f64 = 0.7;

/// Effective area of a vacuum tap while a person changes hoses over, mm2.
const OPEN_TAP_MM2: f64 = 0.6;

/// Speed below which an engine that is not cranked stands still, rad/s.
const STANDSTILL: f64 = 3.0;

/// Speed at which the starter lets go, rad/s.
const CAUGHT: f64 = 45.0;

/// Where the hoses are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Hoses {
    Direct,
    Swapped,
    Together,
    Off,
}

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

/// Flows of one step, kg/s.
#[derive(Debug, Clone, Copy, Default)]
struct Flows {
    throttle: [f64; 2],
    leak: [f64; 2],
    /// From tract 1 to tract 2.
    pipe: f64,
}

/// Account of the air of one tract since the engine was made, kg.
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
    steps: u64,
    angle: f64,
    omega: f64,
    tracts: [Tract; 2],
    cylinders: Vec<Cylinder>,
    breather: Breather,
    foot: Foot,
    wander: Wander,
    swing: Option<Swing>,
    idle_area_mm2: [f64; 2],
    leak_mm2: [f64; 2],
    depression: [f64; 2],
    hoses: Hoses,
    lit: bool,
    cranked: bool,
    fan: bool,
    last_spark_s: f64,
    accounts: [Account; 2],
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
            idle_area_mm2: settings.idle_area_mm2,
            leak_mm2: settings.tract_leak_mm2,
            depression: [0.0; 2],
            hoses: Hoses::Direct,
            lit: false,
            cranked: false,
            fan: false,
            last_spark_s: 0.0,
            accounts: [Account::default(); 2],
            steps: 0,
            angle: 0.0,
            omega: 0.0,
            random,
            settings,
        }
    }

    /// Does what a person would do, at once.
    pub fn act(&mut self, action: Action) {
        match action {
            Action::CapOff => self.breather.open = true,
            Action::CapOn => self.breather.open = false,
            Action::EngineOff => (self.lit, self.cranked) = (false, false),
            Action::EngineOn => (self.lit, self.cranked) = (true, true),
            Action::OpenThrottle { side, fraction } => {
                self.idle_area_mm2[side.index()] *= (1.0 + fraction).max(0.0);
            }
            Action::HosesOff => self.hoses = Hoses::Off,
            Action::HosesSwapped => self.hoses = Hoses::Swapped,
            Action::HosesDirect => self.hoses = Hoses::Direct,
            Action::HosesTogether => self.hoses = Hoses::Together,
            Action::Hold(rpm) => self.foot.hold(rpm.0),
            Action::Release => self.foot.release(),
            Action::FanOn => self.fan = true,
            Action::FanOff => self.fan = false,
            Action::TractLeak { side, hole } => self.leak_mm2[side.index()] = hole_mm2(hole.0),
            Action::SealLeak(hole) => self.breather.seal_leak_mm2 = hole_mm2(hole.0),
        }
    }

    /// Time since the engine was made, s.
    pub fn now_s(&self) -> f64 {
        self.steps as f64 * STEP_S
    }

    /// Runs for a while.
    pub fn run(&mut self, seconds: f64) {
        for _ in 0..(seconds / STEP_S).round() as u64 {
            self.step();
        }
    }

    /// What is true now.
    pub fn look(&self) -> Look {
        let below = |pressure: f64| Kpa((self.settings.baro_pa - pressure) / 1000.0);
        let vacuum = [below(self.tracts[0].pressure()), below(self.tracts[1].pressure())];
        let at_hoses = match self.hoses {
            Hoses::Direct => vacuum,
            Hoses::Swapped => [vacuum[1], vacuum[0]],
            Hoses::Together => [vacuum[0]; 2],
            Hoses::Off => [Kpa(0.0); 2],
        };
        let crankcase = below(self.breather.pressure);
        Look { rpm: combustion::rpm_of(self.omega), vacuum, at_hoses, crankcase }
    }

    /// Moves on by one step; the spark, if one fell into it.
    pub(super) fn step(&mut self) -> Option<Spark> {
        let rpm = combustion::rpm_of(self.omega);
        let travel = self.foot.advance(rpm, STEP_S, &mut self.random);
        let flows = self.flows(travel);
        self.fill(&flows, rpm);
        let turn = self.omega * STEP_S;
        let torque = self.draw_and_push(turn, rpm);
        let from = self.angle;
        self.omega = (self.omega + torque / self.settings.inertia * STEP_S).max(0.0);
        if self.omega < STANDSTILL && !self.cranked && torque < 0.0 {
            self.omega = 0.0;
        }
        if self.omega > CAUGHT {
            self.cranked = false;
        }
        self.angle = (from + turn) % CYCLE;
        self.steps += 1;
        self.sparks(from, turn, rpm)
    }

    fn flows(&self, travel: f64) -> Flows {
        let s = &self.settings;
        let pressure = [self.tracts[0].pressure(), self.tracts[1].pressure()];
        let tap = if self.hoses == Hoses::Off { OPEN_TAP_MM2 } else { 0.0 };
        let mut flows = Flows::default();
        for side in Side::BOTH.map(Side::index) {
            let moved = (travel - s.lost_motion[side]).max(0.0);
            let open = self.idle_area_mm2[side] + s.linkage_area_mm2[side] * moved;
            let upstream = s.baro_pa - self.depression[side];
            flows.throttle[side] = flow(open * 1e-6, upstream, pressure[side], s.ambient_k);
            let leak = self.leak_mm2[side] + tap;
            if leak > 0.0 {
                flows.leak[side] = flow(leak * 1e-6, s.baro_pa, pressure[side], s.ambient_k);
            }
        }
        if s.balance_pipe_mm2 > 0.0 {
            flows.pipe = flow(s.balance_pipe_mm2 * 1e-6, pressure[0], pressure[1], s.tract_k);
        }
        flows
    }

    /// Fills the tracts. A carburettor meters fuel to the air that passes its jet; what comes from
    /// the breather passes the throttle and not the jet, and takes the place of metered air.
    fn fill(&mut self, flows: &Flows, rpm: f64) {
        let s = &self.settings;
        let pressure = 0.5 * (self.tracts[0].pressure() + self.tracts[1].pressure());
        let blow_by = s.blow_by * pressure / 44.0e3 * (rpm / 850.0).clamp(0.0, 1.0);
        let given = self.breather.advance(s, self.depression, blow_by, STEP_S);
        for side in Side::BOTH.map(Side::index) {
            let air = flows.throttle[side];
            let metered = (air - given[side].fresh).max(0.0);
            let fuel = s.mixture[side] * metered;
            let entered = (air + flows.leak[side]) * STEP_S;
            self.tracts[side].charge.add(Charge { air: entered, fuel: fuel * STEP_S });
            self.accounts[side].entered += entered;
            let pull = s.depression_pa * (air / RESTING_FLOW).powi(2).min(1.0);
            self.depression[side] += (pull - self.depression[side]) * STEP_S / 0.05;
        }
        let (from, to) = if flows.pipe >= 0.0 { (0, 1) } else { (1, 0) };
        let passed = self.tracts[from].charge.take(flows.pipe.abs() * STEP_S);
        self.tracts[to].charge.add(passed);
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
                self.accounts[cylinder.tract].drawn += drawn.air;
                cylinder.draw_in(drawn);
            }
            torque += cylinder.torque(arc);
        }
        let pumping: f64 =
            self.tracts.iter().map(|t| 0.5 * (s.baro_pa - t.pressure()).max(0.0)).sum();
        let warm = (1.0 - s.warming * self.steps as f64 * STEP_S).max(0.5);
        let losses = combustion::friction_pressure(rpm) * warm + pumping;
        torque -= combustion::torque_of(losses, s.swept_m3);
        if self.fan {
            torque -= s.fan_nm;
        }
        if self.cranked {
            torque += combustion::starter_torque(rpm);
        }
        torque
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
                spark = Some(Spark { at_s: now - (1.0 - ahead / turn) * STEP_S, lobe });
            }
        }
        spark
    }

    #[cfg(test)]
    pub(super) fn accounts(&self) -> [Account; 2] {
        self.accounts
    }

    #[cfg(test)]
    pub(super) fn air_in_tracts(&self) -> [f64; 2] {
        [self.tracts[0].charge.air, self.tracts[1].charge.air]
    }
}

fn hole_mm2(diameter_mm: f64) -> f64 {
    HOLE_DISCHARGE * area_of_hole(diameter_mm * 1e-3) * 1e6
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
