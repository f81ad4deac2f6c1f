//! What a turn of a stop screw does, learned from one idle to the next.
//!
//! What is believed of six quantities is carried along: the difference `d` and the speed `n` of now, and what a turn
//! of either screw does to both, `s11 s12 s21 s22`. A turn moves `d` and `n` by `S t`, and widens them: whoever
//! turns by a slot misses by up to a twelfth of a turn, and the response bends. The next idle is observed, and what
//! it tells beyond `d` and `n` sharpens `S` ([`Belief`]).

use super::{Limits, PerTurn, Turned};
use crate::statistics::recursive::Belief;

/// A slot is set to within this, turns either way (common practice, no published source).
pub const SETTING_LIMIT_TURNS: f64 = 1.0 / 12.0;
/// Difference between two idles that nobody touched, kPa: standard deviation, common practice, no published source.
const DRIFT_KPA: f64 = 0.1;
/// Speed likewise, rev/min: an idle wanders by some.
const DRIFT_RPM: f64 = 5.0;
/// The response of half a turn is that of a small one to within this share, a turn: an opening that grows by a fifth
/// moves the vacuums by a tenth less than one that shrinks by it (model engine, `tests/screws`).
const BEND_A_TURN: f64 = 0.15;

/// What a turn does before any has been made, kPa and rev/min a turn, with standard deviations that leave room for
/// screws three times as coarse and three times as fine. A turn opens a throttle by a tenth to two fifths of its
/// idle opening (common practice, no published source), and a tenth moves the model engine by 3.6 kPa and 40
/// rev/min (`tests/screws`).
const PRIOR_KPA: f64 = 8.0;
const PRIOR_SD_KPA: f64 = 6.0;
const PRIOR_RPM: f64 = 90.0;
const PRIOR_SD_RPM: f64 = 70.0;
/// Both screws are of one kind: their responses differ by this share of the prior.
const UNLIKE: f64 = 0.25;
/// A coarse screw is coarse for difference and speed: correlation of the two.
const TOGETHER: f64 = 0.8;

/// Places of the six quantities.
const D: usize = 0;
const N: usize = 1;

/// An idle that was measured: difference and speed with what chance alone leaves open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Idle {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Vacuum 1 less vacuum 2, kPa.
    pub difference_kpa: f64,
    /// Its standard uncertainty by repeatability alone, kPa.
    pub u_difference_kpa: f64,
    /// Its standard uncertainty by everything else, kPa: the same at every idle of a log.
    pub u_zero_kpa: f64,
    /// Speed, rev/min.
    pub speed_rpm: f64,
    /// Its standard uncertainty, rev/min.
    pub u_speed_rpm: f64,
}

/// What was turned between two idles, of each screw.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Turns {
    /// Sum, turns, open positive.
    pub sum: [f64; 2],
    /// Variance of what was really turned, turns squared.
    pub variance: [f64; 2],
}

impl Turns {
    /// What was turned between two times, s.
    pub fn between(turned: &[Turned], from_s: f64, to_s: f64) -> Turns {
        let mut turns = Turns::default();
        for turn in turned.iter().filter(|turn| turn.at_s > from_s && turn.at_s < to_s) {
            turns.sum[turn.side] += turn.turns;
            turns.variance[turn.side] += setting_variance();
        }
        turns
    }

    /// What a person makes of turns that are asked for.
    pub fn asked(sum: [f64; 2]) -> Turns {
        Turns {
            sum,
            variance: sum.map(|turns| if turns == 0.0 { 0.0 } else { setting_variance() }),
        }
    }

    /// Nothing was turned.
    pub fn is_none(&self) -> bool {
        self.variance == [0.0; 2]
    }
}

/// Of a rectangular distribution (JCGM 100:2008, 4.3.7), turns squared.
fn setting_variance() -> f64 {
    SETTING_LIMIT_TURNS * SETTING_LIMIT_TURNS / 3.0
}

/// What is believed after an idle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    belief: Belief<6>,
    /// The idle ended then, s: marks up to here have been taken in.
    pub until_s: f64,
    /// Changes of idle that taught something.
    pub learned_from: usize,
    /// Standard uncertainty of the difference that turns do not touch, kPa.
    pub u_zero_kpa: f64,
}

