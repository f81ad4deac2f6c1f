//! The chart of a tee run: the difference of the two sensors over the vacuum, the line through it,
//! and what is left beside the line.

use super::clip;
use super::ink;
use super::legend::{self, Key, Sample};
use super::panel::{self, Margins, Panel, Plan};
use super::scale::Range;
use super::sheet::{Sheet, Type};
use super::{ChartError, Frame};
use crate::findings::pair_match::{ErrorAt, MatchVerdict, PairMatch};
use crate::units::{Kpa, PressureUnit};

/// Lays out the chart.
pub(super) fn draw(
    frame: &Frame,
    type_size: Type,
    finding: &PairMatch,
) -> Result<Sheet, ChartError> {
    let run = Run::new(finding, frame.unit)?;
    let mut sheet = Sheet::new(frame, type_size)?;
    let plans = run.plans();
    let room = panel::tick_room(&sheet, plans.iter().map(|plan| &plan.range));
    let space = panel::title(&mut sheet, &finding.sentence(frame.unit), &run.notes());
    let margins = Margins::over_time_axis(&sheet, room);
    let panels = panel::stack(&mut sheet, plans, run.vacuum, space, margins)?;
    run.draw_differences(&mut sheet, &panels[0]);
    if let Some(beside) = panels.get(1) {
        run.draw_beside(&mut sheet, beside);
    }
    if let Some(last) = panels.last() {
        let label = format!("Vacuum, mean of the two sensors ({})", frame.unit.symbol());
        last.time_axis(&mut sheet, &label);
    }
    Ok(sheet)
}

/// Steps in which the band is drawn: its edges are curved.
const STEPS: u32 = 64;
/// What lies beside the line is drawn up to this many standard deviations.
const REACH: f64 = 4.5;
/// The difference spans at least this much, so that a good pair looks like one, kPa.
const LEAST_KPA: f64 = 0.2;

/// A tee run in the unit of the picture.
struct Run<'a> {
    finding: &'a PairMatch,
    unit: PressureUnit,
    /// Vacuum and difference.
    points: Vec<(f64, f64)>,
    vacuum: Range,
    difference: Range,
    /// The line over the vacuum with its limits; empty without one.
    line: Vec<ErrorAt>,
    /// What the points lie beside the line; none without a line.
    beside: Option<Beside>,
}

struct Beside {
    points: Vec<(f64, f64)>,
    range: Range,
    sd: f64,
}

impl<'a> Run<'a> {
    fn new(finding: &'a PairMatch, unit: PressureUnit) -> Result<Self, ChartError> {
        let nothing = || ChartError::NothingToDraw("the log holds no average of both sensors");
        let shown = |kpa: f64| unit.from_kpa(Kpa(kpa));
        let drawable = |(v, d): &(f64, f64)| Range::drawable(*v) && Range::drawable(*d);
        let read: Vec<(f64, f64)> = finding.points.iter().copied().filter(drawable).collect();
        let points: Vec<(f64, f64)> = read.iter().map(|(v, d)| (shown(*v), shown(*d))).collect();
        let swept = Range::of(read.iter().map(|point| point.0)).ok_or_else(nothing)?;
        let at = |k: u32| swept.low() + f64::from(k) / f64::from(STEPS) * swept.span();
        let line: Vec<ErrorAt> = (0..=STEPS).filter_map(|k| finding.error_at(at(k))).collect();
        let told = line.iter().chain(&finding.error).flat_map(|e| [e.low_kpa, e.high_kpa]);
        let difference = Range::of(points.iter().map(|point| point.1)).ok_or_else(nothing)?;
        let difference = difference.join(Range::of(told.map(shown)));
        let vacuum = Range::of(points.iter().map(|point| point.0)).ok_or_else(nothing)?;
        Ok(Run {
            finding,
            unit,
            beside: Beside::new(finding, &read, &line, unit),
            points,
            vacuum: vacuum.at_least(shown(1.0)).padded(0.025),
            difference: difference.at_least(shown(LEAST_KPA)).padded(0.08),
            line,
        })
    }

    fn shown(&self, kpa: f64) -> f64 {
        self.unit.from_kpa(Kpa(kpa))
    }

    fn notes(&self) -> String {
        let mut notes = String::from(
            "Each point is an average over whole engine cycles. Above zero sensor 1 reads more \
             vacuum than sensor 2.",
        );
        if self.finding.verdict == MatchVerdict::OffsetOnly {
            notes.push_str(" The vacuum hardly moved: the mean is shown, no line.");
        } else if self.line.is_empty() {
            notes.push_str(" No line is drawn through them.");
        }
        notes
    }

