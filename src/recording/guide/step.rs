//! One step of a guide: what to do, and when it is done.

use super::speed::Running;
use crate::engine::Action;

/// When a step is done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ends {
    /// The person presses Enter.
    Key,
    /// The person presses Enter, or the pick-up shows an engine that runs by itself.
    KeyOrRuns,
    /// The person presses Enter; the hands should be off for this many seconds before, s.
    KeyWhenCalm(f64),
    /// A count-down to 'now', s; Enter says that it is done already.
    CountDown(f64),
    /// A stretch of log, s. Enter does not shorten it: it is pressed by mistake.
    Lasts(f64),
}

impl Ends {
    /// Seconds that the step counts.
    pub(super) fn seconds(self) -> Option<f64> {
        match self {
            Ends::Key | Ends::KeyOrRuns => None,
            Ends::KeyWhenCalm(s) | Ends::CountDown(s) | Ends::Lasts(s) => Some(s),
        }
    }

    pub(super) fn waits_for_key(self) -> bool {
        matches!(self, Ends::Key | Ends::KeyOrRuns | Ends::KeyWhenCalm(_))
    }
}

/// What the engine has to do while a stretch counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Wants {
    /// Anything.
    Anything,
    /// Stand still.
    Rest,
    /// Idle.
    Idle,
    /// Run between these speeds, rev/min.
    Held(f64, f64),
}

/// Above this an engine does not idle, rev/min (common practice, no published source).
const IDLE_LIMIT_RPM: f64 = 1300.0;

impl Wants {
    /// What a person should set right before the stretch can count; `None` where all is well or
    /// where no pick-up tells.
    pub(super) fn complaint(self, running: Running) -> Option<String> {
        match (self, running) {
            (Wants::Rest, Running::At(rpm)) => Some(format!(
                "The engine turns ({rpm:.0} rev/min) though it should be off: switch it off."
            )),
            (Wants::Idle | Wants::Held(..), Running::Stopped) => {
                Some("The engine has stopped: start it again.".into())
            }
            (Wants::Idle, Running::At(rpm)) if rpm > IDLE_LIMIT_RPM => {
                Some(format!("{rpm:.0} rev/min is no idle: foot off, and is the choke off?"))
            }
            (Wants::Held(low, _), Running::At(rpm)) if rpm < low => {
                Some(format!("{rpm:.0} rev/min: more throttle."))
            }
            (Wants::Held(_, high), Running::At(rpm)) if rpm > high => {
                Some(format!("{rpm:.0} rev/min: less throttle."))
            }
            _ => None,
        }
    }
}

/// Where a step stands in a trial: something is opened or sealed, kept so, and put back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// In no trial.
    Alone,
    /// Before and at the mark that opens it.
    Open,
    /// While it is open.
    Kept,
    /// Before and at the mark that closes it.
    Close,
    /// The stretch after it.
    After,
}

/// One step.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Step {
    pub(super) say: String,
    pub(super) asks: Vec<String>,
    pub(super) ends: Ends,
    pub(super) wants: Wants,
    /// What the person does when the step begins.
    pub(super) acts: Vec<Action>,
    /// What is marked when the step ends.
    pub(super) mark: Option<String>,
    pub(super) part: Part,
    /// Before the engine runs: the dangers are named.
    pub(super) cautions: bool,
}

impl Step {
    /// Something to do, with Enter when it is done.
    pub(super) fn ask(say: impl Into<String>) -> Self {
        Step {
            say: say.into(),
            asks: Vec::new(),
            ends: Ends::Key,
            wants: Wants::Anything,
            acts: Vec::new(),
            mark: None,
            part: Part::Alone,
            cautions: false,
        }
    }

    /// A stretch of log.
    pub(super) fn stretch(say: impl Into<String>, seconds: f64, wants: Wants) -> Self {
        Step { ends: Ends::Lasts(seconds), wants, ..Step::ask(say) }
    }

    pub(super) fn act(mut self, action: Action) -> Self {
        self.acts.push(action);
        self
    }

    pub(super) fn acts(mut self, actions: Option<Action>) -> Self {
        self.acts.extend(actions);
        self
    }

    pub(super) fn mark(self, text: impl Into<String>) -> Self {
        Step { mark: Some(text.into()), ..self }
    }

    pub(super) fn ends(self, ends: Ends) -> Self {
        Step { ends, ..self }
    }

    pub(super) fn part(self, part: Part) -> Self {
        Step { part, ..self }
    }
}
