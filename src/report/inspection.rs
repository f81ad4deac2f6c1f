//! What is in a log, before anything is claimed of the engine.

use super::facts::{LogFacts, minds};
use super::layout::{Align, Table};
use super::page::{Page, Tone};
use crate::units::PressureUnit;
use serde::Serialize;

/// What `inspect` says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Inspection {
    /// Size, rate, remarks.
    pub log: LogFacts,
    /// Columns taken.
    pub columns: Vec<ColumnTaken>,
    /// Keys of the log's own header.
    pub head: Header,
    /// Barometric pressure used.
    pub baro: Barometer,
    /// Stretches of steady speed and of engine off, in the order of time.
    pub plateaus: Vec<Stretch>,
    /// Lasting steps of speed.
    pub steps: Vec<SpeedStep>,
    /// Marks.
    pub marks: Vec<MarkSeen>,
    /// Speed from the ripple of the vacuum, rev/min.
    pub ripple_rpm: Option<f64>,
    /// Resultant length of the sample phases (0 spread evenly over an intake pulse, 1 in step).
    pub aliasing_r: Option<f64>,
}

/// A column and what it was taken for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ColumnTaken {
    /// Role: `time`, `rpm`, `vac1` ...
    pub role: String,
    /// Heading as it stands in the log.
    pub heading: String,
    /// Unit; absent where the role has none.
    pub unit: Option<String>,
    /// True when the log does not say so itself.
    pub guessed: bool,
    /// One sentence for a person.
    pub text: String,
}

/// Keys of the log's own header; absent where the log has none.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Header {
    /// Barometric pressure, kPa.
    pub baro_kpa: Option<f64>,
    /// Cylinders.
    pub cylinders: Option<u32>,
    /// Name of side 1.
    pub carb1: Option<String>,
    /// Name of side 2.
    pub carb2: Option<String>,
    /// Engine.
    pub engine: Option<String>,
    /// Sensor.
    pub sensor: Option<String>,
    /// When the log was started, RFC 3339.
    pub started: Option<String>,
    /// Box that wrote the log.
    pub device: Option<String>,
    /// Idle speed wanted, rev/min.
    pub idle_target_rpm: Option<f64>,
}

/// Barometric pressure and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Barometer {
    /// Pressure, kPa.
    pub kpa: f64,
    /// Standard uncertainty, kPa.
    pub u_kpa: f64,
    /// Source.
    pub from: String,
}

/// A plateau.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stretch {
    /// `running` or `engine_off`.
    pub kind: &'static str,
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// First data row, counted from 0.
    pub from_row: u32,
    /// Last data row.
    pub to_row: u32,
    /// Mean speed, rev/min.
    pub rpm: Option<f64>,
    /// Engine cycles.
    pub cycles: u64,
}

/// A lasting step of speed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeedStep {
    /// When, s.
    pub at_s: f64,
    /// First data row after the step.
    pub at_row: u32,
    /// Settled speed before, rev/min.
    pub before_rpm: f64,
    /// Settled speed after, rev/min.
    pub after_rpm: f64,
    /// The speed jumped; a slow change is a ramp.
    pub sharp: bool,
}

/// A mark.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkSeen {
    /// When, s.
    pub at_s: f64,
    /// The words.
    pub text: String,
}

impl Inspection {
    /// The whole report.
    pub fn write(&self, page: &mut Page) {
        page.heading(&self.sentence(), Tone::Plain);
        minds(page, &self.log.remarks);
        self.log.items(page, &self.log.remarks);
        page.heading("Columns", Tone::Plain);
        for column in &self.columns {
            page.item(&column.text);
        }
        self.conditions(page);
        self.plateau_table(page);
        self.step_table(page);
        self.mark_list(page);
    }

    fn sentence(&self) -> String {
        let running = self.plateaus.iter().filter(|p| p.kind == "running").count();
        let stopped = self.plateaus.len() - running;
        let mut found = vec![match running {
            0 => "no steady speed".to_string(),
            1 => "1 stretch of steady speed".to_string(),
            n => format!("{n} stretches of steady speed"),
        }];
        match stopped {
            0 => {}
            1 => found.push("1 with the engine off".into()),
            n => found.push(format!("{n} with the engine off")),
        }
        match self.steps.len() {
            0 => {}
            1 => found.push("1 lasting step of speed".into()),
            n => found.push(format!("{n} lasting steps of speed")),
        }
        format!("This log holds {}.", found.join(", "))
    }

