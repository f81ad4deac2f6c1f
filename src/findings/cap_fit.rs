//! One fit through all openings of the filler.
//!
//! ```text
//! n(t) = a + b t - sum_k D_k r_k(t; tau, off_k, on_k) + correlated noise
//! r_k  = 0 before off_k, 1 - exp(-(t - off_k)/tau) while open, decaying with tau after on_k
//! ```
//!
//! The baseline may drift, every opening has its own drop, the engine's time constant is common to
//! all. The edges are refined, as people press late. The uncertainty
//! comes from a regression that knows the correlation of the noise, and from averaging over the time
//! constants and edges that fit as well: where there is hardly a drop, the best edge is a choice of
//! noise.

use super::breather::TimesFrom;
use super::openings::Times;
use crate::signal::Signal;
use crate::signal::cycles::STANDSTILL_RPM;
use crate::statistics::autoregression::Autoregression;
use crate::statistics::correlated;
use crate::statistics::regression::least_squares;
use std::ops::Range;

/// Idle used before the first opening and after the last, s.
const MARGIN_S: f64 = 30.0;
/// Time constants tried, s: a light flywheel to a heavy one with a slow mixture.
const TAUS: [f64; 12] = [0.15, 0.25, 0.4, 0.6, 0.8, 1.0, 1.3, 1.7, 2.2, 3.0, 4.0, 6.0];
/// An edge may lie this much before its mark, s.
const EARLIER_S: f64 = 4.0;
/// ... or after it, s.
const LATER_S: f64 = 3.0;
/// Steps in which an edge is moved, s.
const EDGE_STEP_S: f64 = 0.25;
/// People press late: by this much, s, with this standard uncertainty (common practice, no
/// published source).
const PRESSED_LATE_S: (f64, f64) = (0.5, 0.7);
/// An edge found in the data is as good as a bin or two under noise, s.
const FOUND_S: (f64, f64) = (0.0, 1.5);
/// A drop of this many standard uncertainties shows its time constant and its edges.
const CLEAR_DROP: f64 = 6.0;
/// Time constant expected before the data speak, s, and the standard uncertainty of its logarithm
/// (from memory of idling engines).
const TAU_EXPECTED_S: f64 = 1.0;
const TAU_PRIOR: f64 = 0.7;
/// Rounds of the search at the most.
const ROUNDS: usize = 4;
/// Fewest blocks that allow a fit.
const LEAST_BLOCKS: usize = 24;
/// Highest order of the noise model.
const NOISE_ORDER: usize = 6;

/// Drop of one opening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drop {
    /// Drop, rev/min.
    pub rpm: f64,
    /// Standard uncertainty, rev/min.
    pub u_rpm: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

/// The fit.
#[derive(Debug, Clone, PartialEq)]
pub struct CapFit {
    /// Openings with refined times.
    pub openings: Vec<Times>,
    /// Drop of each.
    pub drops: Vec<Drop>,
    /// Standard uncertainty of the mean drop from the fit alone, rev/min.
    pub u_mean_rpm: f64,
    /// Degrees of freedom of the fit.
    pub dof: f64,
    /// Speed with the cap on at the middle of the test, rev/min.
    pub idle_rpm: f64,
    /// Time constant, s; absent when the drop is too small to show it.
    pub tau_s: Option<f64>,
    /// Vacuum with the cap off less that with the cap on, kPa.
    pub vacuum_change_kpa: Option<f64>,
    /// Fitted speed: (s, rev/min).
    pub curve: Vec<(f64, f64)>,
    /// Blocks fitted.
    pub blocks: Range<usize>,
}

/// Times and speeds to fit.
struct Data {
    t: Vec<f64>,
    n: Vec<f64>,
}

/// Fits all openings together; none when there is too little steady idle around them.
pub fn fit(signal: &Signal, openings: &[Times]) -> Option<CapFit> {
    let rpm = signal.cycles.rpm.as_ref()?;
    let blocks = window(signal, rpm, openings)?;
    let data = Data {
        t: blocks.clone().map(|k| signal.cycles.middle_s(k)).collect(),
        n: rpm[blocks.clone()].to_vec(),
    };
    let inside = |o: &&Times| {
        let (from, to) = (data.t[0], data.t[data.t.len() - 1]);
        o.off_s > from && o.on_s.unwrap_or(o.off_s) < to
    };
    let openings: Vec<Times> = openings.iter().filter(inside).copied().collect();
    if openings.is_empty() || blocks.len() < LEAST_BLOCKS {
        return None;
    }
    let optimum = search(&data, &openings)?;
    uncertainty(signal, &data, optimum, blocks)
}

