//! Work shared between two cores, where there is so much of it that a thread is worth its start.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Samples of a log from which on a thread is worth its start.
pub const MANY_SAMPLES: usize = 100_000;

/// Does two things, on a core each where there is much to do.
///
/// ```
/// use evenbreath::cores::both;
/// for much in [false, true] {
///     assert_eq!(both(much, || 1 + 1, || "two"), (2, "two"));
/// }
/// ```
///
/// # Panics
/// Where one of the two does.
pub fn both<A: Send, B>(
    much: bool,
    one: impl FnOnce() -> A + Send,
    two: impl FnOnce() -> B,
) -> (A, B) {
    if !much {
        return (one(), two());
    }
    thread::scope(|scope| {
        let one = scope.spawn(one);
        let two = two();
        match one.join() {
            Ok(one) => (one, two),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

/// Does the same with each of some items, on two cores where there is much to do; in the order of the items.
///
/// ```
/// use evenbreath::cores::each;
/// for much in [false, true] {
///     assert_eq!(each(much, &[1, 2, 3], |item| 2 * item), [2, 4, 6]);
/// }
/// ```
///
/// # Panics
/// Where the work does.
pub fn each<T: Sync, R: Send>(much: bool, items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let share = || {
        let mut done = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(number) else { return done };
            done.push((number, work(item)));
        }
    };
    let (one, two) = both(much && items.len() > 1, share, share);
    let mut results: Vec<Option<R>> = items.iter().map(|_| None).collect();
    for (number, result) in one.into_iter().chain(two) {
        results[number] = Some(result);
    }
    results.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_the_order_of_the_items_however_long_each_takes() {
        let items: Vec<u64> = (0..500).map(|k| k * 7919 % 97).collect();
        let work = |item: &u64| (0..item * 1000).fold(*item, |sum, k| sum ^ k.wrapping_mul(31));
        assert_eq!(each(true, &items, work), each(false, &items, work));
        assert!(each(true, &[], work).is_empty());
    }

    #[test]
    #[should_panic(expected = "on the other core")]
    fn a_panic_is_passed_on() {
        both(true, || panic!("on the other core"), || ());
    }
}