impl Known {
    /// At the first idle: where the engine stands, and the prior.
    pub fn at(idle: &Idle) -> Known {
        let mut covariance = [[0.0; 6]; 6];
        covariance[D][D] = idle.u_difference_kpa.powi(2);
        covariance[N][N] = idle.u_speed_rpm.powi(2);
        // d falls by screw 1 and rises by screw 2; n rises by both.
        let mean = [-PRIOR_KPA, PRIOR_KPA, PRIOR_RPM, PRIOR_RPM];
        let sd = [-PRIOR_SD_KPA, PRIOR_SD_KPA, PRIOR_SD_RPM, PRIOR_SD_RPM];
        for i in 0..4 {
            for j in 0..4 {
                let alike = if i / 2 == j / 2 { 1.0 } else { TOGETHER };
                covariance[2 + i][2 + j] = alike * sd[i] * sd[j];
            }
            covariance[2 + i][2 + i] += (UNLIKE * mean[i]).powi(2);
        }
        let mean = [idle.difference_kpa, idle.speed_rpm, mean[0], mean[1], mean[2], mean[3]];
        Known {
            belief: Belief { mean, covariance },
            until_s: idle.to_s,
            learned_from: 0,
            u_zero_kpa: idle.u_zero_kpa,
        }
    }

    /// After turns and the idle that followed them.
    pub fn after(&self, turns: &Turns, idle: &Idle) -> Known {
        let mut known = self.turned(turns);
        known.belief.observe(&unit(D), idle.difference_kpa, idle.u_difference_kpa);
        known.belief.observe(&unit(N), idle.speed_rpm, idle.u_speed_rpm);
        known.until_s = idle.to_s;
        known.learned_from += usize::from(!turns.is_none());
        known.u_zero_kpa = idle.u_zero_kpa;
        known
    }

    /// Where turns lead, before the idle after them is seen.
    pub fn turned(&self, turns: &Turns) -> Known {
        let mut known = *self;
        let [t1, t2] = turns.sum;
        let mut law = [[0.0; 6]; 6];
        for (k, row) in law.iter_mut().enumerate() {
            row[k] = 1.0;
        }
        (law[D][2], law[D][3]) = (t1, t2);
        (law[N][4], law[N][5]) = (t1, t2);
        let mut chance = [[0.0; 6]; 6];
        chance[D][D] = DRIFT_KPA.powi(2);
        chance[N][N] = DRIFT_RPM.powi(2);
        for (side, turned) in turns.sum.iter().enumerate() {
            let missed = turns.variance[side] + (BEND_A_TURN * turned * turned).powi(2);
            // A screw that misses moves difference and speed together.
            let s = |i: usize, j: usize| {
                let (a, b) = (2 + 2 * i + side, 2 + 2 * j + side);
                self.belief.mean[a] * self.belief.mean[b] + self.belief.covariance[a][b]
            };
            chance[D][D] += missed * s(0, 0);
            chance[N][N] += missed * s(1, 1);
            chance[D][N] += missed * s(0, 1);
            chance[N][D] += missed * s(0, 1);
        }
        known.belief.step(&law, &chance);
        known
    }

    /// Vacuum 1 less vacuum 2, kPa.
    pub fn difference_kpa(&self) -> f64 {
        self.belief.mean[D]
    }

    /// Its standard deviation with everything in it, kPa.
    pub fn sd_difference_kpa(&self) -> f64 {
        self.belief.sd(D).hypot(self.u_zero_kpa)
    }

    /// Speed, rev/min.
    pub fn speed_rpm(&self) -> f64 {
        self.belief.mean[N]
    }

    /// Its standard deviation, rev/min.
    pub fn sd_speed_rpm(&self) -> f64 {
        self.belief.sd(N)
    }

    /// What a whole turn of the screw of side 1 or 2 does.
    pub fn per_turn(&self, side: u8) -> PerTurn {
        let at = 2 + usize::from(side == 2);
        let limits = |k: usize| Limits::around(self.belief.mean[k], self.belief.sd(k));
        PerTurn { side, difference_kpa: limits(at), speed_rpm: limits(at + 2) }
    }
}

fn unit(k: usize) -> [f64; 6] {
    std::array::from_fn(|i| f64::from(u8::from(i == k)))
}
