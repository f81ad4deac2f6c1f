//! The ratio of the two flows on a stretch, and with the meters exchanged.
//!
//! Everything is reckoned with `l = ln(q1/q2)`, which turns its sign when the sides change places. A meter's
//! constant multiplies its flow, so that it adds to `l`: with the meters direct `l + m` is read and with the
//! meters exchanged `m - l`, where `m` is what the pair's constants differ by. So
//! `l = (direct - swapped)/2` needs no constant at all, and `m = (direct + swapped)/2` is the pair's own.

use super::pieces::{self, Piece};
use super::root::Root;
use crate::findings::balance::LEVEL;
use crate::findings::{in_step, resolution};
use crate::signal::Signal;
use crate::statistics::correlated;

/// The largest ripple that has to be reckoned with where a logger in step does not show it: flow that
/// falls to nothing and rises to twice its mean (common practice, no published source).
const HIDDEN: f64 = 1.0;
/// Up to this share the bend of the root by noise is small enough to be taken off.
const MOST_BEND: f64 = 0.02;
/// Up to this share noise may have taken off of the root of a flow that comes near to zero: it widens the
/// interval. Beyond, nothing is said.
const MOST_LOST: f64 = 0.1;
/// Up to this share an uncertain zero acts on the root as on a straight line.
const MOST_BY_ZERO: f64 = 0.2;

/// What a stretch tells of the ratio, or why it tells nothing.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// The ratio.
    Ratio(Box<Reading>),
    /// The flow is too small for the noise of the meters.
    Noise,
    /// The flow is too small for what is known of the zeros.
    Zero,
    /// No usable mean.
    Nothing,
}

/// The logarithm of the ratio as the meters show it on one stretch, and what makes it uncertain: all
/// uncertainties are standard ones of `l`.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Seconds averaged.
    pub lasts_s: f64,
    /// Mean speed, rev/min.
    pub rpm: Option<f64>,
    /// Engine cycles averaged.
    pub cycles: f64,
    /// The meters have changed places.
    pub swapped: bool,
    /// Not the setting of the stretch before.
    pub fresh: bool,
    /// Squared mean root of each meter, kPa: the steady differential pressure of the same flow.
    pub flow_kpa: [f64; 2],
    /// The logarithm of meter 1's flow by meter 2's, block by block.
    pub blocks: Vec<f64>,
    /// Its level.
    pub log_ratio: f64,
    /// By the scatter of the cycles, and its degrees of freedom.
    pub scatter: (f64, f64),
    /// By each meter's zero, with the sign of the effect of a zero that rises, and degrees of freedom.
    pub by_zero: [(f64, f64); 2],
    /// By the drift of the two zeros since the engine was off.
    pub by_drift: f64,
    /// By the noise under the root.
    pub by_noise: f64,
    /// By the steps of the converters.
    pub by_resolution: f64,
    /// By a logger in step with the engine.
    pub by_step: f64,
}

/// Works out the ratio on one stretch.
pub fn read(signal: &Signal, roots: &[Root; 2], piece: &Piece, cylinders: u32) -> Told {
    let (Some(first), Some(last)) = (piece.blocks.first(), piece.blocks.last()) else {
        return Told::Nothing;
    };
    let cycles = &signal.cycles;
    let width = |k: &usize| cycles.to_s[*k] - cycles.from_s[*k];
    let lasts_s = pieces::lasts(signal, &piece.blocks);
    let means = [0, 1].map(|m: usize| {
        piece.blocks.iter().map(|k| roots[m].blocks[*k] * width(k)).sum::<f64>() / lasts_s
    });
    if !means.iter().all(|mean| *mean > 0.0) {
        return Told::Zero;
    }
    let bends = [0, 1].map(|m: usize| roots[m].bend(&piece.blocks));
    if bends.iter().any(|bend| bend.abs() > MOST_BEND) {
        return Told::Noise;
    }
    let end = cycles.sample.get(last + 1).map_or(signal.track.len(), |row| *row as usize);
    let rows = (cycles.sample[*first] as usize, end);
    let lost = [0, 1].map(|m: usize| roots[m].lost(rows));
    if !lost.iter().all(|lost| (0.0..MOST_LOST).contains(lost)) {
        return Told::Noise;
    }
    let middle_s = 0.5 * (cycles.from_s[*first] + cycles.to_s[*last]);
    let by_zero = [0, 1].map(|m: usize| {
        let (u_kpa, dof) = roots[m].zero.u_at(middle_s);
        let side = if m == 0 { 1.0 } else { -1.0 };
        (side * roots[m].change_by_zero(rows, u_kpa), dof)
    });
    let by_drift =
        [0, 1].map(|m: usize| roots[m].change_by_zero(rows, roots[m].zero.drift_at(middle_s)));
    let within = |u: &f64| u.abs() < MOST_BY_ZERO;
    if !by_zero.iter().map(|(u, _)| u).chain(&by_drift).all(within) {
        return Told::Zero;
    }
    // The flows pulsate and hunt together: what is left of both divided by their means is the noise of l.
    let apart = |k: &usize| roots[0].blocks[*k] / means[0] - roots[1].blocks[*k] / means[1];
    let apart: Vec<f64> = piece.blocks.iter().map(apart).collect();
    let Some(mean) = correlated::mean_interval(&apart, LEVEL) else { return Told::Nothing };
    let level = (means[0] / means[1]).ln();
    let steps = [0, 1]
        .map(|m: usize| 0.5 * resolution::of_column(roots[m].column(), rows) / means[m].powi(2));
    let value = |row: usize| roots[0].at(row) / means[0] - roots[1].at(row) / means[1];
    let turned: f64 = piece.blocks.iter().map(|k| cycles.cycles[*k]).sum();
    Told::Ratio(Box::new(Reading {
        from_s: cycles.from_s[*first],
        to_s: cycles.to_s[*last],
        lasts_s,
        rpm: cycles.rpm.as_ref().map(|_| 120.0 * turned / lasts_s),
        cycles: turned,
        swapped: piece.swapped,
        fresh: piece.fresh,
        flow_kpa: means.map(|root| root * root),
        log_ratio: level + mean.mean,
        blocks: apart.iter().map(|apart| level + apart).collect(),
        scatter: (mean.u, mean.dof),
        by_zero,
        by_drift: by_drift[0].hypot(by_drift[1]),
        // The bend is known as well as the noise and the shape of the pulses are: within half of itself.
        // What may be lost lies between nothing and all of it on either side (rectangular).
        by_noise: (0.5 * (bends[0] - bends[1])).hypot(lost[0].hypot(lost[1]) / 12.0_f64.sqrt()),
        by_resolution: steps[0].hypot(steps[1]),
        by_step: in_step::of_value(signal, rows, &value, (mean.u, HIDDEN), cylinders),
    }))
}

