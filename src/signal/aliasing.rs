//! A slow logger that keeps step with the engine.
//!
//! Its readings may fall at nearly the same points of every cycle, and then no amount of averaging
//! helps. Their phases tell: spread evenly they cancel, in step they add up. With `phi` the engine
//! phase in cycles, `R = |mean exp(2 pi i m phi)|` is the share of the ripple's order `m` that the mean
//! retains. Rayleigh's test for directions calls it significant at the level `p` when
//! `n R^2 > -ln p` (Mardia and Jupp, Directional Statistics, 2000; from memory); several orders are
//! tried, so that `p` is 5 % over their number (Bonferroni).
//!
//! An intake stroke takes a quarter of the cycle, so that the orders up to the fourth can be as strong
//! as any. Beyond they fall, at least like those of a flow that rises and falls as half a sine wave
//! with the piston's speed: its order `m` is at most `1/((m/2)^2 - 1)` of its mean (Fourier), and the
//! tract only smooths it.

use super::cycles::STANDSTILL_RPM;
use crate::sample::{Column, Track};
use crate::statistics::summary;
use std::f64::consts::TAU;
use std::ops::Range;

/// From this many readings a cycle on no channel keeps step with an engine.
const FAST: f64 = 8.0;
/// Speeds looked at to learn the usual one and the steps in which it was logged.
const LOOK: usize = 2000;
/// Chance of crying wolf over all orders.
const LEVEL: f64 = 0.05;
/// Noise of this many steps makes the mean speed free of them (dither).
const DITHER: f64 = 0.5;
/// A speed that never changes was rounded to steps of at most this, rev/min.
const COARSEST_RPM: f64 = 10.0;
/// Most slightly different speeds that are tried.
const MOST_SPEEDS: f64 = 64.0;
/// Orders looked at: readings fewer than [`FAST`] a cycle cannot be in step with any that matters
/// beyond.
pub const ORDERS: usize = 8;
/// Readings turned side by side.
const LANES: usize = 4;
/// Strokes that fill a cycle.
const STROKES: usize = 4;

/// How the readings of a channel fall on one order of the ripple.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Order {
    /// Waves a cycle.
    pub order: usize,
    /// Resultant length: 0 spread evenly, 1 in step.
    pub r: f64,
    /// Largest amplitude beside that of the strong orders, which have 1.
    pub share: f64,
    /// Not by chance.
    pub significant: bool,
    /// Speed beyond that of the log at which the readings are this much in step, rev/min: within what
    /// the log's rounding leaves open.
    more_rpm: f64,
}

/// Which stretch of which channel.
#[derive(Debug, Clone, Copy)]
pub struct Channel<'a> {
    /// Clock and speed.
    pub track: &'a Track,
    /// Rows on which the channel speaks, where it is slower than the logger.
    pub spoken: Option<&'a [u32]>,
    /// From, one past the last.
    pub rows: (usize, usize),
    /// Cylinders of the engine, both sides together.
    pub cylinders: u32,
}

impl Channel<'_> {
    /// Where in the cycle the channel was read; none where it is fast or there is no speed.
    pub fn readings(&self) -> Option<Readings> {
        let (from, to) = self.rows;
        let (clock, speed) = (&self.track.time_s, self.track.rpm.as_ref()?);
        if to > clock.len() || from >= to {
            return None;
        }
        let some = some_of(speed, from..to);
        let turning = some.iter().filter(|n| **n >= STANDSTILL_RPM);
        let (sum, count) = turning.fold((0.0, 0.0), |(sum, count), n| (sum + n, count + 1.0));
        let usual = sum / count;
        let span = clock.at(to - 1) - clock.at(from);
        let spoken = self.spoken.map(|rows| {
            let inside = |row: usize| rows.partition_point(|r| (*r as usize) < row);
            &rows[inside(from)..inside(to)]
        });
        let readings = spoken.map_or(to - from, <[u32]>::len);
        if count == 0.0 || span <= 0.0 || readings as f64 > FAST * span * usual / 120.0 {
            return None;
        }
        let (time, rpm) = (clock.window(from..to), speed.window(from..to));
        let mut found = Readings::of(&time, &rpm, usual, from);
        if let Some(rows) = spoken {
            let own =
                |column: &[f64]| rows.iter().map(|row| column[*row as usize - from]).collect();
            (found.phase, found.time_s) = (own(&found.phase), own(&found.time_s));
            found.rows = rows.iter().map(|row| *row as usize).collect();
        }
        found.turn = found.phase.iter().map(|phase| (TAU * phase).sin_cos()).collect();
        let a_side = (self.cylinders as usize / 2).clamp(1, STROKES);
        let doubt = speed_doubt(some);
        let as_logged = found.resultants();
        let order = |order: usize| found.order(order, doubt, as_logged[order - 1], a_side);
        found.orders = (1..=ORDERS).map(order).collect();
        Some(found)
    }

    /// The largest share of the ripple that the mean can retain; none where the channel is fast or
    /// there is no speed.
    pub fn resultant(&self) -> Option<f64> {
        self.readings()?.orders.iter().map(|order| order.r * order.share).reduce(f64::max)
    }
}

