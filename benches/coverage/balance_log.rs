//! A log of two vacuums and a speed whose difference is known: what the balance is judged by.
//!
//! Each side has a level, a ripple by crank angle whose mean over a cycle is zero, a share of what the
//! speed does, and noise of its own that changes from cycle to cycle. Two sensors with their errors,
//! a logger and a clumsy mechanic stand between that and the log. The true difference is that of the
//! two levels, the means over time.

use crate::noise::{FirstOrder, Hunting, normal};
use evenbreath::findings::Conditions;
use evenbreath::sample::{Mark, RowNumbers, Track};
use evenbreath::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::f64::consts::TAU;

/// How the log lets the pair's zero be taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zero {
    /// Two sensors without error, known to be so: what is left is the measurement itself.
    Matched,
    /// Five seconds with the engine off first; offsets and gains anywhere within their limits.
    EngineOff,
    /// The same sensors, the hoses exchanged half-way and marked.
    Swap,
    /// The same sensors and nothing.
    Missing,
}

impl Zero {
    pub const ALL: [Zero; 4] = [Zero::Matched, Zero::EngineOff, Zero::Swap, Zero::Missing];
}

/// Steps of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Steps {
    /// None to speak of.
    Fine,
    /// A converter of 10 bits over 115 kPa.
    TenBits,
    /// Rounded to this many kPa.
    Rounded(f64),
}

/// When each side draws, in fractions of a cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Firing {
    pub name: &'static str,
    pub cylinders: u32,
    pub sides: [&'static [f64]; 2],
}

/// In-line four, order 1-3-4-2, sides 1+2 and 3+4: two strokes in a row, then a long pause.
pub const FOUR: Firing =
    Firing { name: "4 cylinders, uneven", cylinders: 4, sides: [&[0.0, 0.75], &[0.25, 0.5]] };
/// Sides that draw in turn.
pub const FOUR_EVEN: Firing =
    Firing { name: "4 cylinders, even", cylinders: 4, sides: [&[0.0, 0.5], &[0.25, 0.75]] };
/// Sides that draw in turn, six strokes a cycle.
pub const SIX_EVEN: Firing = Firing {
    name: "6 cylinders, even",
    cylinders: 6,
    sides: [&[0.0, 2.0 / 6.0, 4.0 / 6.0], &[1.0 / 6.0, 3.0 / 6.0, 5.0 / 6.0]],
};
/// Six with sides that do not draw in turn.
pub const SIX: Firing = Firing {
    name: "6 cylinders, uneven",
    cylinders: 6,
    sides: [&[0.0, 1.0 / 6.0, 3.0 / 6.0], &[2.0 / 6.0, 4.0 / 6.0, 5.0 / 6.0]],
};
/// Eight on a crossed crankshaft, a side for each bank: left right right left right left left right.
pub const EIGHT: Firing = Firing {
    name: "8 cylinders, uneven",
    cylinders: 8,
    sides: [&[0.0, 0.375, 0.625, 0.75], &[0.125, 0.25, 0.5, 0.875]],
};

/// What is simulated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    pub rate_hz: f64,
    /// Correlation of the noise from one cycle to the next, of speed and vacuums alike.
    pub lag1: f64,
    /// Amplitude of the hunting, rev/min.
    pub hunting_rpm: f64,
    /// Running with the hoses in one state, s.
    pub seconds: f64,
    /// True vacuum of side 1 less that of side 2, kPa.
    pub difference_kpa: f64,
    pub zero: Zero,
    pub firing: Firing,
    /// Usual speed, rev/min.
    pub rpm: f64,
    /// Standard deviation of the speed from cycle to cycle, rev/min.
    pub speed_sd_rpm: f64,
    /// Standard deviation of each side's own vacuum from cycle to cycle, kPa.
    pub side_sd_kpa: f64,
    /// Peak to peak swing of the ripple: drawn between these, kPa.
    pub swing_kpa: [f64; 2],
    /// Noise of a reading, kPa.
    pub hiss_kpa: f64,
    pub steps: Steps,
    /// The pick-up's speed is rounded to this, rev/min.
    pub speed_step_rpm: f64,
    /// Vacuum channels that speak this often, and repeat themselves in between, Hz.
    pub held_hz: Option<f64>,
    /// Doubled and halved speeds, lost and wild readings of the vacuum.
    pub dirty: bool,
    /// A warming engine: speed and vacuums creep over the log.
    pub warming: bool,
    /// The throttle is opened slowly and held again.
    pub ramp: Option<Ramp>,
}

