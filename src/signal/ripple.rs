//! Engine speed from the ripple of the vacuum.
//!
//! Every intake stroke leaves a mark on the vacuum, so that the lines of its spectrum stand at
//! multiples of a fundamental: of the pulse rate `n/120 * Nc` where the `Nc` cylinders of a side
//! draw evenly, of the cycle rate `n/120` where they do not (an in-line four firing 1-3-4-2 with a
//! carburettor for each pair draws at 180 and 540 degrees). The shape cannot tell the two apart: two
//! adjoining strokes look like one stroke of half the speed. The speed can: an engine idles between
//! 500 and 1300 rev/min (common practice, no published source). A pick-up that agrees with either
//! reading decides; without one, a log that holds no idle may be read at half or twice its speed.

use crate::sample::{Column, Track};
use rustfft::algorithm::Radix4;
use rustfft::{Fft, FftDirection, num_complex::Complex};

/// Length of the stretch that gives one speed, s.
const WINDOW_S: f64 = 4.0;
/// Sampling rate that is enough, Hz: faster logs are averaged down to it.
const ENOUGH_HZ: f64 = 250.0;
/// Slowest sampling from which a speed is taken, Hz: three samples a pulse at a fast idle.
const LEAST_HZ: f64 = 40.0;
/// Slowest cycle rate looked for, Hz (300 rev/min).
const LOWEST_HZ: f64 = 2.5;
/// Fastest fundamental looked for, Hz.
const HIGHEST_HZ: f64 = 120.0;
/// Root-mean-square ripple below which there is none, kPa.
const CALM_KPA: f64 = 0.1;
/// Share of the best comb's power that a faster fundamental must explain to be the one.
const NEARLY_ALL: f64 = 0.9;
/// Share of the window's power that lies on the lines when there are lines.
const LINES_SHARE: f64 = 0.5;
/// Zero padding of the spectrum.
const PADDING: usize = 4;
/// Windows looked at when the pick-up gives the speed and the ripple only has to confirm it.
const WINDOWS_TO_CONFIRM: usize = 12;

/// Idle speeds of road engines, rev/min (common practice, no published source).
const IDLE_RPM: std::ops::RangeInclusive<f64> = 500.0..=1300.0;
/// A pick-up and a ripple that agree do so within this share.
const AGREE: f64 = 0.03;

/// Fundamental of the ripple in one window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Middle of the window, s.
    pub at_s: f64,
    /// Fundamental, Hz; 0 where the vacuum is calm.
    pub hz: f64,
}

/// Speed in one window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindowSpeed {
    /// Middle of the window, s.
    pub at_s: f64,
    /// Engine speed, rev/min; 0 where the vacuum is calm.
    pub rpm: f64,
}

/// Fundamentals of the ripple, window by window; empty when the log is too slow.
///
/// With a pick-up in the log a dozen windows spread over it are enough; without one, windows
/// follow each other at half their length.
pub fn fundamentals(track: &Track, interval_s: f64) -> Vec<Window> {
    let sides = [&track.vac1_kpa, &track.vac2_kpa].map(Option::as_ref);
    fundamentals_of(&track.time_s, sides, track.rpm.is_some(), interval_s)
}

/// As [`fundamentals`], of two vacuums.
pub(super) fn fundamentals_of(
    time_s: &Column,
    sides: [Option<&Column>; 2],
    with_pickup: bool,
    interval_s: f64,
) -> Vec<Window> {
    let sides: Vec<&Column> = sides.into_iter().flatten().collect();
    let rate = 1.0 / interval_s;
    if sides.is_empty() || !(LEAST_HZ..1e6).contains(&rate) {
        return Vec::new();
    }
    let window = (WINDOW_S * rate) as usize;
    if time_s.len() < window {
        return Vec::new();
    }
    let windows = (time_s.len() - window) / (window / 2) + 1;
    let stride = if with_pickup { windows.div_ceil(WINDOWS_TO_CONFIRM) } else { 1 };
    let mut spectrum = Spectrum::new(rate, window);
    (0..windows)
        .step_by(stride)
        .filter_map(|w| {
            let from = w * (window / 2);
            let (first_s, last_s) = (time_s.at(from), time_s.at(from + window - 1));
            let whole = last_s - first_s < 1.1 * WINDOW_S;
            let hz = whole.then(|| spectrum.ripple(&sides, from)).flatten()?;
            Some(Window { at_s: 0.5 * (first_s + last_s), hz })
        })
        .collect()
}

