//! What a person presses on the page.

use super::lesson;
use serde::Deserialize;
use tokio::sync::oneshot;

/// Longest text, characters.
const LONGEST: usize = 120;
/// Turns of a stop screw at one go, in twelfths: five turns, as at the keyboard.
const MOST_TWELFTHS: i32 = 60;
/// Diameter of a jet, mm, as at the keyboard.
const JET_MM: std::ops::RangeInclusive<f64> = 0.1..=6.0;

/// A press with somebody who waits for what becomes of it.
#[derive(Debug)]
pub struct Pressed {
    press: Press,
    answer: oneshot::Sender<Result<(), String>>,
}

impl Pressed {
    /// A press, and where its answer comes.
    pub(super) fn new(press: Press) -> (Pressed, oneshot::Receiver<Result<(), String>>) {
        let (answer, answered) = oneshot::channel();
        (Pressed { press, answer }, answered)
    }

    /// What was pressed.
    pub fn press(&self) -> &Press {
        &self.press
    }

    /// Tells the page that it was done, or why it was not.
    pub fn answer(self, done: Result<(), String>) {
        // A page that has gone away wants no answer.
        let _ = self.answer.send(done);
    }
}

/// What is pressed.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "press", rename_all = "snake_case", deny_unknown_fields)]
pub enum Press {
    /// A button that writes a mark. The words are those that the button showed; where they are no longer
    /// what it would write, the press was the second of two and is left out.
    Mark {
        /// The words.
        words: String,
    },
    /// A stop screw was turned.
    Screw {
        /// 1 or 2.
        side: u8,
        /// Twelfths of a turn, open positive: a sixth can be set, half of that can be read off a slot.
        twelfths: i32,
    },
    /// A suspect is sealed now.
    Seal {
        /// Its name.
        name: String,
    },
    /// A jet is open now.
    Jet {
        /// Its diameter, mm.
        mm: f64,
    },
    /// A note.
    Note {
        /// The text.
        text: String,
    },
    /// The last mark was a mistake.
    Undo,
    /// The guide's step is done.
    Done,
    /// The guide's step once more.
    Again,
    /// The guide's step is left out.
    Skip,
    /// The recording ends.
    Stop,
    /// Something in a lesson.
    Lesson {
        /// What.
        what: lesson::Press,
    },
    /// Another recording begins.
    Start {
        /// Name of its log; empty for date and time.
        name: String,
    },
}

impl Press {
    /// Reads what the page sends.
    ///
    /// # Errors
    /// What is wrong with it, for the person.
    pub fn read(body: &[u8]) -> Result<Press, String> {
        let press: Press =
            serde_json::from_slice(body).map_err(|error| format!("not a press: {error}"))?;
        match press {
            Press::Mark { words } => Ok(Press::Mark { words: text(&words)? }),
            Press::Note { text: words } => Ok(Press::Note { text: text(&words)? }),
            Press::Seal { name } => Ok(Press::Seal { name: text(&name)? }),
            Press::Jet { mm } if !JET_MM.contains(&mm) => {
                Err(format!("a jet of {mm} mm? {} to {} mm", JET_MM.start(), JET_MM.end()))
            }
            Press::Screw { side, twelfths } => {
                if side != 1 && side != 2 {
                    return Err(format!("side {side}? 1 or 2"));
                }
                if twelfths == 0 || twelfths.abs() > MOST_TWELFTHS {
                    return Err(format!("{twelfths} twelfths of a turn? 1 to {MOST_TWELFTHS}"));
                }
                Ok(press)
            }
            Press::Start { name } => {
                let name = if name.trim().is_empty() { String::new() } else { file_name(&name)? };
                Ok(Press::Start { name })
            }
            other => Ok(other),
        }
    }

    /// The mark of a screw, a suspect, a jet or a note.
    pub fn words(&self) -> Option<String> {
        match self {
            Press::Screw { side, twelfths } => {
                // As many decimals as keep a twelfth, and no more than it needs.
                let turns = (f64::from(*twelfths) / 12.0 * 1e4).round() / 1e4;
                Some(format!("screw {side} {turns:+}"))
            }
            Press::Seal { name } => Some(format!("seal {name}")),
            Press::Jet { mm } => Some(format!("known leak {mm} mm")),
            Press::Note { text } => Some(format!("note {text}")),
            _ => None,
        }
    }
}

/// Words for the mark column: one line, no signs that move a cursor, blanks one at a time.
fn text(given: &str) -> Result<String, String> {
    if given.chars().any(char::is_control) {
        return Err("a line without control signs is needed".into());
    }
    let words = given.split_whitespace().collect::<Vec<_>>().join(" ");
    match words.chars().count() {
        0 => Err("it is empty; write a word".into()),
        count if count > LONGEST => Err(format!("{count} characters; at most {LONGEST}")),
        _ => Ok(words),
    }
}

/// The name of a log beside the first one: no path, so that the page reaches no other folder.
fn file_name(given: &str) -> Result<String, String> {
    let name = text(given)?;
    let plain = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_' | '.');
    if !name.chars().all(plain) || name.starts_with('.') || name.chars().count() > 60 {
        return Err("a name of letters, digits, blanks, - and _, at most 60".into());
    }
    Ok(if name.to_lowercase().ends_with(".csv") { name } else { format!("{name}.csv") })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Press, String> {
        Press::read(text.as_bytes())
    }

    #[test]
    fn what_the_page_sends() {
        let mark = |words: &str| Ok(Press::Mark { words: words.into() });
        assert_eq!(read(r#"{"press":"mark","words":" cap   off "}"#), mark("cap off"));
        let screw = read(r#"{"press":"screw","side":2,"twelfths":-2}"#).unwrap();
        assert_eq!(screw.words().as_deref(), Some("screw 2 -0.1667"));
        let one = read(r#"{"press":"screw","side":1,"twelfths":12}"#).unwrap();
        assert_eq!(one.words().as_deref(), Some("screw 1 +1"));
        assert_eq!(read(r#"{"press":"undo"}"#), Ok(Press::Undo));
        let start = |name: &str| Ok(Press::Start { name: name.into() });
        assert_eq!(read(r#"{"press":"start","name":"after lunch"}"#), start("after lunch.csv"));
        assert_eq!(read(r#"{"press":"start","name":" "}"#), start(""));
    }

    #[test]
    fn what_it_must_not_send() {
        for wrong in [
            "",
            "null",
            "{}",
            r#"{"press":"erase"}"#,
            r#"{"press":"mark"}"#,
            r#"{"press":"mark","words":"  "}"#,
            r#"{"press":"mark","words":"cap\noff"}"#,
            r#"{"press":"mark","words":"cap off","more":1}"#,
            r#"{"press":"screw","side":3,"twelfths":1}"#,
            r#"{"press":"screw","side":1,"twelfths":0}"#,
            r#"{"press":"screw","side":1,"twelfths":61}"#,
            r#"{"press":"jet","mm":6.5}"#,
            r#"{"press":"jet","mm":null}"#,
            r#"{"press":"seal","name":" "}"#,
            r#"{"press":"screw","side":1,"twelfths":1e9}"#,
            r#"{"press":"start","name":"../other"}"#,
            r#"{"press":"start","name":"a/b"}"#,
            r#"{"press":"start","name":".hidden"}"#,
            r#"{"press":"note","text":"\u001b[2J"}"#,
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
        let long = format!(r#"{{"press":"note","text":"{}"}}"#, "x".repeat(121));
        assert!(read(&long).unwrap_err().contains("121 characters"));
    }
}
