//! What is to be said of a log whatever the finding: size, rate, remarks.

use super::page::{Page, Tone};
use crate::sample::Remark;
use crate::units::PressureUnit;
use serde::Serialize;

/// The log block of every JSON document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LogFacts {
    /// What the car is called; absent when nobody said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub car: Option<String>,
    /// Rows used.
    pub rows: usize,
    /// Rows left out because they could not be read.
    pub bad_rows: usize,
    /// From the first sample to the last, s.
    pub duration_s: f64,
    /// Median sampling rate, Hz; absent for a log of one row.
    pub sample_rate_hz: Option<f64>,
    /// What the reading and the cleaning saw.
    pub remarks: Vec<Remark>,
    /// Columns whose meaning was guessed, one sentence each.
    pub guessed: Vec<String>,
}

impl LogFacts {
    /// One line: rows, time, rate, rows left out.
    pub fn line(&self) -> String {
        let mut line = format!("{} over {:.1} s", counted(self.rows, "row"), self.duration_s);
        if let Some(rate) = self.sample_rate_hz {
            line += &format!(", {} a second", significant(rate, 3));
        }
        match self.bad_rows {
            0 => {}
            1 => line += ", 1 more could not be read and was left out",
            bad => line += &format!(", {bad} more could not be read and were left out"),
        }
        line + "."
    }

    /// The section 'About the log': the line, the calm ones of `remarks`, what was guessed.
    pub fn write(&self, page: &mut Page, remarks: &[Remark]) {
        page.heading("About the log", Tone::Plain);
        self.items(page, remarks);
        for guess in &self.guessed {
            page.item(guess);
        }
    }

    /// The same without its heading and the guesses.
    pub fn items(&self, page: &mut Page, remarks: &[Remark]) {
        if let Some(car) = &self.car {
            page.item(&format!("Car: {car}."));
        }
        page.item(&self.line());
        for remark in remarks.iter().filter(|remark| !shakes(remark)) {
            page.item(&remark_line(remark, page.unit));
        }
    }

    /// Every remark on a finding: the log's and the signal's, then the finding's own.
    pub fn remarks_with(&self, own: &[Remark]) -> Vec<Remark> {
        self.remarks.iter().chain(own).cloned().collect()
    }
}

/// Remarks that shake the result: whoever reads the verdict has to read them with it.
const SHAKING: [&str; 25] = [
    "dead_channel",
    "dead_speed",
    "dead_barometer",
    "unmarked_openings",
    "other_load",
    "openings_left_out",
    "saturated",
    "stuck_sensor",
    "pickup_factor",
    "vacuum_doubtful",
    "unit_assumed",
    "same_column",
    "hoses_swapped",
    "unknown_mark",
    "hose_off",
    "swap_doubtful",
    "difference_steps",
    "tee_run_contradicted",
    "pair_bends",
    "pair_hysteresis",
    "in_step",
    "one_flow_meter",
    "flow_negative",
    "flow_steps",
    "meter_swap_doubtful",
];

fn shakes(remark: &Remark) -> bool {
    SHAKING.contains(&remark.code)
}

/// Those of the remarks that shake the result, in their order.
pub fn shaking(remarks: &[Remark]) -> Vec<&Remark> {
    remarks.iter().filter(|remark| shakes(remark)).collect()
}

/// One 'Mind:' paragraph a remark that shakes the result; they stand under the verdict.
pub fn minds(page: &mut Page, remarks: &[Remark]) {
    for remark in shaking(remarks) {
        page.paragraph(&format!("Mind: {}", remark_line(remark, page.unit)));
    }
}

/// `1 row`, `2 rows`.
pub fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// A number with this many significant digits, no exponent, no trailing zeros after the point.
pub fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".into();
    }
    let decimals = (digits - 1 - value.abs().log10().floor() as i32).max(0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        text
    }
}

pub(super) fn remark_line(remark: &Remark, unit: PressureUnit) -> String {
    const SHOWN: usize = 3;
    let text = &capitalised(remark.text_in(unit).trim_end_matches('.'));
    if remark.at_s.is_empty() {
        return format!("{text}.");
    }
    let places: Vec<String> = remark.at_s.iter().take(SHOWN).map(|t| format!("{t:.1} s")).collect();
    let more = remark.count.saturating_sub(places.len());
    let tail = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{text} (at {}{tail}).", places.join(", "))
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_remark_speaks_in_the_unit_of_the_page() {
        let remark = Remark::of_pressures("saturated", 1, &[], |say| {
            format!("from {} to {}", say.number(20.0, 0), say.pressure(61.25, 2))
        });
        assert_eq!(remark.text, "from 20 to 61.25 kPa");
        let line = |unit| remark_line(&remark, unit);
        assert_eq!(line(PressureUnit::MmHg), "From 150 to 459.4 mmHg.");
        assert_eq!(line(PressureUnit::InHg), "From 6 to 18.09 inHg.");
        assert_eq!(line(PressureUnit::Bar), "From 0.20 to 0.6125 bar.");
    }

    #[test]
    fn significant_digits_without_exponent_or_idle_zeros() {
        let cases = [
            (50.0, "50"),
            (49.96, "50"),
            (1000.0, "1000"),
            (0.5, "0.5"),
            (14.1667, "14.2"),
            (0.012_345, "0.0123"),
            (0.0, "0"),
        ];
        for (value, want) in cases {
            assert_eq!(significant(value, 3), want, "{value}");
        }
    }

    #[test]
    fn what_shakes_the_result_stands_apart_from_the_rest() {
        let stuck = Remark::new("stuck_sensor", 1, &[], "sensor 1 stuck");
        let gap = Remark::new("gap", 1, &[], "a gap");
        let own = Remark::new("swap_doubtful", 1, &[], "the swap did nothing");
        let facts = LogFacts {
            car: None,
            rows: 2,
            bad_rows: 0,
            duration_s: 1.0,
            sample_rate_hz: None,
            remarks: vec![gap, stuck],
            guessed: vec![],
        };
        let all = facts.remarks_with(&[own]);
        let codes: Vec<&str> = shaking(&all).iter().map(|remark| remark.code).collect();
        assert_eq!(codes, ["stuck_sensor", "swap_doubtful"]);
        let mut page = Page::new(80, crate::units::PressureUnit::Kpa, false);
        minds(&mut page, &all);
        facts.write(&mut page, &all);
        let want = "Mind: Sensor 1 stuck.\nMind: The swap did nothing.\n\n\
                    About the log\n- 2 rows over 1.0 s.\n- A gap.\n";
        assert_eq!(page.finish(), want);
    }

    #[test]
    fn a_remark_names_three_places_and_counts_the_rest() {
        let remark = Remark::new("x", 9, &[1.0, 2.0, 3.0, 4.0], "sensor 1 stuck.");
        assert_eq!(
            remark_line(&remark, PressureUnit::Kpa),
            "Sensor 1 stuck (at 1.0 s, 2.0 s, 3.0 s and 6 more)."
        );
        let nowhere = Remark::new("x", 9, &[], "Sensor 1 stuck");
        assert_eq!(remark_line(&nowhere, PressureUnit::Kpa), "Sensor 1 stuck.");
    }
}
