//! A slow logger that keeps step with the engine.
//!
//! Its samples may fall at nearly the same point of every pulse, and then no amount of averaging
//! helps. The phases of the samples tell: spread evenly they cancel, in step they add up. With `phi`
//! the engine phase in cycles, `R = |mean exp(2 pi i m phi)|` at the multiples `m` that a side's
//! ripple can have (its first two orders, its pulse rate and twice that). Rayleigh's test for
//! directions calls it significant at 5 % when `n R^2 > 3` (`exp(-3) = 0.05`; Mardia and Jupp,
//! Directional Statistics, 2000; from memory).

use super::cycles::STANDSTILL_RPM;
use crate::sample::Track;

/// From this many samples a cycle on no logger keeps step with an engine.
const FAST: f64 = 8.0;
/// Rayleigh's test at 5 %.
const RAYLEIGH: f64 = 3.0;

/// The largest resultant length over a range of samples; none where the logger is fast or the log
/// holds no speed.
pub fn resultant(
    track: &Track,
    sample_rate_hz: f64,
    (from, to): (usize, usize),
    cylinders: u32,
) -> Option<f64> {
    let rpm = track.rpm.as_ref()?.get(from..to)?;
    let time = track.time_s.get(from..to)?;
    let turning = rpm.iter().filter(|n| **n >= STANDSTILL_RPM);
    let (sum, count) = turning.fold((0.0, 0.0), |(sum, count), n| (sum + n, count + 1.0));
    let usual = sum / count;
    if count == 0.0 || sample_rate_hz * 120.0 / usual > FAST {
        return None;
    }
    let a_side = f64::from(cylinders.max(2)) / 2.0;
    [1.0, 2.0, a_side, 2.0 * a_side]
        .into_iter()
        .map(|multiple| resultant_at(time, rpm, usual, multiple))
        .reduce(f64::max)
}

/// As [`resultant`], where it is not chance.
pub fn significant(
    track: &Track,
    sample_rate_hz: f64,
    samples: (usize, usize),
    cylinders: u32,
) -> Option<f64> {
    let n = (samples.1 - samples.0) as f64;
    resultant(track, sample_rate_hz, samples, cylinders).filter(|r| n * r * r > RAYLEIGH)
}

fn resultant_at(time: &[f64], rpm: &[f64], usual: f64, multiple: f64) -> f64 {
    let (mut phase, mut east, mut north) = (0.0, 0.0, 0.0);
    for k in 0..time.len() {
        if k > 0 {
            let speed = if rpm[k].is_finite() { rpm[k] } else { usual };
            phase += speed / 120.0 * (time[k] - time[k - 1]);
        }
        let angle = std::f64::consts::TAU * multiple * phase;
        east += angle.cos();
        north += angle.sin();
    }
    east.hypot(north) / time.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A held speed, sampled at a rate.
    fn track(rpm: f64, rate: f64) -> Track {
        let n = (60.0 * rate) as usize;
        Track {
            time_s: (0..n).map(|k| k as f64 / rate).collect(),
            rpm: Some(vec![rpm; n]),
            ..Track::default()
        }
    }

    #[test]
    fn a_logger_in_step_is_seen_and_one_out_of_step_is_not() {
        // 840 rev/min is 7 cycles a second: 7 Hz falls on one point of the cycle, 6.3 Hz on nine.
        let in_step = significant(&track(840.0, 7.0), 7.0, (0, 420), 4).unwrap();
        assert!(in_step > 0.999, "{in_step}");
        assert_eq!(significant(&track(840.0, 6.3), 6.3, (0, 378), 4), None);
        // 14 Hz sees two points of the cycle: order 2 adds up.
        assert!(significant(&track(840.0, 14.0), 14.0, (0, 840), 4).unwrap() > 0.999);
    }

    #[test]
    fn a_fast_logger_and_a_log_without_speed_give_none() {
        assert_eq!(resultant(&track(840.0, 100.0), 100.0, (0, 6000), 4), None);
        let silent = Track { rpm: None, ..track(840.0, 7.0) };
        assert_eq!(resultant(&silent, 7.0, (0, 420), 4), None);
    }
}
