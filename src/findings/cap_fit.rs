//! One fit through all openings of the filler.
//!
//! ```text
//! n(t) = drift - sum_k D_k r(t; off_k, on_k) - sum_j L_j s(t - at_j) + correlated noise
//! ```
//!
//! The baseline may drift, every opening has its own drop, the answer `r` of the engine is common to
//! all (`cap_response`), and loads `L` may come and go beside the cap (`cap_loads`). Edges and answer
//! are searched for and averaged over (`cap_search`). The uncertainty comes from a regression that
//! knows the correlation of the noise, and from that average.

use super::cap_response::{EXPECTED, Response};
use super::cap_search::{Data, Search, Shape, Spread, load_columns, opening_column, shifted};
use super::openings::Times;
use crate::signal::Signal;
use crate::signal::cycles::STANDSTILL_RPM;
use crate::statistics::correlated;
use crate::statistics::regression::least_squares;
use std::ops::Range;

/// Idle used before the first opening and after the last, s.
const MARGIN_S: f64 = 30.0;
/// A drop of this many standard uncertainties shows its time constant and its edges.
const CLEAR_DROP: f64 = 6.0;
/// Fewest blocks that allow a fit.
const LEAST_BLOCKS: usize = 24;
/// From this many openings on a bend of the baseline can be told from them.
const BENDS_FROM: usize = 2;

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
    uncertainty(signal, &data, &optimum, blocks)
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

/// The best shape, and how far the drops move when it is not known.
struct Optimum {
    shape: Shape,
    openings: Vec<Times>,
    spread: Spread,
}

/// Level and drift.
fn base(data: &Data, openings: usize) -> Vec<Vec<f64>> {
    let (first, last) = (data.t[0], data.t[data.t.len() - 1]);
    let (middle, half) = (0.5 * (first + last), 0.5 * (last - first));
    let power = |k: i32| data.t.iter().map(|t| ((t - middle) / half).powi(k)).collect();
    (0..=if openings < BENDS_FROM { 1 } else { 2 }).map(power).collect()
}

fn search(data: &Data, given: &[Times]) -> Option<Optimum> {
    let base = base(data, given.len());
    let searched = |shape: &Shape| Search::new(data, given, &base, shape);
    let mut shape = Shape {
        response: Response(EXPECTED),
        shifts: vec![0.0; 2 * given.len()],
        loads: Vec::new(),
    };
    let first = searched(&shape)?;
    shape = first.best(&first.on_the_grid(shape)?)?;
    loop {
        // The noise anew, now that the edges are where they belong.
        let search = searched(&shape)?;
        if let Some(load) = search.load(&shape) {
            shape.loads.push(load);
            (shape, _) = search.descend(shape)?;
            continue;
        }
        shape = search.best(&shape)?;
        let (best, mut spread) = search.spread(&shape)?;
        search.perhaps_a_load(&shape, &best, &mut spread);
        let openings = shifted(given, &shape.shifts)?;
        return Some(Optimum { shape, openings, spread });
    }
}

/// Drops with their uncertainty at the optimum: from the noise, and from the shape.
fn uncertainty(
    signal: &Signal,
    data: &Data,
    optimum: &Optimum,
    blocks: Range<usize>,
) -> Option<CapFit> {
    let Optimum { shape, openings, spread } = optimum;
    let count = openings.len();
    let mut linear = base(data, count);
    linear.extend(load_columns(data, shape));
    let beside = linear.len();
    linear.extend(openings.iter().map(|o| opening_column(data, &shape.response, o)));
    let borrowed: Vec<&[f64]> = linear.iter().map(Vec::as_slice).collect();
    let fit = correlated::fit(&data.n, &borrowed).ok()?;
    let mean_of_drops: Vec<f64> =
        (0..linear.len()).map(|k| if k < beside { 0.0 } else { 1.0 / count as f64 }).collect();
    let mean = fit.estimate(&mean_of_drops)?;
    let drops = (0..count)
        .map(|k| {
            let own = fit.coefficient(beside + k)?;
            Some(Drop {
                rpm: own.value + spread.correction[k],
                u_rpm: own.u.hypot(spread.variance[k].sqrt()),
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
        u_mean_rpm: mean.u.hypot(spread.of_mean.sqrt()),
        dof: mean.dof,
        idle_rpm: fit.coefficients[0],
        tau_s: shows.then_some(shape.response.tau_s()),
        vacuum_change_kpa: vacuum_change(signal, data, optimum, &blocks),
        openings: openings.clone(),
        blocks,
    })
}

/// Vacuum with the cap off less that with the cap on, mean of the sides, kPa: the same model with
/// the shape already known.
fn vacuum_change(
    signal: &Signal,
    data: &Data,
    optimum: &Optimum,
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
    let Optimum { shape, openings, .. } = optimum;
    let share = |t: f64, o: &Times| shape.response.at(t, o.off_s, o.on_s);
    let total = |t: f64| openings.iter().map(|o| share(t, o)).sum::<f64>();
    let vacuum: Vec<f64> = kept.iter().map(|k| mean(*k)).collect();
    let mut columns = base(data, openings.len());
    columns.extend(load_columns(data, shape));
    columns.push(data.t.iter().map(|t| total(*t)).collect());
    let columns: Vec<Vec<f64>> =
        columns.iter().map(|column| kept.iter().map(|k| column[*k]).collect()).collect();
    let borrowed: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    least_squares(&vacuum, &borrowed, None).ok()?.coefficients.last().copied()
}
