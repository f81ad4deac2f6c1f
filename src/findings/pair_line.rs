//! The line of a tee run: fit, covariance, tests of bending and hysteresis.

use super::pair_match::{Lack, PairCovariance, range};
use super::tee_run::{Averages, WORST_GAIN, WORST_OFFSET_KPA};
use super::{Conditions, resolution};
use crate::sample::Remark;
use crate::signal::Signal;
use crate::signal::plateaus::Kind;
use crate::statistics::correlated::{self, Fit};
use crate::statistics::regression::{least_squares, slope_with_errors_in_both};
use crate::statistics::{student, summary};

/// A bend or a hysteresis counts when it is significant at this level.
const SURE: f64 = 0.99;
/// A smaller one widens the result without a word, kPa.
const WORTH_SAYING_KPA: f64 = 0.05;
/// A vacuum has turned when it has come back by this much, kPa.
const TURN_KPA: f64 = 3.0;
/// Averages on each side that tell the scatter of a place.
const NEIGHBOURS: usize = 8;
/// Scatter of this many times the usual counts for less.
const UNUSUAL: f64 = 4.0;
/// Error variance of the difference of two readings over that of their mean, when both err alike.
const ERROR_RATIO: f64 = 4.0;

/// The line with everything that makes it uncertain.
pub(super) struct Line {
    /// Sensor 1 less sensor 2 at the atmosphere, kPa.
    pub offset_kpa: f64,
    /// What sensor 1 reads more for each kilopascal.
    pub gain: f64,
    /// Covariance of the two.
    pub covariance: PairCovariance,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Scatter about the line, kPa.
    pub residual_kpa: f64,
}

impl Line {
    /// No two sensors are so unlike, nor by what the profile says of them.
    pub fn believable(&self, conditions: &Conditions) -> Option<Lack> {
        let offset = WORST_OFFSET_KPA.max(2.0 * conditions.sensor_offset_limit_kpa);
        let gain = WORST_GAIN.max(2.0 * conditions.sensor_gain_limit);
        let unlike = self.offset_kpa.abs() > offset || self.gain.abs() > gain;
        unlike.then_some(Lack::Unlike(self.offset_kpa, self.gain))
    }
}

/// Columns of the regression, every row divided by the size of its error.
struct Columns<'a> {
    averages: &'a Averages,
    /// Vacuum about the middle of the range, over half of it; not divided.
    place: Vec<f64>,
    /// What rows are multiplied by.
    weight: Vec<f64>,
    middle_kpa: f64,
    half_kpa: f64,
}

impl<'a> Columns<'a> {
    fn new(averages: &'a Averages) -> Option<Self> {
        let (low, high) = range(averages)?;
        let (middle_kpa, half_kpa) = (0.5 * (low + high), 0.5 * (high - low));
        let place = averages.vacuum_kpa.iter().map(|v| (v - middle_kpa) / half_kpa).collect();
        let weight = weights(&averages.difference_kpa);
        Some(Columns { averages, place, weight, middle_kpa, half_kpa })
    }

    fn weighted(&self, column: impl IntoIterator<Item = f64>) -> Vec<f64> {
        column.into_iter().zip(&self.weight).map(|(value, weight)| value * weight).collect()
    }

    /// The difference on 1, vacuum, what is tried, and rate where it says anything (then true).
    fn fit(&self, more: Option<Vec<f64>>) -> Option<(Fit, bool)> {
        let difference = self.weighted(self.averages.difference_kpa.iter().copied());
        let mut columns = vec![self.weight.clone(), self.weighted(self.place.iter().copied())];
        columns.extend(more.map(|more| self.weighted(more)));
        columns.push(self.weighted(self.averages.rate_kpa_s.iter().copied()));
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let fit = |columns: &[&[f64]]| correlated::fit(&difference, columns).ok();
        let without = &columns[..columns.len() - 1];
        fit(&columns).map(|fit| (fit, true)).or_else(|| Some((fit(without)?, false)))
    }

    /// Scatter about a plain straight line and lag, kPa.
    fn scatter_kpa(&self) -> Option<f64> {
        let ones = vec![1.0; self.place.len()];
        let columns: [&[f64]; 3] = [&ones, &self.place, &self.averages.rate_kpa_s];
        let difference = &self.averages.difference_kpa;
        let plain = least_squares(difference, &columns, None);
        let plain = plain.or_else(|_| least_squares(difference, &columns[..2], None));
        plain.ok().map(|fit| fit.variance().sqrt())
    }

    /// Size of a further column's coefficient where it is significant.
    fn significant(&self, column: Vec<f64>) -> Option<f64> {
        let found = self.fit(Some(column))?.0.coefficient(2)?;
        let beyond = student::coverage_factor(SURE, found.dof)? * found.u;
        (found.value.abs() > beyond).then_some(found.value.abs())
    }

    /// How far the sensors' difference bends from a straight line over the range, kPa.
    fn bend_kpa(&self) -> Option<f64> {
        self.significant(self.place.iter().map(|place| place * place).collect())
    }

