//! Stretches on which the pair is compared: steady speed, hoses on, one state of the hoses.

use super::balance::LEVEL;
use crate::signal::Signal;
use crate::signal::hoses::HoseChange;
use crate::signal::plateaus::{Kind, Plateau};
use crate::statistics::correlated::{MeanInterval, mean_interval};

/// Time around a hose swap that belongs to neither state, s.
const HANDS_S: f64 = 1.0;
/// A hose is off when its sensor reads less than this share of its usual vacuum.
const HOSE_OFF_SHARE: f64 = 0.4;
/// A stretch is worth an average from this length on, s.
const LEAST_S: f64 = 3.0;
/// ... and from this many blocks on.
const LEAST_BLOCKS: usize = 8;
/// Stretches on both sides of a swap are one setting when their speeds agree within this share.
const SAME_SPEED: f64 = 0.06;

/// A stretch with one state of the engine and of the hoses.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Engine off, or running.
    pub kind: Kind,
    /// The hoses are exchanged.
    pub swapped: bool,
    /// Number of the setting: stretches of one setting share the true difference.
    pub setting: usize,
    /// Mean speed, rev/min.
    pub rpm: Option<f64>,
    /// Engine cycles that went into the mean.
    pub cycles: f64,
    /// Mean of sensor 1, kPa.
    pub vac1_kpa: f64,
    /// Mean of sensor 2, kPa.
    pub vac2_kpa: f64,
    /// Mean of sensor 1 less sensor 2, kPa.
    pub difference: MeanInterval,
    /// Samples: from, one past the last.
    pub samples: (usize, usize),
    /// Blocks left out because a hose was off.
    pub hose_off: usize,
}

/// Cuts the plateaus of a signal at the swaps and averages the difference over each piece.
pub fn find(signal: &Signal) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    for plateau in &signal.plateaus {
        for (from_s, to_s, swapped) in pieces(plateau, &signal.hoses) {
            if let Some(stretch) = average(signal, plateau, from_s, to_s, swapped) {
                found.push(stretch);
            }
        }
    }
    number_settings(&mut found);
    found
}

/// Pieces of a plateau between swaps: (from, to, exchanged).
fn pieces(plateau: &Plateau, changes: &[HoseChange]) -> Vec<(f64, f64, bool)> {
    let mut pieces = Vec::new();
    let (mut from, mut state) = (plateau.from_s, false);
    if let Some(last) = changes.iter().rev().find(|c| c.at_s <= from + HANDS_S) {
        (from, state) = (from.max(last.at_s + HANDS_S), last.swapped);
    }
    let inside = |c: &&HoseChange| c.at_s > plateau.from_s + HANDS_S && c.at_s < plateau.to_s;
    for change in changes.iter().filter(inside) {
        pieces.push((from, change.at_s - HANDS_S, state));
        (from, state) = (change.at_s + HANDS_S, change.swapped);
    }
    pieces.push((from, plateau.to_s, state));
    pieces.retain(|(from, to, _)| to - from >= LEAST_S.min(plateau.to_s - plateau.from_s));
    pieces
}

fn average(
    signal: &Signal,
    plateau: &Plateau,
    from_s: f64,
    to_s: f64,
    swapped: bool,
) -> Option<Stretch> {
    let cycles = &signal.cycles;
    let (one, two) = (cycles.vac1_kpa.as_ref()?, cycles.vac2_kpa.as_ref()?);
    let inside = |k: &usize| cycles.from_s[*k] >= from_s - 1e-9 && cycles.to_s[*k] <= to_s + 1e-9;
    let read: Vec<usize> = (plateau.first_block..plateau.end_block)
        .filter(inside)
        .filter(|k| one[*k].is_finite() && two[*k].is_finite())
        .collect();
    let usual = |column: &[f64]| {
        let mut held: Vec<f64> = read.iter().map(|k| column[*k]).collect();
        let middle = held.len() / 2;
        (!held.is_empty()).then(|| *held.select_nth_unstable_by(middle, f64::total_cmp).1)
    };
    let (usual1, usual2) = (usual(one)?, usual(two)?);
    let on = |k: &usize| {
        plateau.kind == Kind::EngineOff
            || one[*k] > HOSE_OFF_SHARE * usual1 && two[*k] > HOSE_OFF_SHARE * usual2
    };
    let kept: Vec<usize> = read.iter().copied().filter(on).collect();
    let (first, last) = (*kept.first()?, *kept.last()?);
    if kept.len() < LEAST_BLOCKS {
        return None;
    }
    let difference: Vec<f64> = kept.iter().map(|k| one[*k] - two[*k]).collect();
    let mean = |column: &[f64]| kept.iter().map(|k| column[*k]).sum::<f64>() / kept.len() as f64;
    let turned: f64 = kept.iter().map(|k| cycles.cycles[*k]).sum();
    let time: f64 = kept.iter().map(|k| cycles.to_s[*k] - cycles.from_s[*k]).sum();
    let end_sample =
        cycles.sample.get(last + 1).map_or(signal.track.len(), |sample| *sample as usize);
    Some(Stretch {
        from_s: cycles.from_s[first],
        to_s: cycles.to_s[last],
        kind: plateau.kind,
        swapped,
        setting: 0,
        rpm: cycles.rpm.as_ref().map(|_| 120.0 * turned / time),
        cycles: turned,
        vac1_kpa: mean(one),
        vac2_kpa: mean(two),
        difference: mean_interval(&difference, LEVEL)?,
        samples: (cycles.sample[first] as usize, end_sample),
        hose_off: read.len() - kept.len(),
    })
}

/// Running stretches get the number of their setting: a new one, or that of the stretch before when
/// only the hoses have changed in between.
fn number_settings(stretches: &mut [Stretch]) {
    let mut next = 0;
    let mut before: Option<(usize, bool, Option<f64>)> = None;
    for stretch in stretches.iter_mut() {
        if stretch.kind == Kind::EngineOff {
            before = None;
            continue;
        }
        let same = before.filter(|(_, swapped, rpm)| {
            *swapped != stretch.swapped
                && match (rpm, stretch.rpm) {
                    (Some(a), Some(b)) => (a - b).abs() <= SAME_SPEED * a,
                    _ => true,
                }
        });
        stretch.setting = same.map_or_else(
            || {
                next += 1;
                next - 1
            },
            |(setting, _, _)| setting,
        );
        before = Some((stretch.setting, stretch.swapped, stretch.rpm));
    }
}
