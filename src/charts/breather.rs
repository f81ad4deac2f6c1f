//! The breather chart.

use super::ink;
use super::lane::{Label, Lane};
use super::legend::{self, Key, Sample};
use super::panel::{self, Margins, Panel, Plan};
use super::scale::{Axis, Clock, Range, number};
use super::sheet::{Sheet, Sign, Type};
use super::trace::{self, Run, Series, standing, time_range};
use super::{ChartError, Frame};
use crate::findings::Sides;
use crate::findings::breather::{Breather, Opening};
use crate::signal::Signal;
use crate::units::Kpa;

/// Lays out the chart; `beside` gives the heading and the scale of one that is laid beside others.
pub(super) fn draw(
    frame: &Frame,
    type_size: Type,
    signal: &Signal,
    finding: &Breather,
    sides: &Sides,
    beside: Option<(&str, &Scale)>,
) -> Result<Sheet, ChartError> {
    let nothing = ChartError::NothingToDraw("the log holds no engine cycle");
    let time_s = time_range(signal).ok_or(nothing)?;
    let mut sheet = Sheet::new(frame, type_size)?;
    let pressures = pressures(frame, signal, &sheet.names(sides));
    let mut story = Story::new(signal, finding, time_s, pressures)?;
    if let Some((_, scale)) = beside {
        story.take(scale);
    }
    let clock = Clock::of(time_s);
    let time = Range::of([clock.at(time_s.low()), clock.at(time_s.high())]).unwrap_or(time_s);
    let mut plans = story.plans();
    let room = panel::tick_room(&sheet, plans.iter().map(|p| &p.range));
    let (left, right) = panel::edges(&sheet);
    let axis = Axis { range: time, from: left + room, to: right };
    let labels = story.labels(&axis, &clock);
    let lane = Lane::new(&sheet, &labels, axis.from, axis.to);
    let heading = beside.map_or(finding.say.as_str(), |(name, _)| name);
    let space = panel::title(&mut sheet, heading, &notes(finding, lane.left_out));
    sheet.title.clone_from(&finding.say);
    plans[0].lane = lane.height(&sheet);
    let margins = Margins::over_time_axis(&sheet, room);
    let panels = panel::stack(&mut sheet, plans, time, space, margins)?;
    lane.draw(&mut sheet, panels[0].top());
    story.draw_speed(&mut sheet, &panels[0], &clock);
    for (panel, pressure) in panels[1..].iter().zip(&story.pressures) {
        story.draw_pressure(&mut sheet, panel, &clock, pressure);
    }
    if let Some(last) = panels.last() {
        last.time_axis(&mut sheet, clock.label);
    }
    Ok(sheet)
}

fn notes(finding: &Breather, left_out: usize) -> String {
    let mut notes = String::new();
    let told = (finding.drop_rpm, finding.low_rpm, finding.high_rpm);
    if let (Some(drop), Some(low), Some(high)) = told {
        let [what, size, low, high] = drop_words(drop, low, high);
        notes
            .push_str(&format!("Over all openings: {what} {size} rev/min ({low} to {high}, 95 %)"));
        if let Some(percent) = finding.drop_percent {
            notes.push_str(&format!(", {} % of idle", number(percent.abs(), 1)));
        }
        if let Some(tau) = finding.tau_s {
            notes.push_str(&format!("; time constant {} s", number(tau, 1)));
        }
        notes.push_str(". ");
    }
    notes.push_str(&format!("A drop counts from {} rev/min.", number(finding.threshold_rpm, 0)));
    if left_out > 0 {
        notes.push_str(&format!(" {left_out} openings are too short for a label."));
    }
    notes
}

/// The upright scales of a chart, for charts that are to be laid beside each other.
#[derive(Debug, Clone)]
pub(super) struct Scale {
    speed: Range,
    manifold: Option<Range>,
    crankcase: Option<Range>,
}

