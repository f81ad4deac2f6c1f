//! The recording as it runs: events, interrupts and the clock, one after the other.

mod hands;

use super::args::RecordArgs;
use super::display::Display;
use super::keys::KeyReader;
use super::led::Led;
use super::signals;
use super::source::Source;
use super::teacher::Teacher;
use super::why;
use crate::cli::failure::Failure;
use crate::live::Pressed;
use crate::recording;
use crate::recording::session::{Finished, Session, Wanted};
use crate::sources::event::{Columns, Event};
use crate::sources::link::OpenError;
use crate::sources::listener::Listener;
use crate::sources::model_box::Control;
use crate::sources::wire;
use crossterm::event::KeyEvent;
use serde::Serialize;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::time::{MissedTickBehavior, interval};

/// Pieces that wait for the recording: while the disk stalls, the cable goes on.
const WAITING_PIECES: usize = 16_384;
/// Keys that wait.
const WAITING_KEYS: usize = 64;
/// The clock looks at journal and guide this often, and the page is told as often: a sample waits for half of
/// it on average, and is to be seen within 100 ms.
const TICK: Duration = Duration::from_millis(33);
/// A source that has said nothing readable after this time is spoken of, s.
const SPEAK_AFTER_S: f64 = 3.0;
/// With `--seconds`, silence ends the recording after this, s.
const SILENCE_ENDS_S: f64 = 5.0;
/// Asked once and not answered: asked again after this, s.
const ASK_AGAIN_S: f64 = 1.0;
/// ... so often.
const MOST_ASKED: u32 = 5;

/// Why a recording ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ended {
    /// The person wanted it to.
    Asked,
    /// The time that was asked for is over.
    Time,
    /// The guide has come to its end.
    Guide,
    /// The source has no more.
    Source,
    /// Something went wrong that cannot be mended while it goes on.
    Failed,
}

/// What the listening thread sends.
enum Heard {
    Opened(String),
    Events(Vec<Event>),
    NotOpened(OpenError),
}

/// A recording that runs.
struct Drive<'a> {
    args: &'a RecordArgs,
    display: Display,
    keys: Option<KeyReader>,
    started: Instant,
    session: Session,
    led: Option<Led>,
    teacher: Option<Teacher>,
    /// A model engine, which does what the marks say.
    engine: Option<std::sync::mpsc::Sender<Control>>,
    commands: std::sync::mpsc::Sender<String>,
    source_name: String,
    asked_s: Option<f64>,
    spoken: bool,
    troubled: bool,
    crank_said: bool,
    rate_answered: bool,
    rate_asked: u32,
    rate_asked_s: f64,
    failure: Option<Failure>,
    stopped_on_page: bool,
}

/// A recording that has ended.
pub struct Outcome {
    /// What the session says.
    pub finished: Finished,
    /// The guide, as far as it has come.
    pub led: Option<Led>,
    /// Who held a lesson.
    pub teacher: Option<Teacher>,
    /// The source.
    pub source: String,
    /// Why it ended.
    pub ended: Ended,
    /// What went wrong, where it failed.
    pub failure: Option<Failure>,
    /// It was ended on the page, where another may be begun.
    pub stopped_on_page: bool,
}

