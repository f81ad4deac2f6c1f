//! From columns of samples to a series on which statistics are allowed: cleaned readings, whole
//! engine cycles, plateaus of steady speed, ripple.

pub mod aliasing;
pub mod cleaning;
pub mod cycles;
pub mod hoses;
pub mod links;
pub mod orders;
pub mod plateaus;
pub mod readings;
pub mod ripple;
mod steadiness;

use crate::cores::{MANY_SAMPLES, both, each};
use crate::sample::{Column, Packer, Remark, Track};
use aliasing::Channel;
use cycles::Cycles;
use hoses::HoseChange;
use links::Outages;
use plateaus::{Kind, Plateau, Step};
use ripple::WindowSpeed;

/// A log made ready for the findings.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Signal {
    /// Cleaned samples: what was judged false is NaN, and counted in the remarks.
    pub track: Track,
    /// Averages over whole engine cycles.
    pub cycles: Cycles,
    /// Stretches of steady speed and of engine off, in the order of time.
    pub plateaus: Vec<Plateau>,
    /// Lasting steps of speed.
    pub steps: Vec<Step>,
    /// Changes of the hoses, in the order of time.
    pub hoses: Vec<HoseChange>,
    /// Median sampling rate, Hz.
    pub sample_rate_hz: f64,
    /// Speed from the ripple of the vacuum, rev/min; absent when the log is too slow or too calm.
    pub ripple_rpm: Option<f64>,
    /// Rows on which each vacuum channel speaks, side 1 and side 2; absent where it speaks on every
    /// row.
    pub spoken: [Option<Vec<u32>>; 2],
    /// Largest share of the ripple that the mean of a vacuum over a plateau can retain (0 readings
    /// spread evenly over the cycle, 1 in step); absent where the channels are too fast to keep step.
    pub aliasing_r: Option<f64>,
    /// What the cleaning saw.
    pub remarks: Vec<Remark>,
}

/// Vacuum readings further apart than this are not joined by a straight line, s.
const BRIDGE_S: f64 = 0.5;
/// ... nor are those further apart than this many of the channel's own intervals.
const BRIDGE_INTERVALS: f64 = 3.0;
/// A speed reading holds for this long, s.
const HOLD_S: f64 = 1.5;

/// Cleans a log, cuts it into whole cycles and finds its plateaus.
///
/// `cylinders` is the number of cylinders of the engine, both sides together.
pub fn prepare(mut track: Track, cylinders: u32) -> Signal {
    let Cut { interval_s, blocks, windows, spoken, mut remarks } = cut(&mut track, cylinders);
    let (cycles, mut plateaus) = match &track.rpm {
        Some(rpm) => {
            let running = |cycles: &Cycles| plateaus::running(cycles, by_speed(cycles));
            let (cycles, running) = match blocks {
                Some(blocks) => cycles::averaged_and(&track, blocks, running),
                None => {
                    let outages = Outages::of(&track.marks);
                    let speeds = held(rpm, &outages);
                    let cycles = cycles::one_a_sample(&track, speeds, interval_s, true);
                    let running = running(&cycles);
                    (cycles, running)
                }
            };
            let plateaus = plateaus::with_standstills(&cycles, by_speed(&cycles), running);
            (cycles, plateaus)
        }
        None => {
            let speeds = || ripple::speeds_at(&windows);
            let cycles = cycles::cut(&track, speeds, interval_s, !windows.is_empty());
            let plateaus = plateaus::find(&cycles, &mean_vacuum(&cycles));
            (cycles, plateaus)
        }
    };
    let last_sample = track.len().saturating_sub(1) as u32;
    plateaus.iter_mut().for_each(|plateau| plateau.to_row = plateau.to_row.min(last_sample));
    let mut steps = plateaus::steps(&cycles, &plateaus);
    let (hoses, unmarked) = hoses::find(&track.marks, &cycles, &plateaus);
    remarks.extend(unmarked);
    let sample_rate_hz = if interval_s > 0.0 { 1.0 / interval_s } else { 0.0 };
    let aliasing_r = largest_resultant(&track, &plateaus, &spoken, cylinders);
    // Until here the plateaus count samples; rows that were left out part the two.
    for row in plateaus
        .iter_mut()
        .flat_map(|p| [&mut p.from_row, &mut p.to_row])
        .chain(steps.iter_mut().map(|s| &mut s.at_row))
    {
        if (*row as usize) < track.row.len() {
            *row = track.row.of(*row as usize);
        }
    }
    Signal {
        sample_rate_hz,
        ripple_rpm: ripple::median_speed(&windows),
        spoken,
        aliasing_r,
        track,
        cycles,
        plateaus,
        steps,
        hoses,
        remarks,
    }
}

