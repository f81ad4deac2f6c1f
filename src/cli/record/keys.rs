//! Keys while recording: one key a mark.
//!
//! A mark that is written stays written: rows reach the file within a quarter of a second, and a log
//! that is taken back is a log that cannot be trusted. So 'undo' adds a note that names the mark it
//! regrets, and sets the key right again, so that the next press writes what is true.
//!
//! [`KeyReader`] turns key presses into wishes and knows no terminal; [`Keyboard`] reads the terminal.

use super::typing::{Entry, Kind};
use crate::live::Press;
use crate::sample::{Mark, Meaning};
use crate::units::Seconds;
use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode};
use std::io::{self, IsTerminal};
use std::panic;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Once};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// What the person wants.
#[derive(Debug, Clone, PartialEq)]
pub enum Wish {
    /// These words into the mark column, at the newest sample.
    Mark(String),
    /// The guide's step is done.
    Done,
    /// The guide's step once more.
    Again,
    /// The guide's step is left out.
    Skip,
    /// The recording ends. Said a second time it ends at once.
    End,
}

/// A key pressed again within this time is held down, or a finger that trembled, s: a held key repeats
/// 10 to 30 times a second, from 0.3 to 0.7 s on (common practice, no published source).
const HELD_S: f64 = 0.8;

/// What the keys stand at.
#[derive(Debug, Clone, Default)]
pub struct KeyReader {
    cap_off: bool,
    engine_off: bool,
    swapped: bool,
    tee: bool,
    /// The one sensor is on side 1, else on side 2; `None` before anybody has said it.
    on_first: Option<bool>,
    leak: bool,
    sealed: Option<String>,
    entry: Option<Entry>,
    /// The last mark with a meaning, to be regretted.
    last: Option<Mark>,
    pressed: Option<(KeyCode, f64)>,
    sure: bool,
    guided: bool,
}

impl KeyReader {
    /// Keys before any mark: cap on, engine running, hoses on their own taps. With a guide there are
    /// keys for its steps too.
    pub fn new(guided: bool) -> Self {
        KeyReader { guided, ..KeyReader::default() }
    }

    /// Takes a key that was pressed at a time, s, of any clock that does not step back. A key that is
    /// held down counts once.
    pub fn press(&mut self, key: KeyEvent, at_s: f64) -> Option<Wish> {
        if key.kind == KeyEventKind::Release {
            return None;
        }
        if key.modifiers.contains(KeyModifiers::CONTROL) {
            let ends = matches!(key.code, KeyCode::Char('c' | 'C'));
            return ends.then_some(Wish::End);
        }
        if key.modifiers.contains(KeyModifiers::ALT) {
            return None;
        }
        let held = self.pressed.is_some_and(|(code, s)| code == key.code && at_s - s < HELD_S);
        self.pressed = Some((key.code, at_s));
        if let Some(entry) = &mut self.entry {
            // Letters are typed twice on purpose; an Enter that is held is not.
            let again = key.code == KeyCode::Enter && held;
            if let Some(end) = entry.press(key.code).filter(|_| !again) {
                self.entry = None;
                return end.map(|words| self.mark(words));
            }
            return None;
        }
        if held || key.kind == KeyEventKind::Repeat {
            return None;
        }
        if std::mem::take(&mut self.sure) {
            match key.code {
                KeyCode::Char('y' | 'Y') => return Some(Wish::End),
                // An answer, and no note.
                KeyCode::Char('n' | 'N') | KeyCode::Esc => return None,
                // Somebody who has not seen the question: the mark must not be lost with it.
                _ => {}
            }
        }
        self.command(key.code)
    }

    fn command(&mut self, code: KeyCode) -> Option<Wish> {
        match code {
            KeyCode::Enter => Some(Wish::Done),
            KeyCode::Char(c) => match c.to_ascii_lowercase() {
                's' => self.ask(Kind::Screw),
                'n' => self.ask(Kind::Note),
                'p' if self.sealed.is_none() => self.ask(Kind::Seal),
                'j' if !self.leak => self.ask(Kind::Jet),
                'u' => self.regret(),
                'a' if self.guided => Some(Wish::Again),
                'k' if self.guided => Some(Wish::Skip),
                // Not Enter: a sleeve on q must not turn the next 'done' into the end.
                'q' => {
                    self.sure = true;
                    None
                }
                c => self.toggle(c).map(|words| self.mark(words)),
            },
            _ => None,
        }
    }

