//! Which stretches of a log are trials: from marks, on idling that nothing else disturbs.

use crate::findings::openings::running;
use crate::sample::Meaning;
use crate::signal::Signal;
use crate::statistics::summary;
use std::ops::Range;

/// What is opened or sealed.
#[derive(Debug, Clone, PartialEq)]
pub enum Subject {
    /// A suspect, as the first mark has it.
    Suspect(String),
    /// A drilled jet of this diameter, mm.
    Jet(f64),
}

/// One trial: from the mark at its beginning to the mark at its end, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trial {
    /// Index of its subject.
    pub subject: usize,
    /// Mark at the beginning, s.
    pub from_s: f64,
    /// Mark at the end, s.
    pub to_s: f64,
}

/// The trials that marks tell of.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Marked {
    /// In the order of their first mark.
    pub subjects: Vec<Subject>,
    /// In the order of time.
    pub trials: Vec<Trial>,
    /// Marks that no other answers, s: sealed and never released, released and never sealed.
    pub unanswered_s: Vec<f64>,
}

impl Marked {
    /// Reads the marks. A suspect is one whatever the case of its letters. Who seals the next while
    /// the last is still sealed has two at a time: the first is left out.
    pub fn of(signal: &Signal) -> Self {
        let mut found = Marked::default();
        let mut open: Option<(usize, f64)> = None;
        for mark in &signal.track.marks {
            let at_s = mark.at.0;
            match &mark.meaning {
                Meaning::Seal(name) => found.begin(&mut open, Subject::Suspect(name.clone()), at_s),
                Meaning::KnownLeak(mm) => found.begin(&mut open, Subject::Jet(mm.0), at_s),
                Meaning::Release(name) => {
                    let is_it = |s: &Subject| matches!(s, Subject::Suspect(own) if same(own, name));
                    found.end(&mut open, is_it, at_s);
                }
                Meaning::KnownLeakClosed => {
                    found.end(&mut open, |s| matches!(s, Subject::Jet(_)), at_s);
                }
                _ => {}
            }
        }
        found.unanswered_s.extend(open.map(|(_, at_s)| at_s));
        found
    }

    fn begin(&mut self, open: &mut Option<(usize, f64)>, what: Subject, at_s: f64) {
        let subject = self.subject(what);
        self.unanswered_s.extend(open.replace((subject, at_s)).map(|(_, at_s)| at_s));
    }

    fn end(
        &mut self,
        open: &mut Option<(usize, f64)>,
        is_it: impl Fn(&Subject) -> bool,
        to_s: f64,
    ) {
        match open.filter(|(subject, _)| is_it(&self.subjects[*subject])) {
            Some((subject, from_s)) => {
                self.trials.push(Trial { subject, from_s, to_s });
                *open = None;
            }
            None => self.unanswered_s.push(to_s),
        }
    }

    fn subject(&mut self, what: Subject) -> usize {
        let alike = |own: &Subject| match (own, &what) {
            (Subject::Suspect(own), Subject::Suspect(name)) => same(own, name),
            (own, what) => own == what,
        };
        self.subjects.iter().position(alike).unwrap_or_else(|| {
            self.subjects.push(what);
            self.subjects.len() - 1
        })
    }
}

fn same(one: &str, other: &str) -> bool {
    one.to_lowercase() == other.to_lowercase()
}

/// A speed this far from the usual idle is none: a blip of the throttle, or a stall.
const NO_IDLE: f64 = 0.35;
/// Around it the idle settles, s.
const CALM_AGAIN_S: f64 = 3.0;

/// Unbroken runs of idling blocks, and the median idle, rev/min. A run ends where the log has a gap,
/// where the engine does not idle, and where somebody touched cap, screws or hoses.
pub fn idling(signal: &Signal, marked: &Marked) -> Option<(Vec<Range<usize>>, f64)> {
    let (cycles, rpm) = (&signal.cycles, signal.cycles.rpm.as_deref()?);
    let (first, last) = (marked.trials.first()?, marked.trials.last()?);
    let runs = running(cycles, rpm);
    let tried: Vec<f64> = runs
        .iter()
        .flat_map(|run| run.clone())
        .filter(|k| (first.from_s..last.to_s).contains(&cycles.middle_s(*k)))
        .map(|k| rpm[k])
        .collect();
    let idle = summary::median(&tried)?;
    let touched = signal.track.marks.iter().filter(|mark| {
        matches!(
            mark.meaning,
            Meaning::CapOff
                | Meaning::CapOn
                | Meaning::Screw { .. }
                | Meaning::HosesSwapped
                | Meaning::HosesDirect
                | Meaning::TeeOn
                | Meaning::TeeOff
                | Meaning::EngineOn
        )
    });
    let mut broken_s: Vec<f64> = touched.map(|mark| mark.at.0).collect();
    let wild = |k: &usize| (rpm[*k] - idle).abs() > NO_IDLE * idle;
    broken_s.extend(runs.iter().flat_map(|r| r.clone()).filter(wild).map(|k| cycles.middle_s(k)));
    broken_s.sort_by(f64::total_cmp);
    let calm = |k: usize| {
        let at_s = cycles.middle_s(k);
        let next = broken_s.partition_point(|b| *b < at_s - CALM_AGAIN_S);
        broken_s.get(next).is_none_or(|b| *b > at_s + CALM_AGAIN_S)
    };
    let mut kept: Vec<Range<usize>> = Vec::new();
    for run in runs {
        let mut fresh = true;
        for k in run {
            match kept.last_mut().filter(|_| !fresh && calm(k)) {
                Some(last) => last.end = k + 1,
                None if calm(k) => kept.push(k..k + 1),
                None => {}
            }
            fresh = !calm(k);
        }
    }
    Some((kept, idle))
}
