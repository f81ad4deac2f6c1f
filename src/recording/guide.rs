//! Leads a person through the order of the work, one step at a time, and writes the marks.
//!
//! The guide knows neither clock nor terminal: it is told the log time of the newest sample, what
//! the pick-up reads, whether the link is down, and that Enter was pressed. It answers with what to
//! show, what to mark, and what a model engine does where it stands in for the engine.
//!
//! Time counts in samples that arrive. A stretch that a lost link has broken is no stretch and
//! begins again; where something was open meanwhile it is closed first, and the trial is made again.
//! A stretch with the engine in another state than it asks for does not count either.
//!
//! A mark says that something was done, and only the person knows that it was. So a step with a
//! mark waits for Enter, 'done', and the findings look for the event in the seconds before. With
//! [`Plan::hands_free`] a count-down stands in for it.

mod plan;
mod sequences;
mod speed;
mod stand_in;
mod step;

pub use plan::{Plan, PlanError, Suspect, Work};
pub use stand_in::StandIn;

use crate::engine::Action;
use crate::sample::Meaning;
use speed::Speed;
use step::{Ends, Part, Step, Wants};

/// What the guide is told with every advance.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct News {
    /// No samples come: the cable is out.
    pub link_down: bool,
    /// Engine speed of the newest sample, rev/min; `None` without a reading.
    pub rpm: Option<f64>,
}

/// What follows from an advance, in this order.
#[derive(Debug, Clone, PartialEq)]
pub enum Doing {
    /// Words to be written into the mark column at the newest sample. Never more than one an advance.
    Mark(String),
    /// The hands are wanted: a sound for a person who does not see the screen.
    Ring,
    /// What the person is asked to do; a model engine's stand-in does it.
    Act(Action),
    /// All steps are done.
    Finished,
}

/// What to show now.
#[derive(Debug, Clone, PartialEq)]
pub struct Prompt {
    /// One plain sentence: what to do now.
    pub say: String,
    /// What to go through before Enter; usually empty.
    pub asks: Vec<String>,
    /// What keeps the stretch from counting.
    pub complaint: Option<String>,
    /// Seconds left of the stretch or the count-down.
    pub left_s: Option<f64>,
    /// Nothing moves on without Enter.
    pub waits_for_key: bool,
    /// The engine does not run yet: the dangers of the work are to be shown.
    pub cautions: bool,
    /// This step, from 1; `steps` once finished.
    pub step: usize,
    /// How many there are; grows where a trial has to be made again.
    pub steps: usize,
}

/// A guide at work.
///
/// ```
/// use evenbreath::recording::guide::{Doing, Guide, News, Plan, Work};
/// let mut guide = Guide::new(&Plan::new(Work::Breather)).unwrap();
/// let news = News::default();
/// assert!(guide.prompt().cautions && guide.prompt().waits_for_key);
/// guide.advance(0.00, true, news); // the dangers are read
/// guide.advance(0.02, true, news); // the list is confirmed
/// let doing = guide.advance(0.04, true, news); // the engine is off
/// assert!(doing.contains(&Doing::Mark("engine off".into())));
/// assert_eq!(guide.prompt().left_s, Some(5.0));
/// ```
#[derive(Debug, Clone)]
pub struct Guide {
    work: Work,
    steps: Vec<Step>,
    at: usize,
    /// The step has been given out.
    told: bool,
    /// Log time from which the step counts, s.
    since_s: Option<f64>,
    now_s: f64,
    link_down: bool,
    speed: Speed,
    finished: bool,
    /// Suspects that the model engine cannot play.
    unplayed: Vec<String>,
}

impl Guide {
    /// A guide before its first step.
    ///
    /// # Errors
    /// A plan that cannot be led through, with what to write instead.
    pub fn new(plan: &Plan) -> Result<Guide, PlanError> {
        let plan = plan.checked()?;
        let hunted = if plan.work == Work::Hunt { plan.suspects.as_slice() } else { &[] };
        let unplayed =
            hunted.iter().filter(|s| s.on_model.is_none()).map(|s| s.name.clone()).collect();
        Ok(Guide {
            work: plan.work,
            steps: sequences::steps(&plan),
            at: 0,
            told: false,
            since_s: None,
            now_s: 0.0,
            link_down: false,
            speed: Speed::default(),
            finished: false,
            unplayed,
        })
    }

