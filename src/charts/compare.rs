//! The before-and-after chart.

use super::difference::side_keys;
use super::lane::Lane;
use super::legend::{Head, Key};
use super::pair::Pair;
use super::panel::{self, Margins, Panel, Plan, Space};
use super::scale::{Clock, Range};
use super::shares::Shares;
use super::sheet::{Sheet, Type};
use super::trace::time_range;
use super::wording::{lane_words, meaning};
use super::{ChartError, Frame};
use crate::findings::Sides;
use crate::findings::compare::Comparison;
use crate::signal::Signal;

/// Lays out the chart.
pub(super) fn draw(
    frame: &Frame,
    type_size: Type,
    before: &Signal,
    after: &Signal,
    finding: &Comparison,
    sides: &Sides,
) -> Result<Sheet, ChartError> {
    let before = Column::new("Before", Pair::new(frame, before, &finding.before)?)?;
    let after = Column::new("After", Pair::new(frame, after, &finding.after)?)?;
    let mut sheet = Sheet::new(frame, type_size)?;
    let sides = &sheet.names(sides);
    let scale = Scale::of(&before, &after)?;
    let shares = Shares::new(finding, sides, frame);
    let ranges = [&scale.difference, &scale.vacuum];
    let room =
        panel::tick_room(&sheet, ranges.into_iter().chain(shares.as_ref().map(Shares::range)));
    let em = sheet.em;
    let (left, right) = panel::edges(&sheet);
    let middle = 0.5 * (left + right);
    let lanes = [
        before.lane(&sheet, (left + room, middle - 1.2 * em)),
        after.lane(&sheet, (middle + 1.2 * em + room, right)),
    ];
    let notes = notes(&before, &after, sides, &lanes);
    let space = panel::title(&mut sheet, &finding.say, &notes);
    let heading = format!("{} less {} ({})", sides.one, sides.two, frame.unit.symbol());
    let keys = keys(&before.pair, &after.pair, &scale);
    let head = Head::new(&sheet, &heading, keys, space.right - space.left);
    head.draw(&mut sheet, space.left, space.right, space.top);
    let foot = if shares.is_some() { (0.25 * sheet.height).max(15.0 * em) } else { 0.0 };
    let top = space.top + head.height(&sheet);
    let upper = Space { top, bottom: space.bottom - foot, ..space };
    let halves =
        [Space { right: middle - 1.2 * em, ..upper }, Space { left: middle + 1.2 * em, ..upper }];
    let height = lanes.iter().map(|lane| lane.height(&sheet)).fold(0.0, f64::max);
    let margins = Margins::over_time_axis(&sheet, room);
    for ((column, half), lane) in [&before, &after].into_iter().zip(halves).zip(lanes) {
        let plans = column.plans(&scale, height, frame, sides);
        let panels = panel::stack(&mut sheet, plans, column.time, half, margins)?;
        column.draw(&mut sheet, &panels, &lane);
    }
    if let Some(shares) = shares {
        let lower = Space { top: upper.bottom + 0.6 * em, ..space };
        shares.draw(&mut sheet, lower, room)?;
    }
    Ok(sheet)
}

/// What both halves have in common.
struct Scale {
    difference: Range,
    vacuum: Range,
}

impl Scale {
    fn of(before: &Column, after: &Column) -> Result<Scale, ChartError> {
        let nothing = || ChartError::NothingToDraw("no reading of either vacuum can be drawn");
        let difference = before.pair.difference_range().ok_or_else(nothing)?;
        let vacuum = before.pair.vacuum_range().ok_or_else(nothing)?;
        Ok(Scale {
            difference: difference.join(after.pair.difference_range()),
            vacuum: vacuum.join(after.pair.vacuum_range()),
        })
    }
}

/// One log: one half of the picture.
struct Column<'a> {
    name: &'static str,
    pair: Pair<'a>,
    clock: Clock,
    time: Range,
}

impl<'a> Column<'a> {
    fn new(name: &'static str, pair: Pair<'a>) -> Result<Column<'a>, ChartError> {
        let nothing = ChartError::NothingToDraw("one of the logs holds no engine cycle");
        let time_s = time_range(pair.signal).ok_or(nothing)?;
        let clock = Clock::of(time_s);
        let time = Range::of([clock.at(time_s.low()), clock.at(time_s.high())]).unwrap_or(time_s);
        Ok(Column { name, pair, clock, time })
    }

    fn lane(&self, sheet: &Sheet, edges: (f64, f64)) -> Lane {
        Lane::new(sheet, &self.pair.labels(edges, self.time, &self.clock), edges.0, edges.1)
    }

    fn plans(&self, scale: &Scale, lane: f64, frame: &Frame, sides: &Sides) -> Vec<Plan> {
        let symbol = frame.unit.symbol();
        vec![
            Plan {
                heading: self.name.into(),
                keys: Vec::new(),
                lane,
                weight: 1.3,
                range: scale.difference,
            },
            Plan {
                heading: format!("Vacuum ({symbol})"),
                keys: side_keys(sides),
                lane: 0.0,
                weight: 1.0,
                range: scale.vacuum,
            },
        ]
    }

    fn draw(&self, sheet: &mut Sheet, panels: &[Panel], lane: &Lane) {
        lane.draw(sheet, panels[0].top());
        self.pair.draw_difference(sheet, &panels[0], &self.clock);
        self.pair.draw_vacuums(sheet, &panels[1], &self.clock);
        panels[1].time_axis(sheet, self.clock.label);
    }
}

/// Legend that both halves share.
fn keys(before: &Pair, after: &Pair, scale: &Scale) -> Vec<Key> {
    let common = |pair: &Pair| pair.common_keys(scale.vacuum, scale.difference);
    let mut keys = before.difference_keys();
    for key in [after.difference_keys(), common(before), common(after)].into_iter().flatten() {
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    keys
}

fn notes(before: &Column, after: &Column, sides: &Sides, lanes: &[Lane; 2]) -> String {
    let (was, is) = (before.pair.zero_words(), after.pair.zero_words());
    let zero = if was == is { was } else { format!("Before: {was} After: {is}") };
    let mut notes = format!("{zero} {}", meaning(sides));
    notes.extend(lane_words(lanes, before.pair.unit()));
    notes
}
