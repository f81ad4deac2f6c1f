//! From bytes to columns of samples.
//!
//! A file walks through this room once, block by block, and is never held whole:
//!
//! ```text
//! source (bytes to UTF-8) -> dialect (delimiter, header) -> columns (who is who)
//!        -> rows (fields to numbers, bad rows located) -> clock (time runs forward)
//!        -> pressure (vacuum, barometer) -> Log
//! ```
//!
//! [`journal`] writes a log so that this way leads back to what was recorded, however it ended.
//!
//! ```
//! use evenbreath::log::{read, ReadOptions};
//! let text = "time_s,rpm,vac1_kpa,vac2_kpa,mark\n0.00,850,57.2,55.9,\n0.02,850,56.0,57.3,cap off\n";
//! let log = read(text.as_bytes(), &ReadOptions::default()).unwrap();
//! assert_eq!((log.rows, log.bad_rows), (2, 0));
//! assert_eq!(log.track.vac2_kpa.unwrap(), vec![55.9, 57.3]);
//! ```

mod ahead;
mod asked;
mod blocks;
mod claims;
mod clock;
mod clocks;
mod columns;
mod dialect;
mod doubts;
mod error;
mod evidence;
mod flow;
mod head;
mod headings;
pub mod journal;
mod layout;
mod leftover;
mod numbers;
mod order;
mod plain;
mod plan;
mod pressure;
mod quotes;
mod reader;
mod rows;
mod source;
mod stamps;
mod turning;
mod widths;
mod word;
mod words;

pub use error::ReadError;
pub use reader::{read, read_path};

use crate::sample::{Remark, Track};
use crate::units::{Kpa, PressureUnit, VoltsToKpa};

/// How a log is to be read.
#[derive(Debug, Clone, Default)]
pub struct ReadOptions {
    /// Who is who, where the guess is to be overruled:
    /// `time=Time [ms],rpm=Engine speed,vac1=Front (mbar)`. Roles: [`Role`] in small letters. A
    /// column is named by its heading, with a unit added where the heading has none, or by its
    /// number: `vac1=#3`.
    pub columns: Option<String>,
    /// Barometric pressure; goes before the header and any column.
    pub baro: Option<Kpa>,
    /// Pressure that stands in where nothing tells the barometer, such as the standard atmosphere at
    /// the height of the place; that of sea level when absent.
    pub standard_baro: Option<Kpa>,
    /// Read on where more than 5 % of the rows are bad, and take columns that do not fit the
    /// headings from the left.
    pub lenient: bool,
    /// What errors call the input: a path or `standard input`.
    pub name: String,
    /// Unit of pressures whose heading names none.
    pub pressure_unit: Option<PressureUnit>,
    /// The line by which columns in volts become pressures.
    pub sensor: Option<VoltsToKpa>,
}

/// A log in columns, with everything that was noticed about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Log {
    /// What the `# key: value` lines say.
    pub head: Head,
    /// The samples.
    pub track: Track,
    /// Rows kept; the length of the track.
    pub rows: usize,
    /// Rows left out; the remarks say why and where.
    pub bad_rows: usize,
    /// What a person should know about the data: doubts about the sides first, then rows left out.
    pub remarks: Vec<Remark>,
    /// Which column was taken for what.
    pub taken: Vec<Taken>,
    /// Barometric pressure and where it comes from.
    pub baro: Baro,
}

/// The `# key: value` lines before the heading row. An absent key is `None`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Head {
    /// Barometric pressure, kPa.
    pub baro_kpa: Option<f64>,
    /// Cylinders of the engine.
    pub cylinders: Option<u32>,
    /// The user's name for side 1.
    pub carb1: Option<String>,
    /// The user's name for side 2.
    pub carb2: Option<String>,
    /// The engine.
    pub engine: Option<String>,
    /// The sensor.
    pub sensor: Option<String>,
    /// When the log was started, RFC 3339.
    pub started: Option<String>,
    /// The box that wrote the log.
    pub device: Option<String>,
    /// Idle speed wanted, rev/min.
    pub idle_target_rpm: Option<f64>,
    /// Any other key, in the order of the file.
    pub others: Vec<(String, String)>,
}

/// What a column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// The clock.
    Time,
    /// Engine speed.
    Rpm,
    /// Vacuum of side 1.
    Vac1,
    /// Vacuum of side 2.
    Vac2,
    /// Absolute pressure of side 1.
    Map1,
    /// Absolute pressure of side 2.
    Map2,
    /// Crankcase below atmosphere.
    Crank,
    /// Marks.
    Mark,
    /// Barometric pressure.
    Baro,
    /// Differential pressure of the airflow meter on side 1.
    Flow1,
    /// Differential pressure of the airflow meter on side 2.
    Flow2,
}

impl Role {
    /// Every role, in the order of the canonical columns.
    pub const ALL: [Role; 11] = [
        Role::Time,
        Role::Rpm,
        Role::Vac1,
        Role::Vac2,
        Role::Map1,
        Role::Map2,
        Role::Crank,
        Role::Mark,
        Role::Baro,
        Role::Flow1,
        Role::Flow2,
    ];

    /// The word for it in `--columns`.
    pub fn word(self) -> &'static str {
        match self {
            Role::Time => "time",
            Role::Rpm => "rpm",
            Role::Vac1 => "vac1",
            Role::Vac2 => "vac2",
            Role::Map1 => "map1",
            Role::Map2 => "map2",
            Role::Crank => "crank",
            Role::Mark => "mark",
            Role::Baro => "baro",
            Role::Flow1 => "flow1",
            Role::Flow2 => "flow2",
        }
    }

    /// The name of it for a person.
    pub fn plain(self) -> &'static str {
        match self {
            Role::Time => "time",
            Role::Rpm => "engine speed",
            Role::Vac1 => "vacuum 1",
            Role::Vac2 => "vacuum 2",
            Role::Map1 => "absolute pressure 1",
            Role::Map2 => "absolute pressure 2",
            Role::Crank => "crankcase vacuum",
            Role::Mark => "mark",
            Role::Baro => "barometric pressure",
            Role::Flow1 => "airflow meter 1",
            Role::Flow2 => "airflow meter 2",
        }
    }
}

/// A column that was taken for something.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken {
    /// What it was taken for.
    pub role: Role,
    /// Its heading as it stands in the file.
    pub heading: String,
    /// The unit its numbers were read in; empty for marks.
    pub unit: String,
    /// False where the heading is canonical or the user named the column.
    pub guessed: bool,
    /// The same for a person: `taking "Front (mbar)" as vacuum 1`.
    pub text: String,
}

/// Barometric pressure during the log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baro {
    /// Pressure, kPa.
    pub kpa: f64,
    /// Standard uncertainty, kPa.
    pub u_kpa: f64,
    /// Where it comes from.
    pub from: BaroFrom,
}

/// Where the barometric pressure comes from, in the order in which it is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BaroFrom {
    /// The command line.
    Given,
    /// The header of the log.
    Header,
    /// A column of the log.
    Column,
    /// The manifold sensors while the engine stood still.
    EngineOff,
    /// The standard atmosphere, because nothing better was to be had.
    Standard,
}