/// Speeds from the fundamentals; empty where the spacing of the pulses cannot be told.
///
/// `pickup` gives the pick-up's mean speed around a time, rev/min, where there is one.
pub fn speeds(
    windows: &[Window],
    cylinders: u32,
    pickup: impl Fn(f64) -> Option<f64>,
) -> Vec<WindowSpeed> {
    let a_side = f64::from(cylinders.max(2)) / 2.0;
    let patterns: &[f64] = if a_side == 1.0 { &[1.0] } else { &[1.0, a_side] };
    let turning: Vec<Window> = windows.iter().copied().filter(|w| w.hz > 0.0).collect();
    let Some(slow) = quantile(turning.iter().map(|w| w.hz), 0.1) else { return Vec::new() };
    let speeds_read = || turning.iter().filter_map(|w| pickup(w.at_s));
    let can_be_true = quantile(speeds_read(), 0.1).is_some_and(|n| n >= *IDLE_RPM.start());
    let agrees = |pulses: &f64| {
        let ratios =
            turning.iter().filter_map(|w| pickup(w.at_s).map(|n| n * pulses / w.hz / 120.0));
        can_be_true && quantile(ratios, 0.5).is_some_and(|ratio| (ratio - 1.0).abs() < AGREE)
    };
    let idles = |pulses: &f64| IDLE_RPM.contains(&(120.0 * slow / pulses));
    let mut idling = patterns.iter().copied().filter(idles);
    let chosen = patterns.iter().copied().find(agrees).or(match (idling.next(), idling.next()) {
        _ if patterns.len() == 1 => Some(1.0),
        (Some(only), None) => Some(only),
        _ => None,
    });
    chosen.map_or_else(Vec::new, |pulses| {
        let speed = |w: &Window| WindowSpeed { at_s: w.at_s, rpm: 120.0 * w.hz / pulses };
        windows.iter().map(speed).collect()
    })
}

/// Lower quantile; none of nothing.
fn quantile(values: impl Iterator<Item = f64>, share: f64) -> Option<f64> {
    let mut held: Vec<f64> = values.collect();
    let at = (held.len() as f64 * share) as usize;
    (!held.is_empty()).then(|| *held.select_nth_unstable_by(at, f64::total_cmp).1)
}

/// Median of the speeds above standstill.
pub fn median_speed(windows: &[WindowSpeed]) -> Option<f64> {
    quantile(windows.iter().map(|w| w.rpm).filter(|rpm| *rpm > 0.0), 0.5)
}

/// Speeds along a log, at its times, straight between windows; NaN where there are no windows.
pub fn speeds_at(windows: &[WindowSpeed]) -> impl FnMut(usize, &[f64], &mut [f64]) + '_ {
    let mut after = 0;
    move |_, times_s, speeds| {
        for (at_s, speed) in times_s.iter().zip(speeds) {
            while windows.get(after).is_some_and(|w| w.at_s < *at_s) {
                after += 1;
            }
            *speed = speed_before(windows, after, *at_s);
        }
    }
}

/// Speed at a time before window `after` and not before the one before it.
fn speed_before(windows: &[WindowSpeed], after: usize, at_s: f64) -> f64 {
    match (after.checked_sub(1).map(|k| windows[k]), windows.get(after)) {
        (Some(a), Some(b)) if a.rpm > 0.0 && b.rpm > 0.0 => {
            a.rpm + (b.rpm - a.rpm) * (at_s - a.at_s) / (b.at_s - a.at_s)
        }
        (Some(a), Some(b)) => {
            if at_s - a.at_s < b.at_s - at_s {
                a.rpm
            } else {
                b.rpm
            }
        }
        (Some(only), None) => only.rpm,
        (None, Some(only)) => only.rpm,
        (None, None) => f64::NAN,
    }
}