/// A log whose speed is cut into blocks and whose pressures are cleaned.
struct Cut {
    interval_s: f64,
    /// Absent without a pick-up, and where there is less than one sample a cycle.
    blocks: Option<Cycles>,
    /// Speeds from the ripple.
    windows: Vec<WindowSpeed>,
    /// See [`Signal::spoken`].
    spoken: [Option<Vec<u32>>; 2],
    remarks: Vec<Remark>,
}

/// Joins, cleans and cuts; the blocks need no pressure, and the pressures no block.
fn cut(track: &mut Track, cylinders: u32) -> Cut {
    let much = track.len() >= MANY_SAMPLES;
    let outages = Outages::of(&track.marks);
    let Track { time_s, rpm, marks, vac1_kpa, vac2_kpa, crank_kpa, flow1_kpa, flow2_kpa, .. } =
        track;
    let time_s = &*time_s;
    let join = || {
        let of_speed = rpm.as_mut().and_then(|rpm| cleaning::clean_pickup(time_s, rpm));
        let spoken = [&*vac1_kpa, &*vac2_kpa]
            .map(|column| column.as_ref().and_then(readings::of_slow_channel));
        let all = [&mut *vac1_kpa, &mut *vac2_kpa, crank_kpa, &mut *flow1_kpa, &mut *flow2_kpa];
        for column in all.into_iter().flatten() {
            if let Some(joined) = bridge(time_s, column, &outages) {
                *column = joined;
            }
        }
        (of_speed, spoken)
    };
    let (interval_s, (of_speed, spoken)) = both(much, || usual_interval(time_s), join);
    let rpm = rpm.as_ref();
    let blocks = || {
        let rpm = rpm?;
        let (speeds, fastest) = (|| held(rpm, &outages), cycles::fastest(Some(rpm)));
        cycles::blocks(time_s, marks, speeds, fastest, interval_s, true)
    };
    let pressures = || {
        let vacuums = [&mut *vac1_kpa, &mut *vac2_kpa];
        let cleaned = cleaning::clean_pressures(time_s, rpm, vacuums, [flow1_kpa, flow2_kpa]);
        let vacuums = [vac1_kpa.as_ref(), vac2_kpa.as_ref()];
        let windows = ripple::fundamentals_of(time_s, vacuums, rpm.is_some(), interval_s);
        let pickup = |at_s: f64| pickup_around(time_s, rpm?, at_s);
        let windows = ripple::speeds(&windows, cylinders, pickup);
        let wrong = ripple::pickup_factor(&windows, pickup).map(wrong_pulses);
        (cleaned, windows, wrong)
    };
    let (blocks, (cleaned, windows, wrong)) = both(much, blocks, pressures);
    let remarks = of_speed.into_iter().chain(cleaned).chain(wrong).collect();
    Cut { interval_s, blocks, windows, spoken, remarks }
}

