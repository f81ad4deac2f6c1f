//! Quantities and their units.
//!
//! Inside the program every pressure is in kilopascal, every speed in revolutions per minute and
//! every time in seconds. The newtypes stand where two bare numbers could be swapped at a cost.

use serde::Serialize;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
        pub struct $name(pub f64);
    };
}

quantity!(
    /// Pressure or vacuum in kilopascal.
    Kpa
);
quantity!(
    /// Engine speed in revolutions per minute.
    Rpm
);
quantity!(
    /// Time in seconds.
    Seconds
);
quantity!(
    /// Length in millimetres.
    Millimetres
);

/// The straight line by which a sensor's volts become a pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VoltsToKpa {
    /// Slope, kPa/V.
    pub kpa_per_volt: f64,
    /// Pressure at no volts, kPa.
    pub kpa_at_zero: f64,
    /// The pressure is absolute; else it is vacuum below atmosphere, positive.
    pub absolute: bool,
}

impl VoltsToKpa {
    /// The pressure at a voltage, kPa.
    pub fn kpa(&self, volts: f64) -> f64 {
        self.kpa_at_zero + self.kpa_per_volt * volts
    }
}

/// The atmosphere at sea level, ISO 2533:1975.
pub const STANDARD_ATMOSPHERE: Kpa = Kpa(101.325);

/// A unit of pressure that a log or a person may use.
///
/// ```
/// use evenbreath::units::PressureUnit;
/// let inch = PressureUnit::parse("inHg").unwrap();
/// assert!((inch.to_kpa(20.0).0 - 67.7277728).abs() < 1e-6);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PressureUnit {
    /// Pascal.
    Pa,
    /// Hectopascal.
    Hpa,
    /// Kilopascal.
    Kpa,
    /// Millibar.
    Mbar,
    /// Bar.
    Bar,
    /// Conventional inch of mercury.
    InHg,
    /// Conventional millimetre of mercury.
    MmHg,
    /// Conventional centimetre of mercury.
    CmHg,
    /// Conventional inch of water.
    InH2o,
    /// Pound-force per square inch.
    Psi,
}

impl PressureUnit {
    /// Every unit, in the order in which help texts list them.
    pub const ALL: [PressureUnit; 10] = [
        Self::Pa,
        Self::Hpa,
        Self::Kpa,
        Self::Mbar,
        Self::Bar,
        Self::InHg,
        Self::MmHg,
        Self::CmHg,
        Self::InH2o,
        Self::Psi,
    ];

    /// Pascal in one unit. Exact definitions (conventional mercury 13 595.1 kg/m3, conventional
    /// water 1000 kg/m3, g 9.806 65 m/s2, inch 0.0254 m); they agree to all printed digits with
    /// NIST SP 811 (2008), appendix B.8.
    pub fn pascal(self) -> f64 {
        match self {
            Self::Pa => 1.0,
            Self::Hpa | Self::Mbar => 100.0,
            Self::Kpa => 1000.0,
            Self::Bar => 100_000.0,
            Self::InHg => 3_386.388_640_341,
            Self::MmHg => 133.322_387_415,
            Self::CmHg => 1_333.223_874_15,
            Self::InH2o => 249.088_91,
            Self::Psi => 6_894.757_293_168_361,
        }
    }

    /// The symbol as it is printed.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Pa => "Pa",
            Self::Hpa => "hPa",
            Self::Kpa => "kPa",
            Self::Mbar => "mbar",
            Self::Bar => "bar",
            Self::InHg => "inHg",
            Self::MmHg => "mmHg",
            Self::CmHg => "cmHg",
            Self::InH2o => "inH2O",
            Self::Psi => "psi",
        }
    }

    /// Reads a symbol; case and inner blanks do not matter (`in Hg`, `KPA`).
    pub fn parse(text: &str) -> Option<Self> {
        let plain: String = text
            .chars()
            .filter(|c| !c.is_whitespace() && *c != '.')
            .flat_map(char::to_lowercase)
            .map(|c| if c == '₂' { '2' } else { c })
            .collect();
        Self::ALL.into_iter().find(|unit| unit.symbol().to_lowercase() == plain).or(
            match plain.as_str() {
                "mb" | "millibar" | "millibars" => Some(Self::Mbar),
                "pascal" | "pascals" => Some(Self::Pa),
                "hectopascal" | "hectopascals" => Some(Self::Hpa),
                "kilopascal" | "kilopascals" => Some(Self::Kpa),
                "\"hg" | "inchhg" => Some(Self::InHg),
                "psia" | "lbf/in2" => Some(Self::Psi),
                "\"h2o" => Some(Self::InH2o),
                _ => None,
            },
        )
    }

    /// A value in this unit as kilopascal.
    pub fn to_kpa(self, value: f64) -> Kpa {
        Kpa(value * self.pascal() / 1000.0)
    }

    /// Kilopascal as a value in this unit.
    pub fn from_kpa(self, value: Kpa) -> f64 {
        value.0 * 1000.0 / self.pascal()
    }

    /// Decimals with which a vacuum in this unit is worth printing (about 0.01 kPa).
    pub fn decimals(self) -> usize {
        match self {
            Self::Pa => 0,
            Self::Hpa | Self::Mbar | Self::MmHg | Self::InH2o => 1,
            Self::Kpa | Self::CmHg | Self::InHg => 2,
            Self::Psi => 3,
            Self::Bar => 4,
        }
    }
}

