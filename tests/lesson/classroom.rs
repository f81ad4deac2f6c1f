//! A lesson held without a clock: the box is asked for what is due every millisecond of the model, its
//! bytes go through decoder and session into a file, and what is true is kept beside them.

use evenbreath::engine::{Look, Prediction, Settings, Side};
use evenbreath::findings::balance::Balance;
use evenbreath::findings::breather::Breather;
use evenbreath::findings::{Conditions, balance, breather};
use evenbreath::log::{self, ReadOptions};
use evenbreath::recording::lesson::{Begin, Knob, Lesson};
use evenbreath::recording::readings::Said;
use evenbreath::recording::session::{Session, Wanted};
use evenbreath::sample::Mark;
use evenbreath::signal;
use evenbreath::sources::decoder::Decoder;
use evenbreath::sources::event::Event;
use evenbreath::sources::inside::Inside;
use evenbreath::sources::model_box::ModelBox;
use evenbreath::sources::paced::Stream;
use evenbreath::units::{STANDARD_ATMOSPHERE, Seconds};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};

/// One tick of the lesson, s.
pub const TICK_S: f64 = 0.001;

/// A lesson at work.
pub struct Classroom {
    pub lesson: Lesson,
    pub inside: Inside,
    model: ModelBox,
    to_model: Sender<evenbreath::sources::model_box::Control>,
    decoder: Decoder,
    session: Session,
    ticks: u64,
    /// Turns of the engine, cycles, and what was true, every tick.
    trace: Vec<(f64, Look)>,
    foreseen: std::thread::JoinHandle<()>,
    path: PathBuf,
}

/// A lesson that is over: its log, read back and judged.
pub struct Judged {
    pub balance: Balance,
    pub breather: Breather,
    pub marks: Vec<String>,
    /// Where the engine was going while it idled.
    pub prediction: Prediction,
    /// How the ways of the air into tract 1 were open over those into tract 2.
    pub opening_ratio: f64,
    trace: Vec<(f64, Look)>,
}

impl Classroom {
    /// A lesson that begins; its log is one of this name.
    pub fn new(begin: Begin, seed: u64, name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("lesson");
        std::fs::create_dir_all(&folder).unwrap();
        let path = folder.join(format!("{name}.csv"));
        let _ = std::fs::remove_file(&path);
        let lesson = Lesson::new(begin).unwrap();
        let (to_model, controls): (_, Receiver<_>) = channel();
        let (inside, foreseen) = Inside::new();
        let model = lesson.model_box(seed, controls).unwrap().seen_by(inside.clone());
        let mut session = Session::new(Wanted {
            path: path.clone(),
            head: lesson.head(),
            said: Said::default(),
            baro: STANDARD_ATMOSPHERE,
        });
        lesson.controls().into_iter().for_each(|control| to_model.send(control).unwrap());
        for mark in lesson.first_marks() {
            session.mark(&mark, 0.0);
        }
        Classroom {
            lesson,
            inside,
            model,
            to_model,
            decoder: Decoder::new(true, true),
            session,
            ticks: 0,
            trace: Vec::new(),
            foreseen,
            path,
        }
    }

    pub fn now_s(&self) -> f64 {
        self.ticks as f64 * TICK_S
    }

    /// Presses a button that writes this mark.
    pub fn press(&mut self, words: &str) {
        self.session.mark(words, self.now_s());
        for control in self.lesson.noticed(&Mark::read(Seconds(0.0), words).meaning) {
            self.to_model.send(control).unwrap();
        }
    }

    /// Sets a knob.
    pub fn set(&mut self, knob: Knob, value: f64) {
        if let Some(doing) = self.lesson.set(knob, value).unwrap() {
            self.session.mark(&doing.mark, self.now_s());
            doing.controls.into_iter().for_each(|control| self.to_model.send(control).unwrap());
        }
    }

