//! The answer on standard output, messages on standard error.

use super::failure::Failure;
use crate::report::Page;
use crate::units::PressureUnit;
use std::env;
use std::io::{self, ErrorKind, IsTerminal, Write};

/// Lines longer than this are hard to read, however wide the window.
const WIDEST: usize = 80;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Good, or nothing was to be judged.
    Good,
    /// The finding is bad.
    Bad,
    /// The finding is not settled.
    NotSettled,
}

impl Outcome {
    /// The exit code: the finding's only when the user asked for it.
    pub fn code(self, asked: bool) -> u8 {
        match self {
            _ if !asked => 0,
            Outcome::Good => 0,
            Outcome::Bad => 10,
            Outcome::NotSettled => 11,
        }
    }
}

/// An empty page as wide as the window (or `COLUMNS`, in a pipe), in colour on a terminal only.
pub fn page(unit: PressureUnit) -> Page {
    let terminal = io::stdout().is_terminal();
    let window = || terminal_size::terminal_size_of(io::stdout()).map(|(w, _)| usize::from(w.0));
    let asked = || env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    let width = if terminal { window().or_else(asked) } else { asked() };
    let set = |name: &str| env::var_os(name).is_some_and(|value| !value.is_empty());
    let dumb = env::var_os("TERM").is_some_and(|term| term == "dumb");
    let colour = terminal && !set("NO_COLOR") && !dumb;
    Page::new(width.unwrap_or(WIDEST).min(WIDEST), unit, colour)
}

/// Writes the answer. A reader that has gone (`| head`) is no error: it has seen enough.
///
/// # Errors
/// Standard output cannot be written for any other reason.
pub fn answer(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::Answer(error)),
        _ => Ok(()),
    }
}

/// Writes a message. Nobody is left to tell when standard error itself is gone.
pub fn message(text: &str) {
    let _ = writeln!(io::stderr(), "{text}");
}
