//! Plain lines of numbers, `t,rpm,v1,v2`, for boxes of three lines of firmware.
//!
//! They carry no sequence number and no checksum: what is lost is not known.

use super::event::{Columns, Event, Rejection, Sample};

/// What a field of a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Field {
    Time,
    Rpm,
    /// Sensor 1, sensor 2, crankcase.
    Reading(usize),
    Mark,
    Passed,
}

/// Ticks of the time field in a second, in the order of likelihood.
const TICKS: [f64; 3] = [1.0, 1e3, 1e6];
/// Lines wait this long, s, until the host's clock has told the unit of the time field.
const UNIT_AFTER_S: f64 = 0.5;
/// ... or so many lines, where that clock says nothing.
const UNIT_AFTER_LINES: usize = 20;
/// Samples a second that somebody may have wanted.
const PLAUSIBLE_HZ: std::ops::RangeInclusive<f64> = 2.0..=5000.0;
/// A 32-bit counter wraps here.
const WRAP: f64 = 4_294_967_296.0;

/// The sensor that has a column, where the other has none.
fn only_sensor(fields: &[Field]) -> Option<usize> {
    match [0, 1].map(|sensor| fields.contains(&Field::Reading(sensor))) {
        [true, false] => Some(0),
        [false, true] => Some(1),
        _ => None,
    }
}

/// A line that waits for the unit of time.
type Waiting = (Vec<Option<f64>>, Option<String>, f64);

/// Reads plain lines.
#[derive(Debug, Clone, Default)]
pub struct NumberLines {
    fields: Vec<Field>,
    columns: Option<Columns>,
    told: bool,
    ticks: Option<f64>,
    /// The host's clock says nothing of a stream that does not come at its own speed.
    live: bool,
    waiting: Vec<Waiting>,
    last: Option<(f64, f64, f64)>,
}

impl NumberLines {
    /// A reader; `live` for a stream that comes at its own speed.
    pub fn new(live: bool) -> Self {
        NumberLines { live, ..NumberLines::default() }
    }

    /// Takes a heading line; false where it is none. Two columns after the time that nobody knows are
    /// taken for the pressures where none is named.
    pub fn heading(&mut self, line: &str) -> bool {
        let names: Vec<String> = line.split(',').map(|name| name.trim().to_lowercase()).collect();
        let Some(ticks) = ticks(&names[0]) else { return false };
        let mut fields: Vec<Field> = names.iter().map(|name| field(name)).collect();
        let named = fields.iter().any(|field| matches!(field, Field::Reading(0 | 1)));
        if !named {
            let unknown = fields.iter_mut().filter(|field| **field == Field::Passed);
            unknown.zip(0..2).for_each(|(field, side)| *field = Field::Reading(side));
        }
        let has = |field| fields.contains(&field);
        if !has(Field::Reading(0)) && !has(Field::Reading(1)) {
            return false;
        }
        let one_sensor = only_sensor(&fields);
        self.columns = Some(Columns {
            absolute: names.iter().any(|name| name.starts_with("map")),
            crank: has(Field::Reading(2)),
            named: names.iter().any(|name| name.ends_with("_kpa")),
            one_sensor,
            ticks_per_s: 1.0,
        });
        (self.fields, self.ticks, self.told) = (fields, ticks, false);
        true
    }

    /// A heading, or a first line, has said how many fields there are and which.
    pub fn has_fields(&self) -> bool {
        !self.fields.is_empty()
    }

    /// Takes a line of numbers.
    pub fn take(&mut self, line: &str, host_s: f64, events: &mut Vec<Event>) {
        let texts: Vec<&str> = line.split(',').map(str::trim).collect();
        if self.fields.is_empty() {
            self.usual(texts.len());
        }
        let Some((numbers, mark)) = self.numbers(&texts) else {
            events.push(Event::Rejected(Rejection::Garbled));
            return;
        };
        self.waiting.push((numbers, mark, host_s));
        if self.unit(false).is_some() {
            self.release(events);
        }
    }

