//! How the speed of an idling engine answers air that comes in or stays out.
//!
//! Nobody knows the answer beforehand, so several kinds are tried and weighed: a flywheel alone; a
//! flywheel with a mixture that settles later; a swing beyond the new level and back; a way down
//! that is not as quick as the way up. All go from 0 before the change to 1 long after it.

/// The answer to a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Answer {
    /// First order: `1 - exp(-x/tau)`, time constant in s.
    First(f64),
    /// A part of it comes later: the quick time constant, the part, the slow time constant, s.
    TwoStage(f64, f64, f64),
    /// Second order, below critical damping: the period without damping, s, and the damping.
    Swing(f64, f64),
    /// First order with a time constant of its own in each direction: load on, load off, s.
    Uneven(f64, f64),
}

/// Time constants tried, s: a light flywheel to a heavy one with a slow mixture.
pub const TAUS: [f64; 12] = [0.15, 0.25, 0.4, 0.6, 0.8, 1.0, 1.3, 1.7, 2.2, 3.0, 4.0, 6.0];
/// Time constant expected before the data speak, s, and the standard uncertainty of its logarithm
/// (from memory of idling engines).
const TAU_EXPECTED_S: (f64, f64) = (1.0, 0.7);
/// How likely each kind is beforehand (no published source): first order, two stages, a swing,
/// uneven.
const KINDS: [f64; 4] = [0.2, 0.6, 0.1, 0.1];
/// Quick time constants of two stages, s; parts that come later, and when, s.
const QUICK_S: [f64; 4] = [0.3, 0.6, 1.0, 1.6];
const LATER: ([f64; 3], [f64; 2]) = ([0.12, 0.25, 0.4], [2.5, 5.0]);
/// Periods, s, and dampings of a swing.
const SWINGS: ([f64; 4], [f64; 3]) = ([2.0, 3.0, 4.5, 6.5], [0.3, 0.5, 0.7]);
/// Time constants down and back of an uneven answer, s.
const UNEVEN_S: [(f64, f64); 8] = [
    (0.4, 1.0),
    (0.4, 2.0),
    (0.7, 1.7),
    (0.7, 3.0),
    (1.2, 3.0),
    (1.0, 0.4),
    (2.0, 0.7),
    (3.0, 1.2),
];

impl Answer {
    /// All answers that are weighed, with their prior weights.
    pub fn all() -> Vec<(Answer, f64)> {
        let likely =
            |tau: f64| (-0.5 * ((tau / TAU_EXPECTED_S.0).ln() / TAU_EXPECTED_S.1).powi(2)).exp();
        let first: Vec<(Answer, f64)> =
            TAUS.iter().map(|tau| (Answer::First(*tau), likely(*tau))).collect();
        let mut two = Vec::new();
        for quick in QUICK_S {
            for part in LATER.0 {
                two.extend(
                    LATER.1.map(|slow| (Answer::TwoStage(quick, part, slow), likely(quick))),
                );
            }
        }
        let mut swing = Vec::new();
        for period in SWINGS.0 {
            swing.extend(SWINGS.1.map(|damping| (Answer::Swing(period, damping), 1.0)));
        }
        let uneven = UNEVEN_S.map(|(down, back)| (Answer::Uneven(down, back), likely(down)));
        let mut all = Vec::new();
        for (kind, share) in [first, two, swing, uneven.to_vec()].into_iter().zip(KINDS) {
            let total: f64 = kind.iter().map(|(_, weight)| weight).sum();
            all.extend(kind.into_iter().map(|(answer, weight)| (answer, share * weight / total)));
        }
        all
    }

    /// Squared distance of a first-order time constant from what is expected, in standard
    /// uncertainties.
    pub fn surprise(tau: f64) -> f64 {
        ((tau / TAU_EXPECTED_S.0).ln() / TAU_EXPECTED_S.1).powi(2)
    }