/// The unbroken running stretch around the openings, with a margin.
fn window(signal: &Signal, rpm: &[f64], openings: &[Times]) -> Option<Range<usize>> {
    let cycles = &signal.cycles;
    let first = openings.first()?.off_s;
    let last = openings.last().map(|o| o.on_s.unwrap_or(o.off_s))?;
    let joined = |a: usize, b: usize| cycles.from_s[b] - cycles.to_s[a] < 1.0;
    let runs = |k: usize| rpm[k] >= STANDSTILL_RPM;
    let seed = (0..cycles.len()).find(|k| cycles.to_s[*k] >= first && runs(*k))?;
    let mut from = seed;
    while from > 0
        && runs(from - 1)
        && joined(from - 1, from)
        && cycles.from_s[from - 1] > first - MARGIN_S
    {
        from -= 1;
    }
    let mut to = seed + 1;
    while to < cycles.len() && runs(to) && joined(to - 1, to) && cycles.to_s[to] < last + MARGIN_S {
        to += 1;
    }
    // A start of the engine or a held speed in the margin is no idle: the margin ends there.
    let idle = median(rpm[from..to].to_vec())?;
    let idles = |k: &usize| (rpm[*k] - idle).abs() < 0.5 * idle;
    let from = (from..seed).rev().take_while(idles).last().unwrap_or(seed);
    let to = (seed..to).take_while(idles).last()? + 1;
    Some(from..to)
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Response of an opening at time `t`, between 0 and 1.
fn response(t: f64, tau: f64, opening: &Times) -> f64 {
    let rise = |since: f64| 1.0 - (-since / tau).exp();
    match opening.on_s {
        _ if t <= opening.off_s => 0.0,
        Some(on) if t > on => rise(on - opening.off_s) * (-(t - on) / tau).exp(),
        _ => rise(t - opening.off_s),
    }
}

/// Columns of the linear part: constant, drift, a response an opening.
fn columns(data: &Data, tau: f64, openings: &[Times]) -> Vec<Vec<f64>> {
    let middle = 0.5 * (data.t[0] + data.t[data.t.len() - 1]);
    let mut columns =
        vec![vec![1.0; data.t.len()], data.t.iter().map(|t| (t - middle) / 60.0).collect()];
    for opening in openings {
        columns.push(data.t.iter().map(|t| -response(*t, tau, opening)).collect());
    }
    columns
}

/// The cost of a candidate, with the noise whitened by one model for all so that they compare.
struct Whitener {
    noise: Autoregression,
    y: Vec<f64>,
}

impl Whitener {
    fn new(data: &Data, openings: &[Times]) -> Option<Self> {
        let linear = columns(data, TAU_EXPECTED_S, openings);
        let borrowed: Vec<&[f64]> = linear.iter().map(Vec::as_slice).collect();
        let fit = least_squares(&data.n, &borrowed, None).ok()?;
        let fitted = |k: usize| -> f64 {
            linear.iter().zip(&fit.coefficients).map(|(column, c)| column[k] * c).sum()
        };
        let residuals: Vec<f64> = (0..data.n.len()).map(|k| data.n[k] - fitted(k)).collect();
        let noise = Autoregression::fit(&residuals, NOISE_ORDER)?;
        Some(Whitener { y: noise.whiten(&data.n), noise })
    }

    /// Coefficients and sum of squares, the latter in units of the innovations' variance.
    fn fit(&self, data: &Data, tau: f64, openings: &[Times]) -> Option<(Vec<f64>, f64)> {
        let white: Vec<Vec<f64>> =
            columns(data, tau, openings).iter().map(|c| self.noise.whiten(c)).collect();
        let white: Vec<&[f64]> = white.iter().map(Vec::as_slice).collect();
        let fit = least_squares(&self.y, &white, None).ok()?;
        Some((fit.coefficients, fit.residual_squares / self.noise.sigma.powi(2)))
    }
}

/// What is searched for: a time constant and a shift for every edge.
#[derive(Clone)]
struct Shape {
    tau: f64,
    shifts: Vec<f64>,
}

/// The best shape, and how far the drops move when its parts are not known.
struct Optimum {
    tau: f64,
    openings: Vec<Times>,
    /// Expected change of every drop from the optimum.
    correction: Vec<f64>,
    /// Variance of every drop from the shape alone.
    variance: Vec<f64>,
}

/// Least squares with what is known of engines and of people's fingers as prior.
struct Search<'a> {
    data: &'a Data,
    given: &'a [Times],
    whitener: Whitener,
}