    /// The words that a key writes as things stand.
    fn toggle(&self, key: char) -> Option<String> {
        let either =
            |state: bool, now: &str, then: &str| Some(if state { then } else { now }.into());
        match key {
            'c' => either(self.cap_off, "cap off", "cap on"),
            'e' => either(self.engine_off, "engine off", "engine on"),
            'h' => either(self.swapped, "hoses swapped", "hoses direct"),
            't' => either(self.tee, "tee on", "tee off"),
            'o' => either(self.on_first == Some(true), "on carb1", "on carb2"),
            'p' => self.sealed.as_ref().map(|name| format!("release {name}")),
            'j' if self.leak => Some("known leak closed".into()),
            _ => None,
        }
    }

    /// The words that a key writes without a question as things stand.
    pub fn writes(&self, key: char) -> Option<String> {
        self.toggle(key)
    }

    /// The hoses have changed places.
    pub fn swapped(&self) -> bool {
        self.swapped
    }

    /// The side that the one sensor is on, 0 or 1.
    pub fn sensor_side(&self) -> Option<usize> {
        self.on_first.map(|first| usize::from(!first))
    }

    /// The mark that can be called a mistake.
    pub fn regrettable(&self) -> Option<String> {
        self.last.as_ref().map(|mark| mark.text.clone())
    }

    /// What somebody asks for without the keyboard.
    ///
    /// # Errors
    /// Why it is not what can be done now.
    pub fn pressed(&mut self, press: &Press) -> Result<Wish, String> {
        match press {
            Press::Mark { words } => {
                let stands = ['c', 'e', 'h', 't', 'o', 'p', 'j']
                    .iter()
                    .any(|key| self.toggle(*key).is_some_and(|writes| writes == *words));
                let stale = || format!("'{words}' stands already, or was pressed twice");
                stands.then(|| self.mark(words.clone())).ok_or_else(stale)
            }
            Press::Seal { .. } if self.sealed.is_some() => {
                Err("another suspect is sealed; release it first".into())
            }
            Press::Jet { .. } if self.leak => Err("a jet is open; close it first".into()),
            Press::Undo => self.regret().ok_or_else(|| "there is no mark to take back".into()),
            Press::Done | Press::Again | Press::Skip if !self.guided => {
                Err("no guide leads this recording".into())
            }
            Press::Done => Ok(Wish::Done),
            Press::Again => Ok(Wish::Again),
            Press::Skip => Ok(Wish::Skip),
            Press::Stop => Ok(Wish::End),
            Press::Start { .. } => Err("a log is being recorded; stop it first".into()),
            press => match press.words() {
                Some(words) => Ok(self.mark(words)),
                None => Err("that cannot be pressed here".into()),
            },
        }
    }

    fn ask(&mut self, kind: Kind) -> Option<Wish> {
        self.entry = Some(Entry::new(kind));
        None
    }

    fn mark(&mut self, words: String) -> Wish {
        self.saw(&words);
        Wish::Mark(words)
    }

    /// Takes notice of a mark that somebody else wrote, such as the guide, so that the keys write
    /// what comes after it.
    pub fn saw(&mut self, words: &str) {
        let mark = Mark::read(Seconds(0.0), words);
        match &mark.meaning {
            Meaning::Note(_) | Meaning::Other | Meaning::LinkLost | Meaning::LinkBack => return,
            Meaning::Mistake(_) | Meaning::SetAside => return,
            meaning => self.turn(meaning),
        }
        self.last = Some(mark);
    }

    fn turn(&mut self, meaning: &Meaning) {
        match meaning {
            Meaning::CapOff => self.cap_off = true,
            Meaning::CapOn => self.cap_off = false,
            Meaning::EngineOff => self.engine_off = true,
            Meaning::EngineOn => self.engine_off = false,
            Meaning::HosesSwapped => self.swapped = true,
            Meaning::HosesDirect => self.swapped = false,
            Meaning::TeeOn => self.tee = true,
            Meaning::TeeOff => self.tee = false,
            Meaning::On(side) => self.on_first = Some(side.ends_with('1')),
            Meaning::KnownLeak(_) => self.leak = true,
            Meaning::KnownLeakClosed => self.leak = false,
            Meaning::Seal(name) => self.sealed = Some(name.clone()),
            Meaning::Release(_) => self.sealed = None,
            _ => {}
        }
    }