/// A slow change of speed from one held level to another, which is held as long.
///
/// The difference is the same on both levels. On the way the linkage pulls unevenly, so that what is
/// averaged there is false.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ramp {
    /// Rise, rev/min a second.
    pub rpm_a_second: f64,
    /// From level to level, s.
    pub lasts_s: f64,
}

impl Ramp {
    /// Share of the way that is made so many seconds after the first level was left.
    fn progress(self, since_s: f64) -> f64 {
        (since_s / self.lasts_s).clamp(0.0, 1.0)
    }
}

impl Default for Plan {
    /// The central cell.
    fn default() -> Self {
        Plan {
            rate_hz: 50.0,
            lag1: 0.5,
            hunting_rpm: 10.0,
            seconds: 15.0,
            difference_kpa: 0.0,
            zero: Zero::Matched,
            firing: FOUR,
            rpm: 850.0,
            speed_sd_rpm: 8.0,
            side_sd_kpa: 0.25,
            swing_kpa: [3.0, 9.0],
            hiss_kpa: 0.05,
            steps: Steps::Fine,
            speed_step_rpm: 1.0,
            held_hz: None,
            dirty: false,
            warming: false,
            ramp: None,
        }
    }
}

/// What the sensors' specification allows, and what the program is told of it.
const OFFSET_LIMIT_KPA: f64 = 1.0;
const GAIN_LIMIT: f64 = 0.02;
/// ... of a pair without error; a limit of nothing is no specification.
const MATCHED_OFFSET_KPA: f64 = 0.01;
const MATCHED_GAIN: f64 = 0.0002;
/// Engine off before the start, and the settling after it, s.
const OFF_S: f64 = 5.0;
const SETTLING_S: f64 = 5.0;
/// Hoses off for the swap, s.
const HANDS_S: f64 = 3.0;
/// The simulation takes no longer steps, s.
const LONGEST_STEP_S: f64 = 0.005;
/// Vacuum by speed on each side, kPa a rev/min: not quite alike.
const BY_SPEED: [f64; 2] = [0.020, 0.022];
/// The means of the two levels lie here, kPa.
const LEVELS_KPA: [f64; 2] = [45.0, 62.0];
const HUNTING_PERIOD_S: f64 = 2.5;
/// Half-way up a ramp the difference is false by this, kPa: more than the largest and the tolerance
/// together, to the other side.
const ON_RAMP_KPA: f64 = -5.0;

impl Plan {
    /// What the program is told.
    pub fn conditions(&self) -> Conditions {
        let (offset, gain) = match self.zero {
            Zero::Matched => (MATCHED_OFFSET_KPA, MATCHED_GAIN),
            _ => (OFFSET_LIMIT_KPA, GAIN_LIMIT),
        };
        Conditions {
            cylinders: self.firing.cylinders,
            sensor_offset_limit_kpa: offset,
            sensor_gain_limit: gain,
            ..Conditions::default()
        }
    }

    /// Log number so-and-so.
    pub fn log(&self, seed: u64) -> Track {
        let mut random = Pcg64::seed_from_u64(seed);
        let mut engine = Running::new(self, &mut random);
        let mut box_ = Logger::new(self, &mut random);
        let day = Day::of(self);
        // Pressed before, with the hoses in hand, or late.
        let swap_mark_s = day.hands_s.0 + random.random_range(-1.0..HANDS_S + 3.0);
        let (mut rpm, mut one, mut two) = (Vec::new(), Vec::new(), Vec::new());
        let mut track = Track::default();
        let mut time_s = Vec::new();
        let dt = 1.0 / self.rate_hz;
        let parts = (dt / LONGEST_STEP_S).ceil().max(1.0);
        for k in 0..(day.end_s * self.rate_hz) as u32 {
            let t = f64::from(k) * dt;
            for _ in 0..parts as u32 {
                engine.step(dt / parts, t - day.starts_s, t / day.end_s, &mut random);
            }
            let (speed, mut seen) = engine.now(t - day.starts_s, t / day.end_s);
            if t >= day.hands_s.1 {
                seen.swap(0, 1);
            } else if t >= day.hands_s.0 {
                seen = [0.0; 2];
            }
            let [a, b] = box_.read(t, seen, &mut random);
            one.push(a);
            two.push(b);
            rpm.push(box_.pickup(speed, &mut random));
            time_s.push(t);
        }
        track.row = RowNumbers::all(time_s.len());
        track.time_s = time_s.into();
        [track.rpm, track.vac1_kpa, track.vac2_kpa] =
            [rpm, one, two].map(|column| Some(column.into()));
        if self.zero == Zero::Swap {
            track.marks.push(Mark::read(Seconds(swap_mark_s), "hoses swapped"));
        }
        track
    }
}

