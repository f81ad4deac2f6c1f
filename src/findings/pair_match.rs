//! The straight line between the two sensors, from a tee run.
//!
//! Both hoses on one tap, both sensors see one vacuum `v`, and what they differ by is the error of
//! the pair, `e(v) = a + g v`. Both readings err, and alike: the line is Deming's with equal error
//! variances. Half the sum and the difference of two readings with such errors have independent
//! errors, of variances one to four, so that the line is sought as the difference against the mean,
//! ratio four; it is the same line.
//!
//! The averages are a time series: noise that is correlated from one to the next, and a sensor on a
//! longer hose that lags, which shows as a difference wherever the vacuum moves. So the difference
//! is regressed on 1, `v` and `dv/dt` with [`correlated::fit`], whose intervals allow for the
//! correlation; the coefficient of `dv/dt` is the lag and stays out of the line. Bending and
//! hysteresis are tested as further columns; what is significant is said, and widens the result.

use super::Conditions;
use super::balance::LEVEL;
use super::line_words;
use super::pair_line::{Line, line};
use super::tee_run::{self, Averages};
use crate::sample::Remark;
use crate::signal::Signal;
use crate::statistics::{correlated, student, summary};
use crate::units::PressureUnit;
use serde::Serialize;

/// What a tee run came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MatchVerdict {
    /// The line is there.
    Matched,
    /// The vacuum hardly moved: the pair's error at that vacuum, and no gain.
    OffsetOnly,
    /// Too little to say anything.
    NotSettled,
    /// One sensor hardly moved.
    SensorDead,
    /// The sensors did not see one vacuum.
    NotOneTap,
}

/// Covariance of offset and gain.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PairCovariance {
    /// Variance of the offset, kPa^2.
    pub offset_kpa2: f64,
    /// Covariance of offset and gain, kPa.
    pub offset_gain_kpa: f64,
    /// Variance of the gain.
    pub gain: f64,
}

/// The error of the pair at one vacuum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ErrorAt {
    /// The vacuum, kPa.
    pub vacuum_kpa: f64,
    /// Sensor 1 less sensor 2, kPa.
    pub error_kpa: f64,
    /// Lower end of the interval, kPa.
    pub low_kpa: f64,
    /// Upper end of the interval, kPa.
    pub high_kpa: f64,
}

/// What a log says of the pair. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PairMatch {
    /// What the run came to.
    pub verdict: MatchVerdict,
    /// Sensor 1 less sensor 2 at the atmosphere, kPa; absent without a line.
    pub offset_kpa: Option<f64>,
    /// Lower end of its interval, kPa.
    pub offset_low_kpa: Option<f64>,
    /// Upper end of its interval, kPa.
    pub offset_high_kpa: Option<f64>,
    /// What sensor 1 reads more than sensor 2 for each kilopascal of vacuum, as a fraction.
    pub gain: Option<f64>,
    /// Lower end of its interval.
    pub gain_low: Option<f64>,
    /// Upper end of its interval.
    pub gain_high: Option<f64>,
    /// Covariance of offset and gain, all components in it.
    pub covariance: Option<PairCovariance>,
    /// Degrees of freedom of the covariance; absent without a line.
    pub dof: Option<f64>,
    /// Scatter of the averages about the line, kPa.
    pub residual_kpa: Option<f64>,
    /// Lower end of the vacuum that was swept, kPa; 2 s of the run lie below.
    pub vacuum_from_kpa: Option<f64>,
    /// Upper end of the vacuum that was swept, kPa; 2 s of the run lie above.
    pub vacuum_to_kpa: Option<f64>,
    /// Time that was averaged, s.
    pub used_s: f64,
    /// Engine cycles that were averaged.
    pub cycles: u64,
    /// The error of the pair over the swept range.
    pub error: Vec<ErrorAt>,
    /// One plain sentence.
    pub say: String,
    /// What shakes the result or widened it.
    pub remarks: Vec<Remark>,
    /// The averages: mean vacuum and difference, kPa, for a chart.
    #[serde(skip)]
    pub points: Vec<(f64, f64)>,
    /// What was lacking, with its figures.
    #[serde(skip)]
    lack: Option<Lack>,
}

/// Why there is no line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Lack {
    /// No average with both sensors.
    Nothing,
    /// Seconds usable.
    Short(f64),
    /// The sensor that stood still, and what both moved, kPa.
    Dead(u8, [f64; 2]),
    /// Share of the averages at which the sensors lie too far apart for any pair.
    Apart(f64),
    /// Correlation of the ripple of the two sensors.
    Ripple(f64),
    /// Offset (kPa) and gain that no pair of sensors has.
    Unlike(f64, f64),
    /// Vacuum seen, kPa, and the pair's error there with its half width, kPa.
    Narrow { seen_kpa: f64, at_kpa: f64, error_kpa: f64, half_kpa: f64 },
}