/// The factor 2, 1/2, 3/2 or 2/3 by which a pick-up's speed is off, when it is.
///
/// `pickup` gives the pick-up's mean speed around a time, rev/min.
pub fn pickup_factor(windows: &[WindowSpeed], pickup: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let turning = windows.iter().filter(|w| w.rpm > 0.0);
    let ratios: Vec<f64> =
        turning.filter_map(|w| pickup(w.at_s).filter(|n| *n > 0.0).map(|n| n / w.rpm)).collect();
    let median = quantile(ratios.into_iter(), 0.5)?;
    [2.0, 0.5, 1.5, 2.0 / 3.0].into_iter().find(|factor| (median / factor - 1.0).abs() < AGREE)
}

/// The workings of one window: averaging down, spectrum, comb. Buffers are kept from window to
/// window.
struct Spectrum {
    fft: Radix4<f64>,
    every: usize,
    window: usize,
    bin_hz: f64,
    hann: Vec<f64>,
    slow: Vec<f64>,
    buffer: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
}

impl Spectrum {
    fn new(rate: f64, window: usize) -> Self {
        let every = (rate / ENOUGH_HZ).floor().max(1.0) as usize;
        let length = window / every;
        let size = length.next_power_of_two() * PADDING;
        let bin_hz = rate / every as f64 / size as f64;
        // Made for powers of two; a planner would bring every other algorithm along.
        let fft = Radix4::new(size, FftDirection::Forward);
        let turn = |k: usize| std::f64::consts::TAU * (k as f64 + 0.5) / length as f64;
        Spectrum {
            hann: (0..length).map(|k| 0.5 - 0.5 * turn(k).cos()).collect(),
            slow: Vec::with_capacity(length),
            buffer: vec![Complex::new(0.0, 0.0); size],
            scratch: vec![Complex::new(0.0, 0.0); fft.get_inplace_scratch_len()],
            fft,
            every,
            window,
            bin_hz,
        }
    }

    fn ripple(&mut self, sides: &[&Column], from: usize) -> Option<f64> {
        let mut power = vec![0.0; self.buffer.len() / 2];
        let mut square = 0.0;
        for side in sides {
            square += self.add_power(&side.window(from..from + self.window), &mut power)?;
        }
        if (square / sides.len() as f64).sqrt() < CALM_KPA {
            return Some(0.0);
        }
        self.fundamental(&power)
    }

    /// Adds a side's power spectrum (Hann window) and gives its mean square, kPa^2.
    fn add_power(&mut self, side: &[f64], power: &mut [f64]) -> Option<f64> {
        let slow = &mut self.slow;
        slow.clear();
        slow.extend(side.chunks_exact(self.every).map(|c| c.iter().sum::<f64>() / c.len() as f64));
        let n = slow.len() as f64;
        let mean = slow.iter().sum::<f64>() / n;
        if !mean.is_finite() {
            return None;
        }
        slow.iter_mut().for_each(|v| *v -= mean);
        let square = slow.iter().map(|v| v * v).sum::<f64>() / n;
        let (filled, padding) = self.buffer.split_at_mut(slow.len());
        for ((slot, value), hann) in filled.iter_mut().zip(slow.iter()).zip(&self.hann) {
            *slot = Complex::new(value * hann, 0.0);
        }
        padding.fill(Complex::new(0.0, 0.0));
        self.fft.process_with_scratch(&mut self.buffer, &mut self.scratch);
        power.iter_mut().zip(&self.buffer).for_each(|(p, b)| *p += b.norm_sqr());
        Some(square)
    }

    fn bin(&self, hz: f64) -> usize {
        (hz / self.bin_hz).round() as usize
    }