/// Largest amplitude of an order beside that of the strong ones, of which the pulse rate of a side is
/// the highest.
fn share(order: usize, a_side: usize) -> f64 {
    let half = |m: usize| (m as f64 / 2.0).powi(2);
    // Order m of a half sine wave over a quarter of the cycle, by its mean: cos(pi m/4)/(1 - (m/2)^2).
    let stroke = |m: usize| match m {
        2 => std::f64::consts::FRAC_PI_4,
        m => ((std::f64::consts::FRAC_PI_4 * m as f64).cos() / (1.0 - half(m))).abs(),
    };
    if order <= STROKES { 1.0 } else { 1.0 / (half(order) - 1.0) / stroke(a_side) }
}

/// Where in the cycle a channel was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// Row of every reading.
    pub rows: Vec<usize>,
    /// The orders that a ripple can have, from 1 to [`ORDERS`].
    pub orders: Vec<Order>,
    /// Engine phase, cycles, and time from the middle, s.
    phase: Vec<f64>,
    time_s: Vec<f64>,
    /// Sine and cosine of the phase.
    turn: Vec<(f64, f64)>,
}

impl Readings {
    fn of(time: &[f64], rpm: &[f64], usual: f64, from: usize) -> Self {
        let speed = |k: usize| if rpm[k].is_finite() { rpm[k] } else { usual };
        let (mut phase, mut at) = (Vec::with_capacity(time.len()), 0.0);
        for k in 0..time.len() {
            if k > 0 {
                at += 0.5 * (speed(k - 1) + speed(k)) / 120.0 * (time[k] - time[k - 1]);
            }
            phase.push(at);
        }
        let middle = 0.5 * (time[0] + time[time.len() - 1]);
        Readings {
            rows: (from..from + time.len()).collect(),
            orders: Vec::new(),
            phase,
            turn: Vec::new(),
            time_s: time.iter().map(|t| t - middle).collect(),
        }
    }

    /// Cosine and sine of every order at reading number `at`.
    pub fn waves(&self, at: usize) -> [(f64, f64); ORDERS] {
        let (sin, cos) = self.turn[at];
        let (mut waves, mut power) = ([(1.0, 0.0); ORDERS], (1.0, 0.0));
        for (wave, order) in waves.iter_mut().zip(&self.orders) {
            // Order `m` turns as the `m`-th power of the first, at the speed of the log.
            power = (power.0 * cos - power.1 * sin, power.0 * sin + power.1 * cos);
            *wave = if order.more_rpm == 0.0 {
                power
            } else {
                let (sin, cos) = self.angle(order.order, order.more_rpm, at).sin_cos();
                (cos, sin)
            };
        }
        waves
    }

    fn angle(&self, order: usize, more_rpm: f64, at: usize) -> f64 {
        TAU * order as f64 * (self.phase[at] + more_rpm / 120.0 * self.time_s[at])
    }

    /// Resultant lengths of all orders at the speed of the log: order `m` turns as the `m`-th power of
    /// the first.
    fn resultants(&self) -> [f64; ORDERS] {
        let (mut east, mut north) = ([[0.0; LANES]; ORDERS], [[0.0; LANES]; ORDERS]);
        for turn in self.turn.chunks(LANES) {
            // A reading a lane; lanes without one stay at zero.
            let (mut sin, mut cos) = ([0.0; LANES], [0.0; LANES]);
            for (lane, turn) in turn.iter().enumerate() {
                (sin[lane], cos[lane]) = *turn;
            }
            let (mut x, mut y) = (cos, sin);
            for order in 0..ORDERS {
                for lane in 0..LANES {
                    east[order][lane] += x[lane];
                    north[order][lane] += y[lane];
                    let turned = x[lane] * cos[lane] - y[lane] * sin[lane];
                    y[lane] = x[lane] * sin[lane] + y[lane] * cos[lane];
                    x[lane] = turned;
                }
            }
        }
        let sum = |lanes: &[f64; LANES]| lanes.iter().sum::<f64>();
        let n = self.turn.len().max(1) as f64;
        std::array::from_fn(|order| sum(&east[order]).hypot(sum(&north[order])) / n)
    }

    /// `as_logged` is the resultant length at the speed of the log.
    fn order(&self, order: usize, doubt_rpm: f64, as_logged: f64, a_side: usize) -> Order {
        // Slightly different speeds on either side, half an independent one each.
        let span = self.time_s.last().zip(self.time_s.first()).map_or(0.0, |(a, b)| a - b);
        let tries = (2.0 * order as f64 * doubt_rpm / 120.0 * span).ceil().min(MOST_SPEEDS);
        let reach = tries as i32;
        let at = |k: i32| {
            let more_rpm = f64::from(k) / tries.max(1.0) * doubt_rpm;
            if k == 0 { (as_logged, 0.0) } else { (self.resultant(order, more_rpm), more_rpm) }
        };
        let worst = (-reach..=reach).map(at).max_by(|a, b| a.0.total_cmp(&b.0));
        let (r, more_rpm) = worst.unwrap_or((0.0, 0.0));
        let least = (ORDERS as f64 * (2.0 * tries + 1.0) / LEVEL).ln();
        let significant = self.phase.len() as f64 * r * r > least;
        Order { order, r, share: share(order, a_side), significant, more_rpm }
    }

