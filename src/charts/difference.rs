//! The two vacuums of a log and their difference, as the balance and the before-and-after chart
//! draw them.

use super::hoses;
use super::ink;
use super::lane::Label;
use super::legend::{self, Key, Sample};
use super::panel::Panel;
use super::scale::{Clock, Range, signed};
use super::sheet::{Sheet, Sign};
use super::trace::{Series, runs, standing};
use super::{ChartError, Frame};
use crate::findings::Sides;
use crate::findings::Verdict;
use crate::findings::balance::{Balance, PlateauBalance, ZeroMethod};
use crate::signal::Signal;
use crate::signal::plateaus::Kind;
use crate::units::{Kpa, PressureUnit};

/// Both sides of one log, in the unit of the picture, by side and not by sensor.
pub(super) struct Pair<'a> {
    /// The log.
    pub signal: &'a Signal,
    /// What was found in it.
    pub finding: &'a Balance,
    /// Vacuum of side 1, half of the zero taken out.
    pub one: Series,
    /// Vacuum of side 2, half of the zero taken out.
    pub two: Series,
    /// Vacuum 1 less vacuum 2, corrected for the zero.
    pub difference: Series,
    /// Stretches of log time with the hoses swapped, which are drawn turned back.
    swapped: Vec<(f64, f64)>,
    unit: PressureUnit,
}