impl Search<'_> {
    /// Drops of a shape, and twice its negative log posterior.
    fn weigh(&self, shape: &Shape) -> Option<(Vec<f64>, f64)> {
        let openings = shifted(self.given, &shape.shifts)?;
        let (coefficients, misfit) = self.whitener.fit(self.data, shape.tau, &openings)?;
        let edges: f64 =
            shape.shifts.iter().enumerate().map(|(k, s)| surprise(&self.given[k / 2], *s)).sum();
        let tau = ((shape.tau / TAU_EXPECTED_S).ln() / TAU_PRIOR).powi(2);
        Some((coefficients[2..].to_vec(), misfit + edges + tau))
    }

    /// All values of one part of the shape: an edge, or the time constant behind the last edge.
    fn alternatives(&self, shape: &Shape, part: usize) -> Vec<Shape> {
        let with = |change: &dyn Fn(&mut Shape)| {
            let mut other = shape.clone();
            change(&mut other);
            other
        };
        if part < shape.shifts.len() {
            edge_steps().map(|shift| with(&|s: &mut Shape| s.shifts[part] = shift)).collect()
        } else {
            TAUS.iter().map(|tau| with(&|s: &mut Shape| s.tau = *tau)).collect()
        }
    }

    /// Goes round the parts until none moves; edges and time constant hang together.
    fn best(&self) -> Option<Shape> {
        let mut shape = Shape { tau: TAU_EXPECTED_S, shifts: vec![0.0; 2 * self.given.len()] };
        for _ in 0..ROUNDS {
            let before = shape.clone();
            for part in 0..=shape.shifts.len() {
                let weighed = self.alternatives(&shape, part).into_iter().filter_map(|other| {
                    let (_, cost) = self.weigh(&other)?;
                    Some((other, cost))
                });
                if let Some((best, _)) = weighed.min_by(|a, b| a.1.total_cmp(&b.1)) {
                    shape = best;
                }
            }
            if shape.tau == before.tau && shape.shifts == before.shifts {
                break;
            }
        }
        Some(shape)
    }

    /// Averages the drops over the alternatives of every part by their posterior weight: where the
    /// data do not show an edge, the best one is a choice of noise.
    fn average(&self, shape: &Shape) -> Option<(Vec<f64>, Vec<f64>)> {
        let (best, least) = self.weigh(shape)?;
        let mut correction = vec![0.0; best.len()];
        let mut variance = vec![0.0; best.len()];
        for part in 0..=shape.shifts.len() {
            let weighed: Vec<(Vec<f64>, f64)> = self
                .alternatives(shape, part)
                .iter()
                .filter_map(|other| self.weigh(other))
                .map(|(drops, cost)| (drops, (-0.5 * (cost - least)).exp()))
                .collect();
            let total: f64 = weighed.iter().map(|w| w.1).sum();
            for k in 0..best.len() {
                let mean = weighed.iter().map(|(d, w)| d[k] * w).sum::<f64>() / total;
                let square = weighed.iter().map(|(d, w)| (d[k] - mean).powi(2) * w).sum::<f64>();
                correction[k] += mean - best[k];
                variance[k] += square / total;
            }
        }
        Some((correction, variance))
    }
}

fn search(data: &Data, given: &[Times]) -> Option<Optimum> {
    let search = Search { data, given, whitener: Whitener::new(data, given)? };
    let shape = search.best()?;
    let (correction, variance) = search.average(&shape)?;
    let openings = shifted(given, &shape.shifts)?;
    Some(Optimum { tau: shape.tau, openings, correction, variance })
}

/// Shifts of an edge that are tried, s.
fn edge_steps() -> impl Iterator<Item = f64> {
    let (early, late) = ((EARLIER_S / EDGE_STEP_S) as i32, (LATER_S / EDGE_STEP_S) as i32);
    (-early..=late).map(|step| f64::from(step) * EDGE_STEP_S)
}