    /// A mark that the last one was a mistake; the key goes back to before it.
    fn regret(&mut self) -> Option<Wish> {
        let mark = self.last.take()?;
        let before = match &mark.meaning {
            Meaning::CapOff => Meaning::CapOn,
            Meaning::CapOn => Meaning::CapOff,
            Meaning::EngineOff => Meaning::EngineOn,
            Meaning::EngineOn => Meaning::EngineOff,
            Meaning::HosesSwapped => Meaning::HosesDirect,
            Meaning::HosesDirect => Meaning::HosesSwapped,
            Meaning::TeeOn => Meaning::TeeOff,
            Meaning::TeeOff => Meaning::TeeOn,
            Meaning::On(_) => {
                Meaning::On(if self.on_first == Some(true) { "carb2" } else { "carb1" }.into())
            }
            Meaning::KnownLeak(_) => Meaning::KnownLeakClosed,
            Meaning::Seal(name) => Meaning::Release(name.clone()),
            Meaning::Release(name) => Meaning::Seal(name.clone()),
            other => other.clone(),
        };
        self.leak |= mark.meaning == Meaning::KnownLeakClosed;
        self.turn(&before);
        Some(Wish::Mark(format!("mistake {}", mark.text)))
    }

    /// What is being typed, with its question and what is wrong with it.
    pub fn line(&self) -> Option<String> {
        if self.sure {
            return Some("End the recording? y ends it, n goes on.".into());
        }
        self.entry.as_ref().map(Entry::line)
    }

    /// The keys that do something now, with what each writes or does.
    pub fn keys(&self) -> Vec<(&'static str, String)> {
        if self.entry.is_some() {
            return vec![("Enter", "write it".into()), ("Esc", "leave it".into())];
        }
        let mark = |key: char, otherwise: &str| self.toggle(key).unwrap_or(otherwise.into());
        let mut keys = Vec::new();
        if self.guided {
            keys.extend([
                ("Enter", "done".to_string()),
                ("a", "step again".into()),
                ("k", "leave step out".into()),
            ]);
        }
        keys.extend([
            ("c", mark('c', "")),
            ("e", mark('e', "")),
            ("h", mark('h', "")),
            ("t", mark('t', "")),
            ("o", mark('o', "")),
            ("s", "screw".into()),
            ("p", mark('p', "pinch, seal")),
            ("j", mark('j', "jet")),
            ("n", "note".into()),
        ]);
        keys.extend(self.last.as_ref().map(|mark| ("u", format!("'{}' was a mistake", mark.text))));
        keys.push(("q", "end".into()));
        keys
    }
}

/// The terminal's keys, read by a thread of their own. The terminal gives every key at once and
/// echoes none while this lives; it is as before when this is dropped, and before a panic speaks.
#[derive(Debug)]
pub struct Keyboard {
    stop: Arc<AtomicBool>,
    reader: Option<JoinHandle<()>>,
}

/// How soon the reader sees that it is to stop.
const LOOK: Duration = Duration::from_millis(50);

impl Keyboard {
    /// Reads keys until dropped and hands each to `give` with its time; `give` says whether anybody
    /// still listens. `None` where standard input is no terminal: there are no keys then.
    ///
    /// # Errors
    /// The terminal refuses, or there are no threads.
    pub fn listen(
        give: impl Fn(KeyEvent, Instant) -> bool + Send + 'static,
    ) -> io::Result<Option<Keyboard>> {
        if !io::stdin().is_terminal() {
            return Ok(None);
        }
        restore_before_panics();
        enable_raw_mode()?;
        let stop = Arc::new(AtomicBool::new(false));
        let mut keyboard = Keyboard { stop: Arc::clone(&stop), reader: None };
        let read = move || {
            while !stop.load(Ordering::Relaxed) {
                match event::poll(LOOK).and_then(|any| any.then(event::read).transpose()) {
                    Ok(Some(Event::Key(key))) if !give(key, Instant::now()) => return,
                    Ok(_) => {}
                    // The terminal is gone: the recording goes on without keys.
                    Err(_) => return,
                }
            }
        };
        keyboard.reader = Some(thread::Builder::new().name("keys".into()).spawn(read)?);
        Ok(Some(keyboard))
    }
}

impl Drop for Keyboard {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        // A terminal that is gone keeps crossterm reading nothing for ever: the recording ends without
        // its reader, and the reader with the program.
        if let Some(reader) = self.reader.take() {
            let given_up = Instant::now() + 4 * LOOK;
            while !reader.is_finished() && Instant::now() < given_up {
                thread::sleep(LOOK / 10);
            }
        }
        let _ = disable_raw_mode();
    }
}

/// A panic that speaks on a raw terminal speaks in steps, and leaves it raw.
fn restore_before_panics() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |what| {
            let _ = disable_raw_mode();
            before(what);
        }));
    });
}

#[cfg(test)]
mod tests;
