//! The balance chart of one sensor that was moved from side to side: the stretches on either side with
//! their fitted vacuum, and what parts them.

use super::balance::{Speed, drawn_speed};
use super::difference::{TWO_WEIGHT, side_keys};
use super::lane::{Label, Lane};
use super::legend::{self, Key, Sample, TURN};
use super::pair::LEAST_KPA;
use super::panel::{self, Margins, Panel, Plan};
use super::scale::{Axis, Clock, Range};
use super::sheet::{Sheet, Sign, Type};
use super::trace::{Series, runs, standing, time_range};
use super::wording::{lane_words, meaning, plateau_words, tolerance_words};
use super::{ChartError, Frame, ink};
use crate::findings::Sides;
use crate::findings::balance::{Balance, PlateauBalance};
use crate::findings::one_sensor::OnSide;
use crate::sample::Meaning;
use crate::signal::Signal;
use crate::signal::plateaus::Kind;
use crate::units::{Kpa, PressureUnit};

/// Lays out the chart.
pub(super) fn draw(
    frame: &Frame,
    type_size: Type,
    signal: &Signal,
    finding: &Balance,
    sides: &Sides,
) -> Result<Sheet, ChartError> {
    let nothing = ChartError::NothingToDraw("the log holds no engine cycle");
    let time_s = time_range(signal).ok_or(nothing)?;
    let moved = Moved::new(frame.unit, signal, finding)?;
    let mut sheet = Sheet::new(frame, type_size)?;
    let sides = &sheet.names(sides);
    let clock = Clock::of(time_s);
    let time = Range::of([clock.at(time_s.low()), clock.at(time_s.high())]).unwrap_or(time_s);
    let speed = Speed::new(signal);
    let mut plans = moved.plans(&speed, sides);
    let room = panel::tick_room(&sheet, plans.iter().map(|p| &p.range));
    let (left, right) = panel::edges(&sheet);
    let edges = (left + room, right);
    let labels = moved.labels(Axis { range: time, from: edges.0, to: edges.1 }, &clock);
    let lane = Lane::new(&sheet, &labels, edges.0, edges.1);
    let space = panel::title(&mut sheet, &finding.say, &notes(sides, &lane, frame.unit));
    plans[0].lane = lane.height(&sheet);
    let margins = Margins::over_time_axis(&sheet, room);
    let panels = panel::stack(&mut sheet, plans, time, space, margins)?;
    lane.draw(&mut sheet, panels[0].top());
    moved.draw_vacuum(&mut sheet, &panels[0], &clock);
    moved.draw_difference(&mut sheet, &panels[1], &clock);
    drawn_speed(&mut sheet, &speed, panels.get(2), &clock, signal);
    if let Some(last) = panels.last() {
        last.time_axis(&mut sheet, clock.label);
    }
    Ok(sheet)
}

fn notes(sides: &Sides, lane: &Lane, unit: PressureUnit) -> String {
    let zero = "One sensor on both sides in turn: its zero drops out. The difference is that of the fit, which \
                takes out what both sides drift alike.";
    let mut notes = format!("{zero} {}", meaning(sides));
    notes.extend(lane_words(std::slice::from_ref(lane), unit));
    notes
}

/// The readings of one sensor and what they come to, in the unit of the picture.
struct Moved<'a> {
    signal: &'a Signal,
    finding: &'a Balance,
    unit: PressureUnit,
    /// Readings on side 1, on side 2, and those that count for neither: the hose is in the hand, or the engine settles.
    one: Series,
    two: Series,
    neither: Series,
    vacuum: Range,
    difference: Range,
}

