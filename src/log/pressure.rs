//! From the columns of the file to vacuum in kilopascal: units, absolute or vacuum, barometer.

use super::claims::Called;
use super::doubts::{refuse_two_kinds, refuse_unitless, same_column, vacuum_doubtful};
use super::evidence::{Kind, Spread, UnitShown, kind_called, kind_shown, unit_shown};
use super::flow;
use super::plan::{CHANNELS, Channel, Measure, Slot};
use super::turning::Turning;
use super::{Baro, BaroFrom, Head, ReadError, ReadOptions, Role, Taken};
use crate::cores::{MANY_SAMPLES, both};
use crate::sample::{Column, Conversion, Mark, Remark, Wording};
use crate::units::{Kpa, PressureUnit, STANDARD_ATMOSPHERE};

/// The channels of a log, finished.
#[derive(Debug, Default)]
pub(super) struct Channels {
    /// Engine speed, rev/min.
    pub rpm: Option<Column>,
    /// Vacuum of sides 1 and 2, kPa.
    pub vacuum: [Option<Column>; 2],
    /// Crankcase below atmosphere, kPa.
    pub crank: Option<Column>,
    /// Differential pressure of airflow meters 1 and 2, kPa.
    pub flow: [Option<Column>; 2],
    /// What was taken for what.
    pub taken: Vec<Taken>,
}

/// A channel on its way: its slot, its values, where they lie.
pub(super) struct Part<'a> {
    /// Where it stands.
    pub slot: &'a Slot,
    /// Its values, kPa.
    pub values: Column,
    /// Where they lie, kPa.
    pub spread: Spread,
    /// Their median while the engine runs, kPa; `None` where that is not known.
    pub running: Option<f64>,
    /// The unit in the file.
    pub unit: PressureUnit,
    /// What it is called.
    pub called: Called,
}

/// Standard uncertainties of the barometric pressure, kPa, by its source. Given or in the header: a
/// weather station's figure, rounded and from another height. A column: whole kilopascals. Engine
/// off: the offset of an uncalibrated manifold sensor, 1 kPa as a rectangular limit. Standard: the
/// spread of the weather, and no account of height. (Judgement, no published source.)
const U_KPA: [(BaroFrom, f64); 5] = [
    (BaroFrom::Given, 0.1),
    (BaroFrom::Header, 0.1),
    (BaroFrom::Column, 0.3),
    (BaroFrom::EngineOff, 0.6),
    (BaroFrom::Standard, 1.5),
];

/// Finishes the channels: everything in kilopascal and rev/min, all pressures as vacuum.
///
/// Errors: [`ReadError::NoUnit`], [`ReadError::AmbiguousKind`].
pub(super) fn finish(
    slots: &[Option<Slot>; CHANNELS],
    channels: [Column; CHANNELS],
    context: &Context,
    remarks: &mut Vec<Remark>,
) -> Result<(Channels, Baro), ReadError> {
    let mut done = Channels::default();
    let [rpm, one, two, crank, baro, flow_one, flow_two] = channels;
    if let Some(slot) = &slots[Channel::Rpm as usize] {
        done.rpm = speed(slot, rpm, &mut done.taken, remarks);
    }
    let turning = Turning::of(done.rpm.as_ref(), context.time_s, context.marks);
    let [slot_one, slot_two] = [Channel::One, Channel::Two].map(|c| slots[c as usize].as_ref());
    refuse_unitless([(slot_one, &one), (slot_two, &two)], &turning, &context.options.name)?;
    let part = |channel: Channel, values: Column, remarks: &mut Vec<Remark>| {
        let slot = slots[channel as usize].as_ref();
        let part = slot.map(|slot| Part::new(slot, values, &turning, context.options, remarks));
        part.transpose().map(Option::flatten)
    };
    let mut remarks_of_two = Vec::new();
    let (side_two, side_one) = both(
        context.time_s.len() >= MANY_SAMPLES,
        || part(Channel::Two, two, &mut remarks_of_two),
        || part(Channel::One, one, remarks),
    );
    let mut sides = [side_one?, side_two?];
    remarks.append(&mut remarks_of_two);
    let crank = part(Channel::Crank, crank, remarks)?;
    let column = part(Channel::Baro, baro, remarks)?;
    let column = column.and_then(|part| barometer(part, &mut done.taken, remarks));
    let known = context.options.baro.map(|kpa| (kpa, BaroFrom::Given));
    let known = known.or(context.head.baro_kpa.map(|kpa| (Kpa(kpa), BaroFrom::Header)));
    let known = known.or(column.map(|kpa| (kpa, BaroFrom::Column)));
    drop_dead(&mut sides, done.rpm.as_ref(), remarks);
    let kinds = kinds(&sides, known.map(|(kpa, _)| kpa), &context.options.name)?;
    let absolute = kinds.contains(&Some(Kind::Absolute));
    let baro =
        settle_baro(known, (&sides, &kinds), absolute, context.options.standard_baro, remarks);
    remarks.extend(vacuum_doubtful(&sides, &kinds, done.rpm.as_ref(), baro));
    for (index, (side, kind)) in sides.into_iter().zip(kinds).enumerate() {
        if let (Some(side), Some(kind)) = (side, kind) {
            done.vacuum[index] =
                Some(side.into_vacuum(kind, index, baro, &mut done.taken, remarks));
        }
    }
    if let [Some(one), Some(two)] = &done.vacuum {
        remarks.extend(same_column(one, two));
    }
    done.crank = crank.map(|part| crankcase(part, baro, &mut done.taken, remarks));
    let flows = [(Channel::FlowOne, flow_one), (Channel::FlowTwo, flow_two)];
    done.flow = flow::columns(slots, flows, context.options, &mut done.taken, remarks);
    drop_dead_speed(&mut done, remarks);
    Ok((done, baro))
}