    fn conditions(&self, page: &mut Page) {
        page.heading("Conditions", Tone::Plain);
        for line in self.header_lines() {
            page.item(&line);
        }
        // A barometer is read in its own units; the page's unit suits a vacuum.
        let kpa = |value: f64| format!("{value:.1} {}", PressureUnit::Kpa.symbol());
        page.item(&format!(
            "Barometer: {}, from {} (standard uncertainty {}).",
            kpa(self.baro.kpa),
            self.baro.from,
            kpa(self.baro.u_kpa)
        ));
        if let Some(rpm) = self.ripple_rpm {
            page.item(&format!("Speed from the ripple of the vacuum: {rpm:.0} rev/min."));
        }
        if let Some(r) = self.aliasing_r {
            page.item(&format!("Samples within an intake pulse: {} (R = {r:.2}).", in_step(r)));
        }
    }

    fn header_lines(&self) -> Vec<String> {
        let head = &self.head;
        let word = |name: &str, value: &Option<String>| {
            value.as_ref().map(|value| format!("{name}: {value}."))
        };
        [
            word("Engine", &head.engine),
            head.cylinders.map(|n| format!("Cylinders: {n}.")),
            word("Side 1", &head.carb1),
            word("Side 2", &head.carb2),
            head.idle_target_rpm.map(|rpm| format!("Idle speed wanted: {rpm:.0} rev/min.")),
            word("Sensor", &head.sensor),
            word("Device", &head.device),
            word("Started", &head.started),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    fn plateau_table(&self, page: &mut Page) {
        if self.plateaus.is_empty() {
            return;
        }
        page.heading("Steady stretches", Tone::Plain);
        let mut table = Table::default()
            .group("time, s", Align::Right, &["from", "to"])
            .group("row", Align::Right, &["first", "last"])
            .group("speed", Align::Right, &["rev/min"])
            .group("cycles", Align::Right, &[""])
            .group("engine", Align::Left, &[""]);
        for stretch in &self.plateaus {
            let running = stretch.kind == "running";
            table.row(vec![
                Some(format!("{:.1}", stretch.from_s)),
                Some(format!("{:.1}", stretch.to_s)),
                Some(stretch.from_row.to_string()),
                Some(stretch.to_row.to_string()),
                stretch.rpm.filter(|_| running).map(|rpm| format!("{rpm:.0}")),
                Some(stretch.cycles.to_string()).filter(|_| running),
                Some(if running { "runs" } else { "off" }.to_string()),
            ]);
        }
        page.table(&table);
    }

    fn step_table(&self, page: &mut Page) {
        if self.steps.is_empty() {
            return;
        }
        page.heading("Lasting steps of speed", Tone::Plain);
        let mut table = Table::default()
            .group("time", Align::Right, &["s"])
            .group("row", Align::Right, &[""])
            .group("speed, rev/min", Align::Right, &["before", "after"])
            .group("as a", Align::Left, &[""]);
        for step in &self.steps {
            table.row(vec![
                Some(format!("{:.1}", step.at_s)),
                Some(step.at_row.to_string()),
                Some(format!("{:.0}", step.before_rpm)),
                Some(format!("{:.0}", step.after_rpm)),
                Some(if step.sharp { "step" } else { "ramp" }.into()),
            ]);
        }
        page.table(&table);
    }

    fn mark_list(&self, page: &mut Page) {
        if self.marks.is_empty() {
            return;
        }
        page.heading("Marks", Tone::Plain);
        for mark in &self.marks {
            page.item(&format!("{:.1} s: {}", mark.at_s, mark.text));
        }
    }
}

fn in_step(r: f64) -> &'static str {
    match r {
        r if r < 0.3 => "spread over it, as they should be",
        r if r < 0.7 => "bunched; the mean vacuum is less certain than its scatter says",
        _ => "in step with the engine; log at a slightly different engine speed or sampling rate",
    }
}