    fn resultant(&self, order: usize, more_rpm: f64) -> f64 {
        let (mut east, mut north) = (0.0, 0.0);
        for at in 0..self.phase.len() {
            let (sin, cos) = self.angle(order, more_rpm, at).sin_cos();
            (east, north) = (east + cos, north + sin);
        }
        east.hypot(north) / self.phase.len().max(1) as f64
    }
}

/// At most [`LOOK`] values of some samples, evenly spread.
fn some_of(column: &Column, samples: Range<usize>) -> Vec<f64> {
    let mut cursor = column.cursor();
    let every = samples.len().div_ceil(LOOK).max(1);
    samples.step_by(every).map(|at| cursor.glance(at)).collect()
}

/// By how much the mean speed may be off because it was logged in steps, rev/min; `held` are some of the
/// speeds.
fn speed_doubt(mut held: Vec<f64>) -> f64 {
    held.retain(|n| n.is_finite());
    held.sort_by(f64::total_cmp);
    let gaps = held.windows(2).map(|pair| pair[1] - pair[0]);
    let step = gaps.filter(|gap| *gap > 1e-6).fold(f64::INFINITY, f64::min);
    if step.is_infinite() {
        // One value all along: the coarsest round step that it lies on.
        let on = |step: &f64| held.first().is_some_and(|n| (n / step).fract() == 0.0);
        return 0.5 * [COARSEST_RPM, 5.0, 2.0, 1.0].into_iter().find(on).unwrap_or(0.0);
    }
    let dithered = summary::sd(&held).is_some_and(|sd| sd >= DITHER * step);
    if dithered { 0.0 } else { 0.5 * step }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A speed held but for a little noise, read at a rate for a minute.
    fn track(rpm: f64, rate: f64) -> Track {
        let n = (60.0 * rate) as usize;
        let noise = |k: usize| ((k * 37 + k * k) % 53) as f64 / 26.0 - 1.0;
        Track {
            time_s: (0..n).map(|k| k as f64 / rate).collect(),
            rpm: Some((0..n).map(|k| rpm + 0.1 * noise(k)).collect()),
            ..Track::default()
        }
    }

    fn orders(track: &Track, cylinders: u32) -> Vec<usize> {
        let channel = Channel { track, spoken: None, rows: (0, track.len()), cylinders };
        let readings = channel.readings().unwrap();
        readings.orders.iter().filter(|o| o.significant && o.r > 0.9).map(|o| o.order).collect()
    }

    #[test]
    fn a_logger_in_step_is_seen_on_the_orders_that_it_meets() {
        // 840 rev/min is 7 cycles a second: 7 Hz falls on one point of the cycle, 6.3 Hz on nine.
        assert_eq!(orders(&track(840.0, 7.0), 4), [1, 2, 3, 4, 5, 6, 7, 8]);
        assert!(orders(&track(840.0, 6.3), 4).is_empty());
        assert_eq!(orders(&track(840.0, 14.0), 4), [2, 4, 6, 8]);
        // Three readings in two cycles, three in one; five in seven.
        assert_eq!(orders(&track(840.0, 10.5), 4), [3, 6]);
        assert_eq!(orders(&track(840.0, 21.0), 6), [3, 6]);
        assert_eq!(orders(&track(840.0, 5.0), 4), [5]);
    }

    #[test]
    fn a_speed_logged_in_steps_may_be_in_step_within_them() {
        // 843 rev/min logged as 840: 7.025 Hz is in step with what the engine does.
        let mut seen = track(843.0, 7.025);
        assert!(orders(&seen, 4).contains(&1));
        seen.rpm = seen.rpm.map(|rpm| rpm.iter().map(|n| 10.0 * (n / 10.0).round()).collect());
        assert!(orders(&seen, 4).contains(&1), "{:?}", seen.rpm);
        seen.rpm = Some(vec![850.0; seen.len()].into());
        assert!(!orders(&seen, 4).contains(&1));
    }

    #[test]
    fn a_slow_channel_in_a_fast_log_keeps_step_by_its_own_times() {
        let track = track(840.0, 100.0);
        let rows = (0, track.len());
        let fast = Channel { track: &track, spoken: None, rows, cylinders: 4 };
        assert_eq!(fast.resultant(), None);
        let spoken: Vec<u32> = (0..420).map(|k| (k * 100 / 7) as u32).collect();
        let slow = Channel { spoken: Some(&spoken), ..fast };
        assert!(slow.resultant().unwrap() > 0.9);
        let silent = Track { rpm: None, ..track.clone() };
        assert_eq!(Channel { track: &silent, ..slow }.resultant(), None);
    }
}
