//! The page of a recording: what it is told, and where it is found.

use super::keys::KeyReader;
use super::screen::{Figures, Link, dangers};
use crate::cli::failure::Failure;
use crate::cli::output::message;
use crate::findings::Conditions;
use crate::findings::balance::ZeroMethod;
use crate::live::frame::{self, Buttons, Frame, LinkState, Side, Unit};
use crate::live::lesson::Lesson;
use crate::live::sentence::{Ended, OneSensor, Prompted, Sentence, Situation, sentence};
use crate::live::so_far::{Interval, Judged};
use crate::live::trace::{Pair, Point, Trace};
use crate::live::{Hub, Press, Pressed, Served, Settings, serve, tones};
use crate::recording::guide::{Prompt, Work};
use crate::recording::session::Session;
use crate::units::Kpa;
use std::path::PathBuf;
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use tokio::sync::mpsc::Receiver;

/// A page that waits for the next recording is told so this often.
const WAITING: Duration = Duration::from_secs(1);

/// The page, over all recordings of a run.
pub struct Page {
    served: Served,
    presses: Receiver<Pressed>,
}

/// What is asked of the page.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Its port; 0 for a free one.
    pub port: u16,
    /// Reachable from other machines.
    pub share: bool,
    /// To be opened by the system.
    pub open: bool,
}

impl Page {
    /// Serves the page and says where.
    ///
    /// # Errors
    /// The port cannot be had.
    pub fn new(asked: Asked) -> Result<Page, Failure> {
        let settings = Settings { port: asked.port, share: asked.share };
        let (served, presses) = serve(settings).map_err(Failure::Page)?;
        for address in served.addresses() {
            message(&format!("{}: {}", address.what, address.url));
        }
        if asked.open
            && let Some(address) = served.addresses().first()
            && let Err(error) = opened(&address.url)
        {
            message(&format!("warning: no browser could be opened ({error}); open the address"));
        }
        Ok(Page { served, presses })
    }

    /// Where frames go.
    pub fn hub(&self) -> Hub {
        self.served.hub().clone()
    }

    /// What is pressed.
    pub fn presses(&mut self) -> &mut Receiver<Pressed> {
        &mut self.presses
    }

    /// Waits for somebody to start another recording; gives its log, or `None` where the program is to
    /// end. `log` makes it of the name that was given, or says why it cannot be had.
    pub fn next(&mut self, log: impl Fn(&str) -> Result<PathBuf, String>) -> Option<PathBuf> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().ok()?;
        let (ask, mut asked) = tokio::sync::mpsc::channel(1);
        super::signals::watch(ask);
        let hub = self.served.hub().clone();
        runtime.block_on(async {
            let mut again = tokio::time::interval(WAITING);
            loop {
                tokio::select! {
                    _ = asked.recv() => return None,
                    _ = again.tick() => hub.again(),
                    pressed = self.presses.recv() => {
                        let pressed = pressed?;
                        let begun = match pressed.press() {
                            Press::Start { name } => {
                                log(name).inspect_err(|why| hub.say(&format!("Not begun: {why}.")))
                            }
                            _ => Err("the recording has ended; begin another log first".into()),
                        };
                        pressed.answer(begun.as_ref().map(|_| ()).map_err(String::clone));
                        if let Ok(path) = begun {
                            return Some(path);
                        }
                    },
                }
            }
        })
    }
}

/// Opens an address with what the system has for it.
fn opened(url: &str) -> std::io::Result<()> {
    use std::process::{Command, Stdio};
    let mut command = if cfg!(target_os = "windows") {
        let mut command = Command::new("rundll32");
        command.arg("url.dll,FileProtocolHandler");
        command
    } else {
        Command::new(if cfg!(target_os = "macos") { "open" } else { "xdg-open" })
    };
    let quiet = command.arg(url).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    let mut child = quiet.spawn()?;
    // Some openers stay until the browser is closed.
    std::thread::spawn(move || child.wait());
    Ok(())
}

/// Makes frames of a recording.
pub struct Feed {
    hub: Hub,
    conditions: Conditions,
    trace: Trace,
    begun: bool,
    closed_s: f64,
    /// The host's clock when its seconds began, ms since 1970.
    started_unix_ms: f64,
}