impl<'a> Moved<'a> {
    fn new(
        unit: PressureUnit,
        signal: &'a Signal,
        finding: &'a Balance,
    ) -> Result<Moved<'a>, ChartError> {
        let nothing = || ChartError::NothingToDraw("no reading of the sensor can be drawn");
        let cycles = &signal.cycles;
        let column = cycles.vac1_kpa.as_deref().or(cycles.vac2_kpa.as_deref());
        let column = column.ok_or_else(nothing)?;
        let read =
            |block: usize| unit.from_kpa(Kpa(column.get(block).copied().unwrap_or(f64::NAN)));
        let stretch_of = |block: usize| {
            let at_s = cycles.middle_s(block);
            finding.on_sides.iter().find(|s| s.from_s <= at_s && at_s <= s.to_s)
        };
        let still = standing(signal);
        let those = |wanted: Option<bool>| {
            let skip: Vec<bool> = (0..still.len())
                .map(|block| still[block] || stretch_of(block).map(|s| s.side1) != wanted)
                .collect();
            Series { runs: runs(cycles, &skip, read) }
        };
        let [one, two, neither] = [Some(true), Some(false), None].map(those);
        let levels = finding.on_sides.iter().flat_map(|s| &s.levels);
        let ends = levels.flat_map(|level| [level.low_kpa, level.high_kpa]);
        let fitted = Range::of(ends.map(|kpa| unit.from_kpa(Kpa(kpa))));
        let drawn = one.extent().or(two.extent()).map(|r| r.join(two.extent()).join(fitted));
        let vacuum = drawn.or(neither.extent()).ok_or_else(nothing)?;
        let vacuum = vacuum.at_least(unit.from_kpa(Kpa(LEAST_KPA))).padded(0.1);
        let tolerance = finding.tolerance_kpa;
        let ends = finding.plateaus.iter().flat_map(|p| [p.low_kpa, p.high_kpa]);
        let told = [-tolerance, tolerance].into_iter().chain(ends);
        let difference = Range::of(told.map(|kpa| unit.from_kpa(Kpa(kpa)))).ok_or_else(nothing)?;
        let difference = difference.padded(0.12);
        Ok(Moved { signal, finding, unit, one, two, neither, vacuum, difference })
    }

    fn shown(&self, kpa: f64) -> f64 {
        self.unit.from_kpa(Kpa(kpa))
    }

    fn drawable(&self) -> impl Iterator<Item = &'a PlateauBalance> {
        self.finding.plateaus.iter().filter(|p| {
            [p.from_s, p.to_s, p.low_kpa, p.difference_kpa, p.high_kpa]
                .into_iter()
                .all(Range::drawable)
        })
    }

    /// When the sensor was said to be on a side, s.
    fn turns(&self) -> impl Iterator<Item = f64> {
        let marks = self.signal.track.marks.iter();
        let on = marks.filter(|mark| matches!(mark.meaning, Meaning::On(_)));
        on.map(|mark| mark.at.0).filter(|at| Range::drawable(*at))
    }

    fn plans(&self, speed: &Option<Speed>, sides: &Sides) -> Vec<Plan> {
        let symbol = self.unit.symbol();
        let mut plans = vec![
            Plan {
                heading: format!("Vacuum ({symbol})"),
                keys: self.vacuum_keys(sides),
                lane: 0.0,
                weight: 1.4,
                range: self.vacuum,
            },
            Plan {
                heading: format!("{} less {} ({symbol})", sides.one, sides.two),
                keys: self.difference_keys(),
                lane: 0.0,
                weight: 0.9,
                range: self.difference,
            },
        ];
        let steady = self.signal.plateaus.iter().any(|p| p.kind == Kind::Running);
        let shade = || Key::new(Sample::Shade, "steady speed");
        plans.extend(
            speed.as_ref().map(|speed| Plan {
                keys: steady.then(shade).into_iter().collect(),
                ..speed.plan()
            }),
        );
        plans
    }

    fn vacuum_keys(&self, sides: &Sides) -> Vec<Key> {
        let mut keys = side_keys(sides);
        if self.finding.on_sides.iter().any(|stretch| !stretch.levels.is_empty()) {
            keys.push(Key::new(Sample::Band, "fitted, 95 % interval"));
        }
        if !self.neither.runs.is_empty() {
            keys.push(Key::new(Sample::Line(ink::CYCLE, 1.0, None), "left out"));
        }
        if self.turns().next().is_some() {
            keys.push(Key::new(Sample::Dashed(ink::QUIET, TURN), "mark: sensor moved"));
        }
        if self.neither.extent().is_some_and(|extent| !self.vacuum.holds(extent)) {
            keys.push(Key::new(Sample::Beyond, "beyond the scale"));
        }
        keys
    }

    fn difference_keys(&self) -> Vec<Key> {
        let mut keys = Vec::new();
        if self.drawable().next().is_some() {
            keys.push(Key::new(Sample::Interval, "fitted, 95 % interval"));
        }
        let tolerance = tolerance_words(self.finding.tolerance_kpa, self.unit);
        keys.push(Key::new(Sample::Limits, tolerance));
        keys
    }

    fn labels(&self, axis: Axis, clock: &Clock) -> Vec<Label> {
        let px = |s: f64| axis.px(clock.at(s));
        let label = |p: &PlateauBalance| Label {
            from: px(p.from_s),
            to: px(p.to_s),
            forms: plateau_words(p, self.unit),
        };
        self.drawable().map(label).collect()
    }

    fn draw_turns(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        for at_s in self.turns() {
            legend::turn(sheet, panel.x.px(clock.at(at_s)), (panel.top(), panel.bottom()));
        }
    }

    fn draw_vacuum(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.grid(sheet);
        self.draw_turns(sheet, panel, clock);
        for stretch in &self.finding.on_sides {
            self.draw_levels(sheet, panel, clock, stretch);
        }
        let mut beyond = panel.trace(sheet, clock, &self.neither, (ink::CYCLE, 0.7), None);
        let square = Some((Sign::OpenSquare, 0.5));
        beyond.extend(panel.trace(sheet, clock, &self.two, (ink::TWO, TWO_WEIGHT), square));
        let disc = Some((Sign::Disc, 0.5));
        beyond.extend(panel.trace(sheet, clock, &self.one, (ink::ONE, 1.0), disc));
        panel.mark(sheet, beyond);
        panel.frame(sheet);
    }

    fn draw_levels(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock, stretch: &OnSide) {
        let levels: Vec<[f64; 4]> = stretch
            .levels
            .iter()
            .map(|level| [level.at_s, level.low_kpa, level.value_kpa, level.high_kpa])
            .filter(|values| values.iter().all(|value| Range::drawable(*value)))
            .collect();
        let edge = |which: usize| {
            let point =
                |v: &[f64; 4]| (panel.x.px(clock.at(v[0])), panel.y.px(self.shown(v[which])));
            levels.iter().map(point).collect()
        };
        if levels.len() > 1 {
            legend::band(sheet, [edge(1), edge(2), edge(3)]);
        }
    }

    fn draw_difference(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.grid(sheet);
        let y = |kpa: f64| panel.y.px(self.shown(kpa));
        let tolerance = self.finding.tolerance_kpa;
        legend::limits(sheet, (panel.x.from, panel.x.to), (y(tolerance), y(-tolerance)));
        let hair = sheet.hair();
        sheet.level(panel.x.from, panel.x.to, y(0.0), hair, ink::QUIET);
        self.draw_turns(sheet, panel, clock);
        for plateau in self.drawable() {
            let stretch = panel.stretch(clock, plateau.from_s, plateau.to_s);
            let levels = (y(plateau.high_kpa), y(plateau.difference_kpa), y(plateau.low_kpa));
            legend::interval(sheet, stretch, levels);
        }
        panel.frame(sheet);
    }
}
