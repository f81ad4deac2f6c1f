//! From the differential pressure of a meter to its share of the flow: the root, sample by sample.
//!
//! `q_m = C eps / sqrt(1 - beta^4) * pi/4 d^2 * sqrt(2 dp rho)` (ISO 5167-1:2003, 5.1, equation 1): at one
//! density the flow goes with the root of the differential pressure, and in the ratio of two meters the
//! constants cancel up to their matching. The flow pulsates with every intake stroke, and the mean of a root
//! is not the root of a mean: `mean(sqrt(dp)) < sqrt(mean(dp))`. So the root is taken of every sample, and
//! averaged over whole engine cycles; below zero it is `-sqrt(-dp)`, a flow that runs back.
//!
//! Noise `s` of the meter bends the mean of a root by `-s^2 / (8 dp^2)` of itself (Taylor's second term).
//! What as much noise again would add is therefore taken off, the average over noise of deviation `s` by
//! Gauss and Hermite's three points `0, +-sqrt(3) s` with weights `2/3, 1/6, 1/6` (Abramowitz and Stegun,
//! table 25.10); this is the first step of the simulation extrapolation of Cook and Stefanski (1994).
//! Nearer to zero than [`NEAR`] deviations that series does not hold: there noise takes up to
//! [`MOST_LOST`]` sqrt(s)` off the root, and [`Root::lost`] says what that may come to.

use super::zero::Zero;
use crate::sample::Column;
use crate::signal::Signal;
use crate::signal::cycles;

/// Deviations of the noise within which a reading may be on either side of zero.
const NEAR: f64 = 1.5;
/// Most that noise of deviation 1 takes off a root: the largest value over `p` of `sqrt(p)` less the mean of
/// the signed root of `p + z` with a standard normal `z`, at `p = 0.36`.
const MOST_LOST: f64 = 0.294;

/// `sqrt(p)`, and `-sqrt(-p)` below zero.
pub fn signed(p: f64) -> f64 {
    p.abs().sqrt().copysign(p)
}

/// What as much noise again would add to the mean of the root at a reading of `p` with noise `s`.
fn added_by_noise(p: f64, s: f64) -> f64 {
    let reach = 3.0_f64.sqrt() * s;
    (signed(p + reach) + signed(p - reach)) / 6.0 - signed(p) / 3.0
}

/// One meter's share of the flow.
pub struct Root<'a> {
    /// Clock of the samples, s.
    time_s: &'a Column,
    /// Differential pressure as read, kPa.
    column: &'a Column,
    /// Its zero.
    pub zero: &'a Zero,
    /// -1 for a meter connected the other way round.
    pub sign: f64,
    /// Mean root over every block, bend by noise taken off, sqrt(kPa); NaN where there is none.
    pub blocks: Vec<f64>,
    /// What was taken off, sqrt(kPa).
    bends: Vec<f64>,
}

impl<'a> Root<'a> {
    /// Averages the root of a meter's readings over the blocks of a signal.
    pub fn of(signal: &'a Signal, column: &'a Column, zero: &'a Zero) -> Self {
        let time_s = &signal.track.time_s;
        let mean = |value: &dyn Fn(f64) -> f64| {
            let pressure = |at_s: f64, kpa: f64| value(kpa - zero.kpa_at(at_s));
            cycles::averages(&signal.cycles, time_s, column, pressure)
        };
        let bends = mean(&|p| added_by_noise(p, zero.noise_kpa));
        let plain = mean(&signed);
        let blocks: Vec<f64> = plain.iter().zip(&bends).map(|(root, bend)| root - bend).collect();
        Root { time_s, column, zero, sign: 1.0, blocks, bends }
    }

    /// Turns the sign of a meter that is connected the other way round.
    pub fn turn(&mut self) {
        self.sign = -self.sign;
        self.blocks.iter_mut().chain(&mut self.bends).for_each(|value| *value = -*value);
    }

    /// Root of one sample, zero taken out, sqrt(kPa).
    pub fn at(&self, row: usize) -> f64 {
        self.sign * signed(self.column.at(row) - self.zero.kpa_at(self.time_s.at(row)))
    }

    /// Share of the mean root that was taken off for noise, over some blocks.
    pub fn bend(&self, blocks: &[usize]) -> f64 {
        let sum = |of: &[f64]| blocks.iter().map(|k| of[*k]).sum::<f64>();
        sum(&self.bends) / sum(&self.blocks)
    }

    /// The readings of some rows, zero taken out, kPa.
    fn pressures(&self, (from, to): (usize, usize)) -> impl Iterator<Item = f64> + '_ {
        let rows = self.time_s.iter_over(from..to).zip(self.column.iter_over(from..to));
        rows.map(|(at_s, kpa)| self.sign * (kpa - self.zero.kpa_at(at_s)))
    }

    /// Share of the mean root over some rows that noise may have taken off beyond what [`Root::bend`]
    /// knows of.
    pub fn lost(&self, rows: (usize, usize)) -> f64 {
        let noise = self.zero.noise_kpa;
        let (mut near, mut whole) = (0.0, 0.0);
        for root in self.pressures(rows).map(signed).filter(|root| root.is_finite()) {
            near += f64::from(u8::from(root * root < NEAR * noise));
            whole += root;
        }
        MOST_LOST * noise.sqrt() * near / whole
    }

    /// Relative change of the mean root over some rows when the zero rises by its standard uncertainty:
    /// half of what it changes by from one below to one above.
    pub fn change_by_zero(&self, rows: (usize, usize), u_kpa: f64) -> f64 {
        let (mut below, mut above, mut usual) = (0.0, 0.0, 0.0);
        for p in self.pressures(rows).filter(|p| p.is_finite()) {
            below += signed(p + u_kpa);
            above += signed(p - u_kpa);
            usual += signed(p);
        }
        // A meter connected the other way round sees its zero with the other sign.
        self.sign * 0.5 * (above - below) / usual
    }

    /// The readings, kPa.
    pub fn column(&self) -> &Column {
        self.column
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_keeps_the_sign() {
        assert_eq!([signed(4.0), signed(-4.0), signed(0.0)], [2.0, -2.0, 0.0]);
    }

    #[test]
    fn noise_bends_the_root_by_the_second_term_of_taylor() {
        // -s^2 / (8 p^2) of the root, by differentiating sqrt twice.
        let (p, s) = (0.2_f64, 0.004_f64);
        let want = -s * s / (8.0 * p * p) * p.sqrt();
        assert!((added_by_noise(p, s) / want - 1.0).abs() < 2e-3, "{}", added_by_noise(p, s));
        assert_eq!(added_by_noise(0.2, 0.0), 0.0);
        assert!(added_by_noise(0.0, 1.0).abs() < 1e-15);
    }

    #[test]
    fn noise_never_takes_more_off_the_root_than_is_reckoned_with() {
        // The mean over a standard normal by the trapezoid rule, at readings from 0 to 4 deviations.
        let mean = |p: f64| {
            let density = |z: f64| (-0.5 * z * z).exp();
            let nodes = (0..=4000).map(|k| -8.0 + 0.004 * f64::from(k));
            let sums = nodes.map(|z| (density(z) * signed(p + z), density(z)));
            let (sum, whole) = sums.fold((0.0, 0.0), |(s, w), (a, b)| (s + a, w + b));
            sum / whole
        };
        let lost = |k: i32| signed(0.02 * f64::from(k)) - mean(0.02 * f64::from(k));
        let most = (0..200).map(lost).fold(0.0, f64::max);
        assert!((most - MOST_LOST).abs() < 0.002, "{most}");
    }
}
