//! The difference so far, by the same code that judges a log, on the samples of the last minute and those
//! that the zero needs.

use super::screen::{Interval, SoFar};
use crate::findings::{Conditions, Verdict, balance};
use crate::sample::Track;
use crate::signal;
use std::sync::mpsc::{Receiver, channel};
use std::thread::{Builder, JoinHandle};

/// A steady stretch that ended longer ago than this is not what the engine does now, s.
const AGED_S: f64 = 4.0;

/// What is known so far.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Vacuum 1 less vacuum 2; absent where nothing is steady.
    pub difference: Option<Interval>,
    /// The verdict in words; absent where nothing is steady.
    pub so_far: Option<SoFar>,
    /// Seconds more of log that would settle it.
    pub needs_s: Option<f64>,
}

/// Judges in a thread of its own: the cable does not wait for statistics.
pub struct Judge {
    asks: Option<std::sync::mpsc::Sender<Track>>,
    answers: Receiver<Judged>,
    thread: Option<JoinHandle<()>>,
    busy: bool,
    latest: Option<Judged>,
}

impl Judge {
    /// A judge who is told these conditions; `None` where no threads are to be had.
    pub fn new(conditions: Conditions) -> Option<Self> {
        let (asks, asked) = channel::<Track>();
        let (answer, answers) = channel();
        let judge = move || {
            for track in asked {
                if answer.send(judged(track, &conditions)).is_err() {
                    return;
                }
            }
        };
        let thread = Builder::new().name("judge".into()).spawn(judge).ok()?;
        Some(Judge { asks: Some(asks), answers, thread: Some(thread), busy: false, latest: None })
    }

    /// Hands over the newest samples, unless the last ones are still being judged.
    pub fn ask(&mut self, track: impl FnOnce() -> Track) {
        self.look();
        if !self.busy
            && let Some(asks) = &self.asks
        {
            self.busy = asks.send(track()).is_ok();
        }
    }

    /// The latest judgement.
    pub fn latest(&mut self) -> Option<&Judged> {
        self.look();
        self.latest.as_ref()
    }

    fn look(&mut self) {
        if let Ok(judged) = self.answers.try_recv() {
            (self.busy, self.latest) = (false, Some(judged));
        }
    }
}

impl Drop for Judge {
    fn drop(&mut self) {
        self.asks = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn judged(track: Track, conditions: &Conditions) -> Judged {
    let newest_s = track.time_s.last().copied().unwrap_or(0.0);
    let signal = signal::prepare(track, conditions.cylinders);
    let finding = balance::find(&signal, conditions);
    let steady = finding.plateaus.iter().max_by(|a, b| a.to_s.total_cmp(&b.to_s));
    let Some(now) = steady.filter(|plateau| newest_s - plateau.to_s <= AGED_S) else {
        return Judged { difference: None, so_far: None, needs_s: None };
    };
    let difference =
        Interval { low_kpa: now.low_kpa, value_kpa: now.difference_kpa, high_kpa: now.high_kpa };
    let open = now.largest_systematic().filter(|_| now.needs_s.is_none());
    let say = match (now.verdict, open) {
        (Verdict::InTolerance, _) => "In tolerance.".into(),
        (Verdict::OutOfTolerance, _) => "Out of tolerance.".into(),
        (Verdict::NotSettled, None) => "Not settled yet.".into(),
        (Verdict::NotSettled, Some(open)) => {
            format!("Not settled, and time alone will not do: most is left open by the {open}.")
        }
    };
    let so_far = Some(SoFar { say, verdict: now.verdict });
    Judged { difference: Some(difference), so_far, needs_s: now.needs_s }
}
