//! What is shown while a log is recorded: a few lines drawn anew in place, or a plain line a second.
//!
//! The lines are a pure function of the [`Figures`] and the window; [`Screen`] puts them there. The
//! last ones stay in the window when the recording ends.

use super::screen_lines::Sheet;
use crate::cli::output::Window;
pub use crate::live::so_far::{Interval, SoFar};
use crate::recording::guide::{Prompt, Work};
use crate::report::cautions::{self, Caution};
use crate::report::layout::columns;
use crate::report::page::Tone;
use crate::units::PressureUnit;
use crossterm::cursor::MoveUp;
use crossterm::queue;
use crossterm::terminal::{Clear, ClearType};
use std::io::{self, Write};

/// The state of the link.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Link {
    /// Samples come.
    Up,
    /// Nothing has come yet, for so long, s.
    Waiting(f64),
    /// The cable is out, or silent, for so long, s.
    Lost(f64),
}

/// Rows that the disk has not taken.
#[derive(Debug, Clone, PartialEq)]
pub struct NotWritten {
    /// How many rows wait or are lost.
    pub rows: u64,
    /// Why, such as `the disk is full`.
    pub why: String,
}

/// What is to be shown. What is not known is `None` and is left out.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// The log that is written.
    pub file: String,
    /// Log time of the newest sample, s.
    pub elapsed_s: f64,
    /// Samples a second, as heard.
    pub rate_hz: Option<f64>,
    /// Samples so far.
    pub rows: u64,
    /// Sentences lost; `None` where the source does not number them.
    pub lost: Option<u64>,
    /// Lines that could not be read.
    pub garbled: u64,
    /// Sentences that came twice.
    pub repeated: u64,
    /// Sentences of a kind that is not known.
    pub unknown: u64,
    /// Engine speed, rev/min.
    pub rpm: Option<f64>,
    /// Vacuum of each side, kPa.
    pub vac_kpa: [Option<f64>; 2],
    /// Crankcase below atmosphere, kPa.
    pub crank_kpa: Option<f64>,
    /// The user's names for the sides.
    pub names: [String; 2],
    /// The user's unit.
    pub unit: PressureUnit,
    /// Vacuum 1 less vacuum 2, corrected for the zero.
    pub difference: Option<Interval>,
    /// The verdict so far.
    pub so_far: Option<SoFar>,
    /// Seconds more of log that would settle it.
    pub needs_s: Option<f64>,
    /// The link.
    pub link: Link,
    /// Rows that the disk has not taken.
    pub not_written: Option<NotWritten>,
    /// The last marks: log time, s, and words; the newest last.
    pub marks: Vec<(f64, String)>,
    /// What the guide says, and its work.
    pub guide: Option<(Work, Prompt)>,
    /// What is being typed.
    pub typing: Option<String>,
    /// Keys and what each does; empty where there is no keyboard.
    pub keys: Vec<(&'static str, String)>,
}

/// A line of the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The words.
    pub text: String,
    /// How the line is meant; `None` for an ordinary one.
    pub tone: Option<Tone>,
}

/// The dangers to show before the engine runs.
pub fn dangers(work: Work) -> Vec<Caution> {
    cautions::for_recording(work == Work::Breather, work == Work::Hunt)
}

/// The lines for a window: none wider than the window less one column, so that no terminal wraps it,
/// and fewer than its rows. Where there is no room, what matters least is left out first.
pub fn lines(figures: &Figures, window: Window) -> Vec<Line> {
    Sheet::of(figures, window.width).fitted(window.height)
}

