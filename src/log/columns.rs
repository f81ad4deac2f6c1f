//! Who is who: which column is the clock, the speed, side 1, side 2.

use super::asked::{Asked, asked};
use super::claims::{self, Called, Side};
use super::clocks::{Candidate, Column, as_clock, candidates, columns_of};
use super::dialect::Dialect;
use super::headings::{Heading, Unit, unit_of};
use super::leftover::{ByCells, columns_not_taken, lone_sign_of_speed, marks_by_cells};
use super::numbers::{Cell, cell};
use super::plan::{CHANNELS, Channel, Measure, Plan, Slot};
use super::widths::widths;
use super::{ReadError, ReadOptions, Role, Taken};
use crate::sample::Remark;
use crate::units::{PressureUnit, SpeedUnit};

/// Decides what to take from each row.
///
/// Errors: [`ReadError::MissingRole`], [`ReadError::Ambiguous`], [`ReadError::BadColumns`],
/// [`ReadError::Shape`].
pub(super) fn plan(
    layout: &Dialect,
    options: &ReadOptions,
    remarks: &mut Vec<Remark>,
) -> Result<Plan, ReadError> {
    let widths = widths(layout, options, remarks)?;
    let under = |field: usize| layout.units.get(field).map_or("", String::as_str);
    let headings = layout.headings.iter().enumerate();
    let headings: Vec<Heading> = headings.map(|(i, text)| Heading::read(text, under(i))).collect();
    let fit = layout.samples.iter().filter(|row| widths.fit(row.len()));
    let samples: Vec<Vec<String>> = fit.cloned().collect();
    let columns = columns_of(headings, &samples);
    let named = match &options.columns {
        Some(text) => asked(text, &layout.headings)?,
        None => Vec::new(),
    };
    let choice = Choice { columns: &columns, named: &named, options };
    let clock = choice.clock()?;
    if let Some(text) = &clock.assumed {
        remarks.push(Remark::new("unit_assumed", 1, &[], text.clone()));
    }
    let slots = choice.slots(&clock)?;
    let left = choice.left_aside(&slots);
    if !left.is_empty() {
        let named: Vec<String> =
            left.iter().map(|field| format!("{:?}", choice.quoted(*field))).collect();
        let text = format!(
            "{} could be pressures of the manifold too and were left aside; name others with --columns",
            named.join(", ")
        );
        remarks.push(Remark::new("not_taken", left.len(), &[], text));
    }
    let mut used: Vec<usize> = slots.iter().flatten().map(|slot| slot.field).collect();
    used.extend(clock.clock.fields());
    used.extend(left);
    let marks = choice.marks(&used);
    let mark = marks.as_ref().map(|marks| marks.field);
    used.extend(mark);
    let recorded = is_recorded(&columns);
    if recorded {
        let known = |field: &usize| RECORDED.contains(&columns[*field].heading.text.as_str());
        used.extend((0..columns.len()).filter(known));
    }
    remarks.extend(columns_not_taken(
        &columns,
        |field| used.contains(&field),
        slots[Channel::Rpm as usize].is_some(),
        |field| choice.quoted(field),
    ));
    let heading = &columns[clock.field].heading.text;
    let sure = heading == "time_s" || choice.named(Role::Time).is_some();
    let clock_taken = Taken::new(Role::Time, heading, clock.unit, !sure);
    Ok(Plan {
        delimiter: layout.delimiter,
        widths,
        clock: clock.clock,
        clock_taken,
        slots,
        mark,
        recorded,
        mark_unseen: marks.as_ref().is_some_and(|marks| marks.unseen),
        mark_taken: marks
            .map(|m| Taken::new(Role::Mark, &columns[m.field].heading.text, "", m.guessed)),
    })
}

/// The columns of our own recordings that are kept for a person and taken for nothing: the number of
/// the sentence and the host's own time.
const RECORDED: [&str; 2] = ["seq", "host_s"];

/// True for the headings of [`journal`](super::journal): the host's time, and the mark last.
fn is_recorded(columns: &[Column]) -> bool {
    let has = |text: &str| columns.iter().any(|column| column.heading.text == text);
    has("time_s") && has("host_s") && columns.last().is_some_and(|c| c.heading.text == "mark")
}

/// The field with the marks.
struct Marks {
    field: usize,
    guessed: bool,
    /// Taken although nothing stands in it so far and its heading does not speak of marks.
    unseen: bool,
}

/// A field, and what the user said where the user named it.
type Found<'a> = (usize, Option<&'a Asked>);

/// The columns and what the user said about them.
struct Choice<'a> {
    columns: &'a [Column<'a>],
    named: &'a [Asked],
    options: &'a ReadOptions,
}

