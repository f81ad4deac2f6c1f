//! A recording as it goes: events in, rows and marks out, everything counted. It knows no clock and no
//! terminal; the host's time is handed in.

use super::Failure;
use super::readings::{self, Meaning, Said};
use super::tally::Tally;
use super::window::{Window, WindowRow};
use crate::log::journal::{self, Closed, Journal, JournalError, JournalRow, Start};
use crate::sample::{Mark, Meaning as MarkMeaning};
use crate::sources::event::{BoxInfo, Event, Sample};
use crate::units::{Kpa, Seconds};
use std::collections::VecDeque;
use std::path::{Path, PathBuf};

/// Samples wait this long, s, for the box to say what its codes mean: it does so every ten seconds.
const WAIT_FOR_INFO_S: f64 = 12.0;
/// A row that stands for a mark alone is put this far before the host's idea of the device's time, s:
/// the next sample must not come before it.
const BEHIND_S: f64 = 0.25;
/// Smallest step of log time, s.
const TICK_S: f64 = 1e-6;

/// What a recording is to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// The file.
    pub path: PathBuf,
    /// `# key: value` lines; sensor and device are added when they are known.
    pub head: Vec<(String, String)>,
    /// What was said of the sensors.
    pub said: Said,
    /// Barometric pressure for the vacuums of the figures so far; the log keeps what was measured.
    pub baro: Kpa,
}

/// A recording as it goes.
pub struct Session {
    wanted: Wanted,
    info: Option<BoxInfo>,
    doubted: Option<BoxInfo>,
    meaning: Option<Meaning>,
    journal: Option<Journal>,
    /// What the file holds, once it is closed.
    closed: Option<Closed>,
    trouble: Option<JournalError>,
    waiting: Vec<Sample>,
    marks: VecDeque<String>,
    lost_unsaid: u64,
    tally: Tally,
    window: Window,
    last: Option<Sample>,
    written_s: f64,
    down: bool,
    ended: bool,
    answers: Vec<String>,
    latest_marks: VecDeque<(f64, String)>,
    /// Sensors that have ever given a reading.
    read: [bool; 2],
    /// Log time of the last mark that says on which side the one sensor is, s.
    moved_s: Option<f64>,
}

/// How a recording ended.
#[derive(Debug)]
pub struct Finished {
    /// The file; absent where no row came.
    pub path: Option<PathBuf>,
    /// The counts.
    pub tally: Tally,
    /// What the journal says of its rows.
    pub closed: Option<Closed>,
    /// What kept the last rows from the file.
    pub trouble: Option<JournalError>,
    /// Log time of the last row, s.
    pub duration_s: f64,
    /// The sentences were numbered, so that losses are known.
    pub counted: bool,
    /// What the box said it is.
    pub info: Option<BoxInfo>,
}

impl Session {
    /// A recording that has not begun.
    pub fn new(wanted: Wanted) -> Self {
        Session {
            wanted,
            info: None,
            doubted: None,
            meaning: None,
            journal: None,
            closed: None,
            trouble: None,
            waiting: Vec::new(),
            marks: VecDeque::new(),
            lost_unsaid: 0,
            tally: Tally::default(),
            window: Window::default(),
            last: None,
            written_s: f64::NEG_INFINITY,
            down: false,
            ended: false,
            answers: Vec::new(),
            latest_marks: VecDeque::new(),
            read: [false; 2],
            moved_s: None,
        }
    }

    /// The same with a window of so many seconds for the figures so far.
    pub fn with_window(mut self, recent_s: f64) -> Self {
        self.window = Window::lasting(recent_s);
        self
    }

