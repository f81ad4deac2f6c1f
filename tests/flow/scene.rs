//! Two pulsating flows, two meters on them, and a log of it.
//!
//! A side feeds two cylinders; each draws over a quarter of the cycle, as half a sine wave with the piston's
//! speed, by an amount that differs from cycle to cycle. The tract evens out a part of that. A meter reads
//! a pressure that grows with the square of the flow, to which its zero, the drift of that and its noise are
//! added. The engine hunts, and both flows with it; each flow also wanders a little by itself.

use evenbreath::findings::Conditions;
use evenbreath::findings::flow::{self, Flow};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal;
use evenbreath::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;
use std::f64::consts::{PI, TAU};

/// When the strokes of each side begin, in cycles: an in-line four that fires 1-3-4-2.
const STROKES: [[f64; 2]; 2] = [[0.0, 0.75], [0.25, 0.5]];
/// Seconds for which the meters are in the hand while they change places.
const MOVE_S: f64 = 6.0;

#[derive(Clone, Debug)]
pub struct Scene {
    /// Mean flow of side 1 by that of side 2.
    pub ratio: f64,
    pub rpm: f64,
    pub rate_hz: f64,
    /// Pressure that a steady flow of side 2's mean would give, Pa.
    pub pressure_pa: f64,
    /// Share of each side's flow that pulsates; above 1 it runs back for a while.
    pub depth: [f64; 2],
    /// Noise of a reading, Pa, and its correlation from one reading to the next.
    pub noise_pa: f64,
    pub correlation: f64,
    /// Limit of a meter's zero, Pa.
    pub zero_pa: f64,
    /// By how much each zero moves from the start of the log to its end, Pa.
    pub drift_pa: f64,
    /// Limit of a meter's constant, share of the flow.
    pub constant: f64,
    /// Standard deviation of each flow's own wander, and how long that lasts, s.
    pub wander: (f64, f64),
    /// Depth of the hunting, share of the speed.
    pub hunting: f64,
    /// Seconds running with the meters in one place.
    pub runs_s: f64,
    /// Seconds with the engine off, before and after.
    pub off_s: [f64; 2],
    /// The meters change places after the first stretch.
    pub swap: bool,
    /// Step of the converter, Pa.
    pub step_pa: f64,
}

impl Default for Scene {
    fn default() -> Self {
        Scene {
            ratio: 1.0,
            rpm: 850.0,
            rate_hz: 100.0,
            pressure_pa: 150.0,
            depth: [0.8; 2],
            noise_pa: 2.0,
            correlation: 0.0,
            zero_pa: 10.0,
            drift_pa: 0.0,
            constant: 0.02,
            wander: (0.01, 0.5),
            hunting: 0.01,
            runs_s: 20.0,
            off_s: [6.0, 0.0],
            swap: true,
            step_pa: 0.1,
        }
    }
}

/// A value that wanders about nothing with a memory.
struct Wander {
    keeps: f64,
    sd: f64,
    at: f64,
}

impl Wander {
    fn new(sd: f64, lasts_s: f64, step_s: f64, random: &mut Pcg64) -> Self {
        Wander {
            keeps: (-step_s / lasts_s).exp(),
            sd,
            at: sd * random.sample::<f64, _>(StandardNormal),
        }
    }

    fn next(&mut self, random: &mut Pcg64) -> f64 {
        let fresh: f64 = random.sample(StandardNormal);
        self.at = self.keeps * self.at + self.sd * (1.0 - self.keeps * self.keeps).sqrt() * fresh;
        self.at
    }
}

/// A stroke that begins between two phases draws an amount of its own.
fn draw(strokes: &mut [[f64; 2]; 2], (before, phase): (f64, f64), random: &mut Pcg64) {
    for (stroke, at) in strokes.iter_mut().flatten().zip(STROKES.iter().flatten()) {
        if (phase - at).floor() > (before - at).floor() {
            *stroke = 1.0 + 0.05 * random.sample::<f64, _>(StandardNormal);
        }
    }
}

/// What the strokes of a side draw at a phase: half a sine wave each.
fn drawn(strokes: &[f64; 2], side: usize, phase: f64) -> f64 {
    let of = |(stroke, at): (&f64, &f64)| {
        let share = (phase - at).rem_euclid(1.0) / 0.25;
        if share < 1.0 { stroke * (PI * share).sin() } else { 0.0 }
    };
    strokes.iter().zip(&STROKES[side]).map(of).sum()
}

