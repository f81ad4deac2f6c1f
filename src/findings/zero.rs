//! The zero that a log allows, and whether its swap can be believed.

use super::balance::{ZeroMethod, ZeroUsed};
use super::stretches::Stretch;
use crate::sample::Remark;
use crate::sensors::matching::{Matching, Prior, Reading, State};
use crate::signal::plateaus::Kind;

/// A pair whose error at a swap is this many standard uncertainties from what its specification
/// allows has not been swapped.
const BEYOND_BELIEF: f64 = 4.0;

/// The pair's error, solved for all settings of a log.
pub struct Zero {
    /// The solution; absent when no stretch has a usable mean.
    pub matching: Option<Matching>,
    /// Number of settings.
    pub settings: usize,
    /// The zero in words.
    pub used: ZeroUsed,
    /// A swap that cannot be believed.
    pub remark: Option<Remark>,
}

/// Solves for the pair's error; hoses that the readings contradict count as not swapped.
pub fn solve(stretches: &mut [Stretch], prior: Prior) -> Zero {
    let mut remark = None;
    if let Some((at_s, error)) = unbelievable_swap(stretches, prior) {
        let text = format!(
            "the hoses are marked as swapped, but then the two sensors would differ by {:.1} kPa at equal vacuum, far more than their specification: the swap is not believed; check the marks and the hoses",
            error.abs()
        );
        remark = Some(Remark::new("swap_doubtful", 1, &[at_s], text));
        believe_no_swap(stretches);
    }
    let settings = settings(stretches);
    let readings: Vec<Reading> = stretches.iter().map(reading).collect();
    let matching = Matching::solve(&readings, settings, prior);
    let used = used(stretches, matching.as_ref(), prior);
    Zero { matching, settings, used, remark }
}

fn settings(stretches: &[Stretch]) -> usize {
    let running = stretches.iter().filter(|s| s.kind == Kind::Running);
    running.map(|s| s.setting + 1).max().unwrap_or(0)
}

fn vacuum(stretch: &Stretch) -> f64 {
    0.5 * (stretch.vac1_kpa + stretch.vac2_kpa)
}

fn reading(stretch: &Stretch) -> Reading {
    let (state, vacuum_kpa) = match (stretch.kind, stretch.swapped) {
        (Kind::EngineOff, _) => (State::EngineOff, 0.0),
        (Kind::Running, false) => (State::Direct(stretch.setting), vacuum(stretch)),
        (Kind::Running, true) => (State::Swapped(stretch.setting), vacuum(stretch)),
    };
    let difference = &stretch.difference;
    Reading { difference_kpa: difference.mean, u_kpa: difference.u, vacuum_kpa, state }
}

/// Direct and swapped stretches of one setting.
fn swapped_pairs(stretches: &[Stretch]) -> impl Iterator<Item = (&Stretch, &Stretch)> {
    let running = |s: &&Stretch| s.kind == Kind::Running;
    stretches.iter().filter(running).filter(|s| s.swapped).flat_map(move |swapped| {
        let direct = move |s: &&Stretch| !s.swapped && s.setting == swapped.setting;
        stretches.iter().filter(running).filter(direct).map(move |direct| (direct, swapped))
    })
}

/// Where, and by how much, a swap contradicts the specification of the pair and its engine-off zero.
fn unbelievable_swap(stretches: &[Stretch], prior: Prior) -> Option<(f64, f64)> {
    let off: Vec<Reading> =
        stretches.iter().filter(|s| s.kind == Kind::EngineOff).map(reading).collect();
    let expected = Matching::solve(&off, 0, prior)?;
    swapped_pairs(stretches).find_map(|(direct, swapped)| {
        let error = 0.5 * (direct.difference.mean + swapped.difference.mean);
        let (mean, u) = expected.error_kpa(0.5 * (vacuum(direct) + vacuum(swapped)));
        ((error - mean).abs() > BEYOND_BELIEF * u).then_some((swapped.from_s, error))
    })
}

/// Every running stretch as if the hoses had stayed, and as a setting of its own.
fn believe_no_swap(stretches: &mut [Stretch]) {
    for (number, stretch) in stretches.iter_mut().filter(|s| s.kind == Kind::Running).enumerate() {
        (stretch.swapped, stretch.setting) = (false, number);
    }
}

/// The best cure there was, and the pair's error where it was measured.
fn used(stretches: &[Stretch], matching: Option<&Matching>, prior: Prior) -> ZeroUsed {
    let none = ZeroUsed { method: ZeroMethod::None, offset_kpa: 0.0, u_kpa: prior.u_offset_kpa };
    let off = stretches.iter().any(|s| s.kind == Kind::EngineOff);
    let (method, at_kpa) = match swapped_pairs(stretches).next() {
        Some((_, swapped)) => (ZeroMethod::Swap, vacuum(swapped)),
        None if off => (ZeroMethod::EngineOff, 0.0),
        None => return none,
    };
    let error = matching.map(|matching| matching.error_kpa(at_kpa));
    error.map_or(none, |(offset_kpa, u_kpa)| ZeroUsed { method, offset_kpa, u_kpa })
}
