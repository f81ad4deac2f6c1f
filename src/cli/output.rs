//! The answer on standard output, messages on standard error.

use super::failure::Failure;
use crate::report::Page;
use crate::report::layout::{columns, wrap};
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

/// What `COLUMNS` says.
fn asked() -> Option<usize> {
    env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok())
}

/// Width of the window, or what `COLUMNS` says where the window does not tell.
#[cfg(unix)]
fn width_of(terminal: impl std::os::fd::AsFd) -> Option<usize> {
    terminal_size::terminal_size_of(terminal).map(|(w, _)| usize::from(w.0)).or_else(asked)
}

/// Width of the window, or what `COLUMNS` says where the window does not tell.
#[cfg(windows)]
fn width_of(terminal: impl std::os::windows::io::AsHandle) -> Option<usize> {
    terminal_size::terminal_size_of(terminal).map(|(w, _)| usize::from(w.0)).or_else(asked)
}

/// Rows of a window that does not tell.
const USUAL_HEIGHT: usize = 24;

#[cfg(unix)]
fn size_of(terminal: impl std::os::fd::AsFd) -> (usize, usize) {
    let size = terminal_size::terminal_size_of(terminal);
    let told = size.map(|(w, h)| (usize::from(w.0), usize::from(h.0)));
    told.unwrap_or((asked().unwrap_or(WIDEST), USUAL_HEIGHT))
}

#[cfg(windows)]
fn size_of(terminal: impl std::os::windows::io::AsHandle) -> (usize, usize) {
    let size = terminal_size::terminal_size_of(terminal);
    let told = size.map(|(w, h)| (usize::from(w.0), usize::from(h.0)));
    told.unwrap_or((asked().unwrap_or(WIDEST), USUAL_HEIGHT))
}

/// An empty page as wide as the window (or `COLUMNS`, in a pipe), in colour on a terminal only.
pub fn page(unit: PressureUnit) -> Page {
    let terminal = io::stdout().is_terminal();
    let width = if terminal { width_of(io::stdout()) } else { asked() };
    Page::new(width.unwrap_or(WIDEST).min(WIDEST), unit, terminal && may_colour())
}

/// A terminal that neither moves its cursor nor shows colour.
fn is_dumb() -> bool {
    env::var_os("TERM").is_some_and(|term| term == "dumb")
}

fn may_colour() -> bool {
    let set = |name: &str| env::var_os(name).is_some_and(|value| !value.is_empty());
    !set("NO_COLOR") && !is_dumb()
}

/// A window on standard error in which lines can be drawn anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Paint what stands out.
    pub colour: bool,
}

/// The window of standard error as it is now; `None` where it is no terminal, or one that cannot move
/// its cursor.
pub fn window() -> Option<Window> {
    let error = io::stderr();
    if !error.is_terminal() || is_dumb() {
        return None;
    }
    let (width, height) = size_of(&error);
    Some(Window { width, height, colour: may_colour() })
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

/// Writes a message, on a terminal broken into lines that fit. Nobody is left to tell when standard
/// error itself is gone.
pub fn message(text: &str) {
    let mut error = io::stderr();
    let text = if error.is_terminal() {
        let width = width_of(&error).unwrap_or(WIDEST).clamp(Page::NARROWEST, WIDEST);
        fitted(text, width)
    } else {
        text.to_string()
    };
    let _ = writeln!(error, "{text}");
}

/// Breaks those lines of a text that are wider than `width`, each with its own indent.
fn fitted(text: &str, width: usize) -> String {
    let fit = |line: &str| {
        if columns(line) <= width {
            return line.to_string();
        }
        let indent = &line[..line.len() - line.trim_start().len()];
        wrap(line, width, indent, indent).trim_end().to_string()
    };
    text.lines().map(fit).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_lines_that_are_too_wide_are_broken() {
        let text = "error: a  short one\n\n  a line of some length";
        assert_eq!(fitted(text, 40), text);
        assert_eq!(fitted(text, 15), "error: a short\none\n\n  a line of\n  some length");
    }
}
