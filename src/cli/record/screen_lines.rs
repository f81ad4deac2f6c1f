//! The lines of the screen: what is said, in which order, and what goes first where there is no room.

use super::screen::{Figures, Interval, Line, Link, dangers};
use crate::findings::Verdict;
use crate::recording::guide::{Prompt, Work};
use crate::report::layout::{columns, shortened, wrap};
use crate::report::page::{Tone, fixed};
use crate::units::{Kpa, PressureUnit};

/// How soon a line goes where there is no room: the highest rank first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    /// What to do now, what goes wrong.
    Needed,
    /// What is measured.
    Measured,
    /// Keys.
    Keys,
    /// Marks made.
    Past,
    /// Empty lines.
    Air,
}

/// Widest lines, columns.
const WIDEST: usize = 100;
/// Narrowest lines that are laid out, columns.
const NARROWEST: usize = 20;
/// Marks shown.
const MARKS: usize = 3;

/// A vacuum or a difference in a unit, as finely as it is worth.
pub(super) fn number(unit: PressureUnit, kpa: f64) -> String {
    fixed(unit.from_kpa(Kpa(kpa)), unit.decimals())
}

/// Minutes and seconds of the log.
fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0) as u64;
    match whole / 3600 {
        0 => format!("{}:{:02}", whole / 60, whole % 60),
        hours => format!("{hours}:{:02}:{:02}", whole / 60 % 60, whole % 60),
    }
}

/// The lines under work.
pub(super) struct Sheet {
    width: usize,
    lines: Vec<(Rank, Line)>,
}

impl Sheet {
    pub(super) fn of(figures: &Figures, window_columns: usize) -> Self {
        let width = window_columns.saturating_sub(1).clamp(NARROWEST, WIDEST);
        let mut sheet = Sheet { width, lines: Vec::new() };
        sheet.counts(figures);
        sheet.troubles(figures);
        sheet.air();
        sheet.readings(figures);
        sheet.verdict(figures);
        sheet.marks(figures);
        if let Some((work, prompt)) = &figures.guide {
            sheet.air();
            sheet.guide(*work, prompt);
        }
        sheet.air();
        if let Some(typing) = &figures.typing {
            sheet.say(Rank::Needed, Some(Tone::Plain), typing);
        }
        sheet.keys(figures);
        sheet
    }

    /// The lines that fit so many rows, less one for the cursor.
    pub(super) fn fitted(mut self, rows: usize) -> Vec<Line> {
        while self.lines.len() >= rows.max(2) {
            let worst = self.lines.iter().map(|line| line.0).max();
            // Of marks the oldest goes first, of keys the last, which are used least.
            let from_end = worst == Some(Rank::Keys);
            let is_worst = |line: &(Rank, Line)| Some(line.0) == worst;
            let at = if from_end {
                self.lines.iter().rposition(is_worst)
            } else {
                self.lines.iter().position(is_worst)
            };
            let Some(at) = at else { break };
            self.lines.remove(at);
        }
        self.lines.into_iter().map(|line| line.1).collect()
    }

    /// A line cut where the window ends, so that the terminal does not wrap it. What came over a
    /// cable or a keyboard must not move the cursor.
    fn cut(&mut self, rank: Rank, tone: Option<Tone>, text: &str) {
        let quiet = text.chars().map(|c| if c.is_control() { ' ' } else { c });
        let mut line: String = quiet.collect();
        while columns(&line) > self.width {
            line.pop();
        }
        self.lines.push((rank, Line { text: line, tone }));
    }

    /// Words over as many lines as they need.
    fn indented(&mut self, rank: Rank, tone: Option<Tone>, text: &str, first: &str, next: &str) {
        for line in wrap(text, self.width, first, next).lines() {
            self.cut(rank, tone, line);
        }
    }

    fn say(&mut self, rank: Rank, tone: Option<Tone>, text: &str) {
        self.indented(rank, tone, text, "", "");
    }

    fn air(&mut self) {
        self.cut(Rank::Air, None, "");
    }

    /// Time, rate, rows, losses and the file.
    fn counts(&mut self, figures: &Figures) {
        let mut parts = vec![clock(figures.elapsed_s)];
        parts.extend(figures.rate_hz.map(|hz| format!("{hz:.1} samples a second")));
        parts.push(format!("{} rows", figures.rows));
        parts.push(match figures.lost {
            None => "losses not counted by this source".into(),
            Some(0) => "none lost".into(),
            Some(lost) => format!("{lost} lost"),
        });
        for (count, what) in [
            (figures.garbled, "garbled"),
            (figures.repeated, "came twice"),
            (figures.unknown, "of unknown kind"),
        ] {
            parts.extend((count > 0).then(|| format!("{count} {what}")));
        }
        self.say(Rank::Measured, None, &parts.join(", "));
        self.say(Rank::Past, None, &format!("into {}", figures.file));
    }

