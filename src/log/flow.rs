//! Airflow meters on the mouths of the carburettors: their columns as differential pressure in kilopascal.

use super::plan::{CHANNELS, Channel, Measure, Slot};
use super::pressure::no_reading;
use super::{ReadOptions, Role, Taken};
use crate::sample::{Column, Conversion, Remark};
use crate::units::PressureUnit;

/// The columns of both meters, kPa; `None` for one that the log has not, or that has not a single
/// reading. The sign stays as it is: a meter may be connected the other way round, and its zero may
/// lie on either side of nothing.
pub(super) fn columns(
    slots: &[Option<Slot>; CHANNELS],
    columns: [(Channel, Column); 2],
    options: &ReadOptions,
    taken: &mut Vec<Taken>,
    remarks: &mut Vec<Remark>,
) -> [Option<Column>; 2] {
    columns.map(|(channel, mut values)| {
        let slot = slots[channel as usize].as_ref()?;
        if values.range().is_none() {
            no_reading(slot, remarks);
            return None;
        }
        let named = match slot.measure {
            Measure::Pressure(unit, _) => unit.or(options.pressure_unit),
            Measure::Speed(_) | Measure::Volts(..) => return None,
        };
        let unit = named.unwrap_or(PressureUnit::Pa);
        if named.is_none() {
            let text = format!(
                "\"{}\" names no unit; taken as Pa; if it is another, name it as in --columns \"{}={} [mbar]\"",
                slot.heading,
                role(channel).word(),
                slot.typed
            );
            remarks.push(Remark::new("unit_assumed", 1, &[], text));
        }
        values.converts(Conversion::Pressure(unit));
        taken.push(Taken::new(role(channel), &slot.heading, unit.symbol(), slot.guessed));
        Some(values)
    })
}

fn role(channel: Channel) -> Role {
    if channel == Channel::FlowOne { Role::Flow1 } else { Role::Flow2 }
}