/// The readings of one orientation of the meters joined, weighted by their length. `None` of none.
pub fn joined(readings: &[&Reading]) -> Option<Reading> {
    let (first, last) = (readings.first()?, readings.last()?);
    let total: f64 = readings.iter().map(|r| r.lasts_s).sum();
    let weight = |r: &Reading| r.lasts_s / total;
    let sum =
        |of: &dyn Fn(&Reading) -> f64| readings.iter().map(|r| weight(r) * of(r)).sum::<f64>();
    let squares = |of: &dyn Fn(&Reading) -> f64| {
        readings.iter().map(|r| (weight(r) * of(r)).powi(2)).sum::<f64>().sqrt()
    };
    let least =
        |of: &dyn Fn(&Reading) -> f64| readings.iter().map(|r| of(r)).fold(f64::INFINITY, f64::min);
    let speeds: Option<Vec<f64>> = readings.iter().map(|r| r.rpm.map(|n| n * weight(r))).collect();
    Some(Reading {
        from_s: first.from_s,
        to_s: last.to_s,
        lasts_s: total,
        rpm: speeds.map(|speeds| speeds.iter().sum()),
        cycles: readings.iter().map(|r| r.cycles).sum(),
        swapped: first.swapped,
        fresh: first.fresh,
        flow_kpa: [sum(&|r| r.flow_kpa[0]), sum(&|r| r.flow_kpa[1])],
        blocks: readings.iter().flat_map(|r| r.blocks.iter().copied()).collect(),
        log_ratio: sum(&|r| r.log_ratio),
        scatter: (squares(&|r| r.scatter.0), least(&|r| r.scatter.1)),
        // A zero is the same on all of them.
        by_zero: [0, 1].map(|m: usize| (sum(&|r| r.by_zero[m].0), least(&|r| r.by_zero[m].1))),
        by_drift: sum(&|r| r.by_drift),
        by_noise: sum(&|r| r.by_noise),
        by_resolution: sum(&|r| r.by_resolution),
        by_step: squares(&|r| r.by_step),
    })
}

/// The ratio of the sides by both orientations of the meters, and the logarithm of what the pair's
/// constants differ by. `None` where one orientation is missing.
///
/// Both levels are fitted to the blocks of all stretches together, in the order of time: the longer the
/// record, the better its slow noise is known.
pub fn exchanged(direct: &[&Reading], swapped: &[&Reading]) -> Option<(Reading, f64)> {
    let mut all: Vec<&Reading> = direct.iter().chain(swapped).copied().collect();
    all.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let (direct, swapped) = (joined(direct)?, joined(swapped)?);
    let blocks: Vec<f64> = all.iter().flat_map(|r| r.blocks.iter().copied()).collect();
    let column = |swapped: bool| -> Vec<f64> {
        let own = |r: &&Reading| vec![f64::from(u8::from(r.swapped == swapped)); r.blocks.len()];
        all.iter().flat_map(own).collect()
    };
    let fit = correlated::fit(&blocks, &[&column(false), &column(true)]).ok()?;
    let half = fit.estimate(&[0.5, -0.5])?;
    let constants = fit.estimate(&[0.5, 0.5])?;
    let beside = |a: f64, b: f64| 0.5 * a.hypot(b);
    let by_zero = [0, 1].map(|m: usize| {
        let ((a, a_dof), (b, b_dof)) = (direct.by_zero[m], swapped.by_zero[m]);
        (0.5 * (a - b), a_dof.min(b_dof))
    });
    let both = Reading {
        from_s: all.first()?.from_s,
        to_s: all.last()?.to_s,
        lasts_s: direct.lasts_s + swapped.lasts_s,
        rpm: direct.rpm.zip(swapped.rpm).map(|(a, b)| 0.5 * (a + b)),
        cycles: direct.cycles + swapped.cycles,
        swapped: false,
        fresh: all.first()?.fresh,
        flow_kpa: [
            0.5 * (direct.flow_kpa[0] + swapped.flow_kpa[1]),
            0.5 * (direct.flow_kpa[1] + swapped.flow_kpa[0]),
        ],
        blocks,
        log_ratio: half.value,
        scatter: (half.u, half.dof),
        by_zero,
        // A zero that moves between the two does not drop out.
        by_drift: beside(direct.by_drift, swapped.by_drift),
        by_noise: beside(direct.by_noise, swapped.by_noise),
        by_resolution: beside(direct.by_resolution, swapped.by_resolution),
        by_step: beside(direct.by_step, swapped.by_step),
    };
    Some((both, constants.value))
}
