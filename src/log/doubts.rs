//! What the values of the sides leave open, and what is to be typed to settle it.

use super::ReadError;
use super::claims::Called;
use super::evidence::DEEPEST;
use super::pressure::{Part, shown};

/// Readings of a running engine that are possible as vacuum and as absolute pressure, kPa: an idle
/// draws 50 to 75 below an atmosphere of 100, and open throttles leave less (common practice, no
/// published source).
const EITHER_KIND: std::ops::RangeInclusive<f64> = 15.0..=85.0;

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