/// When what happens, s.
struct Day {
    starts_s: f64,
    /// Hoses come off, and are back on in each other's place.
    hands_s: (f64, f64),
    end_s: f64,
}

impl Day {
    fn of(plan: &Plan) -> Self {
        let starts_s = if plan.zero == Zero::EngineOff { OFF_S } else { 0.0 };
        let settled = if starts_s > 0.0 { starts_s + SETTLING_S } else { 0.0 };
        let first = settled + plan.seconds;
        let first = first + plan.ramp.map_or(0.0, |ramp| ramp.lasts_s + plan.seconds);
        if plan.zero == Zero::Swap {
            let back = first + HANDS_S;
            Day { starts_s, hands_s: (first, back), end_s: back + plan.seconds }
        } else {
            Day { starts_s, hands_s: (f64::INFINITY, f64::INFINITY), end_s: first }
        }
    }
}

/// Entries of a ripple over one cycle.
const POINTS: usize = 512;

/// The engine and the true vacuums.
struct Running<'a> {
    plan: &'a Plan,
    level_kpa: f64,
    ripple: [Vec<f64>; 2],
    speed_noise: FirstOrder,
    side_noise: [FirstOrder; 2],
    hunting: Hunting,
    /// Deviation of the speed from its usual, rev/min, and of each side's vacuum, kPa.
    speed: [f64; 2],
    sides: [f64; 2],
    phase: f64,
    cycle_s: f64,
}

impl<'a> Running<'a> {
    fn new(plan: &'a Plan, random: &mut Pcg64) -> Self {
        let cycle_s = 120.0 / plan.rpm;
        let ripple = plan.firing.sides.map(|strokes| {
            let swing = random.random_range(plan.swing_kpa[0]..=plan.swing_kpa[1]);
            ripple(strokes, swing, random)
        });
        let mut first_order = |sd| FirstOrder::new(sd, plan.lag1, cycle_s, random);
        let speed_noise = first_order(plan.speed_sd_rpm);
        let side_noise = [first_order(plan.side_sd_kpa), first_order(plan.side_sd_kpa)];
        let hunting = Hunting::new(plan.hunting_rpm, HUNTING_PERIOD_S, random);
        let level_kpa = random.random_range(LEVELS_KPA[0]..LEVELS_KPA[1]);
        let mut engine = Running {
            plan,
            level_kpa,
            ripple,
            speed_noise,
            side_noise,
            hunting,
            speed: [0.0; 2],
            sides: [0.0; 2],
            phase: random.random(),
            cycle_s,
        };
        engine.next_cycle(random);
        engine
    }

    fn next_cycle(&mut self, random: &mut Pcg64) {
        self.speed[0] = self.speed_noise.step(self.cycle_s, random);
        self.sides = [0, 1].map(|k| self.side_noise[k].step(self.cycle_s, random));
    }

    fn step(&mut self, dt: f64, since_start_s: f64, share: f64, random: &mut Pcg64) {
        if since_start_s < 0.0 {
            return;
        }
        self.speed[1] = self.hunting.step(dt, random);
        self.phase += self.rpm(since_start_s, share) / 120.0 * dt;
        if self.phase >= 1.0 {
            self.phase -= 1.0;
            self.next_cycle(random);
        }
    }

    fn rpm(&self, since_start_s: f64, share: f64) -> f64 {
        let flare = if self.plan.zero == Zero::EngineOff { 300.0 } else { 0.0 };
        let creep = if self.plan.warming { 24.0 * (share - 0.5) } else { 0.0 };
        let settling = flare * (-since_start_s / 0.7).exp();
        let climbed = self
            .plan
            .ramp
            .map_or(0.0, |ramp| ramp.rpm_a_second * ramp.lasts_s * self.on_ramp(since_start_s));
        self.plan.rpm + self.speed[0] + self.speed[1] + settling + creep + climbed
    }

    /// Share of the ramp that is made.
    fn on_ramp(&self, since_start_s: f64) -> f64 {
        let ramp = self.plan.ramp;
        ramp.map_or(0.0, |ramp| ramp.progress(since_start_s - self.plan.seconds))
    }

