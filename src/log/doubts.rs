//! What the values of the sides leave open, and what is to be typed to settle it.

use super::claims::Called;
use super::evidence::{DEEPEST, Kind, Spread, UnitShown, middle_on, unit_shown};
use super::plan::{Measure, Slot};
use super::pressure::{Part, shown};
use super::turning::{Turning, some_between};
use super::{Baro, ReadError};
use crate::sample::{Column, Remark};
use crate::units::PressureUnit;

/// Readings of a running engine that are possible as vacuum and as absolute pressure, kPa: an idle
/// draws 50 to 75 below an atmosphere of 100, and open throttles leave less (common practice, no
/// published source).
const EITHER_KIND: std::ops::RangeInclusive<f64> = 15.0..=85.0;

/// Speeds of an engine at idle, rev/min, and the vacuum it then draws, kPa (common practice, no
/// published source).
const IDLE_RPM: std::ops::RangeInclusive<f64> = 500.0..=1300.0;
const IDLE_VACUUM: std::ops::RangeInclusive<f64> = 50.0..=75.0;
/// A vacuum below this is low for an idle, kPa.
const LOW_AT_IDLE: f64 = 45.0;
/// The fewest rows from which two columns are compared.
const FEWEST: usize = 20;

/// The numbers of a running engine that may be kilopascal where no unit is named. An idle in inHg
/// reads 15 to 22 as vacuum and 8 to 15 as absolute pressure, in psi less, in mbar hundreds.
fn is_possible_kpa(middle: f64, called: Called) -> bool {
    match called {
        Called::Absolute | Called::Pressure => (25.0..=106.0).contains(&middle),
        // Deeper than any engine draws is absolute pressure by another name.
        _ => (30.0..=85.0).contains(&middle.abs()) || (DEEPEST..=106.0).contains(&middle),
    }
}

/// Refuses sides without a unit whose values are not plainly kilopascal.
///
/// Errors: [`ReadError::NoUnit`], with all of them in what is to be typed.
pub(super) fn refuse_unitless(
    sides: [(Option<&Slot>, &Column); 2],
    turning: &Turning,
    name: &str,
) -> Result<(), ReadError> {
    let mut doubted: Vec<(usize, &Slot, Called, f64)> = Vec::new();
    for (index, (slot, values)) in sides.into_iter().enumerate() {
        let Some(slot) = slot else { continue };
        let Measure::Pressure(None, called) = slot.measure else { continue };
        let Some(spread) = Spread::of(values, &turning.off) else { continue };
        let dead = values.range().is_none_or(|ends| ends == (0.0, 0.0));
        let running = turning.running_middle(values);
        let doubt = match unit_shown(spread) {
            UnitShown::Atmosphere(_) => false,
            UnitShown::Unknown => true,
            UnitShown::Assumed => running.is_some_and(|m| !is_possible_kpa(m, called)) && !dead,
        };
        if doubt {
            doubted.push((index + 1, slot, called, running.unwrap_or(spread.middle)));
        }
    }
    let Some((_, first, _, typical)) = doubted.first().copied() else { return Ok(()) };
    let typed = |(side, slot, called, middle): &(usize, &Slot, Called, f64)| {
        let role = if *called == Called::Absolute { "map" } else { "vac" };
        format!("{role}{side}={} [{}]", slot.typed, likely_unit(*middle).symbol())
    };
    let columns: Vec<String> = doubted.iter().map(typed).collect();
    Err(ReadError::NoUnit {
        name: name.to_string(),
        heading: first.heading.clone(),
        typical: shown(typical),
        example: format!("--columns \"{}\"", columns.join(",")),
    })
}

/// The unit in which a running engine most likely gives such a number, as an example for a person.
fn likely_unit(middle: f64) -> PressureUnit {
    match middle.abs() {
        m if m < 1.2 => PressureUnit::Bar,
        m if m < 12.5 => PressureUnit::Psi,
        m if m < 30.0 => PressureUnit::InHg,
        m if m < 110.0 => PressureUnit::Kpa,
        m if m < 1100.0 => PressureUnit::Mbar,
        _ => PressureUnit::Pa,
    }
}