/// See [`Signal::aliasing_r`]; the plateaus count samples.
fn largest_resultant(
    track: &Track,
    plateaus: &[Plateau],
    spoken: &[Option<Vec<u32>>; 2],
    cylinders: u32,
) -> Option<f64> {
    let running = plateaus.iter().filter(|p| p.kind == Kind::Running);
    let channels: Vec<Channel> = running
        .flat_map(|p| {
            let rows = (p.from_row as usize, p.to_row as usize + 1);
            spoken.iter().map(move |own| Channel { track, spoken: own.as_deref(), rows, cylinders })
        })
        .collect();
    let much = track.len() >= MANY_SAMPLES;
    let resultants = each(much, &channels, |channel| channel.resultant());
    resultants.into_iter().flatten().reduce(f64::max)
}

fn wrong_pulses(factor: f64) -> Remark {
    let times = match factor {
        f if f > 1.75 => "twice",
        f if f > 1.0 => "one and a half times",
        f if f > 0.6 => "two thirds of",
        _ => "half",
    };
    let text = format!(
        "the pick-up shows {times} the speed that the ripple of the vacuum gives: its pulses per turn are probably set wrong"
    );
    Remark::new("pickup_factor", 1, &[], text)
}

/// Mean pick-up speed within two seconds of a time.
fn pickup_around(time_s: &Column, rpm: &Column, at_s: f64) -> Option<f64> {
    let from = time_s.partition_point(|t| t < at_s - 2.0);
    let to = time_s.partition_point(|t| t < at_s + 2.0);
    let (mut sum, mut count) = (0.0, 0.0);
    for reading in rpm.iter_over(from..to).filter(|n| n.is_finite()) {
        sum += reading;
        count += 1.0;
    }
    (count > 0.0).then(|| sum / count)
}

