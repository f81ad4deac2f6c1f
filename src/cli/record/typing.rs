//! Words typed while recording: a screw and its turns, a suspect, a jet, a note.

use crossterm::event::KeyCode;

/// What is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Side and turns.
    Screw,
    /// Name of a suspect.
    Seal,
    /// Diameter of a jet.
    Jet,
    /// Free text.
    Note,
}

/// Longest text of a mark.
const LONGEST: usize = 120;
/// A stop screw is not turned further in one go, turns (common practice, no published source).
const MOST_TURNS: f64 = 5.0;
/// A jet wider than this stalls the engine, mm (common practice, no published source).
const WIDEST_JET_MM: f64 = 6.0;

/// A line under work.
#[derive(Debug, Clone)]
pub(super) struct Entry {
    kind: Kind,
    text: String,
    wrong: Option<String>,
}

impl Entry {
    pub(super) fn new(kind: Kind) -> Self {
        Entry { kind, text: String::new(), wrong: None }
    }

    /// Takes a key. `Some` when the line is done: with the words of the mark, or without any when it
    /// was left.
    pub(super) fn press(&mut self, code: KeyCode) -> Option<Option<String>> {
        self.wrong = None;
        match code {
            KeyCode::Esc => return Some(None),
            KeyCode::Backspace => {
                self.text.pop();
            }
            KeyCode::Char(c) if !c.is_control() && self.text.chars().count() < LONGEST => {
                self.text.push(c);
            }
            KeyCode::Enter => match self.words() {
                Ok(words) => return Some(words),
                Err(wrong) => self.wrong = Some(wrong),
            },
            _ => {}
        }
        None
    }

    /// The mark, nothing for an empty line, or what is wrong.
    fn words(&self) -> Result<Option<String>, String> {
        let text = self.text.split_whitespace().collect::<Vec<_>>().join(" ");
        if text.is_empty() {
            return Ok(None);
        }
        match self.kind {
            Kind::Screw => screw(&text),
            Kind::Seal => Ok(format!("seal {text}")),
            Kind::Jet => jet(&text),
            Kind::Note => Ok(format!("note {text}")),
        }
        .map(Some)
    }

    /// The question, the text so far and what is wrong with it.
    pub(super) fn line(&self) -> String {
        let question = match self.kind {
            Kind::Screw => "Screw, side and turns, open is +, such as 1 +0.25",
            Kind::Seal => "Which suspect is sealed now",
            Kind::Jet => "Which jet is open now, mm, such as 1.5",
            Kind::Note => "Note",
        };
        let wrong = self.wrong.as_ref().map_or(String::new(), |wrong| format!(" ({wrong})"));
        format!("{question}: {}_{wrong}", self.text)
    }
}

/// A number as people type it: decimal point or comma, or a fraction such as 1/6.
fn number(text: &str) -> Option<f64> {
    let plain = text.replace(',', ".");
    let value = match plain.split_once('/') {
        Some((over, under)) => over.parse::<f64>().ok()? / under.parse::<f64>().ok()?,
        None => plain.parse().ok()?,
    };
    value.is_finite().then_some(value)
}

/// A number with no more decimals than it needs, at most four.
fn short(value: f64, sign: bool) -> String {
    let text = if sign { format!("{value:+.4}") } else { format!("{value:.4}") };
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

fn screw(text: &str) -> Result<String, String> {
    let (side, turns) = text.split_once(' ').ok_or("side, a blank, turns")?;
    if side != "1" && side != "2" {
        return Err(format!("side {side}? 1 or 2"));
    }
    // `+ 0.25` is `+0.25`.
    let turns =
        number(&turns.replace(' ', "")).ok_or("turns as a number, such as +0.25 or -1/6")?;
    if turns.abs() < 0.01 || turns.abs() > MOST_TURNS {
        return Err(format!("{turns} turns? 0.01 to {MOST_TURNS}"));
    }
    Ok(format!("screw {side} {}", short(turns, true)))
}

fn jet(text: &str) -> Result<String, String> {
    let bare = text.trim_end_matches("mm").trim_end();
    match number(bare) {
        Some(mm) if (0.1..=WIDEST_JET_MM).contains(&mm) => {
            Ok(format!("known leak {} mm", short(mm, false)))
        }
        _ => Err(format!("a diameter of 0.1 to {WIDEST_JET_MM} mm")),
    }
}
