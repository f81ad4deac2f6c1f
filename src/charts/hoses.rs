//! Which way round the two hoses were, and when they were off.

use crate::findings::balance::PlateauBalance;
use crate::signal::cycles::Cycles;
use crate::signal::hoses::HoseChange;

/// Time around a change of the hoses that belongs to neither state, s: a mark is set by hand.
const HANDS_S: f64 = 1.0;
/// A mark is set this much after the hoses are on at the latest, s.
const LATE_S: f64 = 3.0;
/// A hose is off where a side reads less than this share of its vacuum in the nearest plateau.
const OFF_SHARE: f64 = 0.4;
/// It is on again where both sides read more than this share: a cycle in which a hose came off
/// holds readings of both kinds.
const ON_SHARE: f64 = 0.85;

/// True where sensor 1 sat on side 2 and sensor 2 on side 1.
pub(super) fn swapped(changes: &[HoseChange], at_s: f64) -> bool {
    let past = changes.partition_point(|change| change.at_s <= at_s);
    changes[..past].last().is_some_and(|change| change.swapped)
}

/// When the hoses changed places, s: a state told twice is no change.
pub(super) fn turns(changes: &[HoseChange]) -> Vec<f64> {
    let mut state = false;
    let mut turns = Vec::new();
    for change in changes {
        if change.swapped != state {
            turns.push(change.at_s);
        }
        state = change.swapped;
    }
    turns
}

/// For each block, whether nobody knows which way round the hoses were: the seconds around a
/// change, and those from the hoses back on to a mark set late.
pub(super) fn in_hand(cycles: &Cycles, turns: &[f64], off: &[bool]) -> Vec<bool> {
    let middles: Vec<f64> = (0..off.len()).map(|block| cycles.middle_s(block)).collect();
    let mut unknown: Vec<bool> =
        middles.iter().map(|at_s| turns.iter().any(|turn| (at_s - turn).abs() < HANDS_S)).collect();
    for turn in turns {
        let next = middles.partition_point(|at_s| at_s < turn);
        let earliest = middles.partition_point(|at_s| *at_s < turn - LATE_S);
        if let Some(last) = (earliest..next).rev().find(|block| off[*block]) {
            unknown[last + 1..next].fill(true);
        }
    }
    unknown
}

/// Blocks in which a hose was off.
pub(super) struct Off {
    /// A side reads next to nothing.
    pub surely: Vec<bool>,
    /// As well as these, the cycles in which a hose came off or went on.
    pub about: Vec<bool>,
}

/// Where a hose was off: nowhere without a plateau, which tells how much vacuum there is with the
/// hoses on.
pub(super) fn off(cycles: &Cycles, plateaus: &[PlateauBalance]) -> Off {
    let shares: Vec<f64> =
        (0..cycles.len()).map(|block| share(cycles, plateaus, block).unwrap_or(f64::NAN)).collect();
    let surely: Vec<bool> = shares.iter().map(|share| *share < OFF_SHARE).collect();
    let mut wide = surely.clone();
    for block in 1..wide.len() {
        wide[block] |= wide[block - 1] && shares[block] < ON_SHARE;
    }
    for block in (1..wide.len()).rev() {
        wide[block - 1] |= wide[block] && shares[block - 1] < ON_SHARE;
    }
    let near =
        |block: usize| wide[block.saturating_sub(1)..wide.len().min(block + 2)].contains(&true);
    Off { about: (0..wide.len()).map(near).collect(), surely }
}

/// The vacuum of a block over that of the plateau nearest in time: the lower of the two sides.
fn share(cycles: &Cycles, plateaus: &[PlateauBalance], block: usize) -> Option<f64> {
    let at_s = cycles.middle_s(block);
    let far = |p: &PlateauBalance| (p.from_s - at_s).max(at_s - p.to_s).max(0.0);
    let nearest = plateaus.iter().min_by(|a, b| far(a).total_cmp(&far(b)))?;
    let usual_kpa = nearest.vac1_kpa.min(nearest.vac2_kpa);
    let read = |column: &Option<Vec<f64>>| column.as_ref().and_then(|c| c.get(block).copied());
    let (one, two) = (read(&cycles.vac1_kpa)?, read(&cycles.vac2_kpa)?);
    (usual_kpa > 0.0).then(|| one.min(two) / usual_kpa)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_state_told_twice_is_one_turn() {
        let change = |at_s, swapped| HoseChange { at_s, swapped };
        let changes =
            [change(2.0, false), change(5.0, true), change(6.0, true), change(9.0, false)];
        assert_eq!(turns(&changes), [5.0, 9.0]);
        let states: Vec<bool> =
            [0.0, 4.9, 5.0, 8.9, 9.0].iter().map(|at| swapped(&changes, *at)).collect();
        assert_eq!(states, [false, false, true, true, false]);
    }

    #[test]
    fn a_late_mark_leaves_no_stub_between_the_hoses_on_and_the_mark() {
        let from_s: Vec<f64> = (0..20).map(|k| 0.5 * f64::from(k)).collect();
        let to_s = from_s.iter().map(|from| from + 0.5).collect();
        let cycles = Cycles { from_s, to_s, ..Cycles::default() };
        let mut off = vec![false; 20];
        off[8..11].fill(true);
        let unknown = |turn: f64| {
            let unknown = in_hand(&cycles, &[turn], &off);
            (0..20).filter(|block| unknown[*block]).collect::<Vec<_>>()
        };
        assert_eq!(unknown(7.5), [11, 12, 13, 14, 15, 16]);
        assert_eq!(unknown(2.5), [3, 4, 5, 6]);
        assert_eq!(unknown(99.0), [0; 0]);
    }
}
