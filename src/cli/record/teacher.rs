//! Carries out what an instructor presses: on the model engine, and in the log of the recording.

use super::keys::KeyReader;
use crate::engine::{Layout, Side};
use crate::findings::Conditions;
use crate::live::lesson::drop::DropJudge;
use crate::live::lesson::{self as shown, Press, What};
use crate::recording::lesson::{Begin, Knob, Lesson, Refused, SCENES};
use crate::recording::session::Session;
use crate::sample::Mark;
use crate::sources::inside::Inside;
use crate::sources::model_box::Control;
use crate::units::Seconds;
use std::sync::mpsc::Sender;

/// The drop is judged anew this often, s.
const JUDGE_S: f64 = 2.0;

/// A lesson, the engine that it is held on, and the view into it.
pub struct Teacher {
    lesson: Lesson,
    engine: Sender<Control>,
    inside: Inside,
    drops: DropJudge,
    judged_s: f64,
    seed: u64,
    next: Option<Begin>,
}

/// What a press comes to.
#[derive(Debug, PartialEq)]
pub enum Taught {
    /// A mark for the log.
    Mark(String),
    /// Nothing.
    Nothing,
    /// This log ends, and another one begins.
    Next,
}

impl Teacher {
    /// A teacher of a lesson; `seed` is that of the next hidden fault.
    pub fn new(
        lesson: Lesson,
        engine: Sender<Control>,
        inside: Inside,
        conditions: Conditions,
        seed: u64,
    ) -> Self {
        let (drops, judged_s) = (DropJudge::new(conditions), f64::NEG_INFINITY);
        Teacher { lesson, engine, inside, drops, judged_s, seed, next: None }
    }

    /// Brings the engine to where the lesson begins, and says so in the log.
    pub fn begin(&self, session: &mut Session, keys: Option<&mut KeyReader>) {
        self.send(self.lesson.controls());
        let marks = self.lesson.first_marks();
        marks.iter().for_each(|words| session.mark(words, 0.0));
        if let Some(keys) = keys {
            marks.iter().for_each(|words| keys.saw(words));
        }
    }

    /// What the next log begins with, where one was asked for.
    pub fn next(&self) -> Option<Begin> {
        self.next
    }

    /// A mark was made: the engine does what it says.
    pub fn noticed(&mut self, words: &str) {
        let controls = self.lesson.noticed(&Mark::read(Seconds(0.0), words).meaning);
        self.send(controls);
    }

    /// Does what was pressed.
    ///
    /// # Errors
    /// There is no such thing, or not now.
    pub fn press(&mut self, press: Press) -> Result<Taught, Refused> {
        let begin = match press {
            Press::Set { what, side, value } => {
                let knob = knob(what, side).ok_or(Refused::NoKnob)?;
                let Some(doing) = self.lesson.set(knob, value)? else {
                    return Ok(Taught::Nothing);
                };
                self.send(doing.controls);
                return Ok(Taught::Mark(doing.mark));
            }
            Press::Answer => {
                return Ok(self.lesson.answer().map_or(Taught::Nothing, Taught::Mark));
            }
            Press::Scene { number } => Begin::Scene(number.checked_sub(1).ok_or(Refused::NoScene)?),
            Press::Hide => Begin::Hidden { layout: self.lesson.layout(), seed: self.seed },
            Press::Engine { cylinders } => {
                Begin::InTune(layout(cylinders).ok_or(Refused::NoEngine)?)
            }
        };
        Lesson::new(begin)?;
        self.next = Some(begin);
        Ok(Taught::Next)
    }

    /// The log ends: what was covered is shown, and a hidden fault is named in the log.
    pub fn close(&mut self) -> Option<String> {
        self.lesson.close()
    }