    /// Takes what a source brought.
    ///
    /// # Errors
    /// The file cannot be made, or the readings have no meaning.
    pub fn take(&mut self, event: Event) -> Result<(), Failure> {
        match event {
            Event::Sample(sample) => self.sample(sample)?,
            Event::Lost(count) => {
                self.tally.lost += count;
                self.lost_unsaid += count;
            }
            Event::Rejected(rejection) => self.tally.reject(rejection),
            Event::Restarted => {
                self.tally.restarts += 1;
                self.marks.push_back("note the box has begun anew".into());
            }
            Event::Info(info) => self.learn(info)?,
            Event::Answer(words) => self.answers.push(words),
            Event::Columns(columns) => {
                self.begin(readings::of_lines(columns, &self.wanted.said)?)?;
            }
            Event::Mark(words) => self.marks.push_back(words),
            Event::LinkLost { host_s, .. } => {
                self.tally.links_lost += 1;
                self.down = true;
                self.mark_alone("link lost", host_s);
            }
            Event::LinkBack { .. } => {
                self.down = false;
                self.marks.push_front("link back".into());
            }
            Event::Heard { bytes, .. } => self.tally.bytes += bytes as u64,
            Event::Ended => self.ended = true,
        }
        Ok(())
    }

    /// A mark that somebody makes now: written with the next sample, or by itself while none comes.
    pub fn mark(&mut self, words: &str, now_host_s: f64) {
        if self.down {
            self.mark_alone(words, now_host_s);
        } else {
            self.marks.push_back(words.to_string());
        }
    }

    /// Lets the journal write what is due. Its troubles are kept and told by [`Session::trouble`].
    pub fn tick(&mut self, now_host_s: f64) {
        if let Some(journal) = &mut self.journal {
            match journal.tick(now_host_s) {
                Err(error) => self.trouble = Some(error),
                Ok(()) if journal.counts().waiting == 0 => self.trouble = None,
                Ok(()) => {}
            }
        }
    }

    /// Writes the last rows and closes the file: what is said of the log after it can be found in it. What comes later
    /// is not recorded.
    pub fn close(&mut self) {
        let host_s = self.last.map_or(0.0, |last| last.host_s);
        for words in std::mem::take(&mut self.marks) {
            self.mark_alone(&words, host_s);
        }
        self.tally.not_converted += std::mem::take(&mut self.waiting).len() as u64;
        let Some(journal) = self.journal.take() else { return };
        let (closed, trouble) = match journal.close() {
            Ok(closed) => (closed, None),
            Err((closed, error)) => (closed, Some(error)),
        };
        (self.closed, self.trouble) = (Some(closed), trouble);
    }

    /// Closes the file and says what the recording came to.
    pub fn finish(mut self) -> Finished {
        self.close();
        let duration_s = self.last.map_or(0.0, |last| last.time_s);
        let counted = self.meaning.as_ref().is_some_and(|meaning| meaning.counted);
        let path = self.closed.map(|_| self.wanted.path);
        let (closed, trouble) = (self.closed, self.trouble);
        Finished { path, tally: self.tally, closed, trouble, duration_s, counted, info: self.info }
    }

    /// The counts so far.
    pub fn tally(&self) -> Tally {
        self.tally
    }

    /// Rows that are not in the file, whether they still wait or were given up.
    pub fn not_written(&self) -> u64 {
        let counts = self.journal.as_ref().map(Journal::counts);
        let of_journal = counts.map(|counts| counts.waiting + counts.given_up);
        of_journal.or(self.closed.map(|closed| closed.not_written)).unwrap_or(0)
    }

    /// What keeps rows from the file.
    pub fn trouble(&self) -> Option<&JournalError> {
        self.trouble.as_ref()
    }

    /// The samples for the figures so far.
    pub fn window(&self) -> &Window {
        &self.window
    }

    /// The newest sample.
    pub fn last(&self) -> Option<Sample> {
        self.last
    }

    /// The latest marks with their log times, the newest last, without the recorder's own notes of losses.
    pub fn latest_marks(&self) -> impl Iterator<Item = &(f64, String)> {
        self.latest_marks.iter()
    }