/// What else is known of the log.
pub(super) struct Context<'a> {
    /// How it is read.
    pub options: &'a ReadOptions,
    /// Its header.
    pub head: &'a Head,
    /// Time of the samples, s.
    pub time_s: &'a Column,
    /// Its marks.
    pub marks: &'a [Mark],
}

/// The engine speed in rev/min; `None` where it has not a single reading.
fn speed(
    slot: &Slot,
    mut values: Column,
    taken: &mut Vec<Taken>,
    remarks: &mut Vec<Remark>,
) -> Option<Column> {
    if values.range().is_none() {
        no_reading(slot, remarks);
        return None;
    }
    let Measure::Speed(unit) = slot.measure else { return None };
    if unit.to_rpm(1.0).0 != 1.0 {
        values.converts(Conversion::Speed(unit));
    }
    taken.push(Taken::new(Role::Rpm, &slot.heading, unit.symbol(), slot.guessed));
    Some(values)
}

pub(super) fn no_reading(slot: &Slot, remarks: &mut Vec<Remark>) {
    let text = format!("\"{}\" has no reading in any row; it was left aside", slot.heading);
    remarks.push(Remark::new("no_reading", 1, &[], text));
}

impl<'a> Part<'a> {
    /// A pressure channel in kilopascal; `None` where it has not a single reading.
    fn new(
        slot: &'a Slot,
        mut values: Column,
        turning: &Turning,
        options: &ReadOptions,
        remarks: &mut Vec<Remark>,
    ) -> Result<Option<Part<'a>>, ReadError> {
        let (unit, called) = match slot.measure {
            Measure::Speed(_) => return Ok(None),
            Measure::Pressure(unit, called) => (unit, called),
            Measure::Volts(milli, line) => {
                let volts = if milli { 1e-3 } else { 1.0 };
                values.converts(Conversion::Volts(volts, line));
                let called = if line.absolute { Called::Absolute } else { Called::Vacuum };
                (Some(PressureUnit::Kpa), called)
            }
        };
        let Some(spread) = Spread::of(&values, &turning.off) else {
            no_reading(slot, remarks);
            return Ok(None);
        };
        let heading = &slot.heading;
        let unit = match (unit, unit_shown(spread)) {
            (Some(unit), _) => unit,
            (None, UnitShown::Atmosphere(unit)) => {
                let text = format!(
                    "\"{heading}\" names no unit; at rest it reads {}, which is the atmosphere in {}",
                    shown(spread.off.unwrap_or(spread.middle)),
                    unit.symbol()
                );
                remarks.push(Remark::new("unit_assumed", 1, &[], text));
                unit
            }
            (None, UnitShown::Assumed) => {
                let text = format!(
                    "\"{heading}\" names no unit; taken as kPa, which nothing in the log confirms"
                );
                remarks.push(Remark::new("unit_assumed", 1, &[], text));
                PressureUnit::Kpa
            }
            (None, UnitShown::Unknown) => {
                return Err(ReadError::NoUnit {
                    name: options.name.clone(),
                    heading: heading.clone(),
                    typical: shown(spread.middle),
                    example: format!("--columns \"vac1={heading} [mbar]\""),
                });
            }
        };
        let running = turning.running_middle(&values).map(|middle| unit.to_kpa(middle).0);
        if unit != PressureUnit::Kpa {
            values.converts(Conversion::Pressure(unit));
        }
        Ok(Some(Part { slot, values, spread: spread.in_kpa(unit), running, unit, called }))
    }

    fn take(&self, role: Role, taken: &mut Vec<Taken>) {
        taken.push(Taken::new(role, &self.slot.heading, self.unit.symbol(), self.slot.guessed));
    }

    /// Turns the channel of a side into vacuum.
    fn into_vacuum(
        mut self,
        kind: Kind,
        index: usize,
        baro: Baro,
        taken: &mut Vec<Taken>,
        remarks: &mut Vec<Remark>,
    ) -> Column {
        let roles = if kind == Kind::Absolute {
            [Role::Map1, Role::Map2]
        } else {
            [Role::Vac1, Role::Vac2]
        };
        self.take(roles[index], taken);
        let heading = &self.slot.heading;
        let spread = self.spread;
        let reads = |say: Wording| match spread.off {
            Some(off) => format!("reads {} with the engine at rest", say.pressure(off, 1)),
            None => format!("reads {} for half of the log", say.pressure(spread.middle, 1)),
        };
        match (kind, kind_called(self.called)) {
            (Kind::Absolute, Kind::Vacuum) => {
                remarks.push(Remark::of_pressures("absolute_not_vacuum", 1, &[], |say| {
                    format!(
                        "\"{heading}\" {}: it is absolute pressure, not vacuum, and was turned into vacuum below {}",
                        reads(say),
                        say.pressure(baro.kpa, 1)
                    )
                }));
            }
            (Kind::Vacuum, Kind::Absolute) => {
                remarks.push(Remark::of_pressures("vacuum_not_absolute", 1, &[], |say| {
                    format!(
                        "\"{heading}\" {}: it is vacuum below atmosphere, not absolute pressure, and was taken as it stands",
                        reads(say)
                    )
                }));
            }
            (Kind::Gauge, _) => {
                remarks.push(Remark::of_pressures("negative_vacuum", 1, &[], |say| {
                    format!(
                        "\"{heading}\" {}: it counts vacuum as negative, and its sign was turned",
                        reads(say)
                    )
                }));
            }
            _ => {}
        }
        match kind {
            Kind::Vacuum => {}
            Kind::Absolute => self.values.converts(Conversion::Below(baro.kpa)),
            Kind::Gauge => self.values.converts(Conversion::Turned),
        }
        self.values
    }
}