/// What a frame is made of besides the figures.
pub struct Told<'a> {
    /// The recording.
    pub session: &'a Session,
    /// The judgement, while the link is up.
    pub judged: Option<&'a Judged>,
    /// What the buttons stand at.
    pub keys: Option<&'a KeyReader>,
    /// The recording has ended.
    pub ended: bool,
    /// The step at which its guide was left, where that is not done, and how many there are.
    pub left_at: Option<(usize, usize)>,
    /// The source is there, and has said nothing for so long, s.
    pub mute_s: Option<f64>,
    /// The lesson, where there is one.
    pub lesson: Option<&'a Lesson>,
}

impl Told<'_> {
    /// A class that looks for a fault is shown what the sensors say, and no more: one that reads too much may be it.
    fn as_read(&self) -> bool {
        self.lesson.is_some_and(|lesson| lesson.covered)
    }

    /// Where the one sensor is, where there is one alone.
    fn one_sensor(&self) -> Option<OneSensor> {
        self.session.one_sensor()?;
        let on = self.keys.and_then(KeyReader::sensor_side);
        let newest_s = self.session.last().map_or(0.0, |last| last.time_s);
        let since_s = self.session.moved_s().map_or(f64::INFINITY, |at_s| newest_s - at_s);
        Some(OneSensor { on, since_s })
    }

    /// The vacuums by side and not by sensor.
    fn by_side(&self, [one, two]: [Option<f64>; 2], swapped: bool) -> [Option<f64>; 2] {
        match self.one_sensor().and_then(|sensor| sensor.on) {
            Some(0) => [one.or(two), None],
            Some(_) => [None, one.or(two)],
            None if swapped => [two, one],
            None => [one, two],
        }
    }

    /// What is taken out of the difference of the sides, kPa.
    fn error_kpa(&self, swapped: bool) -> f64 {
        let error_kpa = self.judged.filter(|_| !self.as_read()).map_or(0.0, |it| it.error_kpa);
        if swapped { -error_kpa } else { error_kpa }
    }

    /// The difference as it is shown.
    fn shown(&self, difference: Interval, swapped: bool) -> Interval {
        let error_kpa = self.judged.filter(|_| self.as_read()).map_or(0.0, |it| it.error_kpa);
        let put_back_kpa = if swapped { -error_kpa } else { error_kpa };
        Interval {
            low_kpa: difference.low_kpa + put_back_kpa,
            value_kpa: difference.value_kpa + put_back_kpa,
            high_kpa: difference.high_kpa + put_back_kpa,
        }
    }
}

impl Feed {
    /// Frames for this hub; `now_s` is the host's time now.
    pub fn new(hub: Hub, conditions: Conditions, now_s: f64) -> Self {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        let started_unix_ms = 1000.0 * (since.as_secs_f64() - now_s);
        let (trace, begun, closed_s) = (Trace::default(), false, f64::NEG_INFINITY);
        Feed { hub, conditions, trace, begun, closed_s, started_unix_ms }
    }

    /// Tells every page how things stand.
    pub fn show(&mut self, figures: &Figures, told: &Told) {
        let swapped = told.keys.is_some_and(KeyReader::swapped);
        let error_kpa = told.error_kpa(swapped);
        let (trace, heard_unix_ms) = self.follow(told.session, swapped, error_kpa);
        let frame = self.frame(figures, told, swapped, trace, heard_unix_ms);
        self.begun = true;
        self.hub.publish(frame);
    }

    /// The new points of the trace, and when the oldest of the new samples was heard.
    fn follow(
        &mut self,
        session: &Session,
        swapped: bool,
        error_kpa: f64,
    ) -> (Vec<Point>, Option<f64>) {
        let last_s = self.trace.last_s().unwrap_or(f64::NEG_INFINITY);
        let rows = session.window().since(last_s);
        let new = &rows[rows.partition_point(|row| row.time_s <= last_s)..];
        let heard_s = new
            .first()
            .zip(session.last())
            .map(|(oldest, newest)| newest.host_s - (newest.time_s - oldest.time_s));
        let sided = |[one, two]: [f64; 2]| if swapped { [two, one] } else { [one, two] };
        let pairs = new.iter().map(|row| Pair {
            time_s: row.time_s,
            rpm: row.rpm,
            vac_kpa: sided(row.vac_kpa),
        });
        let points = pairs.filter_map(|pair| self.trace.take(pair, error_kpa)).collect();
        (points, heard_s.map(|s| self.started_unix_ms + 1000.0 * s))
    }