/// Records until somebody or something ends it.
///
/// # Errors
/// The source cannot be opened.
pub fn record(
    args: &RecordArgs,
    wanted: Wanted,
    source: Source,
    (led, teacher): (Option<Led>, Option<Teacher>),
    mut display: Display,
    page: Option<&mut Receiver<Pressed>>,
) -> Result<Outcome, Failure> {
    let source_needs_keys = source.actions.is_none();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::Ports(error.to_string()))?;
    let started = Instant::now();
    let stop = Arc::new(AtomicBool::new(false));
    let (commands, commanded) = std::sync::mpsc::channel();
    let (heard_by, heard) = channel(WAITING_PIECES);
    let listener = Listener::new(source.opener, started, stop.clone(), commanded);
    let ear = std::thread::spawn(move || listen(listener, &heard_by));
    let (key_by, keys) = channel(WAITING_KEYS);
    let keyboard = if args.source.stdin { None } else { signals::keyboard(key_by) };
    let by_hand = keyboard.is_some() || page.is_some();
    if led.is_some() && !by_hand && source_needs_keys {
        stop.store(true, Ordering::Relaxed);
        return Err(Failure::GuideWithoutKeys);
    }
    if keyboard.is_some() {
        display.typed();
    }
    // Without a page nobody ever presses there.
    let (_nobody, mut never) = channel(1);
    let presses = page.unwrap_or(&mut never);
    let mut drive = Drive {
        args,
        display,
        keys: by_hand.then(|| KeyReader::new(led.is_some())),
        started,
        session: Session::new(wanted).with_window(args.window),
        led: led.map(|led| led.on(source.actions.clone())),
        teacher,
        engine: source.actions,
        commands,
        source_name: String::new(),
        asked_s: None,
        spoken: false,
        troubled: false,
        crank_said: false,
        rate_answered: false,
        rate_asked: 0,
        rate_asked_s: f64::NEG_INFINITY,
        failure: None,
        stopped_on_page: false,
    };
    if let Some(teacher) = &drive.teacher {
        teacher.begin(&mut drive.session, drive.keys.as_mut());
    }
    let ended = runtime.block_on(drive.run(heard, keys, presses, &stop));
    stop.store(true, Ordering::Relaxed);
    let ended = ended?;
    if !args.source.stdin {
        let _ = ear.join();
    }
    let now_s = started.elapsed().as_secs_f64();
    drive.end(now_s);
    drop(keyboard);
    let Drive { session, led, teacher, source_name: source, failure, stopped_on_page, .. } = drive;
    let finished = session.finish();
    Ok(Outcome { finished, led, teacher, source, ended, failure, stopped_on_page })
}

fn listen(listener: Listener, to: &Sender<Heard>) {
    let opened = |name: &str| {
        let _ = to.blocking_send(Heard::Opened(name.to_string()));
    };
    if let Err(error) =
        listener.listen(opened, |events| to.blocking_send(Heard::Events(events)).is_ok())
    {
        let _ = to.blocking_send(Heard::NotOpened(error));
    }
}