    /// The greatest power within one resolution cell of a bin.
    fn line(power: &[f64], bin: usize) -> f64 {
        let from = bin.saturating_sub(PADDING / 2).min(power.len());
        let to = (bin + PADDING / 2 + 1).min(power.len());
        power[from..to].iter().copied().fold(0.0, f64::max)
    }

    /// Power on the multiples of a fundamental up to the eighth; `lines` has one entry a bin.
    fn comb(&self, lines: &[f64], hz: f64) -> f64 {
        let top = 0.95 * self.bin_hz * lines.len() as f64;
        let multiples = (1..=8).map(|h| h as f64 * hz).take_while(|f| *f < top);
        multiples.filter_map(|f| lines.get(self.bin(f))).sum()
    }

    /// The fastest fundamental whose comb explains nearly all that any comb explains.
    fn fundamental(&self, power: &[f64]) -> Option<f64> {
        let lowest = (LOWEST_HZ / self.bin_hz) as usize;
        let highest = ((HIGHEST_HZ / self.bin_hz) as usize).min(power.len() - 1);
        let lines: Vec<f64> = (0..power.len()).map(|bin| Self::line(power, bin)).collect();
        let combs: Vec<f64> =
            (lowest..highest).map(|bin| self.comb(&lines, bin as f64 * self.bin_hz)).collect();
        let best = combs.iter().copied().fold(0.0, f64::max);
        let nearly = combs.iter().rposition(|c| *c >= NEARLY_ALL * best)?;
        // The plateau of a comb is a resolution cell wide: its own line tells the middle.
        let cell = nearly.saturating_sub(2 * PADDING)..=nearly;
        let peak = cell.max_by(|a, b| {
            let line = |k: &usize| self.summed_lines(power, (lowest + k) as f64 * self.bin_hz);
            line(a).total_cmp(&line(b))
        })?;
        let hz = self.refine(power, (lowest + peak) as f64 * self.bin_hz);
        let total: f64 = power[lowest..].iter().sum();
        // A Hann line is 1.5 cells wide: its peak bin holds this share of the line's power.
        let share = best * 1.5 * PADDING as f64 / total;
        (share >= LINES_SHARE).then_some(hz)
    }

    /// Power exactly on the multiples, without the tolerance of a cell.
    fn summed_lines(&self, power: &[f64], hz: f64) -> f64 {
        (1..=8).filter_map(|h| power.get(self.bin(h as f64 * hz))).sum()
    }