/// A unit of time that a log may use.
///
/// ```
/// use evenbreath::units::TimeUnit;
/// assert_eq!(TimeUnit::parse("ms").unwrap().to_seconds(20.0).0, 0.02);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeUnit {
    /// Nanosecond.
    Nanosecond,
    /// Microsecond.
    Microsecond,
    /// Millisecond.
    Millisecond,
    /// Second.
    Second,
    /// Minute.
    Minute,
    /// Hour.
    Hour,
    /// Day.
    Day,
}

impl TimeUnit {
    /// The symbol as it is printed (SI brochure, 9th edition, table 8).
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Nanosecond => "ns",
            Self::Microsecond => "us",
            Self::Millisecond => "ms",
            Self::Second => "s",
            Self::Minute => "min",
            Self::Hour => "h",
            Self::Day => "d",
        }
    }

    /// Reads a symbol or the word for it; case and blanks around do not matter.
    pub fn parse(text: &str) -> Option<Self> {
        let plain = text.trim().trim_end_matches('.').to_lowercase();
        Some(match plain.as_str() {
            "ns" | "nanoseconds" => Self::Nanosecond,
            "us" | "µs" | "μs" | "usec" | "microseconds" | "micros" => Self::Microsecond,
            "ms" | "msec" | "millis" | "milliseconds" | "millisekunden" => Self::Millisecond,
            "s" | "sec" | "secs" | "second" | "seconds" | "sek" | "sekunden" | "secondes"
            | "segundos" => Self::Second,
            "min" | "mins" | "minute" | "minutes" | "minuten" | "minutos" => Self::Minute,
            "h" | "hr" | "hrs" | "hours" | "std" | "stunden" | "heures" | "horas" => Self::Hour,
            "d" | "days" | "tage" | "jours" => Self::Day,
            _ => return None,
        })
    }

    /// A value in this unit as seconds.
    pub fn to_seconds(self, value: f64) -> Seconds {
        Seconds(match self {
            Self::Nanosecond => value / 1e9,
            Self::Microsecond => value / 1e6,
            Self::Millisecond => value / 1e3,
            Self::Second => value,
            Self::Minute => value * 60.0,
            Self::Hour => value * 3600.0,
            Self::Day => value * 86_400.0,
        })
    }
}

/// A unit of engine speed that a log may use.
///
/// ```
/// use evenbreath::units::SpeedUnit;
/// assert_eq!(SpeedUnit::parse("1/min"), Some(SpeedUnit::RevPerMinute));
/// assert!((SpeedUnit::parse("rad/s").unwrap().to_rpm(100.0).0 - 954.929658551).abs() < 1e-6);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpeedUnit {
    /// Revolutions per minute.
    RevPerMinute,
    /// Thousands of revolutions per minute.
    ThousandRevPerMinute,
    /// Revolutions per second.
    RevPerSecond,
    /// Radians per second.
    RadPerSecond,
}

impl SpeedUnit {
    /// The symbol as it is printed.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::RevPerMinute => "rev/min",
            Self::ThousandRevPerMinute => "1000 rev/min",
            Self::RevPerSecond => "rev/s",
            Self::RadPerSecond => "rad/s",
        }
    }

    /// Reads a symbol as it is written in English, German, French, Spanish or Italian; case and
    /// blanks do not matter.
    pub fn parse(text: &str) -> Option<Self> {
        let plain: String =
            text.chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect();
        Some(match plain.trim_end_matches('.') {
            "rpm"
            | "1/min"
            | "rev/min"
            | "r/min"
            | "u/min"
            | "/min"
            | "min-1"
            | "min^-1"
            | "min⁻¹"
            | "tr/min"
            | "t/min"
            | "giri/min"
            | "rev.min-1"
            | "revs/min"
            | "upm"
            | "revolutions_per_minute"
            | "revolutionsperminute" => Self::RevPerMinute,
            "krpm" | "rpmx1000" | "x1000rpm" | "rpm*1000" | "1000/min" | "x1000" => {
                Self::ThousandRevPerMinute
            }
            "rps" | "rev/s" | "r/s" | "1/s" | "u/s" | "tr/s" | "hz" => Self::RevPerSecond,
            "rad/s" => Self::RadPerSecond,
            _ => return None,
        })
    }

    /// A value in this unit as revolutions per minute.
    pub fn to_rpm(self, value: f64) -> Rpm {
        Rpm(match self {
            Self::RevPerMinute => value,
            Self::ThousandRevPerMinute => value * 1000.0,
            Self::RevPerSecond => value * 60.0,
            Self::RadPerSecond => value * 30.0 / std::f64::consts::PI,
        })
    }
}