    /// Speed and vacuums; `share` of the log has passed.
    fn now(&self, since_start_s: f64, share: f64) -> (f64, [f64; 2]) {
        if since_start_s < 0.0 {
            return (0.0, [0.0; 2]);
        }
        let at = self.phase * POINTS as f64;
        let creep = if self.plan.warming { 3.0 * (share - 0.5) } else { 0.0 };
        // Both ends of the ramp without a kink: nothing of it reaches into the levels.
        let uneven = ON_RAMP_KPA * (0.5 * TAU * self.on_ramp(since_start_s)).sin().powi(2);
        let vacuum = [0, 1].map(|k| {
            let (from, part) = (at as usize % POINTS, at.fract());
            let ripple = &self.ripple[k];
            let ripple = ripple[from] + part * (ripple[(from + 1) % POINTS] - ripple[from]);
            let half = [0.5, -0.5][k] * (self.plan.difference_kpa + uneven);
            let by_speed = BY_SPEED[k] * (self.speed[0] + self.speed[1]);
            self.level_kpa + half + by_speed + creep + self.sides[k] + ripple
        });
        (self.rpm(since_start_s, share), vacuum)
    }
}

/// Ripple of a side over a cycle: a hump a stroke, no two cylinders quite alike; mean zero.
fn ripple(strokes: &[f64], swing: f64, random: &mut Pcg64) -> Vec<f64> {
    const SHARP: f64 = 6.0;
    let heights: Vec<f64> = strokes.iter().map(|_| 1.0 + 0.1 * normal(random)).collect();
    let mut shape: Vec<f64> = (0..POINTS)
        .map(|k| {
            let at = k as f64 / POINTS as f64;
            let hump = |from: &f64| (SHARP * ((TAU * (at - from)).cos() - 1.0)).exp();
            strokes.iter().zip(&heights).map(|(from, height)| height * hump(from)).sum()
        })
        .collect();
    let mean = shape.iter().sum::<f64>() / POINTS as f64;
    let high = shape.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = shape.iter().copied().fold(f64::INFINITY, f64::min);
    shape.iter_mut().for_each(|v| *v = swing * (*v - mean) / (high - low));
    shape
}

/// Two sensors and the box.
struct Logger<'a> {
    plan: &'a Plan,
    offset: [f64; 2],
    gain: [f64; 2],
    /// Next time at which a held channel speaks, s, and what it said last.
    next_s: [f64; 2],
    last: [f64; 2],
    /// Readings are lost until then, s.
    lost_until_s: f64,
    lost: usize,
}

impl<'a> Logger<'a> {
    fn new(plan: &'a Plan, random: &mut Pcg64) -> Self {
        let reach = if plan.zero == Zero::Matched { 0.0 } else { 1.0 };
        let mut two = |limit: f64| [0, 1].map(|_| reach * limit * random.random_range(-1.0..=1.0));
        let (offset, gain) = (two(OFFSET_LIMIT_KPA), two(GAIN_LIMIT).map(|g| 1.0 + g));
        let period = plan.held_hz.map_or(0.0, |hz| 1.0 / hz);
        let next_s = [0, 1].map(|_| -period * random.random::<f64>());
        Logger { plan, offset, gain, next_s, last: [0.0; 2], lost_until_s: -1.0, lost: 0 }
    }

    fn read(&mut self, t: f64, seen: [f64; 2], random: &mut Pcg64) -> [f64; 2] {
        let period = self.plan.held_hz.map_or(0.0, |hz| 1.0 / hz);
        for (k, seen) in seen.into_iter().enumerate() {
            if t < self.next_s[k] {
                continue;
            }
            while self.next_s[k] <= t && period > 0.0 {
                self.next_s[k] += period;
            }
            let hiss = self.plan.hiss_kpa * normal(random);
            let value = self.offset[k] + self.gain[k] * seen + hiss;
            let step = match self.plan.steps {
                Steps::Fine => 0.001,
                Steps::TenBits => 115.0 / 1023.0,
                Steps::Rounded(step) => step,
            };
            self.last[k] = step * (value / step).round();
        }
        let mut out = self.last;
        if self.plan.dirty {
            // About three losses in 15 s, each up to a second, on one side or the other.
            if random.random::<f64>() < 0.2 / self.plan.rate_hz {
                (self.lost, self.lost_until_s) =
                    (random.random_range(0..2), t + random.random_range(0.1..1.0));
            }
            if t < self.lost_until_s {
                out[self.lost] = f64::NAN;
            }
            for reading in &mut out {
                if random.random::<f64>() < 0.002 {
                    *reading = random.random_range(0.0..100.0);
                }
            }
        }
        out
    }

    fn pickup(&self, speed: f64, random: &mut Pcg64) -> f64 {
        let step = self.plan.speed_step_rpm;
        let shown = step * ((speed + 0.5 * normal(random)).max(0.0) / step).round();
        let wild: f64 = if self.plan.dirty { random.random() } else { 1.0 };
        match wild {
            w if w < 0.015 => 2.0 * shown,
            w if w < 0.025 => 0.5 * shown,
            _ => shown,
        }
    }
}