    fn plans(&self) -> Vec<Plan> {
        let symbol = self.unit.symbol();
        let mut keys = vec![Key::new(Sample::Point(ink::CYCLE), "average")];
        if !self.line.is_empty() {
            keys.push(Key::new(Sample::Band, "line, 95 % interval"));
        } else if !self.finding.error.is_empty() {
            keys.push(Key::new(Sample::Interval, "mean, 95 % interval"));
        }
        let mut plans = vec![Plan {
            heading: format!("Sensor 1 less sensor 2 ({symbol})"),
            keys,
            lane: 0.0,
            weight: 1.0,
            range: self.difference,
        }];
        if let Some(beside) = &self.beside {
            let decimals = self.unit.decimals() + 1;
            let sd = format!("standard deviation {:.decimals$} {symbol}", beside.sd);
            let mut keys = vec![Key::new(Sample::Dashed(ink::QUIET, 1.3), sd)];
            if beside.points.iter().any(|(_, off)| !beside.holds(*off)) {
                keys.push(Key::new(Sample::Beyond, "beyond the scale"));
            }
            plans.push(Plan {
                heading: format!("Beside the line ({symbol})"),
                keys,
                lane: 0.0,
                weight: 0.8,
                range: beside.range,
            });
        }
        plans
    }

    /// The line with its band, `kpa` giving what is shown of each place.
    fn band(&self, panel: &Panel, kpa: impl Fn(&ErrorAt) -> [f64; 3]) -> [Vec<(f64, f64)>; 3] {
        let edge = |which: usize| {
            let place =
                |e: &ErrorAt| panel.place(self.shown(e.vacuum_kpa), self.shown(kpa(e)[which]));
            self.line.iter().map(place).collect()
        };
        [edge(0), edge(1), edge(2)]
    }

    fn draw_differences(&self, sheet: &mut Sheet, panel: &Panel) {
        panel.grid(sheet);
        if self.difference.low() < 0.0 && self.difference.high() > 0.0 {
            let (zero, hair) = (panel.y.px(0.0), sheet.hair());
            sheet.level(panel.x.from, panel.x.to, zero, hair, ink::QUIET);
        }
        // The points lie over the band: how they scatter about the line is what a reader looks for.
        if !self.line.is_empty() {
            let band = self.band(panel, |e| [e.low_kpa, e.error_kpa, e.high_kpa]);
            legend::band(sheet, band);
        } else if let Some(mean) = self.finding.error.first() {
            let ends = Range::of(self.points.iter().map(|point| point.0)).unwrap_or(self.vacuum);
            let stretch = (panel.x.px(ends.low()), panel.x.px(ends.high()));
            let y = |kpa: f64| panel.y.px(self.shown(kpa));
            legend::interval(
                sheet,
                stretch,
                (y(mean.high_kpa), y(mean.error_kpa), y(mean.low_kpa)),
            );
        }
        dots(sheet, self.points.iter().map(|(v, d)| panel.place(*v, *d)));
        panel.frame(sheet);
    }

    fn draw_beside(&self, sheet: &mut Sheet, panel: &Panel) {
        let Some(beside) = &self.beside else { return };
        panel.grid(sheet);
        let band = |e: &ErrorAt| [e.low_kpa - e.error_kpa, 0.0, e.high_kpa - e.error_kpa];
        legend::band(sheet, self.band(panel, band));
        let (em, thin) = (sheet.em, sheet.thin());
        for sd in [-beside.sd, beside.sd] {
            let y = panel.y.px(sd);
            let across = [(panel.x.from, y), (panel.x.to, y)];
            sheet.dashed(&across, (0.55 * em, 0.27 * em), 1.3 * thin, ink::QUIET);
        }
        let inside = beside.points.iter().filter(|(_, off)| beside.holds(*off));
        dots(sheet, inside.map(|(v, off)| panel.place(*v, *off)));
        for (v, off) in beside.points.iter().filter(|(_, off)| !beside.holds(*off)) {
            let up = *off > 0.0;
            clip::arrow(sheet, (panel.x.px(*v), if up { panel.top() } else { panel.bottom() }), up);
        }
        panel.frame(sheet);
    }
}

impl Beside {
    fn new(
        finding: &PairMatch,
        read: &[(f64, f64)],
        line: &[ErrorAt],
        unit: PressureUnit,
    ) -> Option<Beside> {
        let shown = |kpa: f64| unit.from_kpa(Kpa(kpa));
        let sd = shown(finding.residual_kpa.filter(|sd| Range::drawable(*sd))?);
        let off =
            |(v, d): &(f64, f64)| finding.error_at(*v).map(|e| (shown(*v), shown(d - e.error_kpa)));
        let points: Vec<(f64, f64)> = read.iter().filter_map(off).collect();
        let half = line.iter().map(|e| shown(e.high_kpa - e.error_kpa)).fold(REACH * sd, f64::max);
        let range = Range::of([-half, half]).filter(|_| !points.is_empty())?;
        Some(Beside { points, range, sd })
    }

    fn holds(&self, off: f64) -> bool {
        self.range.low() <= off && off <= self.range.high()
    }
}

fn dots(sheet: &mut Sheet, places: impl Iterator<Item = (f64, f64)>) {
    for at in places {
        sheet.dot(at, ink::CYCLE);
    }
}
