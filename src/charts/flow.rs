//! The chart of the airflow meters: both flows, their ratio with the tolerance, and the speed.

use super::balance::{Speed, drawn_speed};
use super::difference::side_keys;
use super::ink;
use super::legend::{self, Key, Sample};
use super::panel::{self, Margins, Panel, Plan};
use super::scale::{Clock, Range};
use super::sheet::{Sheet, Sign, Type};
use super::trace::{Series, time_range};
use super::{ChartError, Frame};
use crate::findings::Sides;
use crate::findings::flow::{Flow, FlowBlock, FlowPlateau};
use crate::sample::Meaning;
use crate::signal::Signal;
use crate::signal::plateaus::Kind;
use crate::units::Kpa;

/// Cycles further apart than this are not joined by a line, s.
const APART_S: f64 = 1.5;
/// One value in so many may lie beyond the scale at either end.
const STRAYS: usize = 100;
/// The panel of the ratio spans at least this much, %.
const LEAST_PERCENT: f64 = 8.0;

/// More air on side 1 than on side 2, %.
fn percent(ratio: f64) -> f64 {
    100.0 * (ratio - 1.0)
}

/// A value of every cycle as a line, broken where cycles were left out.
fn series(blocks: &[FlowBlock], value: impl Fn(&FlowBlock) -> f64) -> Series {
    let near = |a: &FlowBlock, b: &FlowBlock| b.at_s - a.at_s < APART_S;
    let run = |run: &[FlowBlock]| {
        let points = run.iter().map(|block| (block.at_s, value(block)));
        points.filter(|(at, value)| Range::drawable(*at) && Range::drawable(*value)).collect()
    };
    Series { runs: blocks.chunk_by(near).map(run).collect() }
}

/// The range of nearly all values of a series.
fn most<'a>(all: impl IntoIterator<Item = &'a Series>) -> Option<Range> {
    let points = all.into_iter().flat_map(|series| series.runs.iter().flatten());
    let mut values: Vec<f64> = points.map(|(_, value)| *value).collect();
    values.sort_by(f64::total_cmp);
    let strays = values.len() / STRAYS;
    Range::of(values.get(strays..values.len() - strays)?.iter().copied())
}

/// What is drawn, in the unit of the picture.
struct Drawn<'a> {
    signal: &'a Signal,
    finding: &'a Flow,
    sides: [Series; 2],
    ratio: Series,
    /// When the meters changed places, s.
    turns: Vec<f64>,
}