impl Scale {
    /// The scales that one log asks for.
    ///
    /// # Errors
    /// As [`draw`].
    pub fn of(frame: &Frame, signal: &Signal, finding: &Breather) -> Result<Scale, ChartError> {
        let nothing = ChartError::NothingToDraw("the log holds no engine cycle");
        let time_s = time_range(signal).ok_or(nothing)?;
        let pressures = pressures(frame, signal, &Sides::default());
        let story = Story::new(signal, finding, time_s, pressures)?;
        let range = |atmosphere| {
            story.pressures.iter().find(|p| p.atmosphere == atmosphere).map(|p| p.range)
        };
        Ok(Scale { speed: story.speed_range, manifold: range(false), crankcase: range(true) })
    }

    /// The scales that hold both.
    pub fn join(&self, other: &Scale) -> Scale {
        let both = |a: Option<Range>, b: Option<Range>| a.map(|a| a.join(b)).or(b);
        Scale {
            speed: self.speed.join(Some(other.speed)),
            manifold: both(self.manifold, other.manifold),
            crankcase: both(self.crankcase, other.crankcase),
        }
    }
}

/// A panel of pressures: heading, and what is drawn in it.
struct Pressure {
    heading: String,
    series: Vec<(Series, Key)>,
    range: Range,
    /// A level line at the atmosphere.
    atmosphere: bool,
}

/// All that the chart shows, in the unit of the picture.
struct Story<'a> {
    finding: &'a Breather,
    speed: Option<Series>,
    curve: Run,
    speed_range: Range,
    pressures: Vec<Pressure>,
    end_s: f64,
}