/// Median time between samples, s; 0 for fewer than two samples.
fn usual_interval(time: &Column) -> f64 {
    let stride = (time.len() / 20_000).max(1);
    let mut cursor = time.cursor();
    let firsts = (1..time.len()).step_by(stride);
    let mut steps: Vec<f64> = firsts.map(|k| -cursor.glance(k - 1) + cursor.glance(k)).collect();
    if steps.is_empty() {
        return 0.0;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Joins the readings of a channel that speaks on every few rows only; none where nothing is missing.
///
/// A straight line between a channel's own readings is what the trapezoid rule would take on the
/// channel's own clock; it adds no reading.
fn bridge(time: &Column, column: &Column, outages: &Outages) -> Option<Column> {
    // A channel's own interval: what is missing for longer than a few of them is a dropout, and a
    // line across it would join whatever points of the ripple lie at its ends.
    let missing = column.missing();
    if missing == 0 {
        return None;
    }
    let span = time.last().zip(time.first()).map_or(0.0, |(last, first)| last - first);
    let own_interval = span / (column.len() - missing).max(1) as f64;
    let longest = BRIDGE_S.min(BRIDGE_INTERVALS * own_interval);
    let mut joined = Packer::default();
    // Times of the samples since the last reading, and that reading.
    let mut open: Vec<f64> = Vec::new();
    let mut last: Option<(f64, f64)> = None;
    for (at_s, value) in time.iter().zip(column) {
        if !value.is_finite() {
            open.push(at_s);
            // Too long for a line: there is no need to hold the times of a long dropout.
            if last.is_none_or(|(last_s, _)| at_s - last_s > longest) {
                open.drain(..).for_each(|_| joined.push(f64::NAN));
                last = None;
            }
            continue;
        }
        let near =
            |(from_s, _): &(f64, f64)| at_s - from_s <= longest && !outages.part(*from_s, at_s);
        match last.filter(near) {
            Some((from_s, from)) => {
                let slope = (value - from) / (at_s - from_s);
                open.drain(..).for_each(|at_s| joined.push(from + slope * (at_s - from_s)));
            }
            None => open.drain(..).for_each(|_| joined.push(f64::NAN)),
        }
        joined.push(value);
        last = Some((at_s, value));
    }
    open.into_iter().for_each(|_| joined.push(f64::NAN));
    Some(joined.finish())
}

/// The pick-up's speed along a log: its last reading while that is fresh and the link stays.
fn held<'a>(rpm: &'a Column, outages: &'a Outages) -> impl FnMut(usize, &[f64], &mut [f64]) + 'a {
    let (mut last_s, mut last_rpm) = (f64::NAN, f64::NAN);
    let mut readings = rpm.cursor();
    move |first, times, speeds| {
        readings.read(first, speeds);
        for (at_s, speed) in times.iter().zip(speeds) {
            if speed.is_finite() {
                (last_s, last_rpm) = (*at_s, *speed);
            } else if at_s - last_s <= HOLD_S && !outages.part(last_s, *at_s) {
                *speed = last_rpm;
            } else {
                *speed = f64::NAN;
            }
        }
    }
}

/// What tells one engine state from another where there is a pick-up: its speed.
fn by_speed(cycles: &Cycles) -> &[f64] {
    cycles.rpm.as_deref().unwrap_or_default()
}

/// What tells one engine state from another without a pick-up.
fn mean_vacuum(cycles: &Cycles) -> Vec<f64> {
    match (&cycles.vac1_kpa, &cycles.vac2_kpa) {
        (Some(one), Some(two)) => one.iter().zip(two).map(|(a, b)| 0.5 * (a + b)).collect(),
        (Some(one), None) | (None, Some(one)) => one.clone(),
        (None, None) => vec![f64::NAN; cycles.len()],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NONE: f64 = f64::NAN;

    #[test]
    fn a_line_joins_readings_but_not_across_a_gap_or_beyond_the_ends() {
        let time = Column::from(vec![0.0, 0.1, 0.2, 0.4, 0.5, 1.2, 1.3, 1.4]);
        let column = Column::from(vec![NONE, 1.0, NONE, NONE, 5.0, NONE, 7.0, NONE]);
        let column = bridge(&time, &column, &Outages::default()).unwrap().to_vec();
        assert!((column[2] - 2.0).abs() < 1e-12 && (column[3] - 4.0).abs() < 1e-12);
        let left: Vec<usize> = (0..8).filter(|k| column[*k].is_nan()).collect();
        assert_eq!(left, [0, 5, 7]);
    }

    #[test]
    fn nothing_is_joined_or_held_across_an_outage() {
        use crate::sample::Mark;
        use crate::units::Seconds;
        let time = Column::from(vec![0.0, 0.1, 0.2, 0.3, 0.4]);
        let marks = [(0.15, "link lost"), (0.3, "link back")];
        let outages = Outages::of(&marks.map(|(at_s, text)| Mark::read(Seconds(at_s), text)));
        let given = Column::from(vec![1.0, 1.5, NONE, 2.5, 3.0]);
        for (outages, joined) in [(&outages, false), (&Outages::default(), true)] {
            let column = bridge(&time, &given, outages).unwrap();
            assert_eq!(column.at(2).is_finite(), joined);
            let mut speed = [0.0; 5];
            held(&given, outages)(0, &time.to_vec(), &mut speed);
            assert_eq!(speed[2].is_finite(), joined);
        }
    }

    #[test]
    fn a_speed_holds_while_it_is_fresh() {
        let time = Column::from(vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0]);
        let rpm = Column::from(vec![NONE, 850.0, NONE, NONE, 860.0, NONE]);
        let mut speed = [0.0; 6];
        let (none, times) = (Outages::default(), time.to_vec());
        let mut along = held(&rpm, &none);
        // In two stretches, as at the end of a piece of the column.
        along(0, &times[..3], &mut speed[..3]);
        along(3, &times[3..], &mut speed[3..]);
        let speed = speed.map(|n| if n.is_nan() { -1.0 } else { n });
        assert_eq!(speed, [-1.0, 850.0, 850.0, -1.0, 860.0, 860.0]);
    }
}
