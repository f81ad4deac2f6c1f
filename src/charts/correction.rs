//! The error of the sensor pair along the log, as the finding took it out.

use super::hoses;
use super::scale::Range;
use crate::findings::balance::{Averaged, Balance};
use crate::signal::hoses::HoseChange;

/// What turns two readings into the vacuums of the two sides.
pub(super) struct Correction<'a> {
    /// In the order of time.
    stretches: Vec<Averaged>,
    changes: &'a [HoseChange],
    otherwise_kpa: f64,
}

/// Errors that differ by less are one for a reader, kPa.
const SAME_KPA: f64 = 0.05;

impl<'a> Correction<'a> {
    /// From the stretches that the finding averaged; from its zero where it averaged none.
    pub fn new(finding: &Balance, changes: &'a [HoseChange]) -> Correction<'a> {
        let all = finding.plateaus.iter().flat_map(|p| p.stretches.iter().copied());
        let mut stretches: Vec<Averaged> = all
            .filter(|s| [s.from_s, s.to_s, s.error_kpa].into_iter().all(Range::drawable))
            .collect();
        stretches.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        Correction { stretches, changes, otherwise_kpa: finding.zero.offset_kpa }
    }

    /// Sensor 1 reads this much more than sensor 2 at equal vacuum, kPa. Between two stretches it
    /// passes straight from one to the other; before the first and after the last it holds.
    pub fn error_kpa(&self, at_s: f64) -> f64 {
        let past = self.stretches.partition_point(|s| s.from_s <= at_s);
        match (self.before(past), self.stretches.get(past)) {
            (Some(before), Some(after)) if at_s > before.to_s => {
                let share = (at_s - before.to_s) / (after.from_s - before.to_s);
                before.error_kpa + share * (after.error_kpa - before.error_kpa)
            }
            (Some(stretch), _) | (None, Some(stretch)) => stretch.error_kpa,
            (None, None) => self.otherwise_kpa,
        }
    }

    /// True where sensor 1 sat on side 2.
    pub fn swapped(&self, at_s: f64) -> bool {
        let past = self.stretches.partition_point(|s| s.from_s <= at_s);
        match self.before(past) {
            Some(stretch) if at_s <= stretch.to_s => stretch.sign < 0.0,
            _ => hoses::swapped(self.changes, at_s),
        }
    }

    /// The least and the largest error that was taken out, kPa; both their middle where they lie too
    /// near to one another to be told apart.
    pub fn errors_kpa(&self) -> (f64, f64) {
        let errors = self.stretches.iter().map(|s| s.error_kpa);
        let ends = errors.fold(None, |ends: Option<(f64, f64)>, e| {
            Some(ends.map_or((e, e), |(low, high)| (low.min(e), high.max(e))))
        });
        let (low, high) = ends.unwrap_or((self.otherwise_kpa, self.otherwise_kpa));
        let middle = 0.5 * (low + high);
        if high - low < SAME_KPA { (middle, middle) } else { (low, high) }
    }

    fn before(&self, past: usize) -> Option<&Averaged> {
        past.checked_sub(1).and_then(|last| self.stretches.get(last))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::Verdict;
    use crate::findings::balance::{ZeroMethod, ZeroUsed};

    #[test]
    fn the_error_holds_inside_passes_over_between_and_stays_at_the_ends() {
        let stretch = |from_s, to_s, sign, error_kpa| Averaged { from_s, to_s, sign, error_kpa };
        let changes = [HoseChange { at_s: 20.0, swapped: true }];
        let stretches = vec![stretch(10.0, 18.0, 1.0, 1.0), stretch(22.0, 30.0, -1.0, 2.0)];
        let correction = Correction { stretches, changes: &changes, otherwise_kpa: 9.0 };
        let errors: Vec<f64> =
            [0.0, 10.0, 18.0, 19.0, 20.0, 22.0, 99.0].map(|at| correction.error_kpa(at)).into();
        assert_eq!(errors, [1.0, 1.0, 1.0, 1.25, 1.5, 2.0, 2.0]);
        let turned = [0.0, 15.0, 19.0, 20.0, 25.0, 40.0].map(|at| correction.swapped(at));
        assert_eq!(turned, [false, false, false, true, true, true]);
        assert_eq!(correction.errors_kpa(), (1.0, 2.0));
    }

    #[test]
    fn without_a_stretch_the_zero_stands() {
        let zero = ZeroUsed { method: ZeroMethod::EngineOff, offset_kpa: 0.6, u_kpa: 0.1 };
        let finding = Balance {
            zero,
            tolerance_kpa: 1.3,
            plateaus: Vec::new(),
            verdict: Verdict::NotSettled,
            say: String::new(),
            causes: Vec::new(),
            screws: None,
            superseded: 0,
            on_sides: Vec::new(),
            remarks: Vec::new(),
            flow: None,
        };
        let correction = Correction::new(&finding, &[]);
        assert_eq!(correction.error_kpa(5.0), 0.6);
        assert_eq!(correction.errors_kpa(), (0.6, 0.6));
    }
}