    /// How the lesson stands, for the page.
    pub fn shown(&mut self, session: &Session, now_s: f64) -> shown::Lesson {
        if now_s - self.judged_s >= JUDGE_S && !session.window().is_empty() {
            self.judged_s = now_s;
            self.drops.ask(|| session.window().track());
        }
        let lesson = &self.lesson;
        let covered = lesson.is_covered();
        let (scene, hidden) = match lesson.begin() {
            Begin::Scene(number) => (Some(number + 1), false),
            Begin::Hidden { .. } => (None, true),
            Begin::InTune(_) => (None, false),
        };
        let seen = self.inside.seen().filter(|_| !covered);
        shown::Lesson {
            cylinders: lesson.layout().cylinders() as u32,
            engines: Layout::ALL.iter().map(|layout| layout.cylinders() as u32).collect(),
            scenes: SCENES.iter().map(|scene| scene.name).collect(),
            scene,
            hidden,
            question: lesson.question(),
            answer: lesson.answered(),
            covered,
            screws_mend: !covered && lesson.screws_mend(),
            cap_off: lesson.cap_is_off(),
            knobs: knobs(lesson),
            flows: seen.map(|seen| flows(&seen.flows)),
            predicted: seen.and_then(|seen| {
                let prediction = seen.prediction?;
                let steady =
                    if lesson.cap_is_off() { prediction.cap_off } else { prediction.cap_on };
                Some(shown::Predicted {
                    rpm: steady.means.rpm,
                    vac_kpa: steady.means.vac_kpa,
                    drop_rpm: prediction.drop_rpm(),
                    settled: prediction.cap_on.settled && prediction.cap_off.settled,
                })
            }),
            drop: self.drops.latest().cloned(),
        }
    }

    fn send(&self, controls: Vec<Control>) {
        for control in controls {
            let _ = self.engine.send(control);
        }
    }
}

/// The engine of so many cylinders.
pub fn layout(cylinders: u32) -> Option<Layout> {
    Layout::ALL.into_iter().find(|layout| layout.cylinders() as u32 == cylinders)
}

fn knob(what: What, side: Option<u8>) -> Option<Knob> {
    let side = match side {
        Some(1) => Some(Side::One),
        Some(2) => Some(Side::Two),
        Some(_) => return None,
        None => None,
    };
    Some(match (what, side) {
        (What::Breather, None) => Knob::Breather,
        (What::SealLeak, None) => Knob::SealLeak,
        (What::Mixture, None) => Knob::Mixture,
        (What::Hold, None) => Knob::Hold,
        (What::TractLeak, Some(side)) => Knob::TractLeak(side),
        (What::Stop, Some(side)) => Knob::Stop(side),
        (What::Offset, Some(side)) => Knob::Offset(side),
        (What::Noise, Some(side)) => Knob::Noise(side),
        _ => return None,
    })
}

/// What can be set now, and where it stands.
fn knobs(lesson: &Lesson) -> Vec<shown::Knob> {
    let open = |knob: &Knob| !lesson.is_covered() || *knob == Knob::Hold;
    let shown = |knob: Knob| {
        let (what, side) = match knob {
            Knob::Breather => (What::Breather, None),
            Knob::SealLeak => (What::SealLeak, None),
            Knob::TractLeak(side) => (What::TractLeak, Some(side)),
            Knob::Stop(side) => (What::Stop, Some(side)),
            Knob::Mixture => (What::Mixture, None),
            Knob::Hold => (What::Hold, None),
            Knob::Offset(side) => (What::Offset, Some(side)),
            Knob::Noise(side) => (What::Noise, Some(side)),
        };
        let reach = knob.reach();
        shown::Knob {
            what,
            side: side.map(|side| side.index() as u8 + 1),
            value: lesson.value(knob),
            least: reach.least,
            most: reach.most,
            step: reach.step,
            sound: reach.sound,
            unit: reach.unit,
        }
    };
    Knob::ALL.into_iter().filter(open).map(shown).collect()
}

fn flows(flows: &crate::engine::Flows) -> shown::Flows {
    shown::Flows {
        slide: flows.slide_g_per_s(),
        throttle: flows.throttle_g_per_s,
        leak: flows.tract_leak_g_per_s,
        drawn: flows.drawn_g_per_s,
        breather: flows.breather_g_per_s,
        fresh: flows.breather_fresh_g_per_s,
        seals: flows.seal_leak_g_per_s,
        cap: flows.cap_g_per_s,
        blow_by: flows.blow_by_g_per_s,
        crank_kpa: flows.crankcase.0,
        mixture: flows.mixture,
    }
    .rounded()
}