    fn frame(
        &mut self,
        figures: &Figures,
        told: &Told,
        swapped: bool,
        trace: Vec<Point>,
        heard_unix_ms: Option<f64>,
    ) -> Frame {
        let link = link(figures, told);
        let guide = figures.guide.as_ref();
        let vac_kpa = told.by_side(figures.vac_kpa, swapped);
        let sentence = self.sentence(figures, told, link.state, vac_kpa);
        let trouble = figures.not_written.as_ref().map(|not| match not.rows {
            0 => format!("rows may be lost: {}", not.why),
            rows => format!("{rows} rows not written: {}", not.why),
        });
        let log = frame::Log {
            file: figures.file.clone(),
            rows: figures.rows,
            recording: !told.ended,
            trouble,
        };
        Frame {
            anew: !self.begun,
            heard_unix_ms,
            elapsed_s: figures.elapsed_s,
            sentence,
            sides: self.sides(figures, vac_kpa, swapped, told),
            matched: !told.as_read()
                && told.one_sensor().is_none()
                && told.judged.is_some_and(|judged| judged.zero != ZeroMethod::None),
            rpm: figures.rpm,
            idle_target_rpm: self.conditions.idle_target_rpm,
            crank_kpa: figures.crank_kpa,
            difference: figures.difference.map(|difference| told.shown(difference, swapped)),
            tolerance_kpa: self.conditions.tolerance_kpa,
            verdict: figures.so_far.as_ref().map(|so_far| so_far.verdict),
            needs_s: figures.needs_s,
            trace,
            closing: self.closing(told, swapped),
            unit: unit(figures),
            link,
            log,
            marks: figures.marks.clone(),
            buttons: told.keys.map(|keys| buttons(keys, told.one_sensor())).unwrap_or_default(),
            guide: guide.map(|(work, prompt)| led(*work, prompt)),
            lesson: told.lesson.cloned(),
        }
    }

    /// What to do now; nothing that a class has still to find.
    fn sentence(
        &self,
        figures: &Figures,
        told: &Told,
        link: LinkState,
        vac_kpa: [Option<f64>; 2],
    ) -> Sentence {
        let guide = figures.guide.as_ref();
        let prompted = guide.map(|(_, prompt)| Prompted {
            say: for_buttons(&prompt.say),
            complaint: prompt.complaint.as_deref().map(for_buttons),
            left_s: prompt.left_s,
        });
        let ended = Ended { file: &figures.file, left_at: told.left_at };
        let ended = told.ended.then_some(ended);
        let sentence = sentence(&Situation {
            link,
            silent_s: match figures.link {
                Link::Up => told.mute_s.unwrap_or(0.0),
                Link::Waiting(s) | Link::Lost(s) => s,
            },
            disk: figures.not_written.as_ref().map(|not| not.why.as_str()),
            mute: told.mute_s.is_some(),
            ended,
            guide: prompted.as_ref(),
            one_sensor: told.one_sensor(),
            judged: told.judged,
            vac_kpa,
            rpm: figures.rpm,
            elapsed_s: figures.elapsed_s,
            conditions: &self.conditions,
            advises: told.lesson.is_none_or(|lesson| lesson.screws_mend),
        });
        let judged = told.judged.is_some_and(|judged| judged.steady.is_some());
        match told.lesson.filter(|_| judged && !told.ended) {
            Some(lesson) => lesson.instead(sentence),
            None => sentence,
        }
    }

    fn sides(
        &self,
        figures: &Figures,
        vac_kpa: [Option<f64>; 2],
        swapped: bool,
        told: &Told,
    ) -> [Side; 2] {
        let error_kpa = told.error_kpa(swapped);
        let heard = told.mute_s.is_none()
            && !told.session.is_down()
            && !told.ended
            && vac_kpa.iter().all(Option::is_some);
        let means = self.trace.means_kpa().filter(|_| heard);
        let tones = means.and_then(|means| tones::pitches(means, error_kpa));
        [0, 1].map(|side| Side {
            name: figures.names[side].clone(),
            vacuum_kpa: vac_kpa[side].map(|kpa| kpa - [0.5, -0.5][side] * error_kpa),
            tone_hz: tones.map(|tones| tones[side]),
        })
    }

