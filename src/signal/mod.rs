//! From columns of samples to a series on which statistics are allowed: cleaned readings, whole
//! engine cycles, plateaus of steady speed, ripple.

pub mod cleaning;
pub mod cycles;
pub mod plateaus;
pub mod ripple;

use crate::sample::{Remark, Track};
use cycles::Cycles;
use plateaus::{Plateau, Step};

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
    /// Median sampling rate, Hz.
    pub sample_rate_hz: f64,
    /// Speed from the ripple of the vacuum, rev/min; absent when the log is too slow or too calm.
    pub ripple_rpm: Option<f64>,
    /// Resultant length of the sample phases within an intake pulse (0 spread evenly, 1 in step).
    pub aliasing_r: Option<f64>,
    /// What the cleaning saw.
    pub remarks: Vec<Remark>,
}

/// Vacuum readings further apart than this are not joined by a straight line, s.
const BRIDGE_S: f64 = 0.5;
/// A speed reading holds for this long, s.
const HOLD_S: f64 = 1.5;

/// Cleans a log, cuts it into whole cycles and finds its plateaus.
///
/// `cylinders` is the number of cylinders of the engine, both sides together.
pub fn prepare(mut track: Track, cylinders: u32) -> Signal {
    let interval_s = usual_interval(&track.time_s);
    let time = &track.time_s;
    for column in [&mut track.vac1_kpa, &mut track.vac2_kpa, &mut track.crank_kpa] {
        if let Some(column) = column {
            bridge(time, column);
        }
    }
    let remarks = cleaning::clean(&mut track);
    let ripple_rpm = ripple::speed(&track, interval_s, cylinders);
    let speed = speed_of_samples(&track, ripple_rpm);
    let cycles = cycles::cut(&track, &speed, interval_s);
    drop(speed);
    let series = plateau_series(&cycles);
    let mut plateaus = plateaus::find(&cycles, &series);
    let steps = plateaus::steps(&cycles, &plateaus);
    let mut signal = Signal {
        cycles,
        steps,
        sample_rate_hz: if interval_s > 0.0 { 1.0 / interval_s } else { 0.0 },
        ripple_rpm,
        aliasing_r: None,
        remarks,
        ..Signal::default()
    };
    for plateau in &mut plateaus {
        plateau.from_row = row_of(&track, plateau.from_row);
        plateau.to_row = row_of(&track, plateau.to_row);
    }
    for step in &mut signal.steps {
        step.at_row = row_of(&track, step.at_row);
    }
    signal.plateaus = plateaus;
    signal.track = track;
    signal
}

fn row_of(track: &Track, sample: u32) -> u32 {
    track.row.get(sample as usize).copied().unwrap_or(sample)
}

/// Median time between samples, s; 0 for fewer than two samples.
fn usual_interval(time: &[f64]) -> f64 {
    let stride = (time.len() / 20_000).max(1);
    let mut steps: Vec<f64> = time.windows(2).step_by(stride).map(|w| w[1] - w[0]).collect();
    if steps.is_empty() {
        return 0.0;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Joins the readings of a channel that speaks on every few rows only.
///
/// A straight line between a channel's own readings is what the trapezoid rule would take on the
/// channel's own clock; it adds no reading.
fn bridge(time: &[f64], column: &mut [f64]) {
    let mut last: Option<usize> = None;
    for k in 0..column.len() {
        if !column[k].is_finite() {
            continue;
        }
        if let Some(from) = last
            && k > from + 1
            && time[k] - time[from] <= BRIDGE_S
        {
            let slope = (column[k] - column[from]) / (time[k] - time[from]);
            for j in from + 1..k {
                column[j] = column[from] + slope * (time[j] - time[from]);
            }
        }
        last = Some(k);
    }
}

/// Engine speed at every sample for the phase: the pick-up's last reading while it is fresh, the
/// ripple's where there is no pick-up.
fn speed_of_samples(track: &Track, ripple_rpm: Option<f64>) -> Vec<f64> {
    let Some(rpm) = &track.rpm else {
        return vec![ripple_rpm.unwrap_or(f64::NAN); track.len()];
    };
    let mut speed = rpm.clone();
    let mut last: Option<usize> = None;
    for k in 0..speed.len() {
        if rpm[k].is_finite() {
            last = Some(k);
        } else if let Some(from) = last
            && track.time_s[k] - track.time_s[from] <= HOLD_S
        {
            speed[k] = rpm[from];
        }
    }
    speed
}

/// What tells one engine state from another: the speed, or the mean vacuum without one.
fn plateau_series(cycles: &Cycles) -> Vec<f64> {
    match (&cycles.rpm, &cycles.vac1_kpa, &cycles.vac2_kpa) {
        (Some(rpm), _, _) => rpm.clone(),
        (None, Some(one), Some(two)) => one.iter().zip(two).map(|(a, b)| 0.5 * (a + b)).collect(),
        (None, Some(one), None) | (None, None, Some(one)) => one.clone(),
        (None, None, None) => vec![f64::NAN; cycles.len()],
    }
}
