//! A lesson on a model engine: what an instructor sets, what a class is asked, and what goes into the log.
//!
//! It controls a [`ModelBox`](crate::sources::model_box::ModelBox), and whoever drives it writes its marks
//! into the log of a recording like any other. Each engine and each scene is a log of its own: in one that
//! held two, the openings of the filler would belong to different faults.
//!
//! While a class looks for a fault or an answer, everything that would give it away is
//! [covered](Lesson::is_covered).

mod bench;
mod done;
pub mod hidden;
mod knob;
mod scenes;

pub use done::done_by;
pub use knob::{Knob, Reach};
pub use scenes::{SCENES, Scene, Shows};

use crate::engine::{Action, Layout};
use crate::sample::Meaning;
use crate::sources::model_box::Control;
use crate::units::Rpm;

/// Idle speed of the engines in tune, to ten rev/min: the target of a lesson.
pub const IDLE_TARGET: Rpm = Rpm(880.0);

/// What a lesson begins with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begin {
    /// An engine in tune.
    InTune(Layout),
    /// A scene, by its place in [`SCENES`].
    Scene(usize),
    /// A fault that was drawn by lot.
    Hidden {
        /// The engine.
        layout: Layout,
        /// The lot.
        seed: u64,
    },
}

/// Where the hoses are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hoses {
    /// Each on its own tap.
    Direct,
    /// Each on the other's.
    Swapped,
    /// Both on tap 1.
    Together,
}

/// Something was asked for that a lesson does not have, or not now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// The value is no number.
    #[error("the value is no number; give one within the reach of the control")]
    NoNumber,
    /// The class is still looking.
    #[error("the class is still looking; show the answer first")]
    Covered,
    /// There is no such control.
    #[error("there is no such control; some have a side, 1 or 2, and some have none")]
    NoKnob,
    /// There is no such engine.
    #[error("there is no such engine; it has 4, 6 or 8 cylinders")]
    NoEngine,
    /// There is no such scene.
    #[error("there is no such scene; the first is 1, the last {}", SCENES.len())]
    NoScene,
}

/// What has to be done: to the engine and its box, and in the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Doing {
    /// For the model box.
    pub controls: Vec<Control>,
    /// The mark.
    pub mark: String,
}

/// A lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct Lesson {
    begin: Begin,
    layout: Layout,
    values: [f64; Knob::ALL.len()],
    shows: Option<Shows>,
    answered: bool,
    cap_off: bool,
    stopped: bool,
    hoses: Hoses,
}

impl Lesson {
    /// A lesson that begins like this, warm and with the engine off, so that the log begins with its zero.
    ///
    /// # Errors
    /// There is no such scene.
    pub fn new(begin: Begin) -> Result<Lesson, Refused> {
        let (layout, set, shows) = match begin {
            Begin::InTune(layout) => (layout, Vec::new(), None),
            Begin::Scene(number) => {
                let scene = SCENES.get(number).ok_or(Refused::NoScene)?;
                (scene.layout, scene.set.to_vec(), Some(scene.shows))
            }
            Begin::Hidden { layout, seed } => {
                let hidden = hidden::draw(seed);
                (layout, hidden.set, Some(hidden.shows))
            }
        };
        let mut values = Knob::ALL.map(|knob| knob.reach().sound);
        for (knob, value) in set {
            values[knob.index()] = value;
        }
        Ok(Lesson {
            begin,
            layout,
            values,
            shows,
            answered: false,
            cap_off: false,
            stopped: true,
            hoses: Hoses::Direct,
        })
    }

    /// What it began with.
    pub fn begin(&self) -> Begin {
        self.begin
    }

    /// The engine.
    pub fn layout(&self) -> Layout {
        self.layout
    }

    /// What brings an engine in tune of this layout, and a box in order on it, to where it begins.
    pub fn controls(&self) -> Vec<Control> {
        Knob::ALL.into_iter().flat_map(|knob| knob.controls(self.value(knob))).collect()
    }

    /// The marks on the first rows. They give nothing away.
    pub fn first_marks(&self) -> [String; 2] {
        let what = match self.begin {
            Begin::InTune(_) => "note an engine in tune".into(),
            Begin::Scene(number) => {
                format!("note scene {}: {}", number + 1, SCENES[number].name.to_lowercase())
            }
            Begin::Hidden { .. } => "note a fault is hidden, or none".into(),
        };
        ["engine off".into(), what]
    }

    /// Where a knob stands.
    pub fn value(&self, knob: Knob) -> f64 {
        self.values[knob.index()]
    }

    /// Sets a knob. `None` where it stands there already.
    ///
    /// # Errors
    /// The value is no number, or the knob would give away what the class looks for.
    pub fn set(&mut self, knob: Knob, value: f64) -> Result<Option<Doing>, Refused> {
        // The foot is no fault: a class that looks for one may hold the revs.
        if self.is_covered() && knob != Knob::Hold {
            return Err(Refused::Covered);
        }
        let value = knob.taken(value).ok_or(Refused::NoNumber)?;
        if value == self.value(knob) {
            return Ok(None);
        }
        self.values[knob.index()] = value;
        let mark = format!("note {}", knob.words(value));
        Ok(Some(Doing { controls: knob.controls(value), mark }))
    }

