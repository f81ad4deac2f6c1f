//! Running many simulations and counting what came of them.

use std::num::NonZero;
use std::sync::OnceLock;
use std::thread;

/// `judge(k)` for `k` from 0 to `count - 1`, in that order, on all cores.
pub fn each<T: Send>(count: u64, judge: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let cores = thread::available_parallelism().map_or(1, NonZero::get) as u64;
    let judge = &judge;
    let parts: Vec<Vec<T>> = thread::scope(|scope| {
        let hands: Vec<_> = (0..cores)
            .map(|core| {
                scope.spawn(move || (core..count).step_by(cores as usize).map(judge).collect())
            })
            .collect();
        hands.into_iter().filter_map(|hand| hand.join().ok()).collect()
    });
    let mut parts: Vec<_> = parts.into_iter().map(Vec::into_iter).collect();
    let mut all = Vec::with_capacity(count as usize);
    while all.len() < count as usize {
        let Some(next) = parts[all.len() % cores as usize].next() else {
            panic!("a simulation panicked");
        };
        all.push(next);
    }
    all
}

/// What every seed is mixed with.
static WORLD: OnceLock<u64> = OnceLock::new();

/// Has every log drawn anew, from `seed`; once, before the first log.
pub fn draw_from(seed: u64) {
    WORLD.get_or_init(|| seed);
}

/// Seed of log `number` of cell `cell`: every log is its own world.
pub fn seed(cell: u64, number: u64) -> u64 {
    let world = WORLD.get().copied().unwrap_or(0);
    (cell << 32 | number) ^ (world << 56)
}

/// A share of a count.
#[derive(Debug, Clone, Copy, Default)]
pub struct Share {
    /// How many.
    pub held: u64,
    /// Of how many.
    pub of: u64,
}

impl Share {
    /// Counts one more.
    pub fn count(&mut self, held: bool) {
        self.held += u64::from(held);
        self.of += 1;
    }

    /// Per cent; none of nothing.
    pub fn percent(self) -> Option<f64> {
        (self.of > 0).then(|| 100.0 * self.held as f64 / self.of as f64)
    }

    /// True when chance alone hardly explains (one in a thousand) that the true share lies at `limit`
    /// per cent or above it: three standard deviations of a binomial.
    pub fn clearly_below(self, limit: f64) -> bool {
        let spread = (limit * (100.0 - limit) / self.of.max(1) as f64).sqrt();
        self.percent().is_some_and(|p| p < limit - 3.0 * spread)
    }

    /// As [`Share::clearly_below`], on the other side.
    pub fn clearly_above(self, limit: f64) -> bool {
        let spread = (limit * (100.0 - limit) / self.of.max(1) as f64).sqrt();
        self.percent().is_some_and(|p| p > limit + 3.0 * spread)
    }
}

impl std::fmt::Display for Share {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let text = self.percent().map_or_else(|| "-".into(), |p| format!("{p:.1}"));
        f.pad(&text)
    }
}

/// The middle value; none of nothing.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
