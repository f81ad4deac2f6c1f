//! What the person sees of a recording that runs: lines drawn in place, or a plain line a second.

use super::keys::KeyReader;
use super::led::Led;
use super::page::{Feed, Told};
use super::screen::{self, Figures, Link, NotWritten, Screen};
use crate::cli::output::{message, window};
use crate::findings::Conditions;
use crate::live::lesson::Lesson;
use crate::live::so_far::{Judge, Judged};
use crate::recording::session::Session;
use crate::recording::window::WindowRow;
use crate::units::PressureUnit;
use std::io;

/// The lines are drawn anew this often, s.
const DRAW_S: f64 = 0.2;
/// The plain line, and the judge's turn, s.
const PLAIN_S: f64 = 1.0;
/// A source that is there and says nothing for longer than this is spoken of, s.
const MUTE_S: f64 = 3.0;
/// Speed and vacuums are means over the newest samples, s.
const MEAN_S: f64 = 1.0;

/// The display.
pub struct Display {
    screen: Option<Screen>,
    plain: bool,
    judge: Option<Judge>,
    feed: Option<Feed>,
    lesson: Option<Lesson>,
    typed: bool,
    names: [String; 2],
    unit: PressureUnit,
    drawn_s: f64,
    judged_s: f64,
}

impl Display {
    /// A display on standard error: lines drawn in place where it is a window, else a plain line a second.
    pub fn new(conditions: Conditions, unit: PressureUnit) -> Self {
        let window = window();
        let sides = &conditions.sides;
        Display {
            screen: window.map(|_| Screen::default()),
            plain: window.is_none(),
            names: [sides.one.clone(), sides.two.clone()],
            judge: Judge::new(conditions),
            feed: None,
            lesson: None,
            typed: false,
            unit,
            drawn_s: f64::NEG_INFINITY,
            judged_s: f64::NEG_INFINITY,
        }
    }

    /// Tells a page as well.
    pub fn with_page(mut self, feed: Option<Feed>) -> Self {
        self.feed = feed;
        self
    }

    /// How a lesson stands, from now on.
    pub fn teaches(&mut self, lesson: Lesson) {
        self.lesson = Some(lesson);
    }

    /// There is a keyboard, whose keys are worth showing.
    pub fn typed(&mut self) {
        self.typed = true;
    }

    /// Says something that stays.
    pub fn say(&mut self, words: &str) {
        match (&mut self.screen, window()) {
            (Some(screen), Some(window)) => {
                let _ = screen.leave(&mut io::stderr(), words, window);
            }
            _ => message(words),
        }
    }

    /// Sounds for a person whose eyes are on the engine.
    pub fn ring(&self) {
        if let Some(screen) = &self.screen {
            let _ = screen.ring(&mut io::stderr());
        }
    }

    /// Shows what there is to show, when it is time.
    pub fn show(
        &mut self,
        session: &Session,
        led: Option<&Led>,
        keys: Option<&KeyReader>,
        now_s: f64,
    ) {
        if now_s - self.judged_s >= PLAIN_S && !session.window().is_empty() {
            self.judged_s = now_s;
            if let Some(judge) = &mut self.judge {
                judge.ask(|| session.window().track());
            }
        }
        self.tell(session, led, keys, now_s, false);
        let every_s = if self.plain { PLAIN_S } else { DRAW_S };
        if now_s - self.drawn_s < every_s || session.path().as_os_str().is_empty() {
            return;
        }
        self.drawn_s = now_s;
        self.draw(session, led, keys, now_s);
    }

    /// The last state stays in the window.
    pub fn end(&mut self, session: &Session, led: Option<&Led>, now_s: f64) {
        if self.screen.is_some() {
            self.draw(session, led, None, now_s);
        }
        self.tell(session, led, None, now_s, true);
    }