    /// Goes on for so long.
    pub fn wait(&mut self, seconds: f64) {
        let until = self.ticks + (seconds / TICK_S).round() as u64;
        let (mut bytes, mut events) = (Vec::new(), Vec::new());
        while self.ticks < until {
            let now_s = self.now_s();
            self.model.due(now_s, &mut bytes);
            self.decoder.take(&bytes, now_s, &mut events);
            bytes.clear();
            for event in events.drain(..) {
                self.session.take(event).unwrap();
            }
            if self.ticks.is_multiple_of(250) {
                self.session.tick(now_s);
            }
            let look = self.inside.seen().unwrap().look;
            let cycles = self.trace.last().map_or(0.0, |(cycles, _)| *cycles);
            self.trace.push((cycles + look.rpm / 120.0 * TICK_S, look));
            self.ticks += 1;
        }
    }

    /// Waits until the model is foreseen, which a thread of its own does in its own time.
    pub fn foresight(&self) -> Prediction {
        loop {
            if let Some(prediction) = self.inside.seen().unwrap().prediction {
                return prediction;
            }
            std::thread::yield_now();
        }
    }

    /// The work in its order: the zero, an idle with the hoses swapped and back, the cap three times.
    pub fn work(&mut self) -> Prediction {
        self.wait(6.0);
        self.press("engine on");
        self.wait(28.0);
        let prediction = self.foresight();
        self.press("hoses swapped");
        self.wait(20.0);
        self.press("hoses direct");
        self.wait(16.0);
        for _ in 0..3 {
            self.press("cap off");
            self.wait(10.0);
            self.press("cap on");
            self.wait(11.0);
        }
        prediction
    }

    /// Ends the lesson and judges its log as `balance` and `breather` do.
    pub fn judge(mut self, prediction: Prediction) -> Judged {
        let mut events = Vec::new();
        self.decoder.finish(self.now_s(), &mut events);
        events.push(Event::Ended);
        events.into_iter().for_each(|event| self.session.take(event).unwrap());
        let finished = self.session.finish();
        assert!(finished.trouble.is_none() && finished.tally.lost == 0, "{finished:?}");
        drop((self.model, self.inside));
        self.foreseen.join().unwrap();
        let log = log::read_path(&self.path, &ReadOptions::default()).unwrap();
        assert_eq!(log.bad_rows, 0);
        let cylinders = log.head.cylinders.unwrap();
        assert_eq!(cylinders as usize, self.lesson.layout().cylinders());
        let marks = log.track.marks.iter().map(|mark| mark.text.clone()).collect();
        let conditions =
            Conditions { cylinders, baro_kpa: STANDARD_ATMOSPHERE.0, ..Conditions::default() };
        let signal = signal::prepare(log.track, cylinders);
        let opening_ratio = opening_ratio(&self.lesson);
        Judged {
            balance: balance::find(&signal, &conditions),
            breather: breather::find(&signal, &conditions),
            marks,
            prediction,
            opening_ratio,
            trace: self.trace,
        }
    }
}

/// The ways of the air into tract 1 over those into tract 2, as they are set. A throttle draws from behind
/// its slide, where the air is thinner by the carburettor's depression, and a hole from the atmosphere.
fn opening_ratio(lesson: &Lesson) -> f64 {
    let settings = Settings::of(lesson.layout());
    let thinner = 1.0 - settings.depression_pa / settings.baro_pa;
    let [one, two] = Side::BOTH.map(|side| {
        let share = lesson.value(Knob::Stop(side)) / 100.0;
        let hole_mm = lesson.value(Knob::TractLeak(side));
        let leak_mm2 = 0.7 * std::f64::consts::PI / 4.0 * hole_mm * hole_mm;
        settings.idle_area_mm2[side.index()] * share * thinner + leak_mm2
    });
    one / two
}

impl Judged {
    /// The true difference of the vacuums between two log times, over whole working cycles, kPa.
    pub fn difference_kpa(&self, from_s: f64, to_s: f64) -> f64 {
        let index = |s: f64| (s / TICK_S).round() as usize;
        let stretch = &self.trace[index(from_s)..index(to_s)];
        let first = stretch[0].0;
        let whole = first + (stretch.last().unwrap().0 - first).floor();
        let kept: Vec<f64> = stretch
            .iter()
            .filter(|(cycles, _)| *cycles < whole)
            .map(|(_, look)| look.vacuum[0].0 - look.vacuum[1].0)
            .collect();
        kept.iter().sum::<f64>() / kept.len() as f64
    }
}