impl<'a> Pair<'a> {
    /// Prepares the series of a log.
    ///
    /// # Errors
    /// [`ChartError::NothingToDraw`] when the log lacks the vacuum of a side.
    pub fn new(
        frame: &Frame,
        signal: &'a Signal,
        finding: &'a Balance,
    ) -> Result<Pair<'a>, ChartError> {
        let nothing = || {
            ChartError::NothingToDraw(
                "the log holds no vacuum of both sides with the engine running",
            )
        };
        let cycles = &signal.cycles;
        let vac1 = cycles.vac1_kpa.as_deref().ok_or_else(nothing)?;
        let vac2 = cycles.vac2_kpa.as_deref().ok_or_else(nothing)?;
        let (skip, swapped) = (standing(signal), hoses::swapped(signal, finding));
        let factor = frame.unit.from_kpa(Kpa(1.0));
        let turned = |block: usize| hoses::inside(&swapped, cycles.middle_s(block));
        let read = |column: &[f64], block: usize| column.get(block).copied().unwrap_or(f64::NAN);
        // Which of the two sensors is wrong is not known: each gives way by half of the zero, so that
        // the lines stand as far apart as the difference under them says.
        let half = 0.5 * finding.zero.offset_kpa;
        let sensor1 = |block: usize| factor * (read(vac1, block) - half);
        let sensor2 = |block: usize| factor * (read(vac2, block) + half);
        let one = runs(cycles, &skip, |b| if turned(b) { sensor2(b) } else { sensor1(b) });
        let two = runs(cycles, &skip, |b| if turned(b) { sensor1(b) } else { sensor2(b) });
        if one.is_empty() || two.is_empty() {
            return Err(nothing());
        }
        let difference = runs(cycles, &skip, |block| {
            let d = read(vac1, block) - read(vac2, block) - finding.zero.offset_kpa;
            factor * if turned(block) { -d } else { d }
        });
        Ok(Pair {
            signal,
            finding,
            one: Series { runs: one },
            two: Series { runs: two },
            difference: Series { runs: difference },
            swapped,
            unit: frame.unit,
        })
    }

    fn shown(&self, kpa: f64) -> f64 {
        self.unit.from_kpa(Kpa(kpa))
    }

    /// Range of both vacuums, at least 2 kPa.
    pub fn vacuum_range(&self) -> Option<Range> {
        let range = match (self.one.extent(), self.two.extent()) {
            (Some(one), two) => Some(one.join(two)),
            (None, two) => two,
        };
        range.map(|r| r.at_least(self.shown(2.0)).padded(0.06))
    }

    /// Range of the difference with its tolerance and intervals.
    pub fn difference_range(&self) -> Option<Range> {
        let tolerance = self.finding.tolerance_kpa;
        let limits = [-tolerance, tolerance];
        let ends = self.finding.plateaus.iter().flat_map(|p| [p.low_kpa, p.high_kpa]);
        let told = Range::of(limits.into_iter().chain(ends).map(|kpa| self.shown(kpa)));
        let range = told.map(|told| told.join(self.difference.extent()));
        range.or(self.difference.extent()).map(|r| r.padded(0.08))
    }

    /// Draws both vacuums.
    pub fn draw_vacuums(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.shade(sheet, clock, self.signal);
        panel.grid(sheet);
        self.draw_swaps(sheet, panel, clock);
        panel.trace(
            sheet,
            clock,
            &self.two,
            (ink::TWO, TWO_WEIGHT),
            Some((Sign::OpenSquare, 0.75)),
        );
        panel.trace(sheet, clock, &self.one, (ink::ONE, 1.0), Some((Sign::Disc, 0.25)));
        panel.frame(sheet);
    }

    /// Draws the difference, its tolerance and the means of the plateaus.
    pub fn draw_difference(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.shade(sheet, clock, self.signal);
        panel.grid(sheet);
        let tolerance = self.shown(self.finding.tolerance_kpa);
        let edges = (panel.y.px(tolerance), panel.y.px(-tolerance));
        legend::limits(sheet, (panel.x.from, panel.x.to), edges);
        let zero = panel.y.px(0.0);
        let hair = sheet.hair();
        sheet.level(panel.x.from, panel.x.to, zero, hair, ink::QUIET);
        self.draw_swaps(sheet, panel, clock);
        panel.trace(sheet, clock, &self.difference, (ink::CYCLE, 1.0), None);
        for plateau in self.drawable() {
            let stretch = panel.stretch(clock, plateau.from_s, plateau.to_s);
            let y = |kpa: f64| panel.y.px(self.shown(kpa));
            let levels = (y(plateau.high_kpa), y(plateau.difference_kpa), y(plateau.low_kpa));
            legend::interval(sheet, stretch, levels);
        }
        panel.frame(sheet);
    }

    /// Broken upright lines where the hoses were swapped and where they came back.
    fn draw_swaps(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        let (em, thin) = (sheet.em, sheet.thin());
        let ends = self.swapped.iter().flat_map(|(from, to)| [*from, *to]);
        for at_s in ends.filter(|at| Range::drawable(*at)) {
            let x = panel.x.px(clock.at(at_s));
            let line = [(x, panel.top()), (x, panel.bottom())];
            sheet.dashed(&line, (0.35 * em, 0.25 * em), SWAP * thin, ink::QUIET);
        }
    }

    fn drawable(&self) -> impl Iterator<Item = &'a PlateauBalance> {
        self.finding.plateaus.iter().filter(|p| {
            [p.from_s, p.to_s, p.low_kpa, p.difference_kpa, p.high_kpa]
                .into_iter()
                .all(Range::drawable)
        })
    }

    /// Labels over the plateaus: speed, difference with its interval, verdict; and over the
    /// stretches with the engine off.
    pub fn labels(&self, panel: (f64, f64), time: Range, clock: &Clock) -> Vec<Label> {
        let axis = super::scale::Axis { range: time, from: panel.0, to: panel.1 };
        let px = |s: f64| axis.px(clock.at(s));
        let mut labels: Vec<Label> = self
            .drawable()
            .map(|p| Label { from: px(p.from_s), to: px(p.to_s), forms: self.words(p) })
            .collect();
        let off = self.signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff);
        labels.extend(off.map(|p| Label {
            from: px(p.from_s),
            to: px(p.to_s),
            forms: [vec!["engine off".into()], vec!["engine".into(), "off".into()]],
        }));
        labels.sort_by(|a, b| a.from.total_cmp(&b.from));
        labels
    }

    fn words(&self, p: &PlateauBalance) -> [Vec<String>; 2] {
        let decimals = self.unit.decimals();
        let value = |kpa: f64| signed(self.shown(kpa), decimals);
        let (mean, low, high) = (value(p.difference_kpa), value(p.low_kpa), value(p.high_kpa));
        let symbol = self.unit.symbol();
        let speed = p.rpm.filter(|rpm| rpm.is_finite()).map(|rpm| format!("{rpm:.0} rev/min"));
        let verdict = verdict(p.verdict).to_owned();
        let long = [format!("{mean} {symbol} ({low} to {high})"), verdict.clone()];
        let short = [format!("{mean} {symbol}"), format!("{low} to {high}"), verdict];
        let with = |rest: &[String]| speed.iter().chain(rest).cloned().collect();
        [with(&long), with(&short)]
    }

    /// How the zero was taken out, in words.
    pub fn zero_words(&self) -> String {
        let how = match self.finding.zero.method {
            ZeroMethod::EngineOff => "from the engine-off stretch",
            ZeroMethod::Tee => "from the tee run",
            ZeroMethod::Swap => "from the swapped hoses",
            ZeroMethod::None => {
                return "Zero of the pair unknown: the sensors' specification stands in.".into();
            }
        };
        let offset = signed(self.shown(self.finding.zero.offset_kpa), self.unit.decimals());
        let symbol = self.unit.symbol();
        format!("Zero of the pair taken out, half of it at each sensor: {offset} {symbol} {how}.")
    }

    /// The tolerance, in words.
    pub fn tolerance_words(&self) -> String {
        let (decimals, symbol) = (self.unit.decimals(), self.unit.symbol());
        let end = |kpa: f64| signed(self.shown(kpa), decimals);
        let tolerance = self.finding.tolerance_kpa;
        format!("tolerance {} to {} {symbol}", end(-tolerance), end(tolerance))
    }

    /// Legend of the difference.
    pub fn difference_keys(&self) -> Vec<Key> {
        let mut keys = vec![Key::new(Sample::Line(ink::CYCLE, 1.0, None), "by cycle")];
        if self.drawable().next().is_some() {
            keys.push(Key::new(Sample::Interval, "mean, 95 % interval"));
        }
        keys.push(Key::new(Sample::Limits, self.tolerance_words()));
        keys
    }

    /// Legend of the shaded stretches.
    pub fn shade_keys(&self) -> Vec<Key> {
        let has = |kind| self.signal.plateaus.iter().any(|p| p.kind == kind);
        let mut keys = Vec::new();
        if has(Kind::Running) {
            keys.push(Key::new(Sample::Shade, "steady speed"));
        }
        if has(Kind::EngineOff) {
            keys.push(Key::new(Sample::Hatch, "engine off"));
        }
        if !self.swapped.is_empty() {
            keys.push(Key::new(Sample::Dashed(ink::QUIET, SWAP), "hoses swapped, and back"));
        }
        keys
    }
}

/// Weight of the lines at a swap.
const SWAP: f64 = 1.0;

/// Side 2 is light and broad, so that side 1, dark and thin, shows on top of it.
const TWO_WEIGHT: f64 = 1.7;

/// How the sign of the difference is to be read.
pub(super) fn meaning(sides: &Sides) -> String {
    format!("Above zero {} pulls more vacuum: its throttle is shut further.", sides.one)
}

/// Legend of the two sides.
pub(super) fn side_keys(sides: &Sides) -> Vec<Key> {
    vec![
        Key::new(Sample::Line(ink::ONE, 1.0, Some(Sign::Disc)), sides.one.clone()),
        Key::new(Sample::Line(ink::TWO, TWO_WEIGHT, Some(Sign::OpenSquare)), sides.two.clone()),
    ]
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::InTolerance => "in tolerance",
        Verdict::OutOfTolerance => "out of tolerance",
        Verdict::NotSettled => "not settled",
    }
}