    /// The one sensor that there is, 0 or 1, to be moved from side to side: the source has no other, or marks
    /// say on which side it is and no other has ever given a reading.
    pub fn one_sensor(&self) -> Option<usize> {
        let told = self.meaning.as_ref().and_then(|meaning| meaning.one_sensor);
        told.or(match self.read {
            [true, false] => self.moved_s.map(|_| 0),
            [false, true] => self.moved_s.map(|_| 1),
            _ => None,
        })
    }

    /// Log time of the last mark that says on which side the one sensor is, s.
    pub fn moved_s(&self) -> Option<f64> {
        self.moved_s
    }

    /// No samples come.
    pub fn is_down(&self) -> bool {
        self.down
    }

    /// The source has no more.
    pub fn has_ended(&self) -> bool {
        self.ended
    }

    /// The box sends a third code, and nobody has named its sensor.
    pub fn has_unnamed_crank(&self) -> bool {
        let third = self.last.is_some_and(|last| last.readings[2].is_some());
        third && self.meaning.as_ref().is_some_and(|meaning| !meaning.crank)
    }

    /// Samples that wait for the box to say what their codes mean.
    pub fn waiting(&self) -> usize {
        self.waiting.len()
    }

    /// What the box said it is.
    pub fn info(&self) -> Option<&BoxInfo> {
        self.info.as_ref()
    }

    /// What the readings mean, once known.
    pub fn meaning(&self) -> Option<&Meaning> {
        self.meaning.as_ref()
    }

    /// The crankcase below atmosphere in the newest sample, kPa.
    pub fn crank_kpa(&self) -> Option<f64> {
        let meaning = self.meaning.as_ref().filter(|meaning| meaning.crank)?;
        meaning.conversion.crank_kpa(self.last?.readings[2]?)
    }

    /// Answers of the box to commands, since they were last asked for.
    pub fn answers(&mut self) -> Vec<String> {
        std::mem::take(&mut self.answers)
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.wanted.path
    }

    fn learn(&mut self, info: BoxInfo) -> Result<(), Failure> {
        if let Some(known) = &self.info {
            if !same_readings(known, &info) {
                return self.doubt(info);
            }
            if (&known.name, &known.version) != (&info.name, &info.version) {
                self.marks.push_back(format!("note another box: {} {}", info.name, info.version));
                self.tally.other_boxes += 1;
                self.info = Some(info);
            }
            self.doubted = None;
            return Ok(());
        }
        let meaning = readings::of_box(&info, &self.wanted.said)?;
        self.info = Some(info);
        self.begin(meaning)
    }

    /// A box whose codes mean something else. Said once it may be garbled; said twice the log ends.
    fn doubt(&mut self, info: BoxInfo) -> Result<(), Failure> {
        if self.doubted.as_ref().is_some_and(|before| same_readings(before, &info)) {
            return Err(Failure::AnotherBox { name: info.name });
        }
        self.doubted = Some(info);
        Ok(())
    }

    /// The meaning is known: the file is made, and what has waited is written.
    fn begin(&mut self, meaning: Meaning) -> Result<(), Failure> {
        if self.meaning.is_some() {
            return Ok(());
        }
        let mut head = self.wanted.head.clone();
        if let Some(info) = &self.info {
            head.push(("device".into(), format!("{} {}", info.name, info.version)));
        }
        head.push(("sensor".into(), meaning.sensor.clone()));
        let columns = journal::Columns {
            absolute: meaning.conversion.absolute,
            crank: meaning.crank,
            seq: meaning.counted,
        };
        self.journal = Some(Journal::create(&self.wanted.path, &Start { columns, head })?);
        self.meaning = Some(meaning);
        for sample in std::mem::take(&mut self.waiting) {
            self.write(sample);
        }
        Ok(())
    }

    fn sample(&mut self, sample: Sample) -> Result<(), Failure> {
        if self.meaning.is_some() {
            self.write(sample);
            return Ok(());
        }
        let waited_s = self.waiting.first().map_or(0.0, |first| sample.host_s - first.host_s);
        if waited_s > WAIT_FOR_INFO_S {
            return Err(Failure::NoInfo { seconds: WAIT_FOR_INFO_S });
        }
        self.waiting.push(sample);
        Ok(())
    }