impl Drive<'_> {
    async fn run(
        &mut self,
        mut heard: Receiver<Heard>,
        mut keys: Receiver<(KeyEvent, Instant)>,
        presses: &mut Receiver<Pressed>,
        stop: &AtomicBool,
    ) -> Result<Ended, Failure> {
        let (ask, mut asked) = channel(1);
        signals::watch(ask);
        let mut clock = interval(TICK);
        clock.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let ended = loop {
            let ended = tokio::select! {
                biased;
                _ = asked.recv() => Some(Ended::Asked),
                Some((key, at)) = keys.recv() => self.key(key, at),
                Some(pressed) = presses.recv() => self.pressed(pressed),
                _ = clock.tick() => self.tick(),
                heard = heard.recv() => match heard {
                    None => Some(Ended::Source),
                    Some(heard) => self.hear(heard)?,
                },
            };
            if let Some(ended) = ended {
                break ended;
            }
        };
        // What was on its way when it ended is still recorded.
        stop.store(true, Ordering::Relaxed);
        if ended == Ended::Asked && !self.args.source.stdin {
            while let Some(heard) = heard.recv().await {
                self.hear(heard)?;
            }
        }
        Ok(ended)
    }

    /// The last state, with the answer of a lesson.
    fn end(&mut self, now_s: f64) {
        if let Some(teacher) = &mut self.teacher {
            if let Some(words) = teacher.close() {
                self.session.mark(&words, now_s);
            }
            self.display.teaches(teacher.shown(&self.session, now_s));
        }
        // Whoever is told that it has ended opens the log.
        self.session.close();
        self.display.end(&self.session, self.led.as_ref(), now_s);
    }

    fn host_s(&self) -> f64 {
        self.started.elapsed().as_secs_f64()
    }

    fn hear(&mut self, heard: Heard) -> Result<Option<Ended>, Failure> {
        match heard {
            Heard::NotOpened(error) => return Err(Failure::Source(error)),
            Heard::Opened(name) => {
                self.display.say(&format!("listening to {name}"));
                self.source_name = name;
            }
            Heard::Events(events) => {
                for event in events {
                    if let Some(ended) = self.event(event) {
                        return Ok(Some(ended));
                    }
                }
            }
        }
        Ok(self.session.has_ended().then_some(Ended::Source))
    }

    fn event(&mut self, event: Event) -> Option<Ended> {
        match &event {
            Event::Columns(columns) => self.say_columns(*columns),
            Event::LinkLost { why, .. } => {
                self.display.say(&format!("link lost: {why}; looking for it"));
            }
            Event::LinkBack { port, .. } => self.display.say(&format!("link back on {port}")),
            Event::Mark(words) => {
                if let Some(keys) = &mut self.keys {
                    keys.saw(words);
                }
            }
            _ => {}
        }
        let sample = matches!(event, Event::Sample(_));
        if let Err(failure) = self.session.take(event) {
            return self.fail(failure);
        }
        if !sample {
            return None;
        }
        let log_s = self.session.last().map_or(0.0, |last| last.time_s);
        if self.lead(log_s) {
            return Some(Ended::Guide);
        }
        self.args.seconds.filter(|seconds| log_s >= *seconds).map(|_| Ended::Time)
    }

    /// Plain lines say little of themselves: what they were taken for has to be seen.
    fn say_columns(&mut self, columns: Columns) {
        let time = match columns.ticks_per_s {
            1.0 => "seconds",
            1e3 => "milliseconds",
            _ => "microseconds",
        };
        self.display.say(&format!("plain lines: the first number is taken for {time}"));
    }

    fn fail(&mut self, failure: recording::Failure) -> Option<Ended> {
        self.failure = Some(Failure::Recording(failure));
        Some(Ended::Failed)
    }

    fn tick(&mut self) -> Option<Ended> {
        let now_s = self.host_s();
        self.session.tick(now_s);
        self.speak_of_the_disk();
        if !self.crank_said && self.session.has_unnamed_crank() {
            self.crank_said = true;
            self.display
                .say("the box sends a third code; --crank-sensor says what it means, and keeps it");
        }
        if self.session.waiting() > 0 && self.asked_s.is_none_or(|at| now_s - at > ASK_AGAIN_S) {
            self.asked_s = Some(now_s);
            let _ = self.commands.send(wire::command("INFO"));
        }
        for words in self.session.answers() {
            self.rate_answered |= words.starts_with("RATE,");
            self.display.say(&format!("the box answers: {words}"));
        }
        self.ask_for_the_rate(now_s);
        if !self.spoken && now_s > SPEAK_AFTER_S && self.session.tally().rows == 0 {
            self.spoken = true;
            let words = why::nothing_yet(&self.session, &self.source_name, self.args);
            self.display.say(&words);
        }
        // While the link is down no sample moves the guide on; it still has to know.
        if self.session.is_down() && self.lead(self.session.last().map_or(0.0, |last| last.time_s))
        {
            return Some(Ended::Guide);
        }
        if let Some(teacher) = &mut self.teacher {
            self.display.teaches(teacher.shown(&self.session, now_s));
        }
        self.display.show(&self.session, self.led.as_ref(), self.keys.as_ref(), now_s);
        let quiet_s = now_s - self.session.last().map_or(0.0, |last| last.host_s);
        let over = |seconds: f64| now_s >= seconds && quiet_s >= SILENCE_ENDS_S;
        self.args.seconds.filter(|seconds| over(*seconds)).map(|_| Ended::Time)
    }

    /// Asks for the rate once the box speaks, and again until it answers: a board that begins anew when
    /// its port is opened hears nothing at first.
    fn ask_for_the_rate(&mut self, now_s: f64) {
        let Some(hz) = self.args.source.rate.filter(|_| !self.rate_answered) else { return };
        let speaks = self.session.last().is_some() || self.session.waiting() > 0;
        if !speaks || self.rate_asked > MOST_ASKED || now_s - self.rate_asked_s < ASK_AGAIN_S {
            return;
        }
        if self.rate_asked == MOST_ASKED {
            self.display.say("the box does not answer to RATE; it goes on at its own rate");
        } else {
            let _ = self.commands.send(wire::command(&format!("RATE,{hz}")));
        }
        (self.rate_asked, self.rate_asked_s) = (self.rate_asked + 1, now_s);
    }

    /// Says once that rows cannot be written, and once that they can again.
    fn speak_of_the_disk(&mut self) {
        let words = match (self.session.trouble(), self.troubled) {
            (Some(trouble), false) => format!("warning: {trouble}"),
            (None, true) => "the rows that waited are written".into(),
            _ => return,
        };
        self.display.say(&words);
        self.troubled = !self.troubled;
    }
}
