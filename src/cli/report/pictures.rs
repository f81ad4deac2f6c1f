//! The charts of the page, drawn to the width of a sheet.

use crate::charts::{self, ChartError, Frame};
use crate::cli::load::Loaded;
use crate::findings::balance::Balance;
use crate::findings::breather::Breather;
use crate::findings::hunt::Hunt;
use crate::report::handover::{self, Balances, Drawing};
use crate::units::PressureUnit;

const ACROSS: (u32, u32) = (1800, 900);
const BESIDE: (u32, u32) = (900, 900);
const COMPARED: (u32, u32) = (1800, 1120);
const HUNT: (u32, u32) = (1800, 1000);

fn frame((width, height): (u32, u32), unit: PressureUnit) -> Frame {
    Frame { width, height, unit }
}

/// `None` where a log has nothing to draw.
fn drawn(chart: Result<String, ChartError>) -> Result<Option<String>, ChartError> {
    match chart {
        Ok(chart) => Ok(Some(chart)),
        Err(ChartError::NothingToDraw(_)) => Ok(None),
        Err(error) => Err(error),
    }
}

/// The breather, one chart a log, on one scale.
pub fn breather(
    unit: PressureUnit,
    logs: &[(&str, &Loaded, &Breather)],
) -> Result<Vec<String>, ChartError> {
    let Some((_, latest, _)) = logs.last() else { return Ok(Vec::new()) };
    let size = if logs.len() > 1 { BESIDE } else { ACROSS };
    let named: Vec<_> =
        logs.iter().map(|(name, log, found)| (*name, &log.signal, *found)).collect();
    let charts = charts::breather_svgs(&frame(size, unit), &named, &latest.conditions.sides)?;
    Ok(charts.into_iter().flatten().collect())
}

/// Both balances side by side on one scale, or each by itself where one of them has no such picture: that of a
/// sensor moved from side to side.
pub fn balance(
    unit: PressureUnit,
    logs: [Option<&Loaded>; 2],
    balances: &Balances,
) -> Result<Vec<Drawing>, ChartError> {
    let frame = frame(COMPARED, unit);
    if let ([Some(before), Some(after)], Some(change)) = (logs, &balances.change) {
        let sides = &after.conditions.sides;
        let both = charts::compare_svg(&frame, &before.signal, &after.signal, change, sides);
        if let Some(svg) = drawn(both)? {
            return Ok(vec![Drawing { of: None, svg }]);
        }
    }
    let two = logs.iter().flatten().count() > 1;
    let findings = [("before", &balances.pair.before), ("after", &balances.pair.after)];
    let mut drawings = Vec::new();
    for (log, (name, found)) in logs.into_iter().zip(findings) {
        let (Some(log), Some(found)) = (log, found) else { continue };
        let svg = one(&frame, log, &found.finding)?;
        drawings.extend(svg.map(|svg| Drawing { of: two.then_some(name), svg }));
    }
    Ok(drawings)
}

fn one(frame: &Frame, log: &Loaded, finding: &Balance) -> Result<Option<String>, ChartError> {
    drawn(charts::balance_svg(frame, &log.signal, finding, &log.conditions.sides))
}

/// The hunt.
pub fn hunt(
    unit: PressureUnit,
    log: &Loaded,
    finding: &Hunt,
) -> Result<Option<String>, ChartError> {
    let finding = handover::fit(finding);
    drawn(charts::hunt_svg(&frame(HUNT, unit), &finding, &log.conditions.sides))
}