impl Choice<'_> {
    fn named(&self, role: Role) -> Option<&Asked> {
        self.named.iter().find(|asked| asked.role == role)
    }

    fn bad(&self, detail: String) -> ReadError {
        ReadError::BadColumns { text: self.options.columns.clone().unwrap_or_default(), detail }
    }

    fn is_named(&self, field: usize) -> bool {
        self.named.iter().any(|asked| asked.field == field)
    }

    /// A heading between quotation marks, with its number where it stands twice.
    fn quoted(&self, field: usize) -> String {
        let text = &self.columns[field].heading.text;
        let twice = self.columns.iter().filter(|c| c.heading.text == *text).count() > 1;
        if twice { format!("#{}", field + 1) } else { text.clone() }
    }

    fn ambiguous(&self, role: &'static str, key: &str, first: usize, second: usize) -> ReadError {
        let (first, second) = (self.quoted(first), self.quoted(second));
        let example = match key {
            "vac1" => format!("--columns \"vac1={first},vac2={second}\""),
            key => format!("--columns \"{key}={first}\""),
        };
        ReadError::Ambiguous { name: self.options.name.clone(), role, first, second, example }
    }

    fn missing(&self, needed: &str, role: &str) -> ReadError {
        let shown: Vec<String> =
            self.columns.iter().take(40).map(|c| format!("{:?}", c.heading.text)).collect();
        let more = self.columns.len().saturating_sub(40);
        let mut headings = shown.join(", ");
        if more > 0 {
            headings.push_str(&format!(" and {more} more"));
        }
        // A pressure is most likely a column with decimals.
        let likely = |column: &Column| match role {
            "time" => 1,
            _ if !column.is_numeric() || claims::clock(&column.heading) > 0 => 0,
            _ => 1 + usize::from(column.numbers().iter().any(|n| n.fract() != 0.0)),
        };
        let free = (0..self.columns.len()).rev().max_by_key(|field| likely(&self.columns[*field]));
        let heading = free.map_or("HEADING".to_string(), |field| self.quoted(field));
        ReadError::MissingRole {
            name: self.options.name.clone(),
            needed: needed.to_string(),
            headings,
            example: format!("--columns \"{role}={heading}\""),
        }
    }

    fn clock(&self) -> Result<Candidate, ReadError> {
        if let Some(asked) = self.named(Role::Time) {
            let unit = match asked.unit {
                Some(Unit::Time(unit)) => Some(unit),
                None => None,
                Some(_) => return Err(self.bad("the unit of time is s, ms, us, min or h".into())),
            };
            let heading = &self.columns[asked.field].heading.text;
            return as_clock(self.columns, asked.field, unit).ok_or_else(|| {
                self.bad(format!(
                    "the values under {heading:?} are neither numbers nor dates and times"
                ))
            });
        }
        let mut found = candidates(self.columns);
        found.retain(|candidate| !self.is_named(candidate.field));
        match found.as_slice() {
            [] => Err(self.missing("the time", "time")),
            [first, second, ..] if first.score == second.score => {
                Err(self.ambiguous("the time", "time", first.field, second.field))
            }
            [first, ..] => Ok(first.clone()),
        }
    }

    /// The best claim among the columns that the user did not name; `None` for no claim, an error
    /// for two equally good ones.
    fn best(&self, claim: impl Fn(&Column) -> i32) -> Result<Option<usize>, (usize, usize)> {
        let free = (0..self.columns.len()).filter(|field| !self.is_named(*field));
        let (mut best, mut rival): (Option<(i32, usize)>, Option<usize>) = (None, None);
        for field in free {
            let score = claim(&self.columns[field]);
            match best {
                _ if score <= 0 => {}
                Some((most, _)) if score < most => {}
                Some((most, _)) if score == most => rival = rival.or(Some(field)),
                _ => (best, rival) = (Some((score, field)), None),
            }
        }
        match (best, rival) {
            (Some((_, first)), Some(second)) => Err((first, second)),
            (best, _) => Ok(best.map(|(_, field)| field)),
        }
    }

    fn slots(&self, clock: &Candidate) -> Result<[Option<Slot>; CHANNELS], ReadError> {
        let free = |column: &Column| {
            column.is_numeric() && column.heading.text != self.columns[clock.field].heading.text
        };
        let exact = |column: &Column, text: &str| 1000 * i32::from(column.heading.text == text);
        let rpm = self.column(Role::Rpm, |c| {
            if !free(c) {
                return 0;
            }
            claims::speed(&c.heading).max(lone_sign_of_speed(c)) + exact(c, "rpm")
        });
        let rpm = rpm.map_err(|(a, b)| self.ambiguous("the engine speed", "rpm", a, b))?;
        let crank = self.column(Role::Crank, |c| {
            if free(c) { claims::crankcase(&c.heading) + exact(c, "crank_kpa") } else { 0 }
        });
        let crank = crank.map_err(|(a, b)| self.ambiguous("the crankcase", "crank", a, b))?;
        // Two barometers are no harm: the first is as good as the second.
        let baro = self
            .column(Role::Baro, |c| {
                if free(c) { claims::barometer(&c.heading) + exact(c, "baro_kpa") } else { 0 }
            })
            .unwrap_or_else(|(first, _)| Some((first, None)));
        let (one, two) = self.sides(&free)?;
        let flows = [
            self.flow(&free, (Role::Flow1, Side::One), "airflow meter 1")?,
            self.flow(&free, (Role::Flow2, Side::Two), "airflow meter 2")?,
        ];
        let nothing = rpm.is_none() && one.is_none() && two.is_none();
        if nothing && flows == [None; 2] {
            let volts = self.columns.iter().find(|c| {
                matches!(c.heading.unit, Some(Unit::Volt(_)))
                    && claims::manifold(&c.heading).is_some()
            });
            let needed = match volts {
                Some(column) => format!(
                    "a pressure or the engine speed ({:?} is in volts, which only a named sensor turns into a pressure: see --sensor)",
                    column.heading.text
                ),
                None => "a pressure or the engine speed".to_string(),
            };
            return Err(self.missing(&needed, "vac1"));
        }
        let mut slots = [const { None }; CHANNELS];
        let found = [rpm, one, two, crank, baro, flows[0], flows[1]];
        for (channel, found) in Channel::ALL.into_iter().zip(found) {
            slots[channel as usize] = match found {
                Some((field, asked)) => Some(self.slot(channel, field, asked)?),
                None => None,
            };
        }
        Ok(slots)
    }

    /// The column that the user named for a role, else the best claim.
    fn column(
        &self,
        role: Role,
        claim: impl Fn(&Column) -> i32,
    ) -> Result<Option<Found<'_>>, (usize, usize)> {
        match self.named(role) {
            Some(asked) => Ok(Some((asked.field, Some(asked)))),
            None => Ok(self.best(claim)?.map(|field| (field, None))),
        }
    }

    /// The airflow meter of a side.
    fn flow(
        &self,
        free: &impl Fn(&Column) -> bool,
        (role, side): (Role, Side),
        name: &'static str,
    ) -> Result<Option<Found<'_>>, ReadError> {
        let claim = |c: &Column| match claims::flow(&c.heading).filter(|_| free(c)) {
            Some((score, own)) if own == side => score + canonical(c),
            _ => 0,
        };
        self.column(role, claim).map_err(|(a, b)| self.ambiguous(name, role.word(), a, b))
    }

    /// The columns of both sides.
    fn sides(
        &self,
        free: &impl Fn(&Column) -> bool,
    ) -> Result<(Option<Found<'_>>, Option<Found<'_>>), ReadError> {
        let said = |vac, map| self.named(vac).or(self.named(map)).map(|a| (a.field, Some(a)));
        let (one, two) = (said(Role::Vac1, Role::Map1), said(Role::Vac2, Role::Map2));
        if one.is_some() && two.is_some() {
            return Ok((one, two));
        }
        let claim = |column: &Column, sides: &[Side]| {
            let raw = matches!(column.heading.unit, Some(Unit::Volt(_)));
            let volts = raw && self.options.sensor.is_none();
            let claim = claims::manifold(&column.heading).filter(|_| free(column) && !volts);
            claim.filter(|c| sides.contains(&c.side)).map_or(0, |c| c.score + canonical(column))
        };
        // Where counting starts at 0, number 1 is side 2.
        let zero = self.best(|c| claim(c, &[Side::Zero])) != Ok(None)
            && self.best(|c| claim(c, &[Side::Two])) == Ok(None);
        let (first, second) = if zero { (Side::Zero, Side::One) } else { (Side::One, Side::Two) };
        // With one side named by the user, an unclear other side is left out.
        let lenient = one.is_some() || two.is_some();
        let pick = |side: Side, role, key| match self.best(|c| claim(c, &[side])) {
            Ok(found) => Ok(found.map(|field| (field, None))),
            Err(_) if lenient => Ok(None),
            Err((a, b)) => Err(self.ambiguous(role, key, a, b)),
        };
        let one = match one {
            Some(one) => Some(one),
            None => pick(first, "vacuum 1", "vac1")?,
        };
        let two = match two {
            Some(two) => Some(two),
            None => pick(second, "vacuum 2", "vac2")?,
        };
        if one.is_some() || lenient {
            return Ok((one, two));
        }
        let unsaid = pick(Side::Unsaid, "a vacuum", "vac1")?;
        match (unsaid, two) {
            (None, Some((field, _))) if canonical(&self.columns[field]) == 0 => Ok((two, None)),
            _ => Ok((unsaid, two)),
        }
    }

    /// Manifold pressures that were taken for nothing.
    fn left_aside(&self, slots: &[Option<Slot>; CHANNELS]) -> Vec<usize> {
        let taken = |field: usize| slots.iter().flatten().any(|slot| slot.field == field);
        let pressure = |field: &usize| {
            let column = &self.columns[*field];
            claims::manifold(&column.heading).is_some() && column.is_numeric() && !taken(*field)
        };
        (0..self.columns.len()).filter(pressure).collect()
    }

    fn slot(
        &self,
        channel: Channel,
        field: usize,
        asked: Option<&Asked>,
    ) -> Result<Slot, ReadError> {
        let column = &self.columns[field];
        let text = &column.heading.text;
        let unit = asked.and_then(|a| a.unit).or(column.heading.unit).or_else(|| glued(column));
        let measure = match (channel, unit) {
            (Channel::Rpm, Some(Unit::Speed(unit))) => Measure::Speed(unit),
            (Channel::Rpm, None) => Measure::Speed(SpeedUnit::RevPerMinute),
            (Channel::Rpm, Some(_)) => return Err(self.bad(format!("{text:?} is not in rev/min"))),
            (_, Some(Unit::Pressure(unit, _))) => {
                Measure::Pressure(Some(unit), self.called(channel, column, asked))
            }
            (Channel::FlowOne | Channel::FlowTwo, Some(Unit::Volt(_))) => {
                return Err(self.bad(format!(
                    "{text:?} is in volts; an airflow meter is read as a differential pressure, in {}",
                    PressureUnit::ALL.map(PressureUnit::symbol).join(", ")
                )));
            }
            (_, None) => {
                Measure::Pressure(self.options.pressure_unit, self.called(channel, column, asked))
            }
            (_, Some(Unit::Volt(milli))) if self.options.sensor.is_some() => {
                self.options.sensor.map_or(Measure::Pressure(None, Called::Nothing), |line| {
                    Measure::Volts(milli, line)
                })
            }
            (_, Some(Unit::Volt(_))) => {
                return Err(self.bad(format!(
                    "{text:?} is in volts, which only a named sensor turns into a pressure; name it with --sensor"
                )));
            }
            (_, Some(_)) => {
                let units = PressureUnit::ALL.map(PressureUnit::symbol).join(", ");
                return Err(
                    self.bad(format!("{text:?} is no pressure; units of pressure are {units}"))
                );
            }
        };
        let guessed = asked.is_none() && canonical(column) == 0 && text != "rpm";
        let (heading, typed) = (text.clone(), self.quoted(field));
        Ok(Slot {
            field,
            heading,
            typed,
            format: column.format,
            measure,
            guessed,
            said: asked.is_some(),
        })
    }

    fn called(&self, channel: Channel, column: &Column, asked: Option<&Asked>) -> Called {
        match (asked.map(|a| a.role), channel) {
            (Some(Role::Vac1 | Role::Vac2), _) => Called::Vacuum,
            (Some(Role::Map1 | Role::Map2), _) | (_, Channel::Baro) => Called::Absolute,
            (_, Channel::Crank) => claims::called(&column.heading),
            _ => claims::manifold(&column.heading).map_or(Called::Nothing, |m| m.called),
        }
    }

    /// The field with the marks: named, by its heading, else by its cells among those not `used`.
    fn marks(&self, used: &[usize]) -> Option<Marks> {
        let found = self.column(Role::Mark, |c| {
            let lone = c.heading.words == ["m"] && c.numbers().is_empty();
            claims::mark(&c.heading)
                + i32::from(lone && c.heading.unit.is_none())
                + 1000 * i32::from(c.heading.text == "mark")
        });
        let found = found.unwrap_or_else(|(first, _)| Some((first, None)));
        if let Some((field, asked)) = found {
            let guessed = asked.is_none() && self.columns[field].heading.text != "mark";
            return Some(Marks { field, guessed, unseen: false });
        }
        let free = |field: usize| !used.contains(&field) && !self.is_named(field);
        marks_by_cells(self.columns, free).map(|by| match by {
            ByCells::Text(field) => Marks { field, guessed: true, unseen: false },
            ByCells::Empty(field) => Marks { field, guessed: true, unseen: true },
        })
    }
}

/// A large number for the headings of our own format.
fn canonical(column: &Column) -> i32 {
    match column.heading.text.as_str() {
        "vac1_kpa" | "vac2_kpa" => 1000,
        "map1_kpa" | "map2_kpa" => 900,
        "crank_kpa" | "baro_kpa" | "flow1_kpa" | "flow2_kpa" | "flow1_pa" | "flow2_pa" => 1000,
        _ => 0,
    }
}

/// The unit glued to the numbers of a column.
fn glued(column: &Column) -> Option<Unit> {
    column.values.iter().find_map(|text| match cell(text.as_bytes(), column.format) {
        Cell::Number(_, unit) if !unit.is_empty() => unit_of(unit),
        _ => None,
    })
}