    /// The interval, once for every judgement.
    fn closing(&mut self, told: &Told, swapped: bool) -> Vec<(f64, f64, f64)> {
        let Some(judged) = told.judged.filter(|judged| judged.newest_s > self.closed_s) else {
            return Vec::new();
        };
        self.closed_s = judged.newest_s;
        let difference = judged.difference.map(|difference| told.shown(difference, swapped));
        difference.map(|d| (judged.newest_s, d.low_kpa, d.high_kpa)).into_iter().collect()
    }
}

fn led(work: Work, prompt: &Prompt) -> frame::Guide {
    let dangers = if prompt.cautions { dangers(work) } else { Vec::new() };
    frame::Guide {
        asks: prompt.asks.iter().map(|ask| for_buttons(ask)).collect(),
        cautions: dangers.into_iter().map(|caution| caution.text()).collect(),
        left_s: prompt.left_s,
        waits: prompt.waits_for_key,
        step: prompt.step,
        steps: prompt.steps,
    }
}

/// The guide's words name keys; the page has buttons.
fn for_buttons(words: &str) -> String {
    words
        .replace("Enter", "Done")
        .replace("with key n", "with Note, other")
        .replace("with key s", "with Screw")
}

fn link(figures: &Figures, told: &Told) -> frame::Link {
    frame::Link {
        state: match figures.link {
            Link::Up if told.mute_s.is_some() => LinkState::Lost,
            Link::Up => LinkState::Up,
            Link::Waiting(_) => LinkState::Waiting,
            Link::Lost(_) => LinkState::Lost,
        },
        rate_hz: figures.rate_hz,
        lost: figures.lost,
        garbled: figures.garbled,
    }
}

fn unit(figures: &Figures) -> Unit {
    let unit = figures.unit;
    let per_kpa = unit.from_kpa(Kpa(1.0));
    Unit { symbol: unit.symbol(), per_kpa, decimals: unit.decimals() }
}

fn buttons(keys: &KeyReader, one_sensor: Option<OneSensor>) -> Buttons {
    // One hose has no other to change places with.
    let (hoses, tee) = match one_sensor {
        Some(_) => (keys.writes('o'), None),
        None => (keys.writes('h'), keys.writes('t')),
    };
    Buttons {
        cap: keys.writes('c'),
        engine: keys.writes('e'),
        hoses,
        tee,
        release: keys.writes('p'),
        jet_closed: keys.writes('j'),
        undo: keys.regrettable(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::guide::{Guide, News, Plan, Suspect};

    #[test]
    fn the_page_speaks_of_its_buttons_and_of_no_key() {
        let mut seen = 0;
        for work in [Work::Breather, Work::Balance, Work::Hunt, Work::Match] {
            let mut plan = Plan::new(work);
            plan.suspects = vec![Suspect::from("left hose")];
            let mut guide = Guide::new(&plan).unwrap();
            let (mut speeds, mut complained) = ([0.0, 850.0, 1750.0, 2750.0].iter().cycle(), 0);
            let mut rpm = 0.0;
            for k in 0..20_000 {
                let prompt = guide.prompt();
                let words = [std::slice::from_ref(&prompt.say), prompt.asks.as_slice()].concat();
                seen += usize::from(words.iter().any(|words| words.contains("Enter")));
                for words in words.iter().map(|words| for_buttons(words)) {
                    assert!(!words.contains("Enter") && !words.contains("key "), "{words}");
                }
                if guide.is_finished() {
                    break;
                }
                // Whatever the engine should do, it is tried until the guide is content.
                complained = prompt.complaint.map_or(0, |_| complained + 1);
                if complained > 20 {
                    (rpm, complained) = (*speeds.next().unwrap_or(&0.0), 0);
                }
                let news = News { link_down: false, rpm: Some(rpm) };
                guide.advance(0.5 * f64::from(k), true, news);
            }
            assert!(guide.is_finished(), "not all of {work:?} was seen: {:?}", guide.prompt());
        }
        assert!(seen > 10, "the guide names its key in {seen} prompts: the test looks elsewhere");
    }
}