impl<'a> Story<'a> {
    fn new(
        signal: &Signal,
        finding: &'a Breather,
        time_s: Range,
        pressures: Vec<Pressure>,
    ) -> Result<Story<'a>, ChartError> {
        let skip = standing(signal);
        let speed = Series::of(signal, &skip, signal.cycles.rpm.as_deref(), 1.0);
        let curve: Run = finding
            .curve
            .iter()
            .copied()
            .filter(|(t, n)| Range::drawable(*n) && time_s.low() <= *t && *t <= time_s.high())
            .collect();
        let mut story =
            Story { finding, speed, curve, speed_range: time_s, pressures, end_s: time_s.high() };
        let nothing = ChartError::NothingToDraw("the log holds no engine speed above zero");
        story.speed_range = story.find_speed_range().ok_or(nothing)?;
        Ok(story)
    }

    /// Takes the scales that several charts share.
    fn take(&mut self, scale: &Scale) {
        self.speed_range = scale.speed;
        for pressure in &mut self.pressures {
            let shared = if pressure.atmosphere { scale.crankcase } else { scale.manifold };
            pressure.range = shared.unwrap_or(pressure.range);
        }
    }

    fn find_speed_range(&self) -> Option<Range> {
        let threshold = self.finding.threshold_rpm;
        let told: Vec<f64> = self
            .openings()
            .filter_map(|opening| Some((self.base(opening)?, opening)))
            .flat_map(|(base, o)| [0.0, o.low_rpm, o.high_rpm, threshold].map(|drop| base - drop))
            .collect();
        let curve = trace::extent([&self.curve]);
        let series = self.speed.as_ref().and_then(Series::extent);
        let drawn = series.or(curve)?;
        Some(drawn.join(curve).join(Range::of(told)).at_least(20.0).padded(0.06))
    }

    fn openings(&self) -> impl Iterator<Item = &'a Opening> {
        self.finding.openings.iter().filter(|o| {
            [o.off_s, o.on_s.unwrap_or(o.off_s), o.drop_rpm, o.low_rpm, o.high_rpm]
                .into_iter()
                .all(Range::drawable)
        })
    }

    /// When an opening ends: with the log where the cap stayed off.
    fn end(&self, opening: &Opening) -> f64 {
        opening.on_s.unwrap_or(self.end_s)
    }

    /// Speed from which an opening drops: the fitted curve as the cap comes off, else the idle.
    fn base(&self, opening: &Opening) -> Option<f64> {
        let before = self.curve.partition_point(|(t, _)| *t <= opening.off_s);
        let fitted = self.curve.get(before.saturating_sub(1)).map(|(_, n)| *n);
        fitted.or(self.finding.idle_rpm)
    }

    fn plans(&self) -> Vec<Plan> {
        let mut keys = Vec::new();
        if self.speed.is_some() {
            keys.push(Key::new(Sample::Line(ink::CYCLE, 1.0, None), "by cycle"));
        }
        if !self.curve.is_empty() {
            keys.push(Key::new(Sample::Dashed(ink::ONE, CURVE), "fitted curve"));
        }
        if self.openings().next().is_some() {
            keys.push(Key::new(Sample::Interval, "with the cap off, 95 % interval"));
            keys.push(Key::new(Sample::Dashed(ink::LIMIT, LIMIT), "smallest drop that counts"));
            keys.push(Key::new(Sample::Shade, "cap off"));
        }
        if !self.finding.other_loads_s.is_empty() {
            keys.push(Key::new(Sample::Dashed(ink::TEXT, LOAD), "another load"));
        }
        let speed = Plan {
            heading: "Engine speed (rev/min)".into(),
            keys,
            lane: 0.0,
            weight: 1.5,
            range: self.speed_range,
        };
        let under = self.pressures.iter().map(|p| Plan {
            heading: p.heading.clone(),
            keys: if p.series.len() > 1 {
                p.series.iter().map(|(_, k)| k.clone()).collect()
            } else {
                vec![]
            },
            lane: 0.0,
            weight: 0.8,
            range: p.range,
        });
        std::iter::once(speed).chain(under).collect()
    }

    fn labels(&self, axis: &Axis, clock: &Clock) -> Vec<Label> {
        let mut labels: Vec<Label> = self
            .openings()
            .map(|opening| Label {
                from: axis.px(clock.at(opening.off_s)),
                to: axis.px(clock.at(self.end(opening))),
                forms: words(opening, clock),
            })
            .collect();
        labels.sort_by(|a, b| a.from.total_cmp(&b.from));
        labels
    }

    fn shade(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        for opening in self.openings() {
            let (left, right) = panel.stretch(clock, opening.off_s, self.end(opening));
            sheet.field((left, panel.top()), (right, panel.bottom()), ink::SHADE);
        }
        panel.grid(sheet);
        for opening in self.openings() {
            for at_s in [Some(opening.off_s), opening.on_s].into_iter().flatten() {
                let x = panel.x.px(clock.at(at_s));
                let (em, thin) = (sheet.em, sheet.thin());
                let ends = [(x, panel.top()), (x, panel.bottom())];
                sheet.dashed(&ends, (0.35 * em, 0.25 * em), thin, ink::QUIET);
            }
        }
    }

    /// Where the speed steps and it is not the cap.
    fn loads(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        for at_s in self.finding.other_loads_s.iter().filter(|at| Range::drawable(**at)) {
            let x = panel.x.px(clock.at(*at_s));
            let (em, thin) = (sheet.em, sheet.thin());
            let ends = [(x, panel.top()), (x, panel.bottom())];
            sheet.dashed(&ends, (0.45 * em, 0.3 * em), LOAD * thin, ink::TEXT);
        }
    }

    fn draw_speed(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        self.shade(sheet, panel, clock);
        if let Some(speed) = &self.speed {
            panel.trace(sheet, clock, speed, (ink::CYCLE, 1.0), None);
        }
        for opening in self.openings() {
            let Some(base) = self.base(opening) else { continue };
            let stretch = panel.stretch(clock, opening.off_s, self.end(opening));
            let y = |drop: f64| panel.y.px(base - drop);
            let levels = (y(opening.low_rpm), y(opening.drop_rpm), y(opening.high_rpm));
            legend::interval(sheet, stretch, levels);
            let (em, thin) = (sheet.em, sheet.thin());
            let limit = y(self.finding.threshold_rpm);
            let ends = [(stretch.0, limit), (stretch.1, limit)];
            sheet.dashed(&ends, (0.45 * em, 0.3 * em), LIMIT * thin, ink::LIMIT);
        }
        self.loads(sheet, panel, clock);
        let points = trace::points(&self.curve, clock, |t, n| panel.place(t, n));
        let (em, thin) = (sheet.em, sheet.thin());
        sheet.dashed(&points, (0.9 * em, 0.4 * em), CURVE * thin, ink::ONE);
        panel.frame(sheet);
    }

    fn draw_pressure(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock, pressure: &Pressure) {
        self.shade(sheet, panel, clock);
        if pressure.atmosphere {
            let hair = sheet.hair();
            sheet.level(panel.x.from, panel.x.to, panel.y.px(0.0), hair, ink::QUIET);
        }
        for (series, key) in pressure.series.iter().rev() {
            if let Sample::Line(ink, weight, sign) = key.sample {
                let phase = if sign == Some(Sign::Disc) { 0.25 } else { 0.75 };
                panel.trace(sheet, clock, series, (ink, weight), sign.map(|s| (s, phase)));
            }
        }
        panel.frame(sheet);
    }
}