/// One line a second where there is no window: words and figures in a fixed order, those that are not
/// known left out.
pub fn plain(figures: &Figures) -> String {
    let unit = figures.unit;
    let number = |kpa: f64| super::screen_lines::number(unit, kpa);
    let mut parts = vec![format!("time {:.1} s", figures.elapsed_s)];
    parts.extend(figures.rate_hz.map(|hz| format!("rate {hz:.1} Hz")));
    parts.push(format!("rows {}", figures.rows));
    parts.extend(figures.lost.map(|lost| format!("lost {lost}")));
    for (name, count) in
        [("garbled", figures.garbled), ("repeated", figures.repeated), ("unknown", figures.unknown)]
    {
        parts.extend((count > 0).then(|| format!("{name} {count}")));
    }
    parts.extend(figures.rpm.map(|rpm| format!("rpm {rpm:.0}")));
    for (name, kpa) in ["vac1", "vac2"].iter().zip(figures.vac_kpa) {
        parts.extend(kpa.map(|kpa| format!("{name} {} {}", number(kpa), unit.symbol())));
    }
    parts.extend(
        figures.crank_kpa.map(|kpa| format!("crankcase {} {}", number(kpa), unit.symbol())),
    );
    parts.extend(figures.difference.map(|d| {
        let [low, value, high] = [d.low_kpa, d.value_kpa, d.high_kpa].map(number);
        format!("difference {value} between {low} and {high} {}", unit.symbol())
    }));
    parts.extend(figures.needs_s.map(|s| format!("needs {} s", s.ceil())));
    parts.push(match figures.link {
        Link::Up => "link up".into(),
        Link::Waiting(s) => format!("link silent for {s:.0} s"),
        Link::Lost(s) => format!("link lost for {s:.0} s"),
    });
    parts.extend(
        figures.not_written.as_ref().map(|not| format!("not_written {} ({})", not.rows, not.why)),
    );
    if let Some((_, prompt)) = &figures.guide {
        let left = prompt.left_s.map_or(String::new(), |s| format!(", {} s left", s.ceil()));
        let say = prompt.complaint.as_ref().unwrap_or(&prompt.say);
        parts.push(format!("step {} of {}{left}: {say}", prompt.step, prompt.steps));
    }
    parts.join(", ")
}

/// The lines in the window.
#[derive(Debug, Default)]
pub struct Screen {
    /// Columns of each line that stands there.
    drawn: Vec<usize>,
}

impl Screen {
    /// Draws the lines over those drawn before. They end in CR LF: the terminal may be raw.
    ///
    /// # Errors
    /// The terminal is gone.
    pub fn draw(
        &mut self,
        out: &mut impl Write,
        figures: &Figures,
        window: Window,
    ) -> io::Result<()> {
        let lines = lines(figures, window);
        self.rise(out, window)?;
        for line in &lines {
            match line.tone.filter(|_| window.colour) {
                Some(tone) => write!(out, "{}", tone.painted(&line.text))?,
                None => write!(out, "{}", line.text)?,
            }
            queue!(out, Clear(ClearType::UntilNewLine))?;
            write!(out, "\r\n")?;
        }
        queue!(out, Clear(ClearType::FromCursorDown))?;
        self.drawn = lines.iter().map(|line| columns(&line.text)).collect();
        out.flush()
    }

    /// Sounds the terminal's bell: the hands are wanted, and the eyes are on the engine.
    ///
    /// # Errors
    /// The terminal is gone.
    pub fn ring(&self, out: &mut impl Write) -> io::Result<()> {
        out.write_all(b"\x07")?;
        out.flush()
    }

    /// Writes a line that stays, such as a mark, above the lines drawn from then on.
    ///
    /// # Errors
    /// The terminal is gone.
    pub fn leave(&mut self, out: &mut impl Write, line: &str, window: Window) -> io::Result<()> {
        self.rise(out, window)?;
        queue!(out, Clear(ClearType::FromCursorDown))?;
        self.drawn.clear();
        write!(out, "{line}\r\n")
    }

    /// Moves to the first of the drawn lines. A window that has become narrower has broken them.
    fn rise(&self, out: &mut impl Write, window: Window) -> io::Result<()> {
        let rows = |columns: &usize| columns.div_ceil(window.width.max(1)).max(1);
        let up = self.drawn.iter().map(rows).sum::<usize>();
        let up = up.min(window.height.saturating_sub(1));
        if up > 0 {
            queue!(out, MoveUp(u16::try_from(up).unwrap_or(u16::MAX)))?;
        }
        write!(out, "\r")
    }
}

#[cfg(test)]
mod tests;