impl<'a> Drawn<'a> {
    fn new(frame: &Frame, signal: &'a Signal, finding: &'a Flow) -> Drawn<'a> {
        let shown = |kpa: f64| frame.unit.from_kpa(Kpa(kpa));
        let swap =
            |meaning: &Meaning| matches!(meaning, Meaning::MetersSwapped | Meaning::MetersDirect);
        let turns = signal.track.marks.iter().filter(|mark| swap(&mark.meaning));
        let blocks = &finding.blocks;
        Drawn {
            signal,
            finding,
            sides: [series(blocks, |b| shown(b.flow1_kpa)), series(blocks, |b| shown(b.flow2_kpa))],
            ratio: series(blocks, |b| percent(b.flow1_over_flow2)),
            turns: turns.map(|mark| mark.at.0).filter(|at| Range::drawable(*at)).collect(),
        }
    }

    fn plateaus(&self) -> impl Iterator<Item = &'a FlowPlateau> {
        let drawable = |p: &&FlowPlateau| {
            let all = [p.from_s, p.to_s, p.low, p.flow1_over_flow2, p.high];
            all.into_iter().all(Range::drawable)
        };
        self.finding.plateaus.iter().filter(drawable)
    }

    /// The limits of the ratio, %.
    fn limits(&self) -> [f64; 2] {
        let limit = 1.0 + self.finding.tolerance_percent / 100.0;
        [percent(1.0 / limit), percent(limit)]
    }

    fn ratio_range(&self) -> Option<Range> {
        let ends = self.plateaus().flat_map(|p| [percent(p.low), percent(p.high)]);
        let told = Range::of(self.limits().into_iter().chain(ends).chain([0.0]))?;
        Some(told.join(most([&self.ratio])).at_least(LEAST_PERCENT).padded(0.08))
    }

    fn draw_turns(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        for at_s in &self.turns {
            legend::turn(sheet, panel.x.px(clock.at(*at_s)), (panel.top(), panel.bottom()));
        }
    }

    fn draw_flows(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.shade(sheet, clock, self.signal);
        panel.grid(sheet);
        self.draw_turns(sheet, panel, clock);
        let [one, two] = &self.sides;
        let square = Some((Sign::OpenSquare, 0.75));
        let mut beyond = panel.trace(sheet, clock, two, (ink::TWO, 1.7), square);
        beyond.extend(panel.trace(sheet, clock, one, (ink::ONE, 1.0), Some((Sign::Disc, 0.25))));
        panel.mark(sheet, beyond);
        panel.frame(sheet);
    }

    fn draw_ratio(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.shade(sheet, clock, self.signal);
        panel.grid(sheet);
        let [low, high] = self.limits().map(|limit| panel.y.px(limit));
        legend::limits(sheet, (panel.x.from, panel.x.to), (high, low));
        let hair = sheet.hair();
        sheet.level(panel.x.from, panel.x.to, panel.y.px(0.0), hair, ink::QUIET);
        self.draw_turns(sheet, panel, clock);
        let beyond = panel.trace(sheet, clock, &self.ratio, (ink::CYCLE, 1.0), None);
        for p in self.plateaus() {
            let y = |ratio: f64| panel.y.px(percent(ratio));
            let stretch = panel.stretch(clock, p.from_s, p.to_s);
            legend::interval(sheet, stretch, (y(p.high), y(p.flow1_over_flow2), y(p.low)));
        }
        panel.mark(sheet, beyond);
        panel.frame(sheet);
    }

    fn plans(&self, frame: &Frame, sides: &Sides) -> Option<Vec<Plan>> {
        let mut keys = side_keys(sides);
        let has = |kind| self.signal.plateaus.iter().any(|p| p.kind == kind);
        if has(Kind::Running) {
            keys.push(Key::new(Sample::Shade, "steady speed"));
        }
        if has(Kind::EngineOff) {
            keys.push(Key::new(Sample::Hatch, "engine off"));
        }
        if !self.turns.is_empty() {
            keys.push(Key::new(Sample::Dashed(ink::QUIET, legend::TURN), "meters change places"));
        }
        let heading = format!("Differential pressure of the flow ({})", frame.unit.symbol());
        let range = most(&self.sides)?.padded(0.3);
        let flows = Plan { heading, keys, lane: 0.0, weight: 1.0, range };
        let [low, high] = self.limits();
        let keys = vec![
            Key::new(Sample::Line(ink::CYCLE, 1.0, None), "by cycle"),
            Key::new(Sample::Interval, "mean, 95 % interval"),
            Key::new(Sample::Limits, format!("tolerance {low:+.1} to {high:+.1} %")),
        ];
        let heading = format!("More air through {} than through {} (%)", sides.one, sides.two);
        let range = self.ratio_range()?;
        Some(vec![flows, Plan { heading, keys, lane: 0.0, weight: 1.15, range }])
    }
}

/// Lays out the chart.
pub(super) fn draw(
    frame: &Frame,
    type_size: Type,
    signal: &Signal,
    finding: &Flow,
    sides: &Sides,
) -> Result<Sheet, ChartError> {
    let nothing = || ChartError::NothingToDraw("the log holds no steady flow of both meters");
    let time_s = time_range(signal).ok_or_else(nothing)?;
    let drawn = Drawn::new(frame, signal, finding);
    let mut sheet = Sheet::new(frame, type_size)?;
    let sides = &sheet.names(sides);
    let clock = Clock::of(time_s);
    let time = Range::of([clock.at(time_s.low()), clock.at(time_s.high())]).unwrap_or(time_s);
    let mut plans = drawn.plans(frame, sides).ok_or_else(nothing)?;
    let speed = Speed::new(signal);
    plans.extend(speed.iter().map(Speed::plan));
    let room = panel::tick_room(&sheet, plans.iter().map(|p| &p.range));
    let space = panel::title(&mut sheet, &finding.say, NOTES);
    let margins = Margins::over_time_axis(&sheet, room);
    let panels = panel::stack(&mut sheet, plans, time, space, margins)?;
    drawn.draw_flows(&mut sheet, &panels[0], &clock);
    drawn.draw_ratio(&mut sheet, &panels[1], &clock);
    drawn_speed(&mut sheet, &speed, panels.get(2), &clock, signal);
    if let Some(last) = panels.last() {
        last.time_axis(&mut sheet, clock.label);
    }
    Ok(sheet)
}

const NOTES: &str = "By cycle as the meters show it, their zeros taken out; where the meters change places, what \
    they differ by drops out of the mean.";