    fn write(&mut self, sample: Sample) {
        let (Some(journal), Some(meaning)) = (&mut self.journal, &self.meaning) else { return };
        let made = self.marks.pop_front();
        // It stands in the log; among the latest marks it would push out what people made.
        let of_losses = made.is_none();
        let mark = made.or_else(|| {
            let lost = std::mem::take(&mut self.lost_unsaid);
            let sentences = if lost == 1 { "sentence" } else { "sentences" };
            (lost > 0).then(|| format!("note {lost} {sentences} lost"))
        });
        let readings = sample.readings.map(|reading| reading.filter(|code| meaning.can_be(*code)));
        let left_out = sample.readings.iter().flatten().count() - readings.iter().flatten().count();
        self.tally.beyond_range += left_out as u64;
        let kpa = [0, 1].map(|side| readings[side].map(|code| meaning.conversion.kpa(side, code)));
        let crank = readings[2].filter(|_| meaning.crank);
        let crank_kpa = crank.and_then(|reading| meaning.conversion.crank_kpa(reading));
        journal.row(&JournalRow {
            time_s: sample.time_s,
            rpm: sample.rpm,
            kpa,
            crank_kpa,
            seq: sample.seq,
            host_s: sample.host_s,
            mark: mark.as_deref().unwrap_or(""),
        });
        let baro_kpa = self.wanted.baro.0;
        let vacuum = |kpa: f64| if meaning.conversion.absolute { baro_kpa - kpa } else { kpa };
        self.window.take(WindowRow {
            time_s: sample.time_s,
            rpm: sample.rpm.unwrap_or(f64::NAN),
            vac_kpa: kpa.map(|kpa| kpa.map_or(f64::NAN, vacuum)),
        });
        for (read, kpa) in self.read.iter_mut().zip(kpa) {
            *read |= kpa.is_some();
        }
        self.tally.rows += 1;
        self.last = Some(sample);
        self.written_s = sample.time_s;
        if let Some(mark) = mark {
            self.marked(sample.time_s, mark, of_losses);
        }
    }

    /// A row for a mark alone, at the device's time as the host's clock tells it.
    fn mark_alone(&mut self, words: &str, host_s: f64) {
        // Before the first sample nobody knows the time: the mark waits for it.
        let (Some(journal), Some(last)) = (&mut self.journal, self.last) else {
            self.marks.push_back(words.to_string());
            return;
        };
        let since_s = (host_s - last.host_s).max(0.0);
        let time_s = (last.time_s + since_s - BEHIND_S).max(self.written_s + TICK_S);
        journal.row(&JournalRow {
            time_s,
            rpm: None,
            kpa: [None; 2],
            crank_kpa: None,
            seq: None,
            host_s: f64::NAN,
            mark: words,
        });
        self.written_s = time_s;
        self.marked(time_s, words.to_string(), false);
    }

    fn marked(&mut self, time_s: f64, words: String, of_losses: bool) {
        self.tally.marks += 1;
        let mark = Mark::read(Seconds(time_s), &words);
        if matches!(mark.meaning, MarkMeaning::On(_)) {
            self.moved_s = Some(time_s);
        }
        self.window.mark(mark);
        if of_losses {
            return;
        }
        self.latest_marks.push_back((time_s, words));
        if self.latest_marks.len() > LATEST_MARKS {
            self.latest_marks.pop_front();
        }
    }
}

/// The codes of both mean the same.
fn same_readings(one: &BoxInfo, two: &BoxInfo) -> bool {
    one.adc_bits == two.adc_bits && one.vref_mv == two.vref_mv && one.sensors == two.sensors
}

/// Marks that are remembered for the screen.
const LATEST_MARKS: usize = 5;
