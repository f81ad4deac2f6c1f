//! What many logs come to, for a person.

use super::Shown;
use super::questions::Question;
use crate::cli::output::Outcome;
use crate::report::Page;
use crate::report::facts::counted;
use crate::report::layout::{Align, Table, columns};
use crate::report::page::Tone;

/// A log's name in the table is cut to this many columns; its end is what tells it from its
/// neighbours.
const LONGEST_NAME: usize = 24;
/// Reasons why logs could not be used that are told in full.
const MOST_REASONS: usize = 20;

/// Counts, and the lines of the table where there is to be one.
pub struct Summary {
    listed: bool,
    lines: Vec<Shown>,
    counts: Vec<(&'static str, usize)>,
    unusable: usize,
    outcomes: Vec<Outcome>,
    reasons: Vec<String>,
}

impl Summary {
    /// Nothing so far; `listed` where each log is to be shown.
    pub fn new(listed: bool) -> Self {
        let (counts, outcomes) = (Vec::new(), Vec::new());
        Summary { listed, lines: Vec::new(), counts, unusable: 0, outcomes, reasons: Vec::new() }
    }

    /// Adds a log.
    pub fn add(&mut self, shown: Shown) {
        match &shown.verdict {
            Ok((words, outcome)) => {
                match self.counts.iter_mut().find(|(known, _)| known == words) {
                    Some((_, count)) => *count += 1,
                    None => self.counts.push((words, 1)),
                }
                if !self.outcomes.contains(outcome) {
                    self.outcomes.push(*outcome);
                }
            }
            Err(reason) => {
                self.unusable += 1;
                if self.reasons.len() < MOST_REASONS {
                    self.reasons.push(printable(reason));
                }
            }
        }
        if self.listed {
            self.lines.push(shown);
        }
    }

    /// Logs so far.
    pub fn logs(&self) -> usize {
        self.counts.iter().map(|(_, count)| count).sum::<usize>() + self.unusable
    }

    /// The exit code: 2 where no log could be used. Where the user asked for it, the worst of them
    /// all: 2 for a log that could not be used, then 10, 11, 0.
    pub fn code(&self, asked: bool) -> u8 {
        const UNUSABLE: u8 = 2;
        if self.counts.is_empty() || (asked && self.unusable > 0) {
            return UNUSABLE;
        }
        let worst = [Outcome::Bad, Outcome::NotSettled, Outcome::Good];
        let worst = worst.into_iter().find(|outcome| self.outcomes.contains(outcome));
        worst.map_or(0, |outcome| outcome.code(asked))
    }

    /// Writes the sum in one sentence, the table, and why logs could not be used.
    pub fn write(&self, page: &mut Page, question: &dyn Question, in_file: bool) {
        page.heading(&self.sentence(question), Tone::Plain);
        if !self.lines.is_empty() {
            page.table(&self.table(question));
        }
        if self.reasons.is_empty() {
            return;
        }
        page.heading("Could not be used", Tone::Plain);
        for reason in &self.reasons {
            page.item(reason);
        }
        match self.unusable - self.reasons.len() {
            0 => {}
            more if in_file => page.item(&format!("{more} more; their rows say why.")),
            more => page.item(&format!("{more} more; --rows FILE writes down why.")),
        }
    }

    fn sentence(&self, question: &dyn Question) -> String {
        let count = |words: &str| self.counts.iter().find(|(known, _)| *known == words);
        let verdicts = question.verdicts().iter().filter_map(|words| count(words));
        let mut parts: Vec<String> = verdicts.map(|(words, n)| format!("{n} {words}")).collect();
        if self.unusable > 0 {
            parts.push(format!("{} could not be used", self.unusable));
        }
        format!("{}: {}.", counted(self.logs(), "log"), parts.join("; "))
    }

    fn table(&self, question: &dyn Question) -> Table {
        let start = Table::default().group("log", Align::Left, &[""]);
        let mut table = question.shown(start).group("verdict", Align::Left, &[""]);
        let empty = question.shown(Table::default()).width_in_cells();
        for line in &self.lines {
            let mut cells = vec![Some(short(&printable(&line.log)))];
            match &line.verdict {
                Ok((words, _)) => {
                    cells.extend(line.cells.iter().cloned());
                    cells.push(Some((*words).to_string()));
                }
                Err(_) => {
                    cells.extend(vec![None; empty]);
                    cells.push(Some("could not be used".into()));
                }
            }
            table.row(cells);
        }
        table
    }
}

/// A text that stays on its line: a file's name may hold a line feed or worse.
fn printable(text: &str) -> String {
    let shown = |c: char| match c.is_control() {
        true => c.escape_default().to_string(),
        false => c.to_string(),
    };
    text.chars().map(shown).collect()
}

/// The end of a name that is too long.
fn short(name: &str) -> String {
    if columns(name) <= LONGEST_NAME {
        return name.to_string();
    }
    let starts = name.char_indices().map(|(at, _)| &name[at..]);
    let end = starts.skip(1).find(|rest| columns(rest) < LONGEST_NAME).unwrap_or("");
    format!("…{end}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(verdict: Result<(&'static str, Outcome), String>) -> Shown {
        Shown { log: "a.csv".into(), cells: vec![], verdict }
    }

    #[test]
    fn the_worst_log_gives_the_code_when_asked() {
        let good = || shown(Ok(("in tolerance", Outcome::Good)));
        let bad = || shown(Ok(("out of tolerance", Outcome::Bad)));
        let open = || shown(Ok(("not settled", Outcome::NotSettled)));
        let broken = || shown(Err("it is empty".into()));
        let code = |logs: Vec<Shown>| {
            let mut summary = Summary::new(false);
            logs.into_iter().for_each(|log| summary.add(log));
            (summary.code(false), summary.code(true))
        };
        assert_eq!(code(vec![good()]), (0, 0));
        assert_eq!(code(vec![good(), open()]), (0, 11));
        assert_eq!(code(vec![bad(), open(), good()]), (0, 10));
        assert_eq!(code(vec![bad(), broken(), good()]), (0, 2));
        assert_eq!(code(vec![broken()]), (2, 2));
    }

    #[test]
    fn a_long_name_keeps_its_end_and_a_wild_one_its_line() {
        assert_eq!(short("club/a.csv"), "club/a.csv");
        let cut = short("archive/of/the/club/2026/march/saloon-17.csv");
        assert_eq!((columns(&cut), cut.ends_with("saloon-17.csv")), (LONGEST_NAME, true));
        assert_eq!(printable("a\nb\x1b[31m\tc"), "a\\nb\\u{1b}[31m\\tc");
    }
}
