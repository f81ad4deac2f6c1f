//! What to take from each row, decided once before the rows are read.

use super::claims::Called;
use super::numbers::Format;
use super::stamps::Order;
use super::{Role, Taken};
use crate::units::{PressureUnit, SpeedUnit, TimeUnit, VoltsToKpa};

/// The number of channels a log can have beside the clock.
pub(super) const CHANNELS: usize = 7;

/// A channel: a column of numbers beside the clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Channel {
    /// Engine speed.
    Rpm,
    /// Side 1, vacuum or absolute.
    One,
    /// Side 2, vacuum or absolute.
    Two,
    /// Crankcase.
    Crank,
    /// Barometer.
    Baro,
    /// Airflow meter 1.
    FlowOne,
    /// Airflow meter 2.
    FlowTwo,
}

impl Channel {
    /// Every channel, in the order of the columns.
    pub const ALL: [Channel; CHANNELS] = [
        Channel::Rpm,
        Channel::One,
        Channel::Two,
        Channel::Crank,
        Channel::Baro,
        Channel::FlowOne,
        Channel::FlowTwo,
    ];
}

/// In what the numbers of a channel are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Measure {
    /// Engine speed.
    Speed(SpeedUnit),
    /// Pressure; the unit is absent where it has to be told from the values.
    Pressure(Option<PressureUnit>, Called),
    /// The output of a sensor in volts; true in millivolts.
    Volts(bool, VoltsToKpa),
}

/// Where a channel stands and how it is read.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slot {
    /// Which field, counted from 0.
    pub field: usize,
    /// Its heading.
    pub heading: String,
    /// What to type for it in `--columns`.
    pub typed: String,
    /// How it writes numbers.
    pub format: Format,
    /// In what its numbers are.
    pub measure: Measure,
    /// Neither canonical nor named by the user.
    pub guessed: bool,
    /// Named by the user.
    pub said: bool,
}

/// How the clock is read.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Clock {
    /// A number.
    Number {
        /// Which field.
        field: usize,
        /// How it writes numbers.
        format: Format,
        /// Its unit.
        unit: TimeUnit,
    },
    /// A date and a time of day, in one field or two.
    Stamp {
        /// The field with the time of day.
        field: usize,
        /// The field with the date, where it is another.
        date: Option<usize>,
        /// A field with the fraction of the second.
        fraction: Option<usize>,
        /// The order of day, month and year.
        order: Order,
        /// Days since 1970-01-01 at which the log's time is counted from.
        base_days: i64,
        /// There are dates at all.
        dated: bool,
    },
}

/// How many fields a good row has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Widths {
    /// Fields of the usual row.
    pub usual: usize,
    /// Headings.
    pub headings: usize,
    /// Every row ends with a delimiter after which nothing comes.
    pub trailing: bool,
}

impl Widths {
    /// True for a row with this many fields of which nothing is shifted. A row with just as many
    /// fields as there are headings is good where the usual row is short; where every row ends with
    /// one delimiter more, a row without it has lost a field.
    pub fn fit(self, fields: usize) -> bool {
        fields == self.usual || (self.usual < self.headings && fields == self.headings)
    }
}

/// What to take from each row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plan {
    /// Between fields.
    pub delimiter: u8,
    /// How many fields a good row has.
    pub widths: Widths,
    /// How the clock is read.
    pub clock: Clock,
    /// What people are told about the clock.
    pub clock_taken: Taken,
    /// The channels in the order of [`Channel::ALL`]; `None` for one that the log has not.
    pub slots: [Option<Slot>; CHANNELS],
    /// The field with the marks.
    pub mark: Option<usize>,
    /// The log is one of our own recordings: a line without its end was cut, whatever is in it, and
    /// each mark is one of its own.
    pub recorded: bool,
    /// Nothing was in the field with the marks so far: numbers that follow there are no marks.
    pub mark_unseen: bool,
    /// What people are told about the marks.
    pub mark_taken: Option<Taken>,
}

impl Clock {
    /// The fields that it is read from.
    pub fn fields(&self) -> Vec<usize> {
        match self {
            Clock::Number { field, .. } => vec![*field],
            Clock::Stamp { field, date, fraction, .. } => {
                [Some(*field), *date, *fraction].into_iter().flatten().collect()
            }
        }
    }
}

impl Taken {
    /// The words for a person are made from the role and the heading.
    pub(super) fn new(role: Role, heading: &str, unit: &str, guessed: bool) -> Taken {
        let text = format!("taking \"{heading}\" as {}", role.plain());
        Taken { role, heading: heading.to_string(), unit: unit.to_string(), guessed, text }
    }
}