/// A value as short as it can be said.
pub(super) fn shown(value: f64) -> String {
    format!("{}", (value * 100.0).round() / 100.0)
}

/// The barometer column as one figure; `None` where it is no possible barometer.
fn barometer(part: Part, taken: &mut Vec<Taken>, remarks: &mut Vec<Remark>) -> Option<Kpa> {
    let kpa = part.spread.middle;
    if !(50.0..=110.0).contains(&kpa) {
        let heading = &part.slot.heading;
        remarks.push(Remark::of_pressures("dead_barometer", 1, &[], |say| {
            let reads = say.pressure(kpa, 2);
            format!("\"{heading}\" reads {reads}, which no barometer does; it was left aside")
        }));
        return None;
    }
    part.take(Role::Baro, taken);
    Some(Kpa(kpa))
}

/// What each side measures. Where only one of two columns of the same name shows it, the other is
/// taken to be alike.
///
/// Errors: [`ReadError::AmbiguousKind`].
fn kinds(
    sides: &[Option<Part>; 2],
    baro: Option<Kpa>,
    name: &str,
) -> Result<[Option<Kind>; 2], ReadError> {
    let kind = |part: &Part| kind_shown(part.spread, part.called, baro);
    let shown = [sides[0].as_ref().and_then(kind), sides[1].as_ref().and_then(kind)];
    let alike = match sides {
        [Some(one), Some(two)] => one.called == two.called,
        _ => false,
    };
    let pair = shown[0].or(shown[1]).filter(|_| alike);
    let open = [0, 1].map(|index| shown[index].or(pair).is_none());
    refuse_two_kinds(sides, open, name)?;
    let settle = |index: usize| {
        let part = sides[index].as_ref()?;
        Some(shown[index].or(pair).unwrap_or(kind_called(part.called)))
    };
    Ok([settle(0), settle(1)])
}

