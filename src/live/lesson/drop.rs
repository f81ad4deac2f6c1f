//! The idle drop so far, by the same code that judges a log, on the samples of the window.

use crate::findings::breather::{self, BreatherVerdict};
use crate::findings::{Conditions, Verdict};
use crate::sample::{Meaning, Track};
use crate::signal;
use serde::Serialize;
use std::sync::mpsc::{Receiver, Sender, channel};

/// An idle drop with its 95 % interval.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drop {
    /// Lower end, rev/min.
    pub low_rpm: f64,
    /// Value, rev/min.
    pub drop_rpm: f64,
    /// Upper end, rev/min.
    pub high_rpm: f64,
    /// How it stands: sealed is in tolerance.
    pub verdict: Verdict,
    /// One sentence.
    pub say: String,
}

/// Judges in a thread of its own, which ends when it is no longer asked.
pub struct DropJudge {
    asks: Sender<Track>,
    answers: Receiver<Option<Drop>>,
    busy: bool,
    latest: Option<Drop>,
}

impl DropJudge {
    /// A judge who is told these conditions.
    pub fn new(conditions: Conditions) -> Self {
        let (asks, asked) = channel::<Track>();
        let (answer, answers) = channel();
        std::thread::spawn(move || {
            for track in asked {
                if answer.send(judge(track, &conditions)).is_err() {
                    return;
                }
            }
        });
        DropJudge { asks, answers, busy: false, latest: None }
    }

    /// Hands over the samples of the window, unless the last ones are still being judged.
    pub fn ask(&mut self, track: impl FnOnce() -> Track) {
        self.look();
        if !self.busy {
            self.busy = self.asks.send(track()).is_ok();
        }
    }

    /// The latest drop.
    pub fn latest(&mut self) -> Option<&Drop> {
        self.look();
        self.latest.as_ref()
    }

    fn look(&mut self) {
        if let Ok(drop) = self.answers.try_recv() {
            (self.busy, self.latest) = (false, drop);
        }
    }
}

/// The drop that the samples show; `None` where the cap has not been off and on again.
pub fn judge(track: Track, conditions: &Conditions) -> Option<Drop> {
    let marked = |meaning: Meaning| track.marks.iter().any(|mark| mark.meaning == meaning);
    if !marked(Meaning::CapOff) || !marked(Meaning::CapOn) {
        return None;
    }
    let found = breather::find(&signal::prepare(track, conditions.cylinders), conditions);
    let verdict = match found.verdict {
        BreatherVerdict::Sealed => Verdict::InTolerance,
        BreatherVerdict::NotSettled => Verdict::NotSettled,
        _ => Verdict::OutOfTolerance,
    };
    Some(Drop {
        low_rpm: found.low_rpm?,
        drop_rpm: found.drop_rpm?,
        high_rpm: found.high_rpm?,
        verdict,
        say: found.say,
    })
}
