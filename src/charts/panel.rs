//! Panels one above the other on one time axis.

use super::ChartError;
use super::clip::{self, Beyond};
use super::ink::{self, Ink};
use super::legend::{self, Head, Key};
use super::scale::{Axis, Clock, Range, Tick, ticks};
use super::sheet::{Anchor, Point, Sheet, Sign};
use super::text::LINE;
use super::trace::{self, Series};
use crate::signal::Signal;
use crate::signal::plateaus::Kind;

/// What a panel needs to know before it has a place.
pub(super) struct Plan {
    /// Heading: the quantity and its unit.
    pub heading: String,
    /// Legend.
    pub keys: Vec<Key>,
    /// Room for labels between heading and plot, pixels.
    pub lane: f64,
    /// Share of the height.
    pub weight: f64,
    /// Range of the upright axis.
    pub range: Range,
}

/// A panel in its place.
pub(super) struct Panel {
    /// Horizontal axis.
    pub x: Axis,
    /// Upright axis.
    pub y: Axis,
}

/// A rectangle of the sheet, pixels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Space {
    /// Left edge.
    pub left: f64,
    /// Right edge.
    pub right: f64,
    /// Upper edge.
    pub top: f64,
    /// Lower edge.
    pub bottom: f64,
}

/// Most lines of a title; what is longer ends in an ellipsis there and stands whole in the report.
const MOST_LINES: usize = 4;

/// Left and right edge of everything, pixels.
pub(super) fn edges(sheet: &Sheet) -> (f64, f64) {
    (1.2 * sheet.em, sheet.width - 1.6 * sheet.em)
}

/// Draws title and subtitle; returns the space under them.
pub(super) fn title(sheet: &mut Sheet, say: &str, notes: &str) -> Space {
    let em = sheet.em;
    let (left, right) = edges(sheet);
    let mut face = sheet.strong();
    face.em = 1.32 * em;
    let mut lines = sheet.fonts().wrap_evenly(say, true, (right - left) / face.em);
    if lines.len() > 3 {
        face.em = 1.05 * em;
        lines = sheet.fonts().wrap_evenly(say, true, (right - left) / face.em);
    }
    if lines.len() > MOST_LINES {
        let rest = lines.split_off(MOST_LINES - 1).join(" ");
        lines.push(sheet.fonts().shorten(&rest, true, (right - left) / face.em));
    }
    let mut y = 0.7 * em;
    for line in &lines {
        sheet.text((left, y + face.em), Anchor::Start, face, line);
        y += LINE * face.em;
    }
    y += 0.1 * em;
    let quiet = sheet.quiet();
    for line in sheet.fonts().wrap_evenly(notes, false, (right - left) / em) {
        sheet.text((left, y + em), Anchor::Start, quiet, &line);
        y += LINE * em;
    }
    sheet.title = say.to_owned();
    Space { left, right, top: y + 0.7 * em, bottom: sheet.height - 0.6 * em }
}

/// Height of a panel under which its axis cannot be read, em.
const LEAST: f64 = 3.8;

/// What a stack of panels keeps free at its edges.
#[derive(Debug, Clone, Copy)]
pub(super) struct Margins {
    /// Width for the numbers of the upright axes, pixels.
    pub ticks: f64,
    /// Height under the lowest panel, pixels.
    pub foot: f64,
}

impl Margins {
    /// Room for the numbers and the label of a time axis.
    pub fn over_time_axis(sheet: &Sheet, ticks: f64) -> Margins {
        Margins { ticks, foot: 3.1 * sheet.em }
    }
}

/// Places panels in a space, draws headings and legends, and returns the panels.
///
/// # Errors
/// [`ChartError::Drawing`] when the space is too low.
pub(super) fn stack(
    sheet: &mut Sheet,
    plans: Vec<Plan>,
    time: Range,
    space: Space,
    margins: Margins,
) -> Result<Vec<Panel>, ChartError> {
    let em = sheet.em;
    let weights: f64 = plans.iter().map(|p| p.weight).sum();
    let laid: Vec<(Head, Plan)> = plans
        .into_iter()
        .map(|mut plan| {
            let keys = std::mem::take(&mut plan.keys);
            (Head::new(sheet, &plan.heading, keys, space.right - space.left), plan)
        })
        .collect();
    let between = 0.9 * em;
    let fixed: f64 = laid.iter().map(|(head, plan)| head.height(sheet) + plan.lane + between).sum();
    let room = space.bottom - space.top - fixed - (margins.foot - between);
    if room < LEAST * em * laid.len() as f64 {
        let least = sheet.unbound(sheet.height - room + LEAST * em * laid.len() as f64);
        let (width, height) = (sheet.width, sheet.height);
        return Err(ChartError::Drawing(format!(
            "a picture {width} pixels wide needs a height of at least {least:.0} for its panels and words; \
             {height} were given"
        )));
    }
    let mut top = space.top;
    let mut panels = Vec::new();
    for (head, plan) in laid {
        head.draw(sheet, space.left, space.right, top);
        let plot = top + head.height(sheet) + plan.lane;
        let height = (room * plan.weight / weights).floor();
        let x = Axis {
            range: time,
            from: (space.left + margins.ticks).round(),
            to: space.right.round(),
        };
        let y = Axis { range: plan.range, from: (plot + height).round(), to: plot.round() };
        panels.push(Panel { x, y });
        top = plot + height + between;
    }
    Ok(panels)
}

/// Width that the numbers of the upright axes take, pixels.
pub(super) fn tick_room<'a>(sheet: &Sheet, ranges: impl IntoIterator<Item = &'a Range>) -> f64 {
    let face = sheet.quiet();
    let widest = ranges
        .into_iter()
        .flat_map(|range| (2..=8).flat_map(|most| ticks(*range, most)))
        .map(|tick| sheet.measure(&tick.text, face))
        .fold(0.0, f64::max);
    widest + 0.6 * sheet.em
}