/// A vacuum by name alone that is low for an idle, where absolute pressure would make it normal.
pub(super) fn vacuum_doubtful(
    sides: &[Option<Part>; 2],
    kinds: &[Option<Kind>; 2],
    rpm: Option<&Column>,
    baro: Baro,
) -> Option<Remark> {
    let rpm = rpm?;
    let parts = || sides.iter().zip(kinds).filter_map(|(part, kind)| Some((part.as_ref()?, kind)));
    let by_name_alone = |(part, kind): (&Part, &Option<Kind>)| {
        !part.slot.said && part.spread.off.is_none() && *kind == Some(Kind::Vacuum)
    };
    if !parts().all(by_name_alone) {
        return None;
    }
    let (slowest, fastest) = (IDLE_RPM.start().next_down(), IDLE_RPM.end().next_up());
    let idling = some_between(rpm, slowest, fastest);
    let mut low = Vec::new();
    for (part, _) in parts() {
        let kpa = middle_on(&part.values, &idling)?;
        if !IDLE_VACUUM.contains(&(baro.kpa - kpa)) {
            return None;
        }
        low.push((&part.slot.typed, kpa));
    }
    if !low.iter().any(|(_, kpa)| *kpa < LOW_AT_IDLE) {
        return None;
    }
    let sides = sides.iter().enumerate();
    let typed = sides.filter_map(|(i, p)| Some(format!("map{}={}", i + 1, p.as_ref()?.slot.typed)));
    let columns = typed.collect::<Vec<_>>().join(",");
    Some(Remark::of_pressures("vacuum_doubtful", low.len(), &[], |say| {
        let reads =
            |(typed, kpa): &(&String, f64)| format!("{typed:?} reads {}", say.pressure(*kpa, 1));
        let readings: Vec<String> = low.iter().map(reads).collect();
        format!(
            "{}: at idle this is a low vacuum; if the column holds absolute pressure the advice turns round: say so with --columns \"{columns}\"",
            readings.join(", ")
        )
    }))
}

/// Both sides read the same in every row, which two sensors never do.
pub(super) fn same_column(one: &Column, two: &Column) -> Option<Remark> {
    let same = |(a, b): (f64, f64)| a == b || (a.is_nan() && b.is_nan());
    let filled = one.len() - one.missing();
    let (low, high) = one.range()?;
    let moves = low < high;
    (filled >= FEWEST && moves && one.len() == two.len() && one.iter().zip(two).all(same)).then(|| {
        let text = "both vacuum columns hold the same readings: the same sensor twice? Check the wiring and --columns";
        Remark::new("same_column", filled, &[], text)
    })
}

/// Refuses pressures that may be vacuum and absolute with equal right. `open` says for which sides
/// the values did not show the kind.
///
/// Errors: [`ReadError::AmbiguousKind`].
pub(super) fn refuse_two_kinds(
    sides: &[Option<Part>; 2],
    open: [bool; 2],
    name: &str,
) -> Result<(), ReadError> {
    let either = |part: &&Part| {
        part.called == Called::Pressure
            && part.spread.high <= DEEPEST
            && part.running.is_some_and(|kpa| EITHER_KIND.contains(&kpa))
    };
    let open: Vec<(usize, &Part)> = (0..2)
        .filter(|index| open[*index])
        .filter_map(|index| Some((index + 1, sides[index].as_ref().filter(either)?)))
        .collect();
    if open.is_empty() {
        return Ok(());
    }
    let each = |say: &dyn Fn(usize, &Part) -> String, between: &str| {
        open.iter().map(|(side, part)| say(*side, part)).collect::<Vec<_>>().join(between)
    };
    let columns = |role: &str| {
        let named = each(&|side, part| format!("{role}{side}={}", part.slot.typed), ",");
        format!("--columns \"{named}\"")
    };
    let reading =
        |part: &Part| format!("{} kPa", shown(part.running.unwrap_or(part.spread.middle)));
    Err(ReadError::AmbiguousKind {
        name: name.to_string(),
        headings: each(&|_, part| format!("{:?}", part.slot.typed), " and "),
        typical: each(&|_, part| reading(part), " and "),
        vacuum: columns("vac"),
        absolute: columns("map"),
    })
}