    /// The work.
    pub fn work(&self) -> Work {
        self.work
    }

    /// Suspects that do nothing on the model engine: it has seals and tracts, no hoses with names.
    pub fn unplayed(&self) -> &[String] {
        &self.unplayed
    }

    /// True once all steps are done.
    pub fn is_finished(&self) -> bool {
        self.finished
    }

    /// What to show now.
    pub fn prompt(&self) -> Prompt {
        let steps = self.steps.len();
        let Some(step) = self.steps.get(self.at).filter(|_| !self.finished) else {
            return Prompt {
                say: "All steps are done.".into(),
                asks: Vec::new(),
                complaint: None,
                left_s: None,
                waits_for_key: false,
                cautions: false,
                step: steps,
                steps,
            };
        };
        let counted = self.since_s.map_or(0.0, |since| self.now_s - since);
        Prompt {
            say: step.say.clone(),
            asks: step.asks.clone(),
            complaint: self.complaint(step),
            left_s: step.ends.seconds().map(|seconds| (seconds - counted).max(0.0)),
            waits_for_key: step.ends.waits_for_key() && !self.link_down,
            cautions: step.cautions,
            step: self.at + 1,
            steps,
        }
    }

    fn complaint(&self, step: &Step) -> Option<String> {
        if self.link_down {
            let then = match step.part {
                Part::Close => "Put back what is open, and look at the cable.",
                _ => "Look at the cable; the step begins again when it is back.",
            };
            return Some(format!("The link to the box is lost. {then}"));
        }
        let moving = || {
            let moves =
                self.told && self.since_s.is_none() && matches!(step.wants, Wants::Held(..));
            moves.then(|| "Hold it still: the count begins when the speed rests.".into())
        };
        step.wants.complaint(self.speed.running()).or_else(moving)
    }

    /// Moves on: `now_s` is the log time of the newest sample, `confirmed` that Enter was pressed
    /// since the last advance.
    ///
    /// While the link is down Enter does nothing, as there is no sample to mark.
    pub fn advance(&mut self, now_s: f64, confirmed: bool, news: News) -> Vec<Doing> {
        if self.finished || !now_s.is_finite() {
            return Vec::new();
        }
        if news.link_down {
            if !self.link_down {
                self.link_down = true;
                self.speed.forget();
                return self.break_off();
            }
            return Vec::new();
        }
        self.link_down = false;
        self.now_s = now_s;
        self.speed.see(now_s, news.rpm);
        let mut doing = self.tell();
        let Some(step) = self.steps.get(self.at) else { return doing };
        let wrong = step.wants.complaint(self.speed.running()).is_some();
        let stalled =
            wrong && step.part == Part::Kept && self.speed.running() == speed::Running::Stopped;
        if stalled {
            doing.extend(self.break_off());
            return doing;
        }
        // A held speed counts from when it rests; a foot that trembles later does not undo it.
        let begins = !wrong && (!matches!(step.wants, Wants::Held(..)) || self.speed.rests());
        // Time that stepped back counts anew.
        let since_s = self.since_s.filter(|since| *since <= now_s && !wrong);
        self.since_s = since_s.or(begins.then_some(now_s));
        let over = |seconds: f64| self.since_s.is_some_and(|s| now_s - s >= seconds - TICK_S);
        let done = match step.ends {
            Ends::Key | Ends::KeyWhenCalm(_) => confirmed,
            Ends::KeyOrRuns => confirmed || self.speed.has_caught(),
            Ends::CountDown(seconds) => confirmed || over(seconds),
            Ends::Lasts(seconds) => over(seconds),
        };
        if done {
            doing.extend(step.mark.clone().map(Doing::Mark));
            doing.extend(self.go_to(self.at + 1));
        }
        doing
    }