impl Panel {
    /// Upper edge.
    pub fn top(&self) -> f64 {
        self.y.to
    }

    /// Lower edge.
    pub fn bottom(&self) -> f64 {
        self.y.from
    }

    /// Where a time (in the unit of the axis) and a value stand.
    pub fn place(&self, time: f64, value: f64) -> Point {
        (self.x.px(time), self.y.px(value))
    }

    /// Shades the stretches of steady speed and hatches those with the engine off.
    pub fn shade(&self, sheet: &mut Sheet, clock: &Clock, signal: &Signal) {
        for plateau in &signal.plateaus {
            let (left, right) = self.stretch(clock, plateau.from_s, plateau.to_s);
            let (from, to) = ((left, self.top()), (right, self.bottom()));
            match plateau.kind {
                Kind::Running => sheet.field(from, to, ink::SHADE),
                Kind::EngineOff => legend::hatch(sheet, from, to),
            }
        }
    }

    /// Edges of a stretch of log time, at least a pixel apart.
    pub fn stretch(&self, clock: &Clock, from_s: f64, to_s: f64) -> (f64, f64) {
        let left = self.x.px(clock.at(from_s)).round();
        (left, self.x.px(clock.at(to_s)).round().max(left + 1.0))
    }

    /// Grid lines both ways and the numbers of the upright axis.
    pub fn grid(&self, sheet: &mut Sheet) {
        self.levels(sheet);
        let hair = sheet.hair();
        for tick in self.time_ticks(sheet) {
            sheet.upright(self.x.px(tick.value), self.top(), self.bottom(), hair, ink::GRID);
        }
    }

    /// Level grid lines and the numbers of the upright axis.
    pub fn levels(&self, sheet: &mut Sheet) {
        let (em, hair, face) = (sheet.em, sheet.hair(), sheet.quiet());
        let most = ((self.bottom() - self.top()) / (1.75 * em)).floor().clamp(2.0, 8.0);
        for tick in ticks(self.y.range, most as usize) {
            let y = self.y.px(tick.value);
            sheet.level(self.x.from, self.x.to, y, hair, ink::GRID);
            sheet.text((self.x.from - 0.5 * em, y + 0.36 * em), Anchor::End, face, &tick.text);
        }
    }

    fn time_ticks(&self, sheet: &Sheet) -> Vec<Tick> {
        let most = ((self.x.to - self.x.from) / (5.0 * sheet.em)).floor().clamp(2.0, 14.0);
        ticks(self.x.range, most as usize)
    }

    /// The frame, over the data.
    pub fn frame(&self, sheet: &mut Sheet) {
        let (left, right, top, bottom) = (self.x.from, self.x.to, self.top(), self.bottom());
        let hair = sheet.hair();
        sheet.level(left, right, top, hair, ink::QUIET);
        sheet.level(left, right, bottom, hair, ink::QUIET);
        sheet.upright(left, top, bottom, hair, ink::QUIET);
        sheet.upright(right, top, bottom, hair, ink::QUIET);
    }

    /// Numbers and label of the time axis.
    pub fn time_axis(&self, sheet: &mut Sheet, label: &str) {
        let (em, face) = (sheet.em, sheet.quiet());
        let (hair, bottom) = (sheet.hair(), self.bottom());
        for tick in self.time_ticks(sheet) {
            let x = self.x.px(tick.value);
            sheet.upright(x, bottom, bottom + 0.35 * em, hair, ink::QUIET);
            sheet.text((x, bottom + 1.6 * em), Anchor::Middle, face, &tick.text);
        }
        let face = sheet.strong();
        let middle = 0.5 * (self.x.from + self.x.to);
        sheet.text((middle, bottom + (1.6 + LINE) * em), Anchor::Middle, face, label);
    }

    /// A series as a line of `weight` times the thin width, with signs on it at wide intervals.
    /// Returns the parts beyond the panel, which are not drawn.
    pub fn trace(
        &self,
        sheet: &mut Sheet,
        clock: &Clock,
        series: &Series,
        (ink, weight): (Ink, f64),
        sign: Option<(Sign, f64)>,
    ) -> Vec<Beyond> {
        let width = weight * sheet.thin();
        let every = ((self.x.to - self.x.from) / 14.0).max(5.0 * sheet.em);
        let mut next = sign.map_or(f64::INFINITY, |(_, phase)| self.x.from + phase * every);
        let (mut signs, mut beyond) = (Vec::new(), Vec::new());
        for run in &series.runs {
            let points = trace::points(run, clock, |t, v| (self.x.px(t), self.y.open_px(v)));
            let cut = clip::cut(&points, (self.top(), self.bottom()));
            for piece in cut.pieces {
                for point in &piece {
                    if point.0 >= next && self.has_room(sheet, *point) {
                        signs.push(*point);
                        next = every * ((point.0 - next) / every).floor() + next + every;
                    }
                }
                sheet.line(piece, width, ink);
            }
            beyond.extend(cut.beyond);
        }
        if let Some((sign, _)) = sign {
            for at in signs {
                sheet.sign(sign, at, ink);
            }
        }
        beyond
    }

    /// True where a sign does not stand across the frame.
    fn has_room(&self, sheet: &Sheet, (x, y): Point) -> bool {
        let reach = sheet.reach();
        self.top() + reach < y && y < self.bottom() - reach && x < self.x.to - reach
    }

    /// Signs at the edges where lines go beyond them.
    pub fn mark(&self, sheet: &mut Sheet, beyond: Vec<Beyond>) {
        clip::mark(sheet, beyond, (self.x.from, self.x.to), (self.top(), self.bottom()));
    }
}