    /// The first-order answer that is expected.
    pub fn expected() -> Answer {
        Answer::First(TAU_EXPECTED_S.0)
    }

    /// What there is of the change `x` seconds after it, and its rate of change, 1/s.
    pub fn at(self, x: f64) -> (f64, f64) {
        let first = |tau: f64| {
            let left = (-x / tau).exp();
            (1.0 - left, left / tau)
        };
        if x <= 0.0 {
            return (0.0, 0.0);
        }
        match self {
            Answer::First(tau) | Answer::Uneven(tau, _) => first(tau),
            Answer::TwoStage(quick, part, slow) => {
                let (quick, slow) = (first(quick), first(slow));
                (quick.0 + part * (slow.0 - quick.0), quick.1 + part * (slow.1 - quick.1))
            }
            Answer::Swing(period, damping) => {
                let turn = std::f64::consts::TAU / period;
                let root = (1.0 - damping * damping).sqrt();
                let (sin, cos) = (turn * root * x).sin_cos();
                let left = (-damping * turn * x).exp();
                (1.0 - left * (cos + damping / root * sin), turn / root * left * sin)
            }
        }
    }

    /// Share of the drop at time `t` of a load that comes at `off` and goes at `on`, s, and how that
    /// share changes with `off` and with `on`, 1/s.
    pub fn between(self, t: f64, off: f64, on: Option<f64>) -> [f64; 3] {
        let (level, rate) = self.at(t - off);
        match (self, on) {
            (_, Some(on)) if t <= on => [level, -rate, 0.0],
            (_, None) => [level, -rate, 0.0],
            (Answer::Uneven(_, back), Some(on)) => {
                let (reached, slope) = self.at(on - off);
                let (gone, rate) = Answer::First(back).at(t - on);
                [
                    reached * (1.0 - gone),
                    -slope * (1.0 - gone),
                    slope * (1.0 - gone) + reached * rate,
                ]
            }
            (_, Some(on)) => {
                let (gone, back) = self.at(t - on);
                [level - gone, -rate, back]
            }
        }
    }

    /// Time in which `1 - 1/e` of the change is there, s.
    pub fn time_constant_s(self) -> f64 {
        let wanted = 1.0 - (-1.0f64).exp();
        let (mut low, mut high) = (0.0, 60.0);
        // All answers rise to this height before any of them turns.
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            let reached = (0..=40).any(|k| self.at(middle * f64::from(k) / 40.0).0 >= wanted);
            if reached { high = middle } else { low = middle }
        }
        high
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_are_those_of_the_levels() {
        let h = 1e-6;
        for (answer, _) in Answer::all() {
            for t in [0.5, 3.0, 9.0, 12.0, 20.0] {
                let at = |off, on| answer.between(t, off, Some(on))[0];
                let [_, by_off, by_on] = answer.between(t, 1.0, Some(10.0));
                let off = (at(1.0 + h, 10.0) - at(1.0 - h, 10.0)) / (2.0 * h);
                let on = (at(1.0, 10.0 + h) - at(1.0, 10.0 - h)) / (2.0 * h);
                assert!((by_off - off).abs() < 1e-6 && (by_on - on).abs() < 1e-6, "{answer:?} {t}");
            }
        }
    }

    #[test]
    fn every_answer_begins_at_nothing_and_ends_at_the_whole() {
        let mut total = 0.0;
        for (answer, weight) in Answer::all() {
            assert_eq!(answer.at(0.0).0, 0.0);
            assert!((answer.at(60.0).0 - 1.0).abs() < 1e-3, "{answer:?}");
            let tau = answer.time_constant_s();
            assert!((answer.at(tau).0 - 0.632).abs() < 1e-3, "{answer:?} {tau}");
            total += weight;
        }
        assert!((total - 1.0).abs() < 1e-12);
        assert!((Answer::First(0.8).time_constant_s() - 0.8).abs() < 1e-6);
    }
}
