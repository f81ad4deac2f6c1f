//! The standard atmosphere up to 11 km.
//!
//! Source: ISO 2533:1975 (the same numbers as ICAO Doc 7488, 3rd edition 1993). Constants and
//! formula as transcribed in public code and recomputed; the standard itself is not quoted.

/// Specific gas constant of dry air, J/(kg K), ISO 2533:1975.
pub const GAS_CONSTANT: f64 = 287.052_87;

/// Pressure at sea level, Pa, ISO 2533:1975.
pub const SEA_LEVEL_PRESSURE: f64 = 101_325.0;

/// Temperature at sea level, K, ISO 2533:1975.
pub const SEA_LEVEL_TEMPERATURE: f64 = 288.15;

/// Fall of temperature with height in the troposphere, K/m, ISO 2533:1975.
pub const LAPSE_RATE: f64 = 0.006_5;

/// Standard acceleration of free fall, m/s2 (exact by definition).
pub const GRAVITY: f64 = 9.806_65;

/// Nominal radius of the Earth of the standard atmosphere, m, ISO 2533:1975.
pub const EARTH_RADIUS: f64 = 6_356_766.0;

/// Lowest geopotential altitude of the formulas here, m.
pub const LOWEST: f64 = -5_000.0;

/// Highest geopotential altitude of the formulas here, m: the foot of the tropopause.
pub const HIGHEST: f64 = 11_000.0;

/// Temperature, K, at a geopotential altitude, m; `None` outside [`LOWEST`] to [`HIGHEST`].
pub fn temperature(geopotential: f64) -> Option<f64> {
    (LOWEST..=HIGHEST)
        .contains(&geopotential)
        .then_some(SEA_LEVEL_TEMPERATURE - LAPSE_RATE * geopotential)
}

/// Pressure, Pa, at a geopotential altitude, m; `None` outside [`LOWEST`] to [`HIGHEST`].
///
/// ```
/// use evenbreath::gas::atmosphere::pressure;
/// assert!((pressure(1000.0).unwrap() - 89_874.6).abs() < 0.1);
/// ```
pub fn pressure(geopotential: f64) -> Option<f64> {
    let exponent = GRAVITY / (GAS_CONSTANT * LAPSE_RATE);
    temperature(geopotential)
        .map(|t| SEA_LEVEL_PRESSURE * (t / SEA_LEVEL_TEMPERATURE).powf(exponent))
}

/// Density, kg/m3, at a geopotential altitude, m; `None` outside [`LOWEST`] to [`HIGHEST`].
pub fn density(geopotential: f64) -> Option<f64> {
    Some(pressure(geopotential)? / (GAS_CONSTANT * temperature(geopotential)?))
}

/// Geopotential altitude, m, of a height above sea level as a map gives it, m.
///
/// The two differ by 0.16 m at 1000 m: nothing in a garage, but a check to 1e-6 must name which.
pub fn geopotential(geometric: f64) -> f64 {
    EARTH_RADIUS * geometric / (EARTH_RADIUS + geometric)
}

/// Geopotential altitude, m, at which the standard atmosphere has this pressure, Pa; `None` where
/// that is outside [`LOWEST`] to [`HIGHEST`] or the pressure is not positive.
pub fn altitude(pressure: f64) -> Option<f64> {
    if !pressure.is_finite() || pressure <= 0.0 {
        return None;
    }
    let exponent = GAS_CONSTANT * LAPSE_RATE / GRAVITY;
    let height =
        SEA_LEVEL_TEMPERATURE / LAPSE_RATE * (1.0 - (pressure / SEA_LEVEL_PRESSURE).powf(exponent));
    (LOWEST..=HIGHEST).contains(&height).then_some(height)
}