/// Long and short words over an opening.
fn words(opening: &Opening, clock: &Clock) -> Vec<Vec<String>> {
    let (off, unit) = (number(clock.at(opening.off_s), 1), clock.unit());
    let times = opening.on_s.map_or_else(
        || format!("from {off} {unit}"),
        |on| format!("{off} to {} {unit}", number(clock.at(on), 1)),
    );
    let [what, size, low, high] = drop_words(opening.drop_rpm, opening.low_rpm, opening.high_rpm);
    vec![
        vec![format!("cap off {times}"), format!("{what} {size} rev/min ({low} to {high})")],
        vec!["cap off".into(), times, format!("{what} {size}"), format!("{low} to {high}")],
    ]
}

/// Drop or rise, its size and the ends of its interval, the lower first.
fn drop_words(drop: f64, low: f64, high: f64) -> [String; 4] {
    if high < 0.0 {
        ["rise".into(), number(-drop, 0), number(-high, 0), number(-low, 0)]
    } else {
        ["drop".into(), number(drop, 0), number(low, 0), number(high, 0)]
    }
}

/// Weight of the fitted curve.
const CURVE: f64 = 2.4;
/// Weight of the line where another load comes or goes.
const LOAD: f64 = 2.0;
/// Weight of the smallest drop that counts.
const LIMIT: f64 = 1.5;

fn pressures(frame: &Frame, signal: &Signal, sides: &Sides) -> Vec<Pressure> {
    let skip = &standing(signal);
    let factor = frame.unit.from_kpa(Kpa(1.0));
    let symbol = frame.unit.symbol();
    let cycles = &signal.cycles;
    let one = Series::of(signal, skip, cycles.vac1_kpa.as_deref(), factor);
    let two = Series::of(signal, skip, cycles.vac2_kpa.as_deref(), factor);
    let crank = Series::of(signal, skip, cycles.crank_kpa.as_deref(), factor);
    let key = |ink, weight, sign, text: &str| Key::new(Sample::Line(ink, weight, sign), text);
    let mut manifold = Vec::new();
    manifold.extend(one.map(|s| (s, key(ink::ONE, 1.0, Some(Sign::Disc), &sides.one))));
    manifold.extend(two.map(|s| (s, key(ink::TWO, 1.7, Some(Sign::OpenSquare), &sides.two))));
    if let [(_, only)] = manifold.as_mut_slice() {
        only.sample = Sample::Line(ink::ONE, 1.0, None);
    }
    let whose = match manifold.as_slice() {
        [(_, only)] => format!(" of {}", only.text),
        _ => String::new(),
    };
    let heading = format!("Manifold vacuum{whose} ({symbol})");
    let crankcase: Vec<_> =
        crank.map(|s| (s, key(ink::TEXT, 1.0, None, "crankcase"))).into_iter().collect();
    let below = format!("Crankcase below atmosphere ({symbol})");
    [(heading, manifold, 1.0, false), (below, crankcase, 0.1, true)]
        .into_iter()
        .filter_map(|(heading, series, least_kpa, atmosphere)| {
            let all = series.iter().flat_map(|(s, _)| &s.runs);
            let range = trace::extent(all)?;
            let zero = atmosphere.then(|| Range::of([range.low(), 0.0])).flatten();
            let range = range.join(zero).at_least(least_kpa * factor).padded(0.06);
            Some(Pressure { heading, series, range, atmosphere })
        })
        .collect()
}