/// The barometric pressure from the best source there is.
fn settle_baro(
    known: Option<(Kpa, BaroFrom)>,
    (sides, kinds): (&[Option<Part>; 2], &[Option<Kind>; 2]),
    absolute: bool,
    standard: Option<Kpa>,
    remarks: &mut Vec<Remark>,
) -> Baro {
    let rest = sides.iter().zip(kinds).filter(|(_, kind)| **kind == Some(Kind::Absolute));
    let rest: Vec<f64> = rest.filter_map(|(part, _)| part.as_ref()?.spread.off).collect();
    let rest = rest.iter().sum::<f64>() / rest.len() as f64;
    let rest = Some(Kpa(rest)).filter(|kpa| (50.0..=110.0).contains(&kpa.0));
    let found = known.or(rest.map(|kpa| (kpa, BaroFrom::EngineOff)));
    let (kpa, from) =
        found.unwrap_or((standard.unwrap_or(STANDARD_ATMOSPHERE), BaroFrom::Standard));
    if from == BaroFrom::Standard {
        // A sensor of vacuum reads zero with the engine off, whatever the weather.
        let effect = if absolute {
            "every vacuum here hangs on it: give it with --baro or log a few seconds with the engine off"
        } else {
            "it counts only for the share of air: give it with --baro or a line \"# baro_kpa: VALUE\" at the start of the log"
        };
        let place = if standard.is_some() { " at the height given" } else { "" };
        remarks.push(Remark::of_pressures("standard_atmosphere", 1, &[], |say| {
            format!(
                "the log does not tell the barometric pressure; the standard atmosphere{place}, {}, stands in, and {effect}",
                say.pressure(kpa.0, 3)
            )
        }));
    }
    let u_kpa = U_KPA.iter().find(|(source, _)| *source == from).map_or(1.5, |(_, u)| *u);
    Baro { kpa: kpa.0, u_kpa, from }
}

/// Crankcase below atmosphere: absolute pressure, pressure against atmosphere, or vacuum already.
fn crankcase(
    mut part: Part,
    baro: Baro,
    taken: &mut Vec<Taken>,
    remarks: &mut Vec<Remark>,
) -> Column {
    part.take(Role::Crank, taken);
    let near_atmosphere = part.spread.middle > 60.0;
    let called_vacuum = kind_called(part.called) == Kind::Vacuum;
    let (heading, reads) = (&part.slot.heading, part.spread.middle);
    match (near_atmosphere, called_vacuum) {
        (true, _) => {
            remarks.push(Remark::of_pressures("absolute_not_vacuum", 1, &[], |say| {
                format!(
                    "\"{heading}\" reads {}: it is absolute pressure, and was turned into vacuum below {}",
                    say.pressure(reads, 1),
                    say.pressure(baro.kpa, 1)
                )
            }));
            part.values.converts(Conversion::Below(baro.kpa));
        }
        (false, false) => {
            remarks.push(Remark::of_pressures("negative_vacuum", 1, &[], |say| {
                format!(
                    "\"{heading}\" reads {}: it is pressure against atmosphere, and its sign was turned",
                    say.pressure(reads, 2)
                )
            }));
            part.values.converts(Conversion::Turned);
        }
        (false, true) => {}
    }
    part.values
}

fn is_dead(values: &Column) -> bool {
    values.range() == Some((0.0, 0.0))
}

/// Leaves out a side that reads exactly 0 throughout while something else lives: it is not
/// connected, and not measured is not zero.
fn drop_dead(sides: &mut [Option<Part>; 2], rpm: Option<&Column>, remarks: &mut Vec<Remark>) {
    let runs = rpm.and_then(Column::range).is_some_and(|(_, high)| high >= 1.0);
    let dead = [0, 1].map(|i| sides[i].as_ref().is_some_and(|part: &Part| is_dead(&part.values)));
    for index in [0, 1] {
        let other = 1 - index;
        let lives = runs || (sides[other].is_some() && !dead[other]);
        let Some(part) = sides[index].as_ref().filter(|_| dead[index]) else { continue };
        let fate = if lives {
            "it was left out, so that this side counts as not measured"
        } else {
            "nothing else in the log lives either"
        };
        let text = format!(
            "\"{}\" is 0 in every row: its sensor or plug is dead or not connected; {fate}",
            part.slot.heading
        );
        remarks.push(Remark::new("dead_channel", part.values.len(), &[], text));
        if lives {
            sides[index] = None;
        }
    }
}

/// Leaves out a speed that is 0 throughout while the vacuum shows a running engine.
fn drop_dead_speed(done: &mut Channels, remarks: &mut Vec<Remark>) {
    let Some(rpm) = done.rpm.as_ref().filter(|rpm| is_dead(rpm)) else { return };
    let spreads = done.vacuum.iter().flatten().filter_map(|values| Spread::of(values, &[]));
    if spreads.into_iter().any(|spread| spread.middle > 10.0) {
        let text = "the engine speed is 0 in every row although there is vacuum; it is taken as not connected and left out";
        remarks.push(Remark::new("dead_speed", rpm.len(), &[], text));
        done.rpm = None;
        done.taken.retain(|taken| taken.role != Role::Rpm);
    }
}