    /// Nothing more comes.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        if self.unit(true).is_some() {
            self.release(events);
        }
    }

    /// Without a heading: time, speed, two pressures, perhaps the crankcase.
    fn usual(&mut self, count: usize) {
        let usual =
            [Field::Time, Field::Rpm, Field::Reading(0), Field::Reading(1), Field::Reading(2)];
        self.fields =
            usual.into_iter().chain(std::iter::repeat(Field::Passed)).take(count).collect();
        self.columns = Some(Columns {
            absolute: false,
            crank: count > 4,
            named: false,
            one_sensor: only_sensor(&self.fields),
            ticks_per_s: 1.0,
        });
    }

    fn numbers(&self, texts: &[&str]) -> Option<(Vec<Option<f64>>, Option<String>)> {
        if texts.len() != self.fields.len() {
            return None;
        }
        let mut mark = None;
        let mut numbers = Vec::with_capacity(texts.len());
        for (text, field) in texts.iter().zip(&self.fields) {
            let number = match field {
                Field::Passed => None,
                Field::Mark => {
                    mark = Some(text.to_string()).filter(|mark| !mark.is_empty());
                    None
                }
                _ if text.is_empty() => None,
                _ => Some(text.parse::<f64>().ok().filter(|v| v.is_finite())?),
            };
            numbers.push(number);
        }
        // A line without its time is no sample.
        numbers.first().copied().flatten()?;
        Some((numbers, mark))
    }

    /// Ticks of the time field in a second, when they are known: by the host's clock where the stream
    /// comes at its own speed, else as the unit in which it has a plausible rate.
    fn unit(&mut self, at_end: bool) -> Option<f64> {
        if self.ticks.is_some() {
            return self.ticks;
        }
        let (first, last) = (self.waiting.first()?, self.waiting.last()?);
        let span = |waiting: &Waiting| waiting.0[0].unwrap_or(0.0);
        let (device, host_s) = (span(last) - span(first), last.2 - first.2);
        let intervals = (self.waiting.len() - 1) as f64;
        let plausible = |ticks: &f64| PLAUSIBLE_HZ.contains(&(intervals * ticks / device));
        if self.live && host_s >= UNIT_AFTER_S && device > 0.0 {
            let off = |ticks: &f64| (device / host_s / ticks).ln().abs();
            self.ticks = TICKS.into_iter().min_by(|a, b| off(a).total_cmp(&off(b)));
        } else if at_end || (!self.live && self.waiting.len() >= UNIT_AFTER_LINES) {
            self.ticks = TICKS.into_iter().find(plausible).or(Some(TICKS[0]));
        }
        self.ticks
    }

    fn release(&mut self, events: &mut Vec<Event>) {
        if let (Some(columns), false) = (self.columns, self.told) {
            let ticks_per_s = self.ticks.unwrap_or(TICKS[0]);
            events.push(Event::Columns(Columns { ticks_per_s, ..columns }));
            self.told = true;
        }
        for (numbers, mark, host_s) in std::mem::take(&mut self.waiting) {
            let ticks = numbers[0].unwrap_or(0.0);
            let time_s = self.time_s(ticks, host_s, events);
            let mut sample = Sample { time_s, host_s, seq: None, rpm: None, readings: [None; 3] };
            for (number, field) in numbers.iter().zip(&self.fields) {
                match field {
                    Field::Rpm => sample.rpm = *number,
                    Field::Reading(which) => sample.readings[*which] = *number,
                    _ => {}
                }
            }
            events.extend(mark.map(Event::Mark));
            events.push(Event::Sample(sample));
        }
    }

    /// Time from the first line, s; a clock that goes back has wrapped or begun anew.
    fn time_s(&mut self, ticks: f64, host_s: f64, events: &mut Vec<Event>) -> f64 {
        let per_s = self.ticks.unwrap_or(TICKS[0]);
        let time_s = match self.last {
            None => 0.0,
            Some((last, time_s, _)) if ticks >= last => time_s + (ticks - last) / per_s,
            Some((last, time_s, _)) if last - ticks > 0.5 * WRAP && per_s > 1.0 => {
                time_s + (ticks + WRAP - last) / per_s
            }
            Some((_, time_s, last_host_s)) => {
                events.push(Event::Restarted);
                time_s + (host_s - last_host_s).max(0.001)
            }
        };
        self.last = Some((ticks, time_s, host_s));
        time_s
    }
}

/// Ticks a second of a time field of this name: `None` for another field, `Some(None)` for a time in a unit
/// that its name does not tell.
fn ticks(name: &str) -> Option<Option<f64>> {
    match name {
        "time_s" | "t_s" => Some(Some(TICKS[0])),
        "time_ms" | "t_ms" | "millis" => Some(Some(TICKS[1])),
        "time_us" | "t_us" | "micros" => Some(Some(TICKS[2])),
        "t" | "time" => Some(None),
        _ => None,
    }
}

fn field(name: &str) -> Field {
    match name {
        _ if ticks(name).is_some() => Field::Time,
        "rpm" => Field::Rpm,
        "vac1_kpa" | "map1_kpa" | "v1" | "vac1_v" | "map1_v" => Field::Reading(0),
        "vac2_kpa" | "map2_kpa" | "v2" | "vac2_v" | "map2_v" => Field::Reading(1),
        "crank_kpa" => Field::Reading(2),
        "mark" => Field::Mark,
        _ => Field::Passed,
    }
}
