//! The two vacuums of a log and their difference, made ready for a panel.

use super::correction::Correction;
use super::hoses;
use super::scale::Range;
use super::trace::{Series, runs, standing};
use super::{ChartError, Frame};
use crate::findings::balance::{Balance, PlateauBalance};
use crate::signal::Signal;
use crate::signal::cycles::Cycles;
use crate::signal::plateaus::Kind;
use crate::units::{Kpa, PressureUnit};

/// Both sides of one log, in the unit of the picture, by side and not by sensor.
///
/// The scales are those of the steady stretches with the hoses on, so that a difference of two
/// kilopascals can be seen beside vacuums of sixty: what goes beyond them is cut, and marked.
pub(super) struct Pair<'a> {
    /// The log.
    pub signal: &'a Signal,
    /// What was found in it.
    pub finding: &'a Balance,
    /// The error of the pair that was taken out.
    pub correction: Correction<'a>,
    /// Vacuum of side 1, half of the error taken out.
    pub one: Series,
    /// Vacuum of side 2, half of the error taken out.
    pub two: Series,
    /// Vacuum 1 less vacuum 2, corrected; broken while a hose is off.
    pub difference: Series,
    /// When the hoses changed places, s.
    pub turns: Vec<f64>,
    steady: Steady,
    unit: PressureUnit,
}

/// What the steady stretches span.
#[derive(Default)]
struct Steady {
    vacuum: Option<Range>,
    difference: Option<Range>,
}

/// The readings of both sensors.
struct Readings<'a> {
    cycles: &'a Cycles,
    vac1: &'a [f64],
    vac2: &'a [f64],
    correction: &'a Correction<'a>,
    factor: f64,
}

impl Readings<'_> {
    /// Vacuums of side 1 and side 2 in a block; NaN where there is no reading.
    ///
    /// Which of the two sensors is wrong is not known: each gives way by half of the error, so that
    /// the lines stand as far apart as the difference under them says.
    fn sides(&self, block: usize) -> (f64, f64) {
        let at_s = self.cycles.middle_s(block);
        let half = 0.5 * self.correction.error_kpa(at_s);
        let read = |column: &[f64]| column.get(block).copied().unwrap_or(f64::NAN);
        let sensor1 = self.factor * (read(self.vac1) - half);
        let sensor2 = self.factor * (read(self.vac2) + half);
        if self.correction.swapped(at_s) { (sensor2, sensor1) } else { (sensor1, sensor2) }
    }

    fn difference(&self, block: usize) -> f64 {
        let (one, two) = self.sides(block);
        one - two
    }
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
        let correction = Correction::new(finding, &signal.hoses);
        let readings = Readings {
            cycles,
            vac1: cycles.vac1_kpa.as_deref().ok_or_else(nothing)?,
            vac2: cycles.vac2_kpa.as_deref().ok_or_else(nothing)?,
            correction: &correction,
            factor: frame.unit.from_kpa(Kpa(1.0)),
        };
        let turns = hoses::turns(&signal.hoses);
        let off = hoses::off(cycles, &finding.plateaus);
        let skip = either(&standing(signal), &hoses::in_hand(cycles, &turns, &off.surely));
        let one = runs(cycles, &skip, |block| readings.sides(block).0);
        let two = runs(cycles, &skip, |block| readings.sides(block).1);
        if one.is_empty() || two.is_empty() {
            return Err(nothing());
        }
        let skip = either(&skip, &off.about);
        let difference = runs(cycles, &skip, |block| readings.difference(block));
        let steady = Steady::new(signal, &skip, &readings);
        Ok(Pair {
            signal,
            finding,
            one: Series { runs: one },
            two: Series { runs: two },
            difference: Series { runs: difference },
            turns,
            steady,
            unit: frame.unit,
            correction,
        })
    }

    /// A pressure in the unit of the picture.
    pub fn shown(&self, kpa: f64) -> f64 {
        self.unit.from_kpa(Kpa(kpa))
    }

    /// The unit of the picture.
    pub fn unit(&self) -> PressureUnit {
        self.unit
    }

    /// Range of the vacuum panel.
    pub fn vacuum_range(&self) -> Option<Range> {
        let range = self.steady.vacuum.or_else(|| self.vacuum_extent());
        range.map(|r| r.at_least(self.shown(LEAST_KPA)).padded(0.15))
    }

    /// Range of the difference with its tolerance and intervals.
    pub fn difference_range(&self) -> Option<Range> {
        let tolerance = self.finding.tolerance_kpa;
        let limits = [-tolerance, tolerance];
        let ends = self.finding.plateaus.iter().flat_map(|p| [p.low_kpa, p.high_kpa]);
        let told = Range::of(limits.into_iter().chain(ends).map(|kpa| self.shown(kpa)));
        let drawn = self.steady.difference.or_else(|| self.difference.extent());
        let drawn = drawn.map(|range| range.padded(0.1));
        told.map(|told| told.join(drawn)).or(drawn).map(|r| r.padded(0.08))
    }

    /// True when a line leaves a panel of these ranges.
    pub fn leaves(&self, vacuum: Range, difference: Range) -> bool {
        let out = |extent: Option<Range>, range: Range| extent.is_some_and(|e| !range.holds(e));
        out(self.vacuum_extent(), vacuum) || out(self.difference.extent(), difference)
    }

    fn vacuum_extent(&self) -> Option<Range> {
        match (self.one.extent(), self.two.extent()) {
            (Some(one), two) => Some(one.join(two)),
            (None, two) => two,
        }
    }

    /// The plateaus that have a place on an axis.
    pub fn drawable(&self) -> impl Iterator<Item = &'a PlateauBalance> {
        self.finding.plateaus.iter().filter(|p| {
            [p.from_s, p.to_s, p.low_kpa, p.difference_kpa, p.high_kpa]
                .into_iter()
                .all(Range::drawable)
        })
    }
}

/// The vacuum panel spans at least this much, so that noise does not look like a difference.
pub(super) const LEAST_KPA: f64 = 8.0;

impl Steady {
    fn new(signal: &Signal, skip: &[bool], readings: &Readings) -> Steady {
        let running = || signal.plateaus.iter().filter(|p| p.kind == Kind::Running);
        let inside = |block: usize| {
            let at_s = readings.cycles.middle_s(block);
            running().any(|p| p.from_s <= at_s && at_s <= p.to_s)
        };
        let steady: Vec<usize> =
            (0..skip.len()).filter(|block| !skip[*block] && inside(*block)).collect();
        let sides = steady.iter().map(|block| readings.sides(*block));
        Steady {
            vacuum: most(sides.flat_map(|(one, two)| [one, two])),
            difference: most(steady.iter().map(|block| readings.difference(*block))),
        }
    }
}

/// The range of nearly all values: a plateau may hold the first cycles of the next change of speed.
fn most(values: impl Iterator<Item = f64>) -> Option<Range> {
    let mut values: Vec<f64> = values.filter(|value| Range::drawable(*value)).collect();
    values.sort_by(f64::total_cmp);
    let strays = values.len() / STRAYS;
    Range::of(values.get(strays..values.len() - strays)?.iter().copied())
}

/// One value in so many may lie beyond the scale at either end.
const STRAYS: usize = 100;

fn either(a: &[bool], b: &[bool]) -> Vec<bool> {
    a.iter().zip(b).map(|(a, b)| *a || *b).collect()
}
