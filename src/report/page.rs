//! The sheet a report is written on: width, unit of pressure, colour.

use super::layout::{Table, columns, wrap};
use crate::units::{Kpa, PressureUnit};

/// How a heading is meant. Colour only repeats what the words say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Nothing is claimed.
    Plain,
    /// What was wanted is proven.
    Good,
    /// The opposite is proven.
    Bad,
    /// Neither is proven.
    Open,
}

impl Tone {
    fn code(self) -> &'static str {
        match self {
            Tone::Plain => "1",
            Tone::Good => "1;32",
            Tone::Bad => "1;31",
            Tone::Open => "1;33",
        }
    }

    /// A line in this tone, for a terminal that shows colour.
    pub fn painted(self, line: &str) -> String {
        format!("\x1b[{}m{line}\x1b[0m", self.code())
    }
}

/// A page under work.
#[derive(Debug, Clone)]
pub struct Page {
    /// Columns available.
    pub width: usize,
    /// Unit in which pressures are written.
    pub unit: PressureUnit,
    /// Paint headings.
    pub colour: bool,
    text: String,
}

impl Page {
    /// The narrowest page that is still laid out; below this, lines simply run over.
    pub const NARROWEST: usize = 30;

    /// An empty page.
    pub fn new(width: usize, unit: PressureUnit, colour: bool) -> Self {
        Page { width: width.max(Self::NARROWEST), unit, colour, text: String::new() }
    }

    /// A vacuum or a difference as a number in the page's unit.
    pub fn number(&self, kpa: f64) -> String {
        fixed(self.unit.from_kpa(Kpa(kpa)), self.unit.decimals())
    }

    /// A vacuum or a difference with the unit behind it.
    pub fn pressure(&self, kpa: f64) -> String {
        format!("{} {}", self.number(kpa), self.unit.symbol())
    }

    /// A line that stands out, with an empty line before it unless it is the first.
    pub fn heading(&mut self, text: &str, tone: Tone) {
        self.gap();
        for line in wrap(text, self.width, "", "").lines() {
            if self.colour {
                self.text += &tone.painted(line);
                self.text.push('\n');
            } else {
                self.text += line;
                self.text.push('\n');
            }
        }
    }

    /// An empty line, unless the page is empty or ends in one.
    pub fn gap(&mut self) {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
    }

    /// A line across the page, between one part and the next; none at the top.
    pub fn rule(&mut self) {
        if !self.text.is_empty() {
            self.gap();
            self.text += &"-".repeat(self.width);
            self.text.push('\n');
        }
    }

    /// A paragraph.
    pub fn paragraph(&mut self, text: &str) {
        self.text += &wrap(text, self.width, "", "");
    }

    /// An item of a list.
    pub fn item(&mut self, text: &str) {
        self.text += &wrap(text, self.width, "- ", "  ");
    }

    /// A command line, broken only between words and so that a shell reads on.
    pub fn command(&mut self, words: &[String]) {
        const READ_ON: &str = " \\";
        let mut line = String::from("$");
        for (k, word) in words.iter().enumerate() {
            let last = k + 1 == words.len();
            let room = self.width.saturating_sub(if last { 0 } else { READ_ON.len() });
            if k > 0 && columns(&line) + 1 + columns(word) > room {
                self.text += &format!("{line}{READ_ON}\n");
                line = String::from("   ");
            }
            line += &format!(" {word}");
        }
        self.text += &format!("{line}\n");
    }

    /// A table, set in columns or, on a page too narrow, line under line.
    pub fn table(&mut self, table: &Table) {
        self.gap();
        self.text += &table.draw(self.width);
    }

    /// The finished text.
    pub fn finish(self) -> String {
        self.text
    }
}

/// A number with fixed decimals that never reads `-0.00`.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_string(),
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pressures_in_the_chosen_unit() {
        let page = |unit| Page::new(80, unit, false);
        assert_eq!(page(PressureUnit::Kpa).pressure(1.3), "1.30 kPa");
        assert_eq!(page(PressureUnit::MmHg).pressure(1.333_223_874), "10.0 mmHg");
        assert_eq!(page(PressureUnit::InHg).pressure(67.727_772_8), "20.00 inHg");
        assert_eq!(page(PressureUnit::Kpa).number(-0.001), "0.00");
    }

    #[test]
    fn a_command_line_reads_on_where_it_is_broken() {
        let words = ["evenbreath", "compare", "some/before.csv", "some/after.csv"];
        let command = |width| {
            let mut page = Page::new(width, PressureUnit::Kpa, false);
            page.command(&words.map(str::to_string));
            page.finish()
        };
        assert_eq!(command(80), "$ evenbreath compare some/before.csv some/after.csv\n");
        let want = "$ evenbreath compare some/before.csv \\\n    some/after.csv\n";
        assert_eq!(command(40), want);
    }

    #[test]
    fn colour_only_when_asked() {
        let mut plain = Page::new(80, PressureUnit::Kpa, false);
        plain.heading("Sealed.", Tone::Good);
        assert_eq!(plain.finish(), "Sealed.\n");
        let mut painted = Page::new(80, PressureUnit::Kpa, true);
        painted.heading("Sealed.", Tone::Good);
        assert_eq!(painted.finish(), "\x1b[1;32mSealed.\x1b[0m\n");
    }
}