    /// The person marked something by a key. A screw that was turned makes the hands-off count begin
    /// again; a mark of this trial that was a mistake leads back to where it was made.
    pub fn noticed(&mut self, meaning: &Meaning) -> Vec<Doing> {
        let Some(step) = self.steps.get(self.at).filter(|_| !self.finished) else {
            return Vec::new();
        };
        match meaning {
            Meaning::Mistake(words) => {
                let back = match step.part {
                    Part::Kept => 1,
                    Part::Close => 2,
                    Part::After => 1,
                    Part::Alone | Part::Open => return Vec::new(),
                };
                let made = self.steps[self.at - back].mark.as_deref();
                if made == Some(words.as_str()) {
                    return self.go_to(self.at - back);
                }
            }
            Meaning::Note(_) => {}
            _ if matches!(step.ends, Ends::KeyWhenCalm(_)) => self.since_s = None,
            _ => {}
        }
        Vec::new()
    }

    /// The step did not go as it should: it begins again. In a trial, what is open is closed first and
    /// the trial is made once more; its marks stay, as what they tell has happened. A mark of something
    /// that did not happen is for [`Guide::noticed`] with a mistake.
    pub fn again(&mut self) -> Vec<Doing> {
        let Some(step) = self.steps.get(self.at).filter(|_| !self.finished) else {
            return Vec::new();
        };
        let mut doing = Vec::new();
        if step.part == Part::After {
            doing.push(Doing::Mark("note the trial before this is made again".into()));
            self.once_more();
        } else if matches!(step.part, Part::Kept | Part::Close) {
            doing.push(Doing::Mark("note this trial is made again".into()));
        }
        doing.extend(self.break_off());
        doing
    }

    /// Leaves the step out, with a note. What is open must be closed and is not left out.
    pub fn skip(&mut self) -> Vec<Doing> {
        let Some(step) = self.steps.get(self.at).filter(|_| !self.finished) else {
            return Vec::new();
        };
        let (next, what) = match step.part {
            Part::Close => return Vec::new(),
            Part::Open => (self.at + 4, "trial"),
            _ => (self.at + 1, "step"),
        };
        let mut doing = vec![Doing::Mark(format!("note {what} left out: {}", step.say))];
        doing.extend(self.go_to(next));
        doing
    }

    /// Gives the step out, once.
    fn tell(&mut self) -> Vec<Doing> {
        let Some(step) = self.steps.get(self.at).filter(|_| !self.told) else { return Vec::new() };
        self.told = true;
        let ring =
            step.ends.waits_for_key() || matches!(step.part, Part::Open | Part::Kept | Part::Close);
        let ring = ring.then_some(Doing::Ring);
        ring.into_iter().chain(step.acts.iter().copied().map(Doing::Act)).collect()
    }

    fn go_to(&mut self, step: usize) -> Vec<Doing> {
        self.at = step.min(self.steps.len());
        (self.told, self.since_s) = (false, None);
        if self.at == self.steps.len() {
            self.finished = true;
            return vec![Doing::Finished];
        }
        self.tell()
    }

    /// The stretch is broken: it begins again, or, with something open, that is closed and the
    /// trial made once more.
    fn break_off(&mut self) -> Vec<Doing> {
        self.since_s = None;
        match self.steps.get(self.at).map(|step| step.part) {
            Some(Part::Kept) => {
                self.once_more();
                self.go_to(self.at + 1)
            }
            Some(Part::Close) => {
                self.once_more();
                Vec::new()
            }
            _ => Vec::new(),
        }
    }

    /// Puts the trial of this step behind itself, unless it is there already.
    fn once_more(&mut self) {
        let parts = [Part::Open, Part::Kept, Part::Close, Part::After];
        let Some(place) = parts.iter().position(|part| *part == self.steps[self.at].part) else {
            return;
        };
        let first = self.at - place;
        let trial: Vec<Step> = self.steps[first..first + parts.len()].to_vec();
        let behind = first + parts.len();
        if self.steps.get(behind..behind + parts.len()).is_none_or(|next| next != trial) {
            self.steps.splice(behind..behind, trial);
        }
    }
}

/// Log times are written to the millisecond: half of that is no time.
const TICK_S: f64 = 0.0005;
