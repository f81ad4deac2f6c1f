//! Counts the comparisons of a check with something outside, keeps the largest deviation of each,
//! and says both on one line when the check ends.

use std::io::Write;

/// The comparisons of one check.
pub struct Tally {
    what: &'static str,
    comparisons: usize,
    largest: f64,
    at: String,
}

#[allow(dead_code, reason = "each test binary that shares this file uses its own part")]
impl Tally {
    /// Begins a check with this name.
    pub fn new(what: &'static str) -> Self {
        Tally { what, comparisons: 0, largest: 0.0, at: String::new() }
    }

    /// Fails unless `found` lies within this share of `expected`; an expected 0 allows as much in its
    /// own unit.
    #[track_caller]
    pub fn near(&mut self, what: &str, found: f64, expected: f64, relative: f64) {
        let size = if expected == 0.0 { 1.0 } else { expected.abs() };
        self.of_size(what, found, expected, (size, relative));
    }

    /// Fails unless `found` has at least this many correct digits: minus the logarithm of the relative
    /// error, the LRE by which StRD results are given.
    #[track_caller]
    pub fn digits(&mut self, what: &str, found: f64, certified: f64, least: f64) {
        self.near(what, found, certified, 10f64.powf(-least));
    }

    /// Fails unless `found` lies within `allowed.1` times the size `allowed.0` of `expected`: for
    /// what cancels, or is printed in so many decimals.
    #[track_caller]
    pub fn of_size(&mut self, what: &str, found: f64, expected: f64, allowed: (f64, f64)) {
        let off = if found == expected { 0.0 } else { (found - expected).abs() / allowed.0 };
        assert!(off <= allowed.1, "{}, {what}: {found:e} against {expected:e}", self.what);
        self.comparisons += 1;
        if off > self.largest {
            (self.largest, self.at) = (off, what.into());
        }
    }

    /// Fails unless the two are the same: places, counts, verdicts.
    #[track_caller]
    pub fn same<T: PartialEq + std::fmt::Debug>(&mut self, what: &str, found: T, expected: T) {
        assert_eq!(found, expected, "{}, {what}", self.what);
        self.comparisons += 1;
    }
}

/// The line goes to the standard error itself, past the test runner, which keeps what a passing
/// test prints to itself.
impl Drop for Tally {
    fn drop(&mut self) {
        if std::thread::panicking() {
            return;
        }
        assert!(self.comparisons > 0, "{}: nothing was compared", self.what);
        let Tally { what, comparisons, largest, at } = self;
        let place = if at.is_empty() { String::new() } else { format!(" ({at})") };
        let line = format!(
            "outside: {what}: {comparisons} comparisons, largest deviation {largest:.1e}{place}\n"
        );
        // A closed standard error is no reason to fail.
        let _ = std::io::stderr().write_all(line.as_bytes());
    }
}
