//! The keys of a profile that say how the engine is built: cylinders, firing order, and which of them
//! each carburettor feeds.

use super::profile::{Wrong, take, text};
use super::values;
use toml::{Table, Value};

/// How the engine is built, as far as the profile says.
pub struct Built {
    /// Cylinders, both sides together; those of the firing order where only that is said.
    pub cylinders: Option<u32>,
    /// Cylinders in the order in which they fire.
    pub firing_order: Option<Vec<u32>>,
    /// Cylinders that carburettor 1 feeds.
    pub carb1_cylinders: Option<Vec<u32>>,
}

/// Cylinders of an engine of which nobody said anything.
const USUAL: u32 = 4;

/// Reads the three keys, which have to agree.
///
/// # Errors
/// A value that makes no sense by itself or beside the others.
pub fn read(table: &Table) -> Result<Built, Wrong> {
    let name = "cylinders";
    let given = take(table, name, |value| u32::try_from(value.as_integer()?).ok())?;
    let said = given.map(|n| values::checked_cylinders(n).map_err(|what| (name, what)));
    let said = said.transpose()?;
    let firing_order = take(table, "firing_order", text)?;
    let firing_order =
        firing_order.map(|order| fired(&order, said).map_err(|what| ("firing_order", what)));
    let firing_order = firing_order.transpose()?;
    let cylinders = said.or(firing_order.as_ref().map(|order| order.len() as u32));
    let carb1_cylinders = take(table, "carb1_cylinders", whole_numbers)?;
    let of = cylinders.unwrap_or(USUAL);
    if let Some(fed) = &carb1_cylinders {
        each_once(fed, of).map_err(|what| ("carb1_cylinders", what))?;
        if fed.is_empty() || fed.len() as u32 >= of {
            let what =
                "leaves none to one of the two carburettors; write those of carburettor 1, like";
            return Err(("carb1_cylinders", what.into()));
        }
    }
    Ok(Built { cylinders, firing_order, carb1_cylinders })
}

fn whole_numbers(value: &Value) -> Option<Vec<u32>> {
    value.as_array()?.iter().map(|number| u32::try_from(number.as_integer()?).ok()).collect()
}

/// A firing order such as `1-3-4-2`; commas and blanks do as well as dashes.
fn fired(order: &str, cylinders: Option<u32>) -> Result<Vec<u32>, String> {
    let parts = order.split(|c: char| !c.is_ascii_digit()).filter(|part| !part.is_empty());
    let numbers: Option<Vec<u32>> = parts.map(|part| part.parse().ok()).collect();
    let numbers = numbers.filter(|numbers| !numbers.is_empty());
    let numbers = numbers.ok_or_else(|| format!("{order:?} is no firing order; write it like"))?;
    let count = numbers.len() as u32;
    if let Some(said) = cylinders.filter(|said| *said != count) {
        let what = format!("{order:?} has {count} cylinders, but cylinders says {said}");
        return Err(format!("{what}; put one of the two right, for example"));
    }
    values::checked_cylinders(count)?;
    each_once(&numbers, count)?;
    Ok(numbers)
}

fn each_once(numbers: &[u32], of: u32) -> Result<(), String> {
    for (at, number) in numbers.iter().enumerate() {
        if !(1..=of).contains(number) {
            return Err(format!(
                "an engine of {of} cylinders has no cylinder {number}; write it like"
            ));
        }
        if numbers[..at].contains(number) {
            return Err(format!("it names cylinder {number} twice; write it like"));
        }
    }
    Ok(())
}