/// A run needs this much time, s.
pub(super) const LEAST_S: f64 = 10.0;
/// ... and this many averages.
const LEAST_AVERAGES: usize = 16;
/// Range of vacuum that a gain needs, kPa. Over less, a bend of the sensors would pass for a gain
/// and be carried beyond where it was seen (a choice of this program).
pub(super) const LEAST_RANGE_KPA: f64 = 20.0;
/// The ends of the range are the levels beyond which this much time was spent, s.
const ENDS_S: f64 = 2.0;
/// A sensor that moves by less than this share of what the other moves stands still ...
const DEAD_SHARE: f64 = 0.2;
/// ... where the other moves by more than this, kPa.
const MOVES_KPA: f64 = 1.0;
/// A gap of more than this share of the range is worth a word.
const MOST_UNSEEN: f64 = 0.4;
/// Averages at which the sensors are too far apart may make this share of a run: hands on hoses.
const MOST_STRAYS: f64 = 0.2;
/// On one tap the ripple of the two sensors is at least this alike.
const LEAST_LIKENESS: f64 = 0.5;
/// Vacuums at which the error is told, kPa.
const TOLD_AT_KPA: [f64; 5] = [0.0, 20.0, 40.0, 60.0, 80.0];

/// Matches the pair on the part of a log between the marks `tee on` and `tee off`, or on all of it.
pub fn find(signal: &Signal, conditions: &Conditions) -> PairMatch {
    let spans = tee_run::spans(&signal.track.marks);
    let averages = tee_run::averages(signal, &spans);
    let mut found = PairMatch::empty(&averages);
    if spans.is_empty() {
        let text = "no mark 'tee on' in the log: all of it is taken as the tee run";
        found.remarks.push(Remark::new("tee_unmarked", 1, &[], text));
    }
    let range = range(&averages);
    found.vacuum_from_kpa = range.map(|range| range.0);
    found.vacuum_to_kpa = range.map(|range| range.1);
    let answer = lack(signal, &spans, &averages, range)
        .map_or_else(|| line(signal, &averages, &mut found.remarks).ok_or(Lack::Nothing), Err);
    match answer.and_then(|line| line.believable(conditions).map_or(Ok(line), Err)) {
        Ok(line) => found.take(&line),
        Err(lack) => found.lacks(lack),
    }
    if !averages.strays_s.is_empty() && found.verdict == MatchVerdict::Matched {
        let (count, at) = (averages.strays_s.len(), &averages.strays_s);
        let text = "the two sensors lie further apart than any pair does: a hose was off; left out";
        found.remarks.push(Remark::new("tee_strays", count, at, text));
    }
    if found.verdict == MatchVerdict::Matched {
        found.remarks.extend(range.and_then(|range| unseen(&averages, range)));
    }
    found.say = found.sentence(PressureUnit::Kpa);
    found
}

/// Levels beyond which [`ENDS_S`] of the run lie, kPa.
pub(super) fn range(averages: &Averages) -> Option<(f64, f64)> {
    let mut levels = averages.vacuum_kpa.clone();
    levels.sort_by(f64::total_cmp);
    let n = levels.len();
    let ends = (ENDS_S / averages.seconds * n as f64).ceil() as usize;
    let ends = ends.min(n.saturating_sub(1) / 2);
    Some((*levels.get(ends)?, *levels.get(n.checked_sub(1 + ends)?)?))
}

/// A part of the range that the run jumped over, so that a bend there could not show.
fn unseen(averages: &Averages, (low, high): (f64, f64)) -> Option<Remark> {
    let mut levels = averages.vacuum_kpa.clone();
    levels.sort_by(f64::total_cmp);
    let gap = levels.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))?;
    let wide = gap[1] - gap[0] > MOST_UNSEEN * (high - low);
    wide.then(|| {
        Remark::of_pressures("tee_unseen", 1, &[], |say| {
            format!(
                "nothing was seen from {} to {}: that the sensors keep to a straight line there is taken for granted",
                say.number(gap[0].max(0.0), 0),
                say.pressure(gap[1], 0)
            )
        })
    })
}

