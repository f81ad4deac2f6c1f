//! One fit through the openings of the filler.
//!
//! ```text
//! n(t) = a + b t - sum_k D_k r(t; answer, off_k, on_k) + other loads + correlated noise
//! r    = 0 before off_k, rises to 1 while open as the engine answers, falls back after on_k
//! ```
//!
//! The baseline may drift, every opening has its own drop, the engine's answer is common to all. The
//! edges are refined, as people press late. The uncertainty comes from a regression that knows the
//! correlation of the noise, and from averaging over the answers and edges that fit as well: where
//! there is hardly a drop, the best edge is a choice of noise.

mod answer;
mod average;
mod loads;
mod model;
mod search;
mod window;

use self::answer::Answer;
use self::average::{Averaged, Problem};
use self::model::{Data, Shape, Whitener, borrowed};
use self::search::{PRESSED_LATE_S, Search};
use super::breather::TimesFrom;
use super::openings::{Times, running};
use crate::signal::Signal;
use crate::statistics::correlated::{self, Estimate};
use crate::statistics::regression::least_squares;
use std::ops::Range;

/// A drop of this many standard uncertainties shows its time constant and its edges.
const CLEAR_DROP: f64 = 6.0;
/// What another load makes of the drop of a single opening is in doubt by this many times its square:
/// beside a fan that came and went 89.9 in 100 intervals held with one, 90.8 with two, 90.9 with four.
const IN_DOUBT: f64 = 2.0;
/// Fewest blocks that allow a fit.
const LEAST_BLOCKS: usize = 24;
/// Most openings in one fit: its cost grows with their third power, and a minute or two of idle
/// holds no more. Further ones are fitted by themselves.
const MOST_TOGETHER: usize = 6;

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

/// What leaves a drop uncertain, in its two independent parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parts {
    /// Standard uncertainty from the noise of the speed, rev/min.
    pub u_noise_rpm: f64,
    /// Degrees of freedom of the noise.
    pub noise_dof: f64,
    /// Standard uncertainty from the shape (answer of the engine, edges, other loads), rev/min: it
    /// has a prior and no degrees of freedom to count.
    pub u_shape_rpm: f64,
}

impl Parts {
    /// The variance of the noise widened, and the variance of the shape beside it.
    fn new(noise: Estimate, widened: f64, shape: f64) -> Self {
        Parts {
            u_noise_rpm: noise.u * widened.sqrt(),
            noise_dof: noise.dof,
            u_shape_rpm: shape.max(0.0).sqrt(),
        }
    }

    /// Standard uncertainty, rev/min.
    pub fn u_rpm(&self) -> f64 {
        self.u_noise_rpm.hypot(self.u_shape_rpm)
    }

    /// Degrees of freedom (Welch and Satterthwaite).
    fn dof(&self) -> f64 {
        let noise = self.u_noise_rpm;
        self.noise_dof * if noise > 0.0 { (self.u_rpm() / noise).powi(4) } else { 1.0 }
    }
}

/// The fit.
#[derive(Debug, Clone, PartialEq)]
pub struct CapFit {
    /// Openings with refined times.
    pub openings: Vec<Times>,
    /// Drop of each.
    pub drops: Vec<Drop>,
    /// What the fit leaves uncertain of the mean drop.
    pub mean: Parts,
    /// Speed with the cap on at the middle of the test, rev/min.
    pub idle_rpm: f64,
    /// Time in which 63 % of the drop is there, s; absent when the drop is too small to show it.
    pub tau_s: Option<f64>,
    /// Vacuum with the cap off less that with the cap on, kPa.
    pub vacuum_change_kpa: Option<f64>,
    /// When another load came or went, s: a step of the speed that is not the cap's.
    pub loads: Vec<f64>,
    /// Fitted speed: (s, rev/min).
    pub curve: Vec<(f64, f64)>,
    /// Blocks fitted, one range a group of openings.
    pub blocks: Vec<Range<usize>>,
}

/// Fits all openings; none when there is too little steady idle around them.
///
/// Openings between which the log breaks off or the engine stands still are fitted by themselves, and
/// one that is itself broken is left out: nobody saw how the engine answered.
pub fn fit(signal: &Signal, openings: &[Times]) -> Option<CapFit> {
    let end = |o: &Times| o.on_s.unwrap_or(o.off_s);
    let fits: Vec<CapFit> = groups(signal, openings)?
        .into_iter()
        .filter_map(|group| {
            // Neighbouring groups share the idle between them half and half.
            let (first, last) = (openings.get(group.start)?, openings.get(group.end - 1)?);
            let before = group.start.checked_sub(1).and_then(|k| openings.get(k));
            let from = before.map(|before| 0.5 * (end(before) + first.off_s));
            let to = openings.get(group.end).map(|next| 0.5 * (end(last) + next.off_s));
            fit_together(signal, &openings[group], (from, to))
        })
        .collect();
    joined(fits)
}

