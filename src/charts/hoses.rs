//! Which way round the two hoses were.

use super::trace::standing;
use crate::findings::balance::{Balance, ZeroMethod};
use crate::sample::Meaning;
use crate::signal::Signal;

/// Stretches of log time in which sensor 1 sat on side 2 and sensor 2 on side 1.
///
/// Taken from the marks. Without marks, and where the finding took its zero from a swap, a plateau
/// counts as swapped when its own readings, less the zero, lie nearer to the difference with its
/// sign turned than to the difference as found.
pub(super) fn swapped(signal: &Signal, finding: &Balance) -> Vec<(f64, f64)> {
    let marked = marked(signal);
    if marked.is_empty() && finding.zero.method == ZeroMethod::Swap {
        return told_by_the_plateaus(signal, finding);
    }
    marked
}

fn marked(signal: &Signal) -> Vec<(f64, f64)> {
    let mut stretches = Vec::new();
    let mut since = None;
    for mark in &signal.track.marks {
        match mark.meaning {
            Meaning::HosesSwapped => since = since.or(Some(mark.at.0)),
            Meaning::HosesDirect => stretches.extend(since.take().map(|from| (from, mark.at.0))),
            _ => {}
        }
    }
    stretches.extend(since.map(|from| (from, f64::INFINITY)));
    stretches
}

fn told_by_the_plateaus(signal: &Signal, finding: &Balance) -> Vec<(f64, f64)> {
    let cycles = &signal.cycles;
    let (Some(vac1), Some(vac2)) = (cycles.vac1_kpa.as_deref(), cycles.vac2_kpa.as_deref()) else {
        return Vec::new();
    };
    let off = standing(signal);
    let turned = finding.plateaus.iter().filter(|plateau| {
        let (mut sum, mut count) = (0.0, 0u32);
        for (block, (v1, v2)) in vac1.iter().zip(vac2).enumerate().take(off.len()) {
            let at = cycles.middle_s(block);
            let inside = plateau.from_s <= at && at <= plateau.to_s && !off[block];
            if inside && (v1 - v2).is_finite() {
                sum += v1 - v2 - finding.zero.offset_kpa;
                count += 1;
            }
        }
        count > 0 && sum / f64::from(count) * plateau.difference_kpa < 0.0
    });
    turned.map(|plateau| (plateau.from_s, plateau.to_s)).collect()
}

/// True where log time lies in one of the stretches.
pub(super) fn inside(stretches: &[(f64, f64)], at_s: f64) -> bool {
    stretches.iter().any(|(from, to)| *from <= at_s && at_s < *to)
}
