//! What the page is told, about thirty times a second. What is not known is `None`, and `null` there.

use super::lesson::Lesson;
use super::sentence::Sentence;
use super::so_far::Interval;
use super::trace::Point;
use crate::findings::Verdict;
use serde::Serialize;

/// The state of a recording, with what is new of the trace.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Frame {
    /// The trace starts here with all that is kept of it; else it goes on.
    pub anew: bool,
    /// When the oldest sample that is new here was heard, ms since 1970 by the host's clock.
    pub heard_unix_ms: Option<f64>,
    /// Log time of the newest sample, s.
    pub elapsed_s: f64,
    /// What to do now.
    pub sentence: Sentence,
    /// The sides, 1 then 2.
    pub sides: [Side; 2],
    /// The error of the pair of sensors is taken out of the vacuums.
    pub matched: bool,
    /// Engine speed, rev/min.
    pub rpm: Option<f64>,
    /// Idle speed wanted, rev/min.
    pub idle_target_rpm: Option<f64>,
    /// Crankcase below atmosphere, kPa.
    pub crank_kpa: Option<f64>,
    /// Vacuum 1 less vacuum 2 on the steady stretch, corrected for the zero, with 95 % limits.
    pub difference: Option<Interval>,
    /// Tolerance on the difference, kPa.
    pub tolerance_kpa: f64,
    /// How it stands.
    pub verdict: Option<Verdict>,
    /// Seconds more of log that would settle it.
    pub needs_s: Option<f64>,
    /// What is new of the running difference.
    pub trace: Vec<Point>,
    /// What is new of the interval: log time, s, lower and upper end, kPa.
    pub closing: Vec<(f64, f64, f64)>,
    /// The unit in which pressures are shown.
    pub unit: Unit,
    /// The link.
    pub link: Link,
    /// The log that is written.
    pub log: Log,
    /// The last marks: log time, s, and words; the newest last.
    pub marks: Vec<(f64, String)>,
    /// What each button writes as things stand.
    pub buttons: Buttons,
    /// The guide, where there is one.
    pub guide: Option<Guide>,
    /// The lesson, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lesson: Option<Lesson>,
}

/// A side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Side {
    /// The user's name for it.
    pub name: String,
    /// Vacuum, mean of the newest second, kPa. Once the error of the pair of sensors is known, half of it is
    /// taken out of each side: their mean stays as read, and their difference is that of the sides.
    pub vacuum_kpa: Option<f64>,
    /// Pitch of its tone, Hz; absent while there is nothing to hear.
    pub tone_hz: Option<f64>,
}

/// A unit of pressure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unit {
    /// Its symbol.
    pub symbol: &'static str,
    /// How many of it make a kilopascal.
    pub per_kpa: f64,
    /// Decimals worth printing.
    pub decimals: usize,
}

/// State of the link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LinkState {
    /// Samples come.
    Up,
    /// Nothing has come yet.
    Waiting,
    /// The cable is out, or silent.
    Lost,
}

/// The link.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Link {
    /// Its state.
    pub state: LinkState,
    /// Samples a second, as heard.
    pub rate_hz: Option<f64>,
    /// Sentences lost; absent where the source does not number them.
    pub lost: Option<u64>,
    /// Lines that could not be read.
    pub garbled: u64,
}

/// The log that is written.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Log {
    /// Its path.
    pub file: String,
    /// Rows so far.
    pub rows: u64,
    /// Samples go into it; a recording that has ended says no.
    pub recording: bool,
    /// Rows that the disk has not taken, and why.
    pub trouble: Option<String>,
}

/// What each button writes into the log as things stand; `None` is a button that does nothing now.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Buttons {
    /// Oil filler cap.
    pub cap: Option<String>,
    /// Engine.
    pub engine: Option<String>,
    /// Hoses; with one sensor the side that its hose is on.
    pub hoses: Option<String>,
    /// Both hoses on one T-piece; `None` with one sensor.
    pub tee: Option<String>,
    /// The suspect that is sealed; `None` while none is.
    pub release: Option<String>,
    /// The jet that is open; `None` while none is.
    pub jet_closed: Option<String>,
    /// The mark that 'undo' calls a mistake.
    pub undo: Option<String>,
}

/// What the guide says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Guide {
    /// What to go through before 'done'.
    pub asks: Vec<String>,
    /// Dangers, while the engine does not run yet.
    pub cautions: Vec<&'static str>,
    /// Seconds left of the stretch or the count-down.
    pub left_s: Option<f64>,
    /// Nothing moves on without 'done'.
    pub waits: bool,
    /// This step, from 1.
    pub step: usize,
    /// How many there are.
    pub steps: usize,
}
