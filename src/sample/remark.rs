//! What a person should know about the data.

use crate::units::{Kpa, PressureUnit};
use serde::Serialize;

/// Something about the data that a person should know: what, how often, where.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remark {
    /// A stable word for programs, such as `stuck_sensor`.
    pub code: &'static str,
    /// How many rows or places.
    pub count: usize,
    /// Where, in seconds of log time; at most [`Remark::PLACES`].
    pub at_s: Vec<f64>,
    /// One sentence for a person, pressures in kPa.
    pub text: String,
    /// The same in every unit, in the order of [`PressureUnit::ALL`]; empty where it names no pressure.
    #[serde(skip)]
    in_units: Vec<String>,
}

/// How the pressures of a remark are written.
#[derive(Debug, Clone, Copy)]
pub struct Wording {
    unit: PressureUnit,
}

impl Wording {
    /// A pressure in kPa as a number in the unit, as finely as with this many decimals in kPa.
    pub fn number(self, kpa: f64, decimals: usize) -> String {
        let finer = self.unit.decimals() + decimals;
        let decimals = finer.saturating_sub(PressureUnit::Kpa.decimals());
        format!("{:.decimals$}", self.unit.from_kpa(Kpa(kpa)))
    }

    /// As [`Wording::number`], with the unit behind it.
    pub fn pressure(self, kpa: f64, decimals: usize) -> String {
        format!("{} {}", self.number(kpa, decimals), self.unit.symbol())
    }
}

impl Remark {
    /// The most places a remark names.
    pub const PLACES: usize = 10;

    /// A remark; places beyond [`Remark::PLACES`] are counted, not listed.
    pub fn new(code: &'static str, count: usize, at_s: &[f64], text: impl Into<String>) -> Self {
        let at_s = at_s.iter().copied().filter(|t| t.is_finite()).take(Self::PLACES).collect();
        Remark { code, count, at_s, text: text.into(), in_units: Vec::new() }
    }

    /// As [`Remark::new`], for a text that names pressures: `text` words it in any unit.
    pub fn of_pressures(
        code: &'static str,
        count: usize,
        at_s: &[f64],
        text: impl Fn(Wording) -> String,
    ) -> Self {
        let in_units = PressureUnit::ALL.map(|unit| text(Wording { unit })).to_vec();
        let kpa = text(Wording { unit: PressureUnit::Kpa });
        Remark { in_units, ..Self::new(code, count, at_s, kpa) }
    }

    /// The sentence with its pressures in a unit.
    pub fn text_in(&self, unit: PressureUnit) -> &str {
        let at = PressureUnit::ALL.iter().position(|other| *other == unit);
        at.and_then(|at| self.in_units.get(at)).unwrap_or(&self.text)
    }
}