/// What keeps a run from having a line.
fn lack(
    signal: &Signal,
    spans: &[(f64, f64)],
    averages: &Averages,
    range: Option<(f64, f64)>,
) -> Option<Lack> {
    let all = averages.at_s.len() + averages.strays_s.len();
    let [moved1, moved2] = averages.moved_kpa;
    if all == 0 {
        return Some(Lack::Nothing);
    }
    if moved1.max(moved2) > MOVES_KPA && moved1.min(moved2) < DEAD_SHARE * moved1.max(moved2) {
        return Some(Lack::Dead(if moved1 < moved2 { 1 } else { 2 }, averages.moved_kpa));
    }
    let strays = averages.strays_s.len() as f64 / all as f64;
    if strays > MOST_STRAYS {
        return Some(Lack::Apart(strays));
    }
    if let Some(alike) = tee_run::likeness_of_ripple(signal, spans)
        && alike < LEAST_LIKENESS
    {
        return Some(Lack::Ripple(alike));
    }
    if averages.seconds < LEAST_S || averages.at_s.len() < LEAST_AVERAGES {
        return Some(Lack::Short(averages.seconds));
    }
    let (low, high) = range?;
    if high - low < LEAST_RANGE_KPA {
        let mean = correlated::mean_interval(&averages.difference_kpa, LEVEL);
        let at_kpa = summary::mean(&averages.vacuum_kpa);
        return Some(match (mean, at_kpa) {
            (Some(mean), Some(at_kpa)) => Lack::Narrow {
                seen_kpa: high - low,
                at_kpa,
                error_kpa: mean.mean,
                half_kpa: mean.high - mean.mean,
            },
            _ => Lack::Nothing,
        });
    }
    None
}

impl PairMatch {
    fn empty(averages: &Averages) -> Self {
        let points =
            averages.vacuum_kpa.iter().copied().zip(averages.difference_kpa.iter().copied());
        PairMatch {
            verdict: MatchVerdict::NotSettled,
            offset_kpa: None,
            offset_low_kpa: None,
            offset_high_kpa: None,
            gain: None,
            gain_low: None,
            gain_high: None,
            covariance: None,
            dof: None,
            residual_kpa: None,
            vacuum_from_kpa: None,
            vacuum_to_kpa: None,
            used_s: averages.seconds,
            cycles: averages.cycles.round() as u64,
            error: Vec::new(),
            say: String::new(),
            remarks: Vec::new(),
            points: points.collect(),
            lack: None,
        }
    }

    fn take(&mut self, line: &Line) {
        let Some(factor) = student::coverage_factor(LEVEL, line.dof) else { return };
        self.verdict = MatchVerdict::Matched;
        let (offset, reach) =
            (line.offset_kpa, factor * line.covariance.offset_kpa2.max(0.0).sqrt());
        self.offset_kpa = Some(offset);
        self.offset_low_kpa = Some(offset - reach);
        self.offset_high_kpa = Some(offset + reach);
        let (gain, reach) = (line.gain, factor * line.covariance.gain.sqrt());
        self.gain = Some(gain);
        self.gain_low = Some(gain - reach);
        self.gain_high = Some(gain + reach);
        self.covariance = Some(line.covariance);
        self.dof = Some(line.dof);
        self.residual_kpa = Some(line.residual_kpa);
        let (Some(from), Some(to)) = (self.vacuum_from_kpa, self.vacuum_to_kpa) else { return };
        let told = TOLD_AT_KPA.into_iter().filter(|v| *v >= from - 2.0 && *v <= to + 2.0);
        self.error = told.filter_map(|vacuum_kpa| self.error_at(vacuum_kpa)).collect();
    }

    fn lacks(&mut self, lack: Lack) {
        self.lack = Some(lack);
        self.verdict = match lack {
            Lack::Nothing | Lack::Short(_) => MatchVerdict::NotSettled,
            Lack::Dead(..) => MatchVerdict::SensorDead,
            Lack::Apart(_) | Lack::Ripple(_) | Lack::Unlike(..) => MatchVerdict::NotOneTap,
            Lack::Narrow { at_kpa, error_kpa, half_kpa, .. } => {
                let (low_kpa, high_kpa) = (error_kpa - half_kpa, error_kpa + half_kpa);
                self.error = vec![ErrorAt { vacuum_kpa: at_kpa, error_kpa, low_kpa, high_kpa }];
                MatchVerdict::OffsetOnly
            }
        };
    }

    /// The error of the pair at a vacuum, kPa; none without a line.
    pub fn error_at(&self, vacuum_kpa: f64) -> Option<ErrorAt> {
        let (offset, gain, c) = (self.offset_kpa?, self.gain?, self.covariance?);
        let variance = c.offset_kpa2 + vacuum_kpa * (2.0 * c.offset_gain_kpa + vacuum_kpa * c.gain);
        let error_kpa = offset + gain * vacuum_kpa;
        let reach = student::coverage_factor(LEVEL, self.dof?)? * variance.max(0.0).sqrt();
        let (low_kpa, high_kpa) = (error_kpa - reach, error_kpa + reach);
        Some(ErrorAt { vacuum_kpa, error_kpa, low_kpa, high_kpa })
    }

    /// The finding in one or two plain sentences, pressures in a unit of choice.
    pub fn sentence(&self, unit: PressureUnit) -> String {
        match self.lack {
            Some(lack) => line_words::lacking(lack, unit),
            None => line_words::matched(self, unit),
        }
    }
}