/// Openings that follow one another in one unbroken run of the engine, no more than
/// [`MOST_TOGETHER`] in a group and all groups of a run about equal.
fn groups(signal: &Signal, openings: &[Times]) -> Option<Vec<Range<usize>>> {
    let cycles = &signal.cycles;
    let runs = running(cycles, cycles.rpm.as_ref()?);
    let run_of = |o: &Times| {
        let from = |run: &Range<usize>| cycles.from_s[run.start];
        let to = |run: &Range<usize>| cycles.to_s[run.end - 1];
        runs.iter().position(|run| from(run) < o.off_s && o.on_s.unwrap_or(o.off_s) < to(run))
    };
    let run: Vec<Option<usize>> = openings.iter().map(run_of).collect();
    let mut groups = Vec::new();
    let mut start = 0;
    for same in run.chunk_by(|a, b| a == b) {
        let end = start + same.len();
        let together = same.len().div_ceil(same.len().div_ceil(MOST_TOGETHER));
        let parts = (start..end).step_by(together).map(|k| k..(k + together).min(end));
        groups.extend(parts.filter(|_| same[0].is_some()));
        start = end;
    }
    Some(groups)
}

/// Fits that follow one another, as one.
fn joined(fits: Vec<CapFit>) -> Option<CapFit> {
    let mut fits = fits.into_iter();
    let mut all = fits.next()?;
    for next in fits {
        let (n, m) = (all.drops.len() as f64, next.drops.len() as f64);
        let (one, two) = (n * all.mean.u_noise_rpm, m * next.mean.u_noise_rpm);
        let u = one.hypot(two);
        if u > 0.0 {
            // Welch and Satterthwaite.
            let (first, second) = (all.mean.noise_dof, next.mean.noise_dof);
            all.mean.noise_dof = 1.0 / ((one / u).powi(4) / first + (two / u).powi(4) / second);
        }
        all.mean.u_noise_rpm = u / (n + m);
        let shape = (n * all.mean.u_shape_rpm).hypot(m * next.mean.u_shape_rpm);
        all.mean.u_shape_rpm = shape / (n + m);
        let shared = |a: f64, b: f64| (n * a + m * b) / (n + m);
        all.idle_rpm = shared(all.idle_rpm, next.idle_rpm);
        all.tau_s =
            all.tau_s.zip(next.tau_s).map(|(a, b)| shared(a, b)).or(all.tau_s).or(next.tau_s);
        all.vacuum_change_kpa =
            all.vacuum_change_kpa.zip(next.vacuum_change_kpa).map(|(a, b)| shared(a, b));
        all.openings.extend(next.openings);
        all.drops.extend(next.drops);
        all.loads.extend(next.loads);
        all.curve.extend(next.curve);
        all.blocks.extend(next.blocks);
    }
    Some(all)
}

/// One fit through a few openings, within limits in time, s.
fn fit_together(
    signal: &Signal,
    openings: &[Times],
    limits: (Option<f64>, Option<f64>),
) -> Option<CapFit> {
    let rpm = signal.cycles.rpm.as_ref()?;
    let blocks = window::around(signal, rpm, openings, limits)?;
    let data = Data {
        t: blocks.clone().map(|k| signal.cycles.middle_s(k)).collect(),
        n: rpm[blocks.clone()].to_vec(),
    };
    let (from, to) = data.ends();
    let inside = |o: &&Times| o.off_s > from && o.on_s.unwrap_or(o.off_s) < to;
    let openings: Vec<Times> = openings.iter().filter(inside).copied().collect();
    if openings.is_empty() || blocks.len() < LEAST_BLOCKS {
        return None;
    }
    let averaged = shape(&data, &openings)?;
    uncertainty(signal, &data, averaged, blocks)
}

/// Searches the shape roughly, looks for other loads, and averages.
fn shape(data: &Data, given: &[Times]) -> Option<Averaged> {
    let late = |o: &Times| if o.from == TimesFrom::Mark { -PRESSED_LATE_S.0 } else { 0.0 };
    let pressed: Vec<f64> = given.iter().flat_map(|o| [late(o); 2]).collect();
    let start = Shape {
        answer: Answer::expected(),
        openings: search::shifted(given, &pressed).unwrap_or_else(|| given.to_vec()),
        loads: Vec::new(),
    };
    let whitener = Whitener::new(data, &start)?;
    let mut rough = Rough { tau: 1.0, shifts: pressed, loads: Vec::new(), whitener };
    rough.settle(data, given)?;
    let alone = rough.average(data, given);
    while let Some(further) = loads::next(data, &rough.shape(given)?, &rough.whitener) {
        rough.loads.extend(further);
        rough.settle(data, given)?;
    }
    if rough.loads.is_empty() {
        return alone;
    }
    let mut averaged = rough.average(data, given)?;
    if let (1, Some(alone)) = (given.len(), &alone) {
        // No repeat tells the other load from the drop: all that it makes of the drop is in doubt.
        let change = averaged.drops[0] - alone.drops[0];
        averaged.covariance[0][0] += IN_DOUBT * change * change;
    }
    Some(averaged)
}

