//! Stretches on which the two meters are compared: steady speed, nobody at the meters or the screws.

use super::root::Root;
use crate::sample::Meaning;
use crate::signal::Signal;
use crate::signal::plateaus::Kind;
use crate::statistics::{changes, summary};

/// A hand was at a screw or a meter this long before its mark (people press 0.3 to 1.2 s late, from
/// memory of tests at the engine), s.
const BEFORE_MARK_S: f64 = 1.3;
/// After it the engine settles for this long, s.
const SETTLES_S: f64 = 2.5;
/// A meter that comes off this near a mark came off for it, s.
const MOVE_TAKES_S: f64 = 20.0;
/// A meter is off its mouth when it shows less than this share of its usual root.
const METER_OFF_SHARE: f64 = 0.4;
/// A stretch is worth an average from this length on, s.
const LEAST_S: f64 = 3.0;
/// ... and from this many blocks on.
const LEAST_BLOCKS: usize = 8;
/// A part between steps that nobody marked lasts at least this long, s.
const LEAST_PART_S: f64 = 5.0;
/// A step of the ratio's logarithm from this size on parts a stretch ...
const STEP: f64 = 0.02;
/// ... and of this many times the scatter of the blocks.
const STEP_SCATTERS: f64 = 1.0;

/// A stretch with one state of the engine and of the meters.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Its blocks.
    pub blocks: Vec<usize>,
    /// The meters have changed places.
    pub swapped: bool,
    /// Something other than the meters was changed between the stretch before and this one.
    pub fresh: bool,
}

/// The stretches of a log, and where the ratio steps with nobody having marked why, s.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// In the order of time.
    pub pieces: Vec<Piece>,
    /// Steps, s.
    pub steps: Vec<f64>,
}

/// Somebody's hands at a meter or a screw: from, to, and how the meters are afterwards.
struct Touch {
    from_s: f64,
    to_s: f64,
    swapped: Option<bool>,
}

/// Cuts the steady stretches of a log.
pub fn find(signal: &Signal, roots: &[Root; 2]) -> Found {
    let cycles = &signal.cycles;
    let usual = [0, 1].map(|meter| usual(signal, &roots[meter]));
    let on = |k: usize| {
        [0, 1].into_iter().all(|m| {
            let root = roots[m].blocks[k];
            root.is_finite() && root > METER_OFF_SHARE * usual[m]
        })
    };
    let touches = touches(signal, &on);
    let first = touches.iter().find_map(|touch| touch.swapped);
    let mut found = Found::default();
    let mut seen = 0;
    for plateau in signal.plateaus.iter().filter(|p| p.kind == Kind::Running) {
        let mut parts: Vec<(usize, Vec<usize>)> = Vec::new();
        for k in (plateau.first_block..plateau.end_block).filter(|k| on(*k)) {
            let (from, to) = (cycles.from_s[k], cycles.to_s[k]);
            if touches.iter().any(|touch| to > touch.from_s && from < touch.to_s) {
                continue;
            }
            let before = touches.iter().filter(|touch| touch.to_s <= from).count();
            match parts.last_mut() {
                Some((own, blocks)) if *own == before => blocks.push(k),
                _ => parts.push((before, vec![k])),
            }
        }
        for (before, blocks) in parts {
            let past = &touches[..before];
            // Whoever marks that the meters are back has swapped them before.
            let swapped = past.iter().rev().find_map(|touch| touch.swapped);
            let swapped = swapped.unwrap_or(first == Some(false));
            let screwed = touches[seen.min(before)..before].iter().any(|t| t.swapped.is_none());
            seen = before;
            let even = even_parts(signal, roots, blocks);
            for (number, blocks) in even.into_iter().enumerate() {
                if number > 0 {
                    found.steps.push(cycles.from_s[blocks[0]]);
                }
                let long = lasts(signal, &blocks) >= LEAST_S && blocks.len() >= LEAST_BLOCKS;
                let fresh = screwed || number > 0;
                if long {
                    found.pieces.push(Piece { blocks, swapped, fresh });
                } else if fresh {
                    // What follows it is not what was before it either.
                    found.pieces.push(Piece { blocks: Vec::new(), swapped, fresh });
                }
            }
        }
    }
    found
}

/// Length of some blocks together, s.
pub fn lasts(signal: &Signal, blocks: &[usize]) -> f64 {
    blocks.iter().map(|k| signal.cycles.to_s[*k] - signal.cycles.from_s[*k]).sum()
}

/// The median root of a meter with the engine running at a steady speed.
pub fn usual(signal: &Signal, root: &Root) -> f64 {
    let running = signal.plateaus.iter().filter(|p| p.kind == Kind::Running);
    let blocks = running.flat_map(|p| root.blocks[p.first_block..p.end_block].iter().copied());
    let read: Vec<f64> = blocks.filter(|v| v.is_finite()).collect();
    summary::median(&read).unwrap_or(0.0)
}

/// Hands at the meters and the screws, in the order of time.
fn touches(signal: &Signal, on: &dyn Fn(usize) -> bool) -> Vec<Touch> {
    let cycles = &signal.cycles;
    let running = signal.plateaus.iter().filter(|p| p.kind == Kind::Running);
    let off: Vec<usize> =
        running.flat_map(|p| p.first_block..p.end_block).filter(|k| !on(*k)).collect();
    let mut touches = Vec::new();
    for mark in &signal.track.marks {
        let swapped = match mark.meaning {
            Meaning::MetersSwapped => Some(true),
            Meaning::MetersDirect => Some(false),
            Meaning::Screw { .. } => None,
            _ => continue,
        };
        let at_s = mark.at.0;
        let (mut from_s, mut to_s) = (at_s - BEFORE_MARK_S, at_s + SETTLES_S);
        let near = |k: &&usize| (cycles.middle_s(**k) - at_s).abs() < MOVE_TAKES_S;
        for k in off.iter().filter(near).filter(|_| swapped.is_some()) {
            from_s = from_s.min(cycles.from_s[*k] - BEFORE_MARK_S);
            to_s = to_s.max(cycles.to_s[*k] + SETTLES_S);
        }
        touches.push(Touch { from_s, to_s, swapped });
    }
    touches
}

/// Parts between lasting steps of the ratio that nobody marked.
fn even_parts(signal: &Signal, roots: &[Root; 2], blocks: Vec<usize>) -> Vec<Vec<usize>> {
    let ratio = |k: &usize| (roots[0].blocks[*k] / roots[1].blocks[*k]).ln();
    let ratios: Vec<f64> = blocks.iter().map(ratio).collect();
    let matters = STEP.max(STEP_SCATTERS * summary::sd_of_neighbours(&ratios));
    let mean = |range: std::ops::Range<usize>| {
        let count = range.len() as f64;
        ratios[range].iter().sum::<f64>() / count
    };
    let mut edges = vec![0];
    edges.extend(changes::changes(&ratios));
    edges.push(blocks.len());
    let mut parts: Vec<std::ops::Range<usize>> = Vec::new();
    for edge in edges.windows(2) {
        let own = edge[0]..edge[1];
        let short = lasts(signal, &blocks[own.clone()]) < LEAST_PART_S;
        match parts.last_mut() {
            Some(last) if short || (mean(last.clone()) - mean(own.clone())).abs() < matters => {
                last.end = own.end;
            }
            _ => parts.push(own),
        }
    }
    // Too short to be judged, and too unlike the rest to be joined with it.
    if parts.len() > 1 && lasts(signal, &blocks[parts[0].clone()]) < LEAST_PART_S {
        parts.remove(0);
    }
    parts.into_iter().map(|range| blocks[range].to_vec()).collect()
}
