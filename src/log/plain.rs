//! Rows of plain decimals: the way of nearly every row that is not laid out like the one above
//! ([`super::layout`]). A row that holds anything else is left to the way that knows everything.

use super::layout::{Layout, Numbers};
use super::numbers::plain;
use super::plan::{CHANNELS, Clock, Plan};
use super::rows::Batch;
use crate::units::TimeUnit;
use memchr::memchr;

/// What is done with a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Skip,
    Time,
    Channel(u8),
    /// Must be empty here.
    Empty,
}

/// How plain rows are read.
#[derive(Debug, Clone)]
pub(super) struct PlainRows {
    steps: Vec<Step>,
    delimiter: u8,
    point: u8,
    unit: TimeUnit,
}

/// A plain row: its time, s, and its channels, NaN for 'no reading'.
pub(super) type PlainRow = (f64, [f64; CHANNELS]);

impl PlainRows {
    /// Prepares for a plan; `None` where its clock is a stamp or columns write numbers in different ways.
    pub fn new(plan: &Plan) -> Option<PlainRows> {
        let Clock::Number { field, format, unit } = plan.clock else { return None };
        let slots: Vec<_> =
            plan.slots.iter().enumerate().filter_map(|(i, s)| Some((i, s.as_ref()?))).collect();
        // One decimal sign for all: the columns are not asked for their own.
        let same = slots.iter().all(|(_, slot)| slot.format == format);
        if !same || format.grouped || format.point == plan.delimiter {
            return None;
        }
        let mut steps = vec![Step::Skip; plan.widths.usual];
        *steps.get_mut(field)? = Step::Time;
        for (index, slot) in slots {
            let step = steps.get_mut(slot.field).filter(|step| **step == Step::Skip)?;
            *step = Step::Channel(index as u8);
        }
        if let Some(mark) = plan.mark.and_then(|field| steps.get_mut(field)) {
            *mark = Step::Empty;
        }
        if plan.widths.trailing {
            steps.iter_mut().skip(plan.widths.headings).for_each(|step| *step = Step::Empty);
        }
        Some(PlainRows { steps, delimiter: plan.delimiter, point: format.point, unit })
    }

    /// Reads a line without its line end; `None` where it is not plain.
    pub fn row(&self, line: &[u8]) -> Option<PlainRow> {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if line.first() == Some(&b'#') {
            return None;
        }
        let mut values = [f64::NAN; CHANNELS];
        let mut time = f64::NAN;
        let mut at = 0;
        for (number, step) in self.steps.iter().enumerate() {
            if number > 0 {
                if line.get(at) != Some(&self.delimiter) {
                    return None;
                }
                at += 1;
            }
            match step {
                Step::Skip => {
                    at += memchr(self.delimiter, &line[at..]).unwrap_or(line.len() - at);
                }
                Step::Empty => {}
                Step::Time => time = self.number(line, &mut at)?,
                Step::Channel(channel) => {
                    values[usize::from(*channel)] = self.number(line, &mut at)?;
                }
            }
        }
        let whole = at == line.len() && !time.is_nan();
        whole.then(|| (self.unit.to_seconds(time).0, values))
    }

    /// The number at a place of a line, NaN where there is none, and goes on behind it.
    #[inline]
    fn number(&self, line: &[u8], at: &mut usize) -> Option<f64> {
        *at += line[*at..].iter().take_while(|byte| **byte == b' ').count();
        if line.get(*at).is_none_or(|byte| *byte == self.delimiter) {
            return Some(f64::NAN);
        }
        let (value, used) = plain(&line[*at..], self.point)?;
        *at += used;
        Some(value)
    }

    /// Makes a layout that of a plain row, which is given with its line end; false where it cannot be.
    pub fn lay_out(&self, row: &[u8], layout: &mut Layout) -> bool {
        let is_read = self.steps.iter().map(|step| *step != Step::Skip);
        layout.set(row, self.delimiter, self.point, is_read)
    }

    /// Puts so many rows that are laid out like a plain one in a batch; `numbers` are the columns of their
    /// numbers.
    pub fn keep(&self, like: &PlainRow, numbers: &mut [Numbers], rows: usize, batch: &mut Batch) {
        let mut numbers = numbers.iter_mut();
        for step in &self.steps {
            // A field that is empty has no number.
            let is_empty = |channel: &u8| like.1[usize::from(*channel)].is_nan();
            match step {
                Step::Channel(channel) if is_empty(channel) => {
                    let column = &mut batch.channels[usize::from(*channel)];
                    (0..rows).for_each(|_| column.push(f64::NAN));
                }
                Step::Channel(channel) => {
                    let column = &mut batch.channels[usize::from(*channel)];
                    numbers.by_ref().take(1).for_each(|numbers| numbers.put(rows, column));
                }
                Step::Time => {
                    let times = numbers.by_ref().take(1);
                    times.for_each(|times| times.put_times(rows, self.unit, &mut batch.time_s));
                }
                Step::Skip | Step::Empty => {}
            }
        }
        batch.follow(rows as u32);
    }
}
