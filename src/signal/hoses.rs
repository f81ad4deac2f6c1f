//! When the two hoses changed places: from marks, set right by the data, or from the data alone when
//! nobody marked it.
//!
//! A hose that is pulled off shows the atmosphere while the engine runs. When both came off and the
//! difference of the readings then has turned over about the pair's zero, the hoses were exchanged.

use super::cycles::{Cycles, STANDSTILL_RPM};
use super::plateaus::{Kind, Plateau};
use crate::sample::{Mark, Meaning, Remark};

/// The state of the hoses from a moment on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoseChange {
    /// When, s.
    pub at_s: f64,
    /// Exchanged from then on.
    pub swapped: bool,
}

/// A hose is off below this share of the usual vacuum.
const OFF_SHARE: f64 = 0.4;
/// Both hoses are off for at least this long, s.
const LEAST_OFF_S: f64 = 0.6;
/// A mark belongs to hoses that came off this near to it, s.
const MARK_S: f64 = 8.0;
/// Length of the stretches compared before and after, s.
const BESIDE_S: f64 = 10.0;
/// A difference that moves by less has not turned over, kPa.
const LEAST_TURN_KPA: f64 = 0.6;
/// The middle of the two differences lies this near the zero from engine off, kPa: what two cheap
/// sensors can add by unlike gains at idle (2 % each of 55 kPa).
const NEAR_ZERO_KPA: f64 = 2.2;
/// ... and this near zero where there is no engine-off stretch.
const NEAR_NOTHING_KPA: f64 = 3.2;

/// Changes of the hoses, and a remark for those that nobody marked.
pub fn find(
    marks: &[Mark],
    cycles: &Cycles,
    plateaus: &[Plateau],
) -> (Vec<HoseChange>, Option<Remark>) {
    let mut marked: Vec<HoseChange> = marks
        .iter()
        .filter_map(|mark| match mark.meaning {
            Meaning::HosesSwapped => Some(HoseChange { at_s: mark.at.0, swapped: true }),
            Meaning::HosesDirect => Some(HoseChange { at_s: mark.at.0, swapped: false }),
            _ => None,
        })
        .collect();
    // Hoses that come off for a T-piece are not swapped by that.
    let tee = |mark: &Mark| matches!(mark.meaning, Meaning::TeeOn | Meaning::TeeOff);
    if !marked.is_empty() || marks.iter().any(tee) {
        let off = Hoses::of(cycles).map(|hoses| hoses.off()).unwrap_or_default();
        marked.iter_mut().for_each(|change| change.at_s = back_on(change.at_s, &off));
        return (marked, None);
    }
    let found = from_data(cycles, plateaus).unwrap_or_default();
    let at: Vec<f64> = found.iter().map(|change| change.at_s).collect();
    let remark = (!at.is_empty()).then(|| {
        let text = "both hoses came off and the difference has turned over: taken as the hoses swapped, though nobody marked it";
        Remark::new("hoses_swapped", at.len(), &at, text)
    });
    (found, remark)
}

/// Nobody presses a key with both hoses in hand: a mark belongs to the time at which they came off
/// nearest to it, and counts from when they are back on.
fn back_on(mark_s: f64, off: &[(f64, f64)]) -> f64 {
    let away = |span: &(f64, f64)| (span.0 - mark_s).max(mark_s - span.1).max(0.0);
    let nearest = off.iter().min_by(|a, b| away(a).total_cmp(&away(b)));
    nearest.filter(|span| away(span) <= MARK_S).map_or(mark_s, |span| span.1)
}

/// The readings by which hoses are seen to be on or off.
struct Hoses<'a> {
    cycles: &'a Cycles,
    one: &'a [f64],
    two: &'a [f64],
    /// Blocks with the engine running.
    running: Vec<usize>,
    usual: [f64; 2],
}

impl<'a> Hoses<'a> {
    fn of(cycles: &'a Cycles) -> Option<Self> {
        let (one, two) = (cycles.vac1_kpa.as_ref()?, cycles.vac2_kpa.as_ref()?);
        let rpm = cycles.rpm.as_ref()?;
        let running: Vec<usize> = (0..cycles.len()).filter(|k| rpm[*k] >= STANDSTILL_RPM).collect();
        let usual = |column: &[f64]| median(running.iter().map(|k| column[*k]));
        let usual = [usual(one)?, usual(two)?];
        Some(Hoses { cycles, one, two, running, usual })
    }

    fn is_off(&self, k: usize) -> bool {
        self.one[k] < OFF_SHARE * self.usual[0] && self.two[k] < OFF_SHARE * self.usual[1]
    }

    /// Spans with both hoses off: (from, to), s.
    fn off(&self) -> Vec<(f64, f64)> {
        spans(self.cycles, self.running.iter().copied().filter(|k| self.is_off(*k)))
    }

    /// Median difference of the readings between two times, hoses on.
    fn difference(&self, from_s: f64, to_s: f64) -> Option<f64> {
        let inside =
            |k: &&usize| self.cycles.from_s[**k] >= from_s && self.cycles.to_s[**k] <= to_s;
        let on = self.running.iter().filter(inside).filter(|k| !self.is_off(**k));
        median(on.map(|k| self.one[*k] - self.two[*k]))
    }
}

fn from_data(cycles: &Cycles, plateaus: &[Plateau]) -> Option<Vec<HoseChange>> {
    let hoses = Hoses::of(cycles)?;
    let zero = plateaus
        .iter()
        .filter(|p| p.kind == Kind::EngineOff)
        .filter_map(|p| median((p.first_block..p.end_block).map(|k| hoses.one[k] - hoses.two[k])))
        .next();
    let mut changes = Vec::new();
    let mut swapped = false;
    for (from_s, to_s) in hoses.off() {
        let before = hoses.difference(from_s - BESIDE_S, from_s - 0.5);
        let after = hoses.difference(to_s + 0.5, to_s + BESIDE_S);
        if let (Some(before), Some(after)) = (before, after)
            && turned_over(before, after, zero)
        {
            swapped = !swapped;
            changes.push(HoseChange { at_s: to_s, swapped });
        }
    }
    Some(changes)
}

fn turned_over(before: f64, after: f64, zero: Option<f64>) -> bool {
    let middle = 0.5 * (before + after);
    let near = match zero {
        Some(zero) => (middle - zero).abs() < NEAR_ZERO_KPA,
        None => middle.abs() < NEAR_NOTHING_KPA,
    };
    (after - before).abs() > LEAST_TURN_KPA && near
}

/// Unbroken spans of blocks that last long enough: (from, to), s.
fn spans(cycles: &Cycles, blocks: impl Iterator<Item = usize>) -> Vec<(f64, f64)> {
    let mut spans: Vec<(f64, f64, usize)> = Vec::new();
    for k in blocks {
        match spans.last_mut() {
            Some(span) if span.2 + 1 == k => (span.1, span.2) = (cycles.to_s[k], k),
            _ => spans.push((cycles.from_s[k], cycles.to_s[k], k)),
        }
    }
    spans.retain(|span| span.1 - span.0 >= LEAST_OFF_S);
    spans.into_iter().map(|span| (span.0, span.1)).collect()
}

fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut held: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    let middle = held.len() / 2;
    (!held.is_empty()).then(|| *held.select_nth_unstable_by(middle, f64::total_cmp).1)
}
