//! What a recording has come to, at its end.

use super::drive::Ended;
use super::led::Led;
use crate::recording::session::Finished;
use crate::recording::tally::Tally;
use crate::report::Page;
use serde::Serialize;
use serde_json::Value;
use std::path::PathBuf;

/// The closing summary.
#[derive(Debug, Serialize)]
pub struct Summary {
    /// The file; absent where no row came.
    pub file: Option<PathBuf>,
    /// The source.
    pub source: String,
    /// Why it ended.
    pub ended: Ended,
    /// Log time of the last row, s.
    pub duration_s: f64,
    /// The counts.
    #[serde(flatten)]
    pub tally: Tally,
    /// The sentences were numbered: `lost` is what it says. Else nobody knows what was lost.
    pub counted: bool,
    /// Rows that are not in the file.
    pub not_written: u64,
    /// Rows in the file that may not have reached the disk.
    pub in_doubt: u64,
    /// What kept rows from the file.
    pub trouble: Option<String>,
    /// How far the guide came; absent without one.
    pub guide: Option<Way>,
    /// The finding of a guide that came to its end, as its own command gives it; else null.
    pub finding: Value,
    /// The source is one whose losses anybody would ask for.
    #[serde(skip)]
    pub numbered: bool,
}

/// How far a guide came.
#[derive(Debug, Serialize)]
pub struct Way {
    /// The step it is at.
    pub step: usize,
    /// How many there are.
    pub steps: usize,
    /// It came to its end.
    pub finished: bool,
}

impl Summary {
    /// Of a recording that has ended.
    pub fn new(finished: &Finished, source: String, ended: Ended, led: Option<&Led>) -> Self {
        let way = |led: &Led| {
            let prompt = led.guide().prompt();
            Way { step: prompt.step, steps: prompt.steps, finished: led.guide().is_finished() }
        };
        let closed = finished.closed;
        Summary {
            file: finished.path.clone(),
            source,
            ended,
            duration_s: finished.duration_s,
            tally: finished.tally,
            counted: finished.counted,
            not_written: closed.map_or(0, |closed| closed.not_written),
            in_doubt: closed.map_or(0, |closed| closed.in_doubt),
            trouble: finished.trouble.as_ref().map(ToString::to_string),
            guide: led.map(way),
            finding: Value::Null,
            numbered: true,
        }
    }

    /// The words for a person.
    pub fn write(&self, page: &mut Page) {
        if let Some(file) = &self.file {
            page.paragraph(&format!(
                "{}: {} rows, {:.1} s, from {}.",
                file.display(),
                self.tally.rows,
                self.duration_s,
                self.source
            ));
        }
        if self.numbered {
            page.item(&self.losses());
        }
        let tally = &self.tally;
        for (count, one, many) in [
            (tally.garbled, "line that could not be read", "lines that could not be read"),
            (
                tally.implausible,
                "sentence that fits nothing before or after",
                "sentences that fit nothing before or after",
            ),
            (tally.repeated, "sentence that came again", "sentences that came again"),
            (tally.unknown, "sentence of another kind", "sentences of another kind"),
            (
                tally.not_converted,
                "sample whose code nobody could read",
                "samples whose codes nobody could read",
            ),
            (
                tally.beyond_range,
                "reading beyond what a sensor can give, left empty",
                "readings beyond what a sensor can give, left empty",
            ),
            (tally.other_boxes, "time another box spoke", "times another box spoke"),
            (tally.restarts, "new beginning of the box", "new beginnings of the box"),
            (tally.links_lost, "loss of the link", "losses of the link"),
            (self.not_written, "row that is NOT in the file", "rows that are NOT in the file"),
            (
                self.in_doubt,
                "row that may not have reached the disk",
                "rows that may not have reached the disk",
            ),
        ] {
            if count > 0 {
                page.item(&format!("{count} {}", if count == 1 { one } else { many }));
            }
        }
        if let Some(trouble) = &self.trouble {
            page.item(trouble);
        }
    }

    fn losses(&self) -> String {
        let Tally { rows, lost, .. } = self.tally;
        if !self.counted {
            return "Plain lines are not numbered: what was lost on the way is not known.".into();
        }
        if lost == 0 {
            return "Nothing was lost on the way.".into();
        }
        let share = 100.0 * lost as f64 / (rows + lost) as f64;
        let sentences = if lost == 1 { "sentence" } else { "sentences" };
        format!("{lost} {sentences} lost on the way ({share:.2} %); marks in the log say where.")
    }
}