/// A shape found by steps of a grid.
struct Rough {
    tau: f64,
    shifts: Vec<f64>,
    loads: Vec<f64>,
    whitener: Whitener,
}

impl Rough {
    fn shape(&self, given: &[Times]) -> Option<Shape> {
        let openings = search::shifted(given, &self.shifts)?;
        Some(Shape { answer: Answer::First(self.tau), openings, loads: self.loads.clone() })
    }

    /// Searches edges and time constant, and takes the noise anew.
    fn settle(&mut self, data: &Data, given: &[Times]) -> Option<()> {
        let search = Search { data, given, loads: &self.loads, whitener: &self.whitener };
        (self.tau, self.shifts) = search.run(self.tau, self.shifts.clone())?;
        self.whitener = Whitener::new(data, &self.shape(given)?)?;
        Some(())
    }

    fn average(&self, data: &Data, given: &[Times]) -> Option<Averaged> {
        let problem = Problem { data, given, loads: &self.loads, whitener: &self.whitener };
        problem.average(&self.shifts)
    }
}

/// Drops with their uncertainty at the likeliest shape: from the noise, and from the shape.
fn uncertainty(
    signal: &Signal,
    data: &Data,
    averaged: Averaged,
    blocks: Range<usize>,
) -> Option<CapFit> {
    let Averaged { shape, correction, widened, mean_widened, covariance, .. } = averaged;
    let linear = shape.columns(data);
    let fit = correlated::fit(&data.n, &borrowed(&linear)).ok()?;
    let count = shape.openings.len();
    let drops = (0..count)
        .map(|k| {
            let own = fit.coefficient(2 + k)?;
            let parts = Parts::new(own, widened[k], covariance[k][k]);
            Some(Drop { rpm: own.value + correction[k], u_rpm: parts.u_rpm(), dof: parts.dof() })
        })
        .collect::<Option<Vec<Drop>>>()?;
    let drop = |k: &usize| (2..2 + count).contains(k);
    let mean_of_drops: Vec<f64> =
        (0..linear.len()).map(|k| if drop(&k) { 1.0 / count as f64 } else { 0.0 }).collect();
    // The answer is common to all openings, and so is what it leaves open.
    let common = covariance.iter().flatten().sum::<f64>() / (count * count) as f64;
    let mean = Parts::new(fit.estimate(&mean_of_drops)?, mean_widened, common);
    let shows = drops.iter().any(|d| d.rpm.abs() > CLEAR_DROP * d.u_rpm);
    let value = |k: usize, of: &dyn Fn(&usize) -> bool| -> f64 {
        let columns = (0..linear.len()).filter(|c| of(c));
        columns.map(|c| linear[c][k] * fit.coefficients[c]).sum()
    };
    let idle = (0..data.t.len()).map(|k| value(k, &|c| !drop(c))).sum::<f64>();
    Some(CapFit {
        curve: (0..data.t.len()).map(|k| (data.t[k], value(k, &|_| true))).collect(),
        drops,
        mean,
        idle_rpm: idle / data.t.len() as f64,
        tau_s: shows.then(|| shape.answer.time_constant_s()),
        vacuum_change_kpa: vacuum_change(signal, data, &shape, &blocks),
        openings: shape.openings,
        loads: shape.loads,
        blocks: vec![blocks],
    })
}

/// Vacuum with the cap off less that with the cap on, mean of the sides, kPa: the same model with
/// the shape already known.
fn vacuum_change(
    signal: &Signal,
    data: &Data,
    shape: &Shape,
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
    let mean = |k: usize| sides.iter().map(|s| s[k]).sum::<f64>() / sides.len() as f64;
    let kept: Vec<usize> = (0..data.t.len()).filter(|k| mean(*k).is_finite()).collect();
    let vacuum: Vec<f64> = kept.iter().map(|k| mean(*k)).collect();
    let columns = shape.columns(data);
    let (first, count) = (2, shape.openings.len());
    let open = |k: usize| -columns[first..first + count].iter().map(|c| c[k]).sum::<f64>();
    let others = (0..columns.len()).filter(|c| !(first..first + count).contains(c));
    let mut kept_columns: Vec<Vec<f64>> =
        others.map(|c| kept.iter().map(|k| columns[c][*k]).collect()).collect();
    kept_columns.push(kept.iter().map(|k| open(*k)).collect());
    least_squares(&vacuum, &borrowed(&kept_columns), None).ok()?.coefficients.last().copied()
}