    /// What goes wrong, in the words of a person.
    fn troubles(&mut self, figures: &Figures) {
        let bad = Some(Tone::Bad);
        match figures.link {
            Link::Up => {}
            Link::Waiting(s) => {
                let text = format!("Nothing heard for {s:.0} s: is the box on, and its cable in?");
                self.say(Rank::Needed, Some(Tone::Open), &text);
            }
            Link::Lost(s) => {
                let text =
                    format!("Link lost {s:.0} s ago: look at the cable. Looking for the port.");
                self.say(Rank::Needed, bad, &text);
            }
        }
        if let Some(not) = &figures.not_written {
            let rows = if not.rows == 1 { "row" } else { "rows" };
            self.say(Rank::Needed, bad, &format!("not written: {} {rows}, {}", not.rows, not.why));
        }
    }

    /// Speed and vacuums, one under the other, names on the left.
    fn readings(&mut self, figures: &Figures) {
        let names = shortened(
            [figures.names[0].as_str(), figures.names[1].as_str()],
            (self.width / 2).saturating_sub(3).max(3),
        );
        let room = names.iter().map(|name| columns(name)).max().unwrap_or(0).max("crankcase".len());
        let unit = figures.unit.symbol();
        let vacuum = |kpa: Option<f64>| kpa.map(|kpa| (number(figures.unit, kpa), unit));
        let rpm = figures.rpm.map(|rpm| (format!("{rpm:.0}"), "rev/min"));
        let [one, two] = figures.vac_kpa.map(vacuum);
        let [first, second] = [names[0].as_str(), names[1].as_str()];
        for (name, value) in
            [("engine", rpm), (first, one), (second, two), ("crankcase", vacuum(figures.crank_kpa))]
        {
            let Some((value, unit)) = value else { continue };
            let blanks = " ".repeat(room.saturating_sub(columns(name)));
            self.cut(Rank::Measured, None, &format!("  {name}{blanks}  {value:>8} {unit}"));
        }
    }

    fn verdict(&mut self, figures: &Figures) {
        if let Some(Interval { low_kpa, value_kpa, high_kpa }) = figures.difference {
            let [low, value, high] =
                [low_kpa, value_kpa, high_kpa].map(|kpa| number(figures.unit, kpa));
            let [one, two] = &figures.names;
            let unit = figures.unit.symbol();
            let text = format!("{one} less {two}: {value} {unit}, between {low} and {high} {unit}");
            self.say(Rank::Measured, None, &text);
        }
        let needs = figures.needs_s.map(|s| format!("{} s more would settle it", s.ceil()));
        let tone = figures.so_far.as_ref().map(|so_far| match so_far.verdict {
            Verdict::InTolerance => Tone::Good,
            Verdict::OutOfTolerance => Tone::Bad,
            Verdict::NotSettled => Tone::Open,
        });
        let say = figures.so_far.as_ref().map(|so_far| so_far.say.trim_end_matches('.').into());
        let text: Vec<String> = say.into_iter().chain(needs).collect();
        if !text.is_empty() {
            self.say(Rank::Measured, tone, &format!("So far: {}.", text.join("; ")));
        }
    }

    fn marks(&mut self, figures: &Figures) {
        let last = figures.marks.len().saturating_sub(MARKS);
        for (at_s, words) in &figures.marks[last..] {
            let text = format!("  {} {words}", clock(*at_s));
            let [text, _] = shortened([&text, ""], self.width);
            self.cut(Rank::Past, None, &text);
        }
    }

    fn guide(&mut self, work: Work, prompt: &Prompt) {
        if prompt.cautions {
            for caution in dangers(work) {
                self.indented(Rank::Needed, None, caution.text(), "! ", "  ");
            }
        }
        for ask in &prompt.asks {
            self.indented(Rank::Measured, None, ask, "- ", "  ");
        }
        if let Some(complaint) = &prompt.complaint {
            self.say(Rank::Needed, Some(Tone::Bad), complaint);
        }
        let left = prompt.left_s.map_or(String::new(), |s| format!(": {} s left", s.ceil()));
        let step = format!("Step {} of {}{left}", prompt.step, prompt.steps);
        self.say(Rank::Needed, None, &step);
        self.indented(Rank::Needed, Some(Tone::Plain), &prompt.say, "> ", "  ");
    }

    fn keys(&mut self, figures: &Figures) {
        let mut line = String::new();
        for (key, does) in &figures.keys {
            let item = format!("[{key}] {does}");
            if !line.is_empty() && columns(&line) + 2 + columns(&item) > self.width {
                self.cut(Rank::Keys, None, &line);
                line.clear();
            }
            line += if line.is_empty() { "" } else { "  " };
            line += &item;
        }
        if !line.is_empty() {
            self.cut(Rank::Keys, None, &line);
        }
    }
}
