//! The balance chart.

use super::difference::side_keys;
use super::ink;
use super::lane::Lane;
use super::pair::Pair;
use super::panel::{self, Margins, Panel, Plan};
use super::scale::{Clock, Range};
use super::sheet::{Sheet, Type};
use super::trace::{Series, standing, time_range};
use super::wording::{lane_words, meaning};
use super::{ChartError, Frame, one_sensor};
use crate::findings::Sides;
use crate::findings::balance::{Balance, ZeroMethod};
use crate::signal::Signal;

/// Lays out the chart.
pub(super) fn draw(
    frame: &Frame,
    type_size: Type,
    signal: &Signal,
    finding: &Balance,
    sides: &Sides,
) -> Result<Sheet, ChartError> {
    if finding.zero.method == ZeroMethod::OneSensor {
        return one_sensor::draw(frame, type_size, signal, finding, sides);
    }
    let nothing = ChartError::NothingToDraw("the log holds no engine cycle");
    let time_s = time_range(signal).ok_or(nothing)?;
    let pair = Pair::new(frame, signal, finding)?;
    let mut sheet = Sheet::new(frame, type_size)?;
    let sides = &sheet.names(sides);
    let clock = Clock::of(time_s);
    let time = Range::of([clock.at(time_s.low()), clock.at(time_s.high())]).unwrap_or(time_s);
    let speed = Speed::new(signal);
    let plans = plans(&pair, &speed, frame, sides)?;
    let room = panel::tick_room(&sheet, plans.iter().map(|p| &p.range));
    let (left, right) = panel::edges(&sheet);
    let edges = (left + room, right);
    let labels = pair.labels(edges, time, &clock);
    let lane = Lane::new(&sheet, &labels, edges.0, edges.1);
    let space = panel::title(&mut sheet, &finding.say, &notes(&pair, sides, &lane));
    let mut plans = plans;
    plans[0].lane = lane.height(&sheet);
    let margins = Margins::over_time_axis(&sheet, room);
    let panels = panel::stack(&mut sheet, plans, time, space, margins)?;
    lane.draw(&mut sheet, panels[0].top());
    pair.draw_vacuums(&mut sheet, &panels[0], &clock);
    pair.draw_difference(&mut sheet, &panels[1], &clock);
    drawn_speed(&mut sheet, &speed, panels.get(2), &clock, signal);
    if let Some(last) = panels.last() {
        last.time_axis(&mut sheet, clock.label);
    }
    Ok(sheet)
}

fn notes(pair: &Pair, sides: &Sides, lane: &Lane) -> String {
    let mut notes = pair.zero_words();
    notes.push(' ');
    notes.push_str(&meaning(sides));
    notes.extend(lane_words(std::slice::from_ref(lane), pair.unit()));
    notes
}

fn plans(
    pair: &Pair,
    speed: &Option<Speed>,
    frame: &Frame,
    sides: &Sides,
) -> Result<Vec<Plan>, ChartError> {
    let nothing = || ChartError::NothingToDraw("no reading of either vacuum can be drawn");
    let symbol = frame.unit.symbol();
    let vacuum = pair.vacuum_range().ok_or_else(nothing)?;
    let difference = pair.difference_range().ok_or_else(nothing)?;
    let mut keys = side_keys(sides);
    keys.extend(pair.common_keys(vacuum, difference));
    let mut plans = vec![
        Plan { heading: format!("Vacuum ({symbol})"), keys, lane: 0.0, weight: 1.0, range: vacuum },
        Plan {
            heading: format!("{} less {} ({symbol})", sides.one, sides.two),
            keys: pair.difference_keys(),
            lane: 0.0,
            weight: 1.15,
            range: difference,
        },
    ];
    plans.extend(speed.as_ref().map(Speed::plan));
    Ok(plans)
}

/// Draws the speed where the log has one.
pub(super) fn drawn_speed(
    sheet: &mut Sheet,
    speed: &Option<Speed>,
    panel: Option<&Panel>,
    clock: &Clock,
    signal: &Signal,
) {
    if let (Some(speed), Some(panel)) = (speed, panel) {
        speed.draw(sheet, panel, clock, signal);
    }
}

/// The engine speed by cycle.
pub(super) struct Speed {
    series: Series,
    range: Range,
}

impl Speed {
    /// `None` when the log has no speed.
    pub fn new(signal: &Signal) -> Option<Speed> {
        let skip = standing(signal);
        let series = Series::of(signal, &skip, signal.cycles.rpm.as_deref(), 1.0)?;
        let range = series.extent()?.at_least(20.0).padded(0.06);
        Some(Speed { series, range })
    }

    /// Its panel before it has a place.
    pub fn plan(&self) -> Plan {
        Plan {
            heading: "Engine speed (rev/min)".into(),
            keys: Vec::new(),
            lane: 0.0,
            weight: 0.7,
            range: self.range,
        }
    }

    /// Draws it.
    pub fn draw(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock, signal: &Signal) {
        panel.shade(sheet, clock, signal);
        panel.grid(sheet);
        panel.trace(sheet, clock, &self.series, (ink::TEXT, 1.0), None);
        panel.frame(sheet);
    }
}