    /// Sub-bin frequency from the strongest multiple: a parabola through the logarithms.
    fn refine(&self, power: &[f64], hz: f64) -> f64 {
        let line = |multiple: &i32| Self::line(power, self.bin(f64::from(*multiple) * hz));
        let strongest = (1..=8).max_by(|a, b| line(a).total_cmp(&line(b))).unwrap_or(1);
        let guess = self.bin(f64::from(strongest) * hz);
        let reach = guess.saturating_sub(PADDING)..(guess + PADDING + 1).min(power.len() - 1);
        let Some(peak) = reach.max_by(|a, b| power[*a].total_cmp(&power[*b])) else { return hz };
        if peak == 0 {
            return hz;
        }
        let [low, mid, high] = [power[peak - 1], power[peak], power[peak + 1]].map(f64::ln);
        let bend = low - 2.0 * mid + high;
        let shift = if bend < 0.0 { 0.5 * (low - high) / bend } else { 0.0 };
        (peak as f64 + shift.clamp(-0.5, 0.5)) * self.bin_hz / f64::from(strongest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pulses of a leaky tract: every stroke adds, an exponential takes away. Computed at 8 kHz and
    /// averaged down, as a sensor behind its filter would see it.
    fn track(rpm: f64, at_degrees: [&[f64]; 2], rate: f64, seconds: f64) -> Track {
        let (fine, every) = (8000.0, (8000.0 / rate) as usize);
        let step = rpm / 60.0 / fine * 360.0;
        let side = |angles: &[f64]| {
            let mut level = 55.0;
            let levels: Vec<f64> = (0..(fine * seconds) as usize)
                .map(|k| {
                    let turn = step * k as f64 % 720.0;
                    let drawing = |angle: &&f64| (turn - **angle).rem_euclid(720.0) < 180.0;
                    level += angles.iter().filter(drawing).count() as f64 * step / 180.0 * 9.0;
                    level -= 9.0 * angles.len() as f64 * step / 720.0 * (level / 55.0);
                    level
                })
                .collect();
            levels
                .chunks_exact(every)
                .map(|c| c.iter().sum::<f64>() / every as f64)
                .collect::<Column>()
        };
        Track {
            time_s: (0..(rate * seconds) as usize).map(|k| k as f64 / rate).collect(),
            vac1_kpa: Some(side(at_degrees[0])),
            vac2_kpa: Some(side(at_degrees[1])),
            ..Track::default()
        }
    }

    #[test]
    fn even_and_uneven_pulses_give_the_speed() {
        let uneven: [&[f64]; 2] = [&[0.0, 180.0], &[360.0, 540.0]];
        let even: [&[f64]; 2] = [&[0.0, 360.0], &[180.0, 540.0]];
        for rpm in [700.0, 851.0, 1020.0, 2000.0, 2800.0] {
            for pattern in [uneven, even] {
                for rate in [125.0, 200.0, 500.0, 1000.0] {
                    if rate < 0.1 * rpm {
                        continue;
                    }
                    let hz = fundamentals(&track(rpm, pattern, rate, 12.0), 1.0 / rate);
                    let windows = speeds(&hz, 4, |_| Some(rpm * 1.004));
                    let found = median_speed(&windows)
                        .unwrap_or_else(|| panic!("{rpm} {pattern:?} {rate} Hz: {hz:?}"));
                    let off = found / rpm - 1.0;
                    assert!(off.abs() < 0.003, "{rpm} {pattern:?} {rate} Hz: {found}");
                }
            }
        }
    }

    #[test]
    fn a_calm_or_slow_log_gives_none() {
        let mut calm = track(850.0, [&[0.0], &[360.0]], 100.0, 8.0);
        calm.vac1_kpa = Some(vec![55.0; calm.len()].into());
        calm.vac2_kpa = Some(vec![54.0; calm.len()].into());
        assert!(fundamentals(&calm, 0.01).iter().all(|w| w.hz == 0.0));
        assert!(fundamentals(&calm, 0.1).is_empty());
    }

    #[test]
    fn an_idle_needs_no_pickup() {
        let uneven: [&[f64]; 2] = [&[0.0, 180.0], &[360.0, 540.0]];
        let idle = fundamentals(&track(851.0, uneven, 200.0, 12.0), 0.005);
        let found = median_speed(&speeds(&idle, 4, |_| None)).unwrap();
        assert!((found - 851.0).abs() < 3.0, "{found}");
    }

    #[test]
    fn a_doubled_pickup_is_named() {
        let windows: Vec<WindowSpeed> =
            (0..5).map(|k| WindowSpeed { at_s: f64::from(k), rpm: 850.0 }).collect();
        assert_eq!(pickup_factor(&windows, |_| Some(1703.0)), Some(2.0));
        assert_eq!(pickup_factor(&windows, |_| Some(425.0)), Some(0.5));
        assert_eq!(pickup_factor(&windows, |_| Some(849.0)), None);
    }

    #[test]
    fn a_speed_runs_straight_between_windows_and_never_through_standstill() {
        let window = |at_s, rpm| WindowSpeed { at_s, rpm };
        let windows = [window(2.0, 800.0), window(4.0, 900.0), window(6.0, 0.0)];
        let times = [0.0, 2.0, 3.0, 4.0, 4.9, 5.1, 9.0];
        let mut found = [0.0; 7];
        speeds_at(&windows)(0, &times, &mut found);
        assert_eq!(found, [800.0, 800.0, 850.0, 900.0, 900.0, 0.0, 0.0]);
        speeds_at(&[])(0, &times, &mut found);
        assert!(found.iter().all(|n| n.is_nan()));
    }
}
