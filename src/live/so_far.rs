//! The difference so far, by the same code that judges a log, on the samples of the last minute and those
//! that the zero needs.

use crate::findings::balance::{self, PlateauBalance, ZeroMethod};
use crate::findings::screws::{self, Memory, Screws};
use crate::findings::{Conditions, Verdict};
use crate::sample::Track;
use crate::signal;
use serde::Serialize;
use std::sync::mpsc::{Receiver, channel};
use std::thread::{Builder, JoinHandle};

/// A steady stretch that ended longer ago than this is not what the engine does now, s.
const AGED_S: f64 = 4.0;

/// A value with its 95 % interval, kPa.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// Lower end.
    pub low_kpa: f64,
    /// Value.
    pub value_kpa: f64,
    /// Upper end.
    pub high_kpa: f64,
}

/// What is known of the verdict so far.
#[derive(Debug, Clone, PartialEq)]
pub struct SoFar {
    /// One sentence.
    pub say: String,
    /// How it stands.
    pub verdict: Verdict,
}

/// What is known so far.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Log time of the newest sample that was judged, s.
    pub newest_s: f64,
    /// How the zero of the pair was found.
    pub zero: ZeroMethod,
    /// What sensor 1 reads above sensor 2 at equal vacuum, kPa.
    pub error_kpa: f64,
    /// The steady stretch of now; absent where nothing is steady.
    pub steady: Option<PlateauBalance>,
    /// Vacuum 1 less vacuum 2; absent where nothing is steady.
    pub difference: Option<Interval>,
    /// The verdict in words; absent where nothing is steady.
    pub so_far: Option<SoFar>,
    /// Seconds more of log that would settle it.
    pub needs_s: Option<f64>,
    /// What the stop screws do, and what to turn; absent where there is nothing to say.
    pub screws: Option<Screws>,
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
            let mut memory = Memory::default();
            for track in asked {
                if answer.send(judge(track, &conditions, &mut memory)).is_err() {
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

/// Judges the samples of a window as a log would be judged. `memory` is what earlier windows of the same recording
/// have taught of its screws.
pub fn judge(track: Track, conditions: &Conditions, memory: &mut Memory) -> Judged {
    let newest_s = track.time_s.last().unwrap_or(0.0);
    let signal = signal::prepare(track, conditions.cylinders);
    let finding = balance::find(&signal, conditions);
    let zero = finding.zero.method;
    let found = screws::find(&signal, &finding.plateaus, conditions, memory);
    *memory = found.memory;
    let screws = found.screws;
    let latest = finding.plateaus.into_iter().max_by(|a, b| a.to_s.total_cmp(&b.to_s));
    let error_kpa = latest
        .as_ref()
        .and_then(|plateau| plateau.stretches.last())
        .map_or(finding.zero.offset_kpa, |stretch| stretch.error_kpa);
    let Some(now) = latest.filter(|plateau| newest_s - plateau.to_s <= AGED_S) else {
        let (difference, so_far, needs_s) = (None, None, None);
        let steady = None;
        return Judged { newest_s, zero, error_kpa, steady, difference, so_far, needs_s, screws };
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
    Judged {
        newest_s,
        zero,
        error_kpa,
        difference: Some(difference),
        so_far: Some(SoFar { say, verdict: now.verdict }),
        needs_s: now.needs_s,
        steady: Some(now),
        screws,
    }
}
