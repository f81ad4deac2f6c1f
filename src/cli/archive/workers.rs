//! Work on many things at once whose results come in order, a few of them in memory at a time.

use std::collections::BTreeMap;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

/// Things begun and not yet handed over, for each thread.
const AHEAD: usize = 4;

/// What to do after a result was handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    /// The next one.
    GoOn,
    /// Begin nothing new; what was begun is finished and handed over.
    End,
}

struct State<T> {
    /// The next to begin.
    next: usize,
    /// So many are handed over.
    taken: usize,
    /// Finished, waiting for those before them.
    done: BTreeMap<usize, T>,
    /// Nothing new is begun.
    ending: bool,
    /// A thread came to grief; its result never comes.
    broken: bool,
}

struct Desk<T> {
    state: Mutex<State<T>>,
    /// There is room to begin another.
    room: Condvar,
    /// Another is finished.
    finished: Condvar,
}

impl<T> Desk<T> {
    fn lock(&self) -> MutexGuard<'_, State<T>> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The number of the next thing to begin, once there is room for it.
    fn begin(&self, count: usize, ahead: usize) -> Option<usize> {
        let mut state = self.lock();
        while !state.ending && state.next < count && state.next >= state.taken + ahead {
            state = self.room.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        if state.ending || state.next >= count {
            return None;
        }
        state.next += 1;
        Some(state.next - 1)
    }

    /// The result of that number; none where it was never begun.
    fn result(&self, number: usize) -> Option<T> {
        let mut state = self.lock();
        loop {
            if let Some(result) = state.done.remove(&number) {
                return Some(result);
            }
            if state.broken || (state.ending && number >= state.next) {
                return None;
            }
            state = self.finished.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn end(&self) {
        self.lock().ending = true;
        self.room.notify_all();
    }
}

/// Says so when the thread unwinds, so that nobody waits for what it was at.
struct Alarm<'a, T>(&'a Desk<T>);

impl<T> Drop for Alarm<'_, T> {
    fn drop(&mut self) {
        if thread::panicking() {
            let mut state = self.0.lock();
            (state.broken, state.ending) = (true, true);
            drop(state);
            self.0.room.notify_all();
            self.0.finished.notify_all();
        }
    }
}

/// Does the work on each of `things` on so many threads and hands the results over in the order of
/// the things. At most four results a thread wait for those before them, so that one thing that
/// takes long does not fill the memory.
///
/// # Errors
/// The first that `hand_over` gives; nothing is handed over after it.
pub fn in_order<I: Sync, T: Send, E>(
    things: &[I],
    threads: usize,
    work: impl Fn(&I) -> T + Sync,
    mut hand_over: impl FnMut(T) -> Result<Next, E>,
) -> Result<(), E> {
    let state = State { next: 0, taken: 0, done: BTreeMap::new(), ending: false, broken: false };
    let desk = Desk { state: Mutex::new(state), room: Condvar::new(), finished: Condvar::new() };
    let threads = threads.clamp(1, things.len().max(1));
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let _alarm = Alarm(&desk);
                while let Some(number) = desk.begin(things.len(), AHEAD * threads) {
                    let result = work(&things[number]);
                    desk.lock().done.insert(number, result);
                    desk.finished.notify_one();
                }
            });
        }
        for number in 0..things.len() {
            let Some(result) = desk.result(number) else { break };
            match hand_over(result) {
                Ok(Next::GoOn) => {}
                Ok(Next::End) => desk.end(),
                Err(error) => {
                    desk.end();
                    return Err(error);
                }
            }
            desk.lock().taken = number + 1;
            desk.room.notify_all();
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::convert::Infallible;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn results_come_in_order_however_long_each_takes() {
        for threads in [1, 2, 7, 100] {
            let things: Vec<u64> = (0..60).collect();
            // The first of each ten is the slowest.
            let work = |thing: &u64| {
                (0..(9 - thing % 10) * 20_000).fold(*thing, |sum, k| sum.wrapping_add(k % 2 * 2))
                    & 1
                    | thing << 1
            };
            let want: Vec<u64> = things.iter().map(work).collect();
            let mut got = Vec::new();
            in_order(&things, threads, work, |result| {
                got.push(result);
                Ok::<_, Infallible>(Next::GoOn)
            })
            .unwrap();
            assert_eq!(got, want, "{threads} threads");
        }
    }

    #[test]
    fn few_results_wait_for_one_that_is_late() {
        let (begun, taken) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let most = AtomicUsize::new(0);
        let things: Vec<usize> = (0..500).collect();
        let work = |_: &usize| {
            let ahead = begun.fetch_add(1, Ordering::SeqCst) + 1 - taken.load(Ordering::SeqCst);
            most.fetch_max(ahead, Ordering::SeqCst);
        };
        in_order(&things, 3, work, |()| {
            taken.fetch_add(1, Ordering::SeqCst);
            Ok::<_, Infallible>(Next::GoOn)
        })
        .unwrap();
        assert_eq!(taken.load(Ordering::SeqCst), 500);
        let most = most.load(Ordering::SeqCst);
        assert!(most <= 3 * AHEAD + 1, "{most} at once");
    }

    #[test]
    fn an_end_or_an_error_begins_nothing_new() {
        let things: Vec<usize> = (0..1000).collect();
        let mut got = Vec::new();
        in_order(
            &things,
            2,
            |thing| *thing,
            |result| {
                got.push(result);
                Ok::<_, Infallible>(if result == 9 { Next::End } else { Next::GoOn })
            },
        )
        .unwrap();
        assert!(got.len() >= 10 && got.len() <= 10 + 2 * AHEAD, "{}", got.len());
        assert!(got.iter().copied().eq(0..got.len()), "{got:?}");
        let mut seen = 0;
        let error = in_order(
            &things,
            2,
            |thing| *thing,
            |result| {
                seen += 1;
                if result == 9 { Err("full") } else { Ok(Next::GoOn) }
            },
        );
        assert_eq!((error, seen), (Err("full"), 10));
    }

    #[test]
    #[should_panic(expected = "scoped thread panicked")]
    fn a_thread_that_fails_is_not_waited_for() {
        let fails = |thing: &usize| assert_ne!(*thing, 5, "on purpose");
        let _ = in_order(&[0, 1, 2, 3, 4, 5, 6, 7], 2, fails, |()| Ok::<_, ()>(Next::GoOn));
    }
}
