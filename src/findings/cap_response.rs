//! How an idling engine answers a cap that comes off or goes on.
//!
//! A step of air is answered by the flywheel, by the manifold and by the mixture, which settles
//! last. One family reaches over what engines do, `t` seconds after the step, with `u = t / tau`:
//!
//! ```text
//! 1 - (1 - p) (1 + a u) exp(-u) - p exp(-t / slow)
//! ```
//!
//! With `a` and `p` zero it is first order. A positive `a` starts it gently, a negative one lets it
//! go beyond its new level and come back; the part `p` comes slowly. The return has a time constant
//! of its own, `tau` times `back`. Where the drop is large the data say which it is; where it is small
//! it does not matter, and what is known beforehand stands.

/// Parameters: logarithms of `tau` and of `back`, `a`, `p`, logarithm of `slow` (s).
pub type Parameters = [f64; 5];

/// What is expected before the data speak: a plain answer in a second (from memory of idling
/// engines).
pub const EXPECTED: Parameters = [0.0, 0.0, 0.0, 0.0, 1.386_294_361_119_890_6];
/// Its standard uncertainty (likewise).
pub const PRIOR: Parameters = [0.7, 0.4, 0.7, 0.15, 0.35];
/// Least and largest values that are tried.
const LEAST: Parameters = [-2.3, -1.4, -2.5, -0.4, 0.4];
const MOST: Parameters = [2.0, 1.4, 2.0, 0.6, 2.5];
/// What is left of an answer after this many of its longest time constants does not count.
const OVER: f64 = 11.0;

/// An answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response(pub Parameters);

/// A value with its derivatives.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Parts {
    /// The answer to a step.
    pub value: f64,
    /// By time, 1/s.
    pub rate: f64,
    /// By the parameters.
    pub by: Parameters,
}

impl Response {
    /// An answer with its parameters kept within reason.
    pub fn within_reason(parameters: Parameters) -> Self {
        Response(std::array::from_fn(|k| parameters[k].clamp(LEAST[k], MOST[k])))
    }

    /// Time constant of the fall, s.
    pub fn tau_s(&self) -> f64 {
        self.0[0].exp()
    }

    /// The answer `since` seconds after a step, on the way down or, with `back`, up again.
    pub fn settled(&self, since: f64, back: bool) -> f64 {
        if since <= 0.0 {
            return 0.0;
        }
        let [_, _, a, p, slow] = self.0;
        let u = since / self.constant(back);
        let slowly = if p == 0.0 { 0.0 } else { p * (-since * (-slow).exp()).exp() };
        1.0 - (1.0 - p) * (1.0 + a * u) * (-u).exp() - slowly
    }

    /// The same with its derivatives.
    pub fn parts(&self, since: f64, back: bool) -> Parts {
        if since <= 0.0 {
            return Parts::default();
        }
        let [_, _, a, p, slow] = self.0;
        let tau = self.constant(back);
        let (u, v) = (since / tau, since * (-slow).exp());
        let (left, slowly) = ((-u).exp(), (-v).exp());
        let fast_rate = (1.0 - p) * (1.0 + a * u - a) * left / tau;
        let by_tau = -since * fast_rate;
        Parts {
            value: 1.0 - (1.0 - p) * (1.0 + a * u) * left - p * slowly,
            rate: fast_rate + p * slowly * v / since,
            by: [
                by_tau,
                if back { by_tau } else { 0.0 },
                -(1.0 - p) * u * left,
                (1.0 + a * u) * left - slowly,
                -p * slowly * v,
            ],
        }
    }

    fn constant(&self, back: bool) -> f64 {
        (self.0[0] + if back { self.0[1] } else { 0.0 }).exp()
    }

    /// The share of the drop there is at `t`, with the cap off at `off_s` and on again at `on_s`.
    pub fn at(&self, t: f64, off_s: f64, on_s: Option<f64>) -> f64 {
        self.settled(t - off_s, false) - on_s.map_or(0.0, |on| self.settled(t - on, true))
    }

    /// Time after the cap is on from which nothing of the drop is left, s.
    pub fn over_s(&self) -> f64 {
        let longest = self.constant(false).max(self.constant(true));
        OVER * if self.0[3] == 0.0 { longest } else { longest.max(self.0[4].exp()) }
    }

    /// Mean time by which the fall and the return come after their edges, s: where the data see an
    /// edge. Answers with edges this much earlier look alike.
    pub fn delays_s(&self) -> [f64; 2] {
        let [_, _, a, p, slow] = self.0;
        [false, true].map(|back| (1.0 - p) * self.constant(back) * (1.0 + a) + p * slow.exp())
    }

    /// Squared distance from what is expected, in standard uncertainties.
    pub fn surprise(&self) -> f64 {
        (0..self.0.len()).map(|k| ((self.0[k] - EXPECTED[k]) / PRIOR[k]).powi(2)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOME: [Parameters; 4] = [
        EXPECTED,
        [-0.5, 0.3, -1.5, 0.0, 1.4],
        [0.4, -0.4, 0.8, 0.25, 1.7],
        [-1.2, 0.1, -0.4, -0.2, 1.1],
    ];

    #[test]
    fn the_delay_is_the_area_above_the_answer() {
        let step = 1e-3;
        for parameters in SOME {
            let response = Response(parameters);
            let area = |back: bool| -> f64 {
                let times = (0..100_000).map(|k| (f64::from(k) + 0.5) * step);
                times.map(|t| 1.0 - response.settled(t, back)).sum::<f64>() * step
            };
            let [fall, back] = response.delays_s();
            assert!((area(false) - fall).abs() < 1e-3, "{parameters:?}");
            assert!((area(true) - back).abs() < 1e-3, "{parameters:?}");
        }
    }

    #[test]
    fn the_derivatives_are_those_of_the_value() {
        let step = 1e-6;
        for (parameters, back) in SOME.into_iter().flat_map(|p| [(p, false), (p, true)]) {
            for t in [0.01, 0.4, 1.3, 5.0, 12.0] {
                let parts = Response(parameters).parts(t, back);
                assert_eq!(parts.value, Response(parameters).settled(t, back));
                let at = |p: Parameters, t: f64| Response(p).settled(t, back);
                let rate = (at(parameters, t + step) - at(parameters, t - step)) / (2.0 * step);
                assert!((rate - parts.rate).abs() < 1e-7, "{parameters:?} {t}");
                for k in 0..parameters.len() {
                    let moved = |by: f64| {
                        let mut other = parameters;
                        other[k] += by;
                        at(other, t)
                    };
                    let slope = (moved(step) - moved(-step)) / (2.0 * step);
                    assert!((slope - parts.by[k]).abs() < 1e-7, "{parameters:?} {t} {k}");
                }
            }
        }
    }

    #[test]
    fn an_answer_begins_at_nothing_and_is_over_when_it_says_so() {
        for parameters in SOME {
            let response = Response(parameters);
            assert_eq!(response.at(4.0, 4.0, None), 0.0);
            assert!((response.at(500.0, 4.0, None) - 1.0).abs() < 1e-12);
            let left = response.at(24.0 + response.over_s(), 4.0, Some(24.0));
            assert!(left.abs() < 3e-3, "{parameters:?}: {left}");
        }
    }
}