    /// Tells the page.
    fn tell(
        &mut self,
        session: &Session,
        led: Option<&Led>,
        keys: Option<&KeyReader>,
        now_s: f64,
        ended: bool,
    ) {
        let Some(mut feed) = self.feed.take() else { return };
        let judged = self.judge.as_mut().and_then(|judge| judge.latest().cloned());
        let mute_s = mute_s(session, now_s);
        let judged = judged.filter(|_| !session.is_down() && mute_s.is_none());
        let figures = self.figures(session, judged.clone(), led, keys, now_s);
        let left = led.map(Led::guide).filter(|guide| ended && !guide.is_finished());
        let left_at = left.map(|guide| (guide.prompt().step, guide.prompt().steps));
        let (judged, lesson) = (judged.as_ref(), self.lesson.as_ref());
        feed.show(&figures, &Told { session, judged, keys, ended, left_at, mute_s, lesson });
        self.feed = Some(feed);
    }

    fn draw(&mut self, session: &Session, led: Option<&Led>, keys: Option<&KeyReader>, now_s: f64) {
        let judged = self.judge.as_mut().and_then(|judge| judge.latest().cloned());
        let figures = self.figures(session, judged, led, keys, now_s);
        match (&mut self.screen, window()) {
            (Some(screen), Some(window)) => {
                let _ = screen.draw(&mut io::stderr(), &figures, window);
            }
            _ if session.last().is_some() => message(&screen::plain(&figures)),
            _ => {}
        }
    }

    fn figures(
        &self,
        session: &Session,
        judged: Option<Judged>,
        led: Option<&Led>,
        keys: Option<&KeyReader>,
        now_s: f64,
    ) -> Figures {
        let tally = session.tally();
        let newest = session.last();
        let log_s = newest.map_or(0.0, |last| last.time_s);
        let silent = session.is_down() || mute_s(session, now_s).is_some();
        let recent = if silent { &[] } else { session.window().since(log_s - MEAN_S) };
        let mean = |of: &dyn Fn(&WindowRow) -> f64| {
            let values: Vec<f64> = recent.iter().map(of).filter(|v| v.is_finite()).collect();
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
        };
        let quiet_s = now_s - newest.map_or(0.0, |last| last.host_s);
        let link = match newest {
            _ if session.is_down() => Link::Lost(quiet_s),
            None => Link::Waiting(now_s),
            Some(_) => Link::Up,
        };
        let span_s = recent.first().map_or(0.0, |first| log_s - first.time_s);
        let counted = session.meaning().is_none_or(|meaning| meaning.counted);
        let judged = judged.filter(|_| !silent);
        let not_written = session
            .trouble()
            .map(|trouble| NotWritten { rows: session.not_written(), why: trouble.why() });
        Figures {
            file: session.path().display().to_string(),
            elapsed_s: log_s,
            rate_hz: (span_s > 0.5 * MEAN_S).then(|| (recent.len() - 1) as f64 / span_s),
            rows: tally.rows,
            lost: counted.then_some(tally.lost),
            garbled: tally.garbled + tally.implausible,
            repeated: tally.repeated,
            unknown: tally.unknown,
            rpm: mean(&|row| row.rpm),
            vac_kpa: [mean(&|row| row.vac_kpa[0]), mean(&|row| row.vac_kpa[1])],
            crank_kpa: session.crank_kpa(),
            names: self.names.clone(),
            unit: self.unit,
            difference: judged.as_ref().and_then(|judged| judged.difference),
            so_far: judged.as_ref().and_then(|judged| judged.so_far.clone()),
            needs_s: judged.and_then(|judged| judged.needs_s),
            link,
            not_written,
            marks: session.latest_marks().cloned().collect(),
            guide: led.map(|led| (led.guide().work(), led.guide().prompt())),
            typing: keys.and_then(KeyReader::line),
            keys: keys.filter(|_| self.typed).map(KeyReader::keys).unwrap_or_default(),
        }
    }
}

/// For how long the source has said nothing though it is there, s; `None` while it speaks.
fn mute_s(session: &Session, now_s: f64) -> Option<f64> {
    let quiet_s = now_s - session.last()?.host_s;
    (!session.is_down() && quiet_s >= MUTE_S).then_some(quiet_s)
}