/// What is known of an edge beforehand: (expected lateness, standard uncertainty), s.
fn known(opening: &Times) -> (f64, f64) {
    match opening.from {
        TimesFrom::Mark => PRESSED_LATE_S,
        TimesFrom::Data => FOUND_S,
    }
}

/// Squared distance of a shift from what is expected, in standard uncertainties.
fn surprise(opening: &Times, shift: f64) -> f64 {
    let (late, u) = known(opening);
    ((shift + late) / u).powi(2)
}

/// The openings with their edges moved; even numbers are 'off', odd ones 'on'. None when an
/// opening would end before it begins.
fn shifted(openings: &[Times], shifts: &[f64]) -> Option<Vec<Times>> {
    let mut moved = openings.to_vec();
    for (opening, shift) in moved.iter_mut().zip(shifts.chunks_exact(2)) {
        opening.off_s += shift[0];
        opening.on_s = opening.on_s.map(|on| on + shift[1]);
        if opening.on_s.is_some_and(|on| on < opening.off_s + 1.0) {
            return None;
        }
    }
    Some(moved)
}

/// Drops with their uncertainty at the optimum: from the noise, and from the shape.
fn uncertainty(
    signal: &Signal,
    data: &Data,
    optimum: Optimum,
    blocks: Range<usize>,
) -> Option<CapFit> {
    let Optimum { tau, openings, correction, variance } = optimum;
    let linear = columns(data, tau, &openings);
    let borrowed: Vec<&[f64]> = linear.iter().map(Vec::as_slice).collect();
    let fit = correlated::fit(&data.n, &borrowed).ok()?;
    let count = openings.len();
    let mean_of_drops: Vec<f64> =
        (0..linear.len()).map(|k| if k < 2 { 0.0 } else { 1.0 / count as f64 }).collect();
    let mean = fit.estimate(&mean_of_drops)?;
    let of_shape = variance.iter().sum::<f64>().sqrt() / count as f64;
    let drops = (0..count)
        .map(|k| {
            let own = fit.coefficient(2 + k)?;
            Some(Drop {
                rpm: own.value + correction[k],
                u_rpm: own.u.hypot(variance[k].sqrt()),
                dof: own.dof,
            })
        })
        .collect::<Option<Vec<Drop>>>()?;
    let shows = drops.iter().any(|d| d.rpm.abs() > CLEAR_DROP * d.u_rpm);
    let fitted = |k: usize| -> f64 {
        linear.iter().zip(&fit.coefficients).map(|(column, c)| column[k] * c).sum()
    };
    Some(CapFit {
        curve: (0..data.t.len()).map(|k| (data.t[k], fitted(k))).collect(),
        drops,
        u_mean_rpm: mean.u.hypot(of_shape),
        dof: mean.dof,
        idle_rpm: fit.coefficients[0],
        tau_s: shows.then_some(tau),
        vacuum_change_kpa: vacuum_change(signal, data, tau, &openings, &blocks),
        openings,
        blocks,
    })
}

/// Vacuum with the cap off less that with the cap on, mean of the sides, kPa: the same model with
/// the shape already known.
fn vacuum_change(
    signal: &Signal,
    data: &Data,
    tau: f64,
    openings: &[Times],
    blocks: &Range<usize>,
) -> Option<f64> {
    let sides: Vec<&[f64]> = [&signal.cycles.vac1_kpa, &signal.cycles.vac2_kpa]
        .into_iter()
        .flatten()
        .map(|column| &column[blocks.clone()])
        .collect();
    if sides.is_empty() {
        return None;
    }
    let middle = 0.5 * (data.t[0] + data.t[data.t.len() - 1]);
    let mean = |k: usize| sides.iter().map(|s| s[k]).sum::<f64>() / sides.len() as f64;
    let kept: Vec<usize> = (0..data.t.len()).filter(|k| mean(*k).is_finite()).collect();
    let total = |t: f64| openings.iter().map(|opening| response(t, tau, opening)).sum::<f64>();
    let vacuum: Vec<f64> = kept.iter().map(|k| mean(*k)).collect();
    let one = vec![1.0; kept.len()];
    let drift: Vec<f64> = kept.iter().map(|k| (data.t[*k] - middle) / 60.0).collect();
    let open: Vec<f64> = kept.iter().map(|k| total(data.t[*k])).collect();
    Some(least_squares(&vacuum, &[&one, &drift, &open], None).ok()?.coefficients[2])
}