    /// By how much the difference depends on whether the vacuum last rose or fell, kPa either way.
    fn hysteresis_kpa(&self) -> Option<f64> {
        let (mut extreme, mut way) = (*self.averages.vacuum_kpa.first()?, 0.0);
        let mut column = Vec::with_capacity(self.place.len());
        for v in &self.averages.vacuum_kpa {
            let turned = (v - extreme).abs() > TURN_KPA && (v - extreme).signum() != way;
            if turned {
                way = (v - extreme).signum();
            }
            if turned || (v - extreme) * way > 0.0 {
                extreme = *v;
            }
            column.push(way);
        }
        self.significant(column)
    }
}

/// What the rows are multiplied by: less than 1 where neighbours scatter far more than is usual. A
/// logger in step with the engine at one of the speeds held makes such stretches: there the ripple
/// of a sensor that lags does not average out.
fn weights(difference: &[f64]) -> Vec<f64> {
    let n = difference.len();
    let scatter: Vec<f64> = (0..n)
        .map(|k| {
            let near = k.saturating_sub(NEIGHBOURS)..(k + NEIGHBOURS + 1).min(n);
            summary::sd_of_neighbours(&difference[near])
        })
        .collect();
    let usual = summary::median(&scatter).unwrap_or(0.0);
    scatter
        .iter()
        .map(|own| (UNUSUAL * usual / own).min(1.0))
        .map(|w| if w > 0.0 { w } else { 1.0 })
        .collect()
}

/// The line through the averages; remarks say what widened it.
pub(super) fn line(
    signal: &Signal,
    averages: &Averages,
    remarks: &mut Vec<Remark>,
) -> Option<Line> {
    let columns = Columns::new(averages)?;
    let (fit, lagged) = columns.fit(None)?;
    let contrast = |offset: f64, gain: f64| {
        let mut of_lag = vec![offset, gain];
        of_lag.extend(lagged.then_some(0.0));
        fit.estimate(&of_lag)
    };
    let (slope, middle) = (contrast(0.0, 1.0)?, contrast(1.0, 0.0)?);
    // The covariance of level and slope about the middle, from the level at the end of the range.
    let end = contrast(1.0, 1.0)?;
    let largest = middle.u * slope.u;
    let twist = 0.5 * (end.u.powi(2) - middle.u.powi(2) - slope.u.powi(2));
    let twist = twist.clamp(-largest, largest);
    // From places of -1 to 1 to kPa.
    let half = columns.half_kpa;
    let (slope, u_slope, dof, twist) =
        (slope.value / half, slope.u / half, slope.dof, twist / half);
    let gain = slope_with_errors_in_both(slope, u_slope, dof, ERROR_RATIO);
    // A line with errors in both goes through the same centre.
    let centre = if u_slope > 0.0 { -twist / u_slope.powi(2) } else { 0.0 };
    let level = middle.value + (slope - gain) * centre;
    let m = columns.middle_kpa;
    let mut line = Line {
        offset_kpa: level - gain * m,
        gain,
        covariance: PairCovariance {
            offset_kpa2: middle.u.powi(2) - 2.0 * m * twist + (m * u_slope).powi(2),
            offset_gain_kpa: twist - m * u_slope.powi(2),
            gain: u_slope.powi(2),
        },
        dof: dof.min(middle.dof).min(end.dof),
        residual_kpa: columns.scatter_kpa()?,
    };
    line.covariance.offset_kpa2 += widened(signal, &columns, remarks).powi(2);
    Some(line)
}

/// Standard uncertainty that the line does not know of, kPa: bend, hysteresis, steps of the
/// converters.
fn widened(signal: &Signal, columns: &Columns, remarks: &mut Vec<Remark>) -> f64 {
    let bend = columns.bend_kpa().unwrap_or(0.0);
    if bend > WORTH_SAYING_KPA {
        remarks.push(Remark::of_pressures("pair_bends", 1, &[], |say| {
            format!(
                "the difference of the sensors is no straight line over their range: it bends by {}; the uncertainty is widened by that",
                say.pressure(bend, 2)
            )
        }));
    }
    let hysteresis = columns.hysteresis_kpa().unwrap_or(0.0);
    if hysteresis > WORTH_SAYING_KPA {
        remarks.push(Remark::of_pressures("pair_hysteresis", 1, &[], |say| {
            format!(
                "the difference of the sensors depends on whether the vacuum rose or fell before, by {} either way (hysteresis); the uncertainty is widened by that",
                say.pressure(hysteresis, 2)
            )
        }));
    }
    // Only a sensor at rest may stand on one step of its converter.
    let at_rest = signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff).map(|p| {
        let sample = |block: usize| signal.cycles.sample.get(block).map(|s| *s as usize);
        let to = sample(p.end_block).unwrap_or(signal.track.len());
        resolution::of_difference(&signal.track, (sample(p.first_block).unwrap_or(to), to))
    });
    let steps = at_rest.fold(0.0, f64::max);
    // The bend is a limit, the hysteresis one of two values.
    (bend / 3.0_f64.sqrt()).hypot(hysteresis).hypot(steps)
}