impl Scene {
    /// When the engine starts, when the meters come off and are back on, and when it stops, s.
    fn times(&self) -> (f64, f64, f64, f64) {
        let start = self.off_s[0];
        let move_from = start + 2.0 + self.runs_s;
        let move_to = move_from + MOVE_S;
        let stop = if self.swap { move_to + 2.0 + self.runs_s } else { move_from };
        (start, move_from, move_to, stop)
    }

    pub fn track(&self, seed: u64) -> Track {
        let random = &mut Pcg64::seed_from_u64(seed ^ 0xf10);
        let step_s = 1.0 / self.rate_hz;
        let (start, move_from, move_to, stop) = self.times();
        let count = ((stop + self.off_s[1]) * self.rate_hz) as usize;
        let limit = |limit: f64, random: &mut Pcg64| limit * random.random_range(-1.0..=1.0);
        let constants = [0, 1].map(|_| 1.0 + limit(self.constant, random));
        let zeros = [0, 1].map(|_| limit(self.zero_pa, random));
        let drifts =
            [0, 1].map(|_| self.drift_pa * if random.random_bool(0.5) { 1.0 } else { -1.0 });
        let mut own = [0, 1].map(|_| Wander::new(self.wander.0, self.wander.1, step_s, random));
        let memory_s = -step_s / self.correlation.max(1e-12).ln();
        let mut noise = [0, 1].map(|_| Wander::new(self.noise_pa, memory_s, step_s, random));
        let hunts_at = random.random_range(0.0..TAU);
        let mut strokes = [[1.0; 2]; 2];
        let (mut phase, mut columns, mut speed) = (0.0_f64, [vec![], vec![]], vec![]);
        for k in 0..count {
            let t = k as f64 * step_s;
            let running = t >= start && t < stop;
            let hunt = self.hunting * (TAU * t / 2.7 + hunts_at).sin();
            let rpm = if running { self.rpm * (1.0 + hunt) } else { 0.0 };
            let before = phase;
            phase += rpm / 120.0 * step_s;
            draw(&mut strokes, (before, phase), random);
            let flows = [0, 1].map(|side: usize| {
                // Two strokes of a quarter each, whose half sine has a mean of 2/pi.
                let pulses = drawn(&strokes[side], side, phase) / (2.0 * 0.25 * 2.0 / PI);
                let size = (1.0 + hunt + own[side].next(random))
                    * if side == 0 { self.ratio } else { 1.0 };
                if running {
                    size * (1.0 - self.depth[side] + self.depth[side] * pulses)
                } else {
                    0.0
                }
            });
            for meter in 0..2 {
                let side = if self.swap && t >= move_to { 1 - meter } else { meter };
                let in_hand = self.swap && t >= move_from && t < move_to;
                let q = if in_hand { 0.0 } else { constants[meter] * flows[side] };
                let drift = drifts[meter] * t / (count as f64 * step_s);
                let read = self.pressure_pa * q * q.abs()
                    + zeros[meter]
                    + drift
                    + noise[meter].next(random);
                columns[meter].push(1e-3 * (read / self.step_pa).round() * self.step_pa);
            }
            speed.push((rpm * 10.0).round() / 10.0);
        }
        let late = random.random_range(0.3..1.2);
        let mark = Mark::read(Seconds(move_to + late), "meters swapped");
        let [one, two] = columns;
        Track {
            time_s: (0..count).map(|k| k as f64 * step_s).collect(),
            rpm: Some(speed.into()),
            flow1_kpa: Some(one.into()),
            flow2_kpa: Some(two.into()),
            row: (0..count as u32).collect(),
            marks: if self.swap { vec![mark] } else { vec![] },
            ..Track::default()
        }
    }

    pub fn conditions(&self) -> Conditions {
        Conditions { flow_meter_limit: self.constant, ..Conditions::default() }
    }

    pub fn judged(&self, seed: u64) -> Flow {
        judged(self.track(seed), &self.conditions())
    }
}

pub fn judged(track: Track, conditions: &Conditions) -> Flow {
    flow::find(&signal::prepare(track, 4), conditions).unwrap()
}