    /// A mark was made, by whatever key or button: on a model engine that does what it says. One that
    /// calls another a mistake takes back what that did.
    pub fn noticed(&mut self, meaning: &Meaning) -> Vec<Control> {
        let Some(action) = done_by(meaning) else { return Vec::new() };
        match action {
            Action::CapOff | Action::CapOn => self.cap_off = action == Action::CapOff,
            Action::EngineOff | Action::EngineOn => self.stopped = action == Action::EngineOff,
            Action::HosesSwapped => self.hoses = Hoses::Swapped,
            Action::HosesTogether => self.hoses = Hoses::Together,
            _ => self.hoses = Hoses::Direct,
        }
        vec![action.into()]
    }

    /// The filler cap is off.
    pub fn cap_is_off(&self) -> bool {
        self.cap_off
    }

    /// The engine is switched off.
    pub fn is_stopped(&self) -> bool {
        self.stopped
    }

    /// Where the hoses are.
    pub fn hoses(&self) -> Hoses {
        self.hoses
    }

    /// A class looks for something: what would give it away must not be shown.
    pub fn is_covered(&self) -> bool {
        !self.answered && !matches!(self.begin, Begin::InTune(_))
    }

    /// What the class is asked.
    pub fn question(&self) -> Option<&'static str> {
        match self.begin {
            Begin::InTune(_) => None,
            Begin::Scene(number) => Some(SCENES[number].question),
            Begin::Hidden { .. } => Some(
                "One thing may be wrong with this engine or with its sensors. What is it, and how do \
                 you know?",
            ),
        }
    }

    /// Shows the answer: the mark that says what had been set. `None` where there is nothing to show.
    pub fn answer(&mut self) -> Option<String> {
        if !self.is_covered() {
            return None;
        }
        self.answered = true;
        let mut mark = format!("note shown: {}", self.faults());
        if let Begin::Hidden { seed, .. } = self.begin {
            mark += &format!(", seed {seed}");
        }
        Some(mark)
    }

    /// The log ends, and with it the search: the answer is shown. A hidden fault that nobody has asked for is
    /// named by the mark that this gives, since its seed alone says nothing to who reads the log.
    pub fn close(&mut self) -> Option<String> {
        let hidden = matches!(self.begin, Begin::Hidden { .. });
        let shown = self.answer().filter(|_| hidden)?;
        Some(shown.replacen("note shown: ", "note hidden was: ", 1))
    }

    /// What is wrong, if anything, can be mended with the stop screws.
    pub fn screws_mend(&self) -> bool {
        Knob::ALL.into_iter().all(|knob| match knob {
            Knob::Breather | Knob::SealLeak | Knob::TractLeak(_) | Knob::Mixture => {
                self.value(knob) == knob.reach().sound
            }
            Knob::Stop(_) | Knob::Hold | Knob::Offset(_) | Knob::Noise(_) => true,
        })
    }

    /// The answer, once it is shown.
    pub fn answered(&self) -> Option<String> {
        if !self.answered {
            return None;
        }
        match self.begin {
            Begin::InTune(_) => None,
            Begin::Scene(number) => Some(SCENES[number].answer.into()),
            Begin::Hidden { seed, .. } => {
                let hidden = hidden::draw(seed);
                let faults = capital(&in_words(&hidden.set));
                Some(format!("{faults}. {} Seed {seed}.", why(&hidden.set)))
            }
        }
    }

    /// What `balance` and `breather` say of a sound log of what it began with.
    pub fn shows(&self) -> Option<Shows> {
        self.shows
    }

    /// What stands otherwise than on an engine in tune, in words.
    fn faults(&self) -> String {
        let set: Vec<(Knob, f64)> = Knob::ALL
            .into_iter()
            .map(|knob| (knob, self.value(knob)))
            .filter(|(knob, value)| *knob != Knob::Hold && *value != knob.reach().sound)
            .collect();
        in_words(&set)
    }
}

fn in_words(set: &[(Knob, f64)]) -> String {
    if set.is_empty() {
        return "nothing is wrong".into();
    }
    set.iter().map(|(knob, value)| knob.words(*value)).collect::<Vec<_>>().join(", ")
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// What to look at.
fn why(set: &[(Knob, f64)]) -> &'static str {
    match set.first().map(|(knob, _)| knob) {
        None => "The vacuums agree, and the idle falls when the cap comes off.",
        Some(Knob::SealLeak) => {
            "The cap makes no difference, and the crankcase stands near the atmosphere."
        }
        Some(Knob::Breather) => {
            "The cap makes no difference, and the crankcase stands above the atmosphere."
        }
        Some(Knob::TractLeak(_)) => {
            "The vacuum of that side is lower, and its mixture lean: the air has met no jet."
        }
        Some(Knob::Stop(_)) => "The vacuums differ, and the mixture of both sides is as it was.",
        Some(Knob::Mixture) => "The idle rises when the cap comes off: more air makes it better.",
        Some(Knob::Offset(_)) => {
            "It reads so with the engine off too, and changes sides with the hoses."
        }
        Some(Knob::Noise(_) | Knob::Hold) => "The readings say so.",
    }
}

#[cfg(test)]
mod tests;
