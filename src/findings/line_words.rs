//! The tee run in plain sentences.

use super::pair_match::{LEAST_RANGE_KPA, LEAST_S, Lack, PairMatch};
use crate::units::{Kpa, PressureUnit};

/// Engine-off readings lie this near the atmosphere, kPa.
const ATMOSPHERE_KPA: f64 = 4.0;

/// How a tee run is made.
const HOW: &str = "Put both hoses on one tap through a T-piece, write the mark 'tee on', log 10 s of \
     idle, 10 s each at two or three held speeds, then 10 s with the engine off";

fn pressure(kpa: f64, unit: PressureUnit) -> String {
    format!("{:.*} {}", unit.decimals(), unit.from_kpa(Kpa(kpa)), unit.symbol())
}

/// Half the width of an interval, with a decimal more than a reading and never nothing.
fn half_width(kpa: f64, unit: PressureUnit) -> String {
    let decimals = unit.decimals() + 1;
    let least = 10.0_f64.powi(-(decimals as i32));
    format!("{:.decimals$} {}", unit.from_kpa(Kpa(kpa)).max(least), unit.symbol())
}

/// Sensor 1 more or less than sensor 2.
fn apart(kpa: f64, unit: PressureUnit) -> String {
    let way = if kpa < 0.0 { "less" } else { "more" };
    format!("{} {way}", pressure(kpa.abs(), unit))
}

/// The line in words.
pub(super) fn matched(found: &PairMatch, unit: PressureUnit) -> String {
    let (Some(offset), Some(gain)) = (found.offset_kpa, found.gain) else { return String::new() };
    let range = match (found.vacuum_from_kpa, found.vacuum_to_kpa) {
        (Some(from), Some(to)) => format!(
            " from {:.*} to {}",
            unit.decimals(),
            unit.from_kpa(Kpa(from.max(0.0))),
            pressure(to, unit)
        ),
        _ => String::new(),
    };
    let way = if gain < 0.0 { "less" } else { "more" };
    let within = found
        .error
        .iter()
        .map(|at| at.high_kpa - at.error_kpa)
        .reduce(f64::max)
        .map(|kpa| format!("; known within {} over that range", half_width(kpa, unit)))
        .unwrap_or_default();
    format!(
        "Matched{range}: sensor 1 reads {} than sensor 2 at the atmosphere, and {:.2} % of the vacuum {way} on top{within}.",
        apart(offset, unit),
        100.0 * gain.abs(),
    )
}

/// What was lacking, and how to log.
pub(super) fn lacking(lack: Lack, unit: PressureUnit) -> String {
    let show = |kpa| pressure(kpa, unit);
    match lack {
        Lack::Nothing => format!(
            "Not matched: nowhere in the tee run did both sensors give a usable reading. {HOW}."
        ),
        Lack::Short(seconds) => format!(
            "Not matched: the tee run holds {seconds:.0} s of usable readings, {LEAST_S:.0} s are needed. {HOW}."
        ),
        Lack::Dead(sensor, moved) => {
            let other = 3 - sensor;
            let [own, others] =
                [sensor, other].map(|s| show(2.0 * moved[usize::from(s).saturating_sub(1)]));
            format!(
                "Not matched: sensor {sensor} hardly moves (by {own}) while sensor {other} moves by {others}: it is stuck, or its hose is off. Look at its hose, the T-piece and its plug."
            )
        }
        Lack::Apart(share) => format!(
            "Not matched: in {:.0} % of the run the two sensors lie further apart than any pair does, so the hoses were not on one tap, or one was off. {HOW}.",
            100.0 * share
        ),
        Lack::Ripple(alike) => format!(
            "Not matched: the two sensors swing at different times within a cycle (correlation {alike:.2}), so the hoses were not on one tap. {HOW}."
        ),
        Lack::Unlike(offset, gain) => format!(
            "Not matched: the sensors would differ by {} at the atmosphere and by {:.0} % of the vacuum, more than any specification allows: were the hoses on one tap, and does each column have the right unit? {HOW}.",
            show(offset.abs()),
            100.0 * gain.abs()
        ),
        Lack::Narrow { seen_kpa, at_kpa, error_kpa, half_kpa } => {
            let place = if at_kpa < ATMOSPHERE_KPA {
                "at the atmosphere".into()
            } else {
                format!("at {}", show(at_kpa))
            };
            format!(
                "The offset alone: the vacuum moved by {} only, {} are needed for the gains. {} sensor 1 reads {} than sensor 2 (known within {}). {HOW}.",
                show(seen_kpa),
                show(LEAST_RANGE_KPA),
                capital(&place),
                apart(error_kpa, unit),
                half_width(half_kpa, unit),
            )
        }
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
