//! The balance by ear: a tone a side, whose pitch follows its vacuum.
//!
//! `f = 220 Hz + 6 Hz/kPa * vacuum`. At idle, near 57 kPa, that is some 560 Hz, where the ear parts tones
//! best; two tones of nearly the same pitch beat at their difference (common knowledge of acoustics), so
//! one kilopascal is six beats a second and a tenth is a beat every 1.7 s. The error of the pair of sensors
//! is taken out, half from each, so the beat stops where the sides are equal and not where the sensors are.

/// Pitch without vacuum, Hz.
pub const LOWEST_HZ: f64 = 220.0;
/// Rise with vacuum, Hz/kPa.
pub const RISE_HZ_PER_KPA: f64 = 6.0;
/// With less vacuum than this on both sides the engine stands, and there is nothing to hear, kPa.
const STANDING_KPA: f64 = 3.0;
/// More vacuum than there can be is a sensor's fault, and no tone to suffer, kPa.
const MOST_KPA: f64 = 120.0;

/// The pitches of the two sides, Hz; `None` where the engine stands or a reading is no vacuum.
pub fn pitches(vac_kpa: [f64; 2], error_kpa: f64) -> Option<[f64; 2]> {
    let corrected = [vac_kpa[0] - error_kpa / 2.0, vac_kpa[1] + error_kpa / 2.0];
    let sound = corrected.iter().all(|kpa| (-STANDING_KPA..=MOST_KPA).contains(kpa));
    let runs = corrected.iter().any(|kpa| *kpa > STANDING_KPA);
    let pitch = |kpa: f64| LOWEST_HZ + RISE_HZ_PER_KPA * kpa.max(0.0);
    (sound && runs).then(|| corrected.map(pitch))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_sides_do_not_beat_and_a_kilopascal_beats_six_times() {
        let beat = |vac, error| pitches(vac, error).map(|[one, two]| one - two).unwrap();
        assert_eq!(pitches([50.0, 50.0], 0.0), Some([520.0, 520.0]));
        assert!((beat([57.5, 56.5], 0.0) - 6.0).abs() < 1e-9);
        assert!(beat([57.5, 56.5], 1.0).abs() < 1e-9, "the sensors' own error does not beat");
        assert_eq!(pitches([0.5, -0.4], 0.9), None, "a standing engine is silent");
        assert_eq!(pitches([f64::NAN, 50.0], 0.0), None);
        assert!(pitches([30.0, 0.2], 0.0).is_some(), "a hose that is off is heard");
    }
}
