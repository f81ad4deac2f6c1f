//! What a heading claims to be: words in English, German, French, Spanish and Italian, and a score
//! that says how strong the claim is (0 for none).

use super::headings::{Heading, Unit, contains, unit_of};
use super::words::*;

/// What a pressure column is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Called {
    /// Vacuum, depression, Unterdruck: below atmosphere, positive.
    Vacuum,
    /// Absolute pressure.
    Absolute,
    /// Just a pressure: only the values can tell whether it is vacuum or absolute.
    Pressure,
    /// Nothing: a side and a unit only; taken as vacuum unless the values say otherwise.
    Nothing,
}

/// Which side a heading names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Number 0, where counting starts there.
    Zero,
    /// Side 1: 1, front, left, A.
    One,
    /// Side 2: 2, rear, right, B.
    Two,
    /// A higher number.
    Other,
    /// None.
    Unsaid,
}

/// The claim of a heading to be a manifold pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Manifold {
    /// How strong the claim is.
    pub score: i32,
    /// Which side.
    pub side: Side,
    /// What it is called.
    pub called: Called,
}

/// Words of a heading beyond those that carry the claim cost a little.
fn strangers(heading: &Heading, known: &[&str]) -> i32 {
    let known = |word: &String| known.iter().any(|list| contains(list, word));
    heading.words.iter().filter(|word| !known(word)).count().min(3) as i32
}

/// The claim to be the clock, from words alone; exact words 20, one letter off 8.
pub(super) fn clock(heading: &Heading) -> i32 {
    if heading.has(NO_CLOCK)
        || matches!(
            heading.unit,
            Some(Unit::Foreign | Unit::Volt(_) | Unit::Pressure(..) | Unit::Speed(_))
        )
    {
        return 0;
    }
    let timed = matches!(heading.unit, Some(Unit::Time(_)));
    let extra = strangers(
        heading,
        &[
            CLOCK,
            ENGINE,
            "run log ms us sec s hh mm ss dd yyyy yy stamp since start sample of day and local",
        ],
    );
    if heading.has(CLOCK) {
        return 20 - 3 * extra;
    }
    if timed && extra == 0 {
        return 12;
    }
    // One letter off, as `RUN_TINE`: believed only where the values behave like a clock.
    let near = |word: &String| CLOCK.split(' ').any(|c| c.len() >= 4 && one_letter_off(word, c));
    if heading.words.iter().any(near) { 8 - extra } else { 0 }
}

/// True where two words of one length differ in exactly one letter.
fn one_letter_off(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).filter(|(a, b)| a != b).count() == 1
}

/// The claim to be the fraction of a second of a clock in whole seconds.
pub(super) fn is_fraction(heading: &Heading) -> bool {
    heading.has("fract fraction frac") && heading.has("time sec zeit seconds")
}

/// The claim to be the engine speed.
pub(super) fn speed(heading: &Heading) -> i32 {
    let unit = matches!(heading.unit, Some(Unit::Speed(_)));
    let other = matches!(heading.unit, Some(Unit::Pressure(..) | Unit::Foreign | Unit::Volt(_)));
    // `U/min` alone: its `min` is a minute, not a lower limit.
    if unit && unit_of(&heading.text) == heading.unit && !heading.has(SPEED) {
        return 3;
    }
    if heading.has(NO_SPEED) || other {
        return 0;
    }
    let strong = heading.has(SPEED) || heading.words.iter().any(|w| w.ends_with("drehzahl"));
    let paired = heading.has(ENGINE) && heading.has(PACE);
    let score = 4 * i32::from(strong) + 4 * i32::from(paired && !strong) + 3 * i32::from(unit);
    let extra = strangers(heading, &[SPEED, ENGINE, PACE, "du del de n min"]);
    if score == 0 { 0 } else { (score - extra).max(1) }
}

fn is_pressure_word(heading: &Heading) -> bool {
    heading.has(PRESSURE) || heading.words.iter().any(|w| w.ends_with("druck"))
}

/// The claim to be a manifold pressure.
pub(super) fn manifold(heading: &Heading) -> Option<Manifold> {
    let unit = match heading.unit {
        Some(Unit::Pressure(_, absolute)) => Some(absolute),
        Some(Unit::Foreign | Unit::Time(_) | Unit::Speed(_)) => return None,
        _ => None,
    };
    let other = barometer(heading).max(crankcase(heading)) > 0 || flow(heading).is_some();
    if heading.has(NO_MANIFOLD) || other {
        return None;
    }
    let (vacuum, absolute) =
        (heading.has(VACUUM), heading.has(ABSOLUTE) || unit == Some(Some(true)));
    let side = side(heading, unit.is_some());
    let ends = |ending: &str| heading.words.iter().any(|w| w.ends_with(ending));
    let map = heading.has("map absolutdruck");
    let mut score = 4 * i32::from(vacuum || ends("unterdruck") || map)
        + 2 * i32::from(
            heading.has(MANIFOLD) || heading.words.iter().any(|w| w.starts_with("saugrohr")),
        )
        + 2 * i32::from(is_pressure_word(heading))
        + 3 * i32::from(unit.is_some());
    let only_side = heading.words.len() == 1 && side != Side::Unsaid && heading.words[0].len() > 1;
    if score == 0 && only_side && matches!(heading.unit, None | Some(Unit::Volt(_))) {
        score = 2;
    }
    if score < 2 {
        return None;
    }
    let known: [&str; 8] =
        [VACUUM, MANIFOLD, ABSOLUTE, PRESSURE, FIRST, SECOND, FIRST_LETTER, SECOND_LETTER];
    let score = 2 * score + i32::from(absolute) - strangers(heading, &known);
    let called = match () {
        () if vacuum || ends("unterdruck") || unit == Some(Some(false)) => Called::Vacuum,
        () if absolute => Called::Absolute,
        () if is_pressure_word(heading) && heading.has(INTAKE) => Called::Absolute,
        () if is_pressure_word(heading) => Called::Pressure,
        () => Called::Nothing,
    };
    Some(Manifold { score, side, called })
}

fn side(heading: &Heading, letters: bool) -> Side {
    let number = heading.words.iter().rev().find_map(|w| w.parse::<u32>().ok());
    let worded = |list: &str| heading.words.iter().any(|w| w.len() > 1 && contains(list, w));
    match (worded(FIRST), worded(SECOND), number) {
        (true, false, _) => return Side::One,
        (false, true, _) => return Side::Two,
        (_, _, Some(0)) => return Side::Zero,
        (_, _, Some(1)) => return Side::One,
        (_, _, Some(2)) => return Side::Two,
        (_, _, Some(_)) => return Side::Other,
        _ => {}
    }
    let last = heading.words.last().map_or("", String::as_str);
    let counts = letters || heading.words.len() > 1;
    match (contains(FIRST_LETTER, last), contains(SECOND_LETTER, last)) {
        (true, _) if counts => Side::One,
        (_, true) if counts => Side::Two,
        _ => Side::Unsaid,
    }
}

/// The claim to be the barometer.
pub(super) fn barometer(heading: &Heading) -> i32 {
    let unit = matches!(heading.unit, Some(Unit::Pressure(..)));
    let other = heading.unit.is_some() && !unit;
    let temperature = heading.has("temp temperature temperatur altitude");
    if other || temperature || !heading.has(BAROMETER) {
        return 0;
    }
    let vague = heading.has("ambient ambiant umgebung atm");
    if vague && !unit && !is_pressure_word(heading) {
        return 0;
    }
    2 + 2 * i32::from(unit) + i32::from(is_pressure_word(heading))
}

/// The claim to be the crankcase pressure.
pub(super) fn crankcase(heading: &Heading) -> i32 {
    let unit = matches!(heading.unit, Some(Unit::Pressure(..)));
    let other = heading.unit.is_some() && !unit;
    let pressure = unit || is_pressure_word(heading) || heading.has(VACUUM);
    let named = heading.has(CRANKCASE) || heading.words.iter().any(|w| w.starts_with("kurbelgeh"));
    if other || heading.has(NO_CRANKCASE) || heading.has("temp temperature") || !named || !pressure
    {
        return 0;
    }
    2 + i32::from(unit)
}

/// The claim to be an airflow meter on the mouth of a carburettor, and on which side: the meter gives
/// a differential pressure, so that the heading has to name its unit.
pub(super) fn flow(heading: &Heading) -> Option<(i32, Side)> {
    let pressure = matches!(heading.unit, Some(Unit::Pressure(..)));
    if !pressure || !heading.has(FLOW) || heading.has(NO_FLOW) {
        return None;
    }
    let known = [FLOW, "air meter luft carb carburettor carburetor", FIRST, SECOND, PRESSURE];
    Some((10 - strangers(heading, &known), side(heading, true)))
}

/// What a crankcase column is called.
pub(super) fn called(heading: &Heading) -> Called {
    let vacuum = heading.has(VACUUM) || heading.words.iter().any(|w| w.ends_with("unterdruck"));
    let absolute =
        heading.has(ABSOLUTE) || matches!(heading.unit, Some(Unit::Pressure(_, Some(true))));
    match () {
        () if vacuum => Called::Vacuum,
        () if absolute => Called::Absolute,
        () if is_pressure_word(heading) => Called::Pressure,
        () => Called::Nothing,
    }
}

/// The claim to hold the marks.
pub(super) fn mark(heading: &Heading) -> i32 {
    if heading.unit.is_some() || !heading.has(MARK) {
        return 0;
    }
    10 - strangers(heading, &[MARK])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heading(text: &str) -> Heading {
        Heading::read(text, "")
    }

    #[test]
    fn clocks_and_what_only_sounds_like_one() {
        for text in [
            "Time [ms]",
            "Zeit (s)",
            "Temps (s)",
            "Datetime",
            "ENGINE_RUN_TIME (s)",
            "t",
            "Uhrzeit",
            "ms",
        ] {
            assert!(clock(&heading(text)) >= 12, "{text}");
        }
        assert!((1..12).contains(&clock(&heading("ENGINE_RUN_TINE ()"))));
        for text in [
            "Measurement",
            "TIME_SINCE_TROUBLE_CODES_CLEARED ()",
            "t1 (°C)",
            "Injection time (ms)",
            "TIME_RUN_WITH_MIL_ON ()",
            "TIMING_ADVANCE ()",
            "index",
            "rpm",
            "Time (Fract. Sec)",
        ] {
            assert_eq!(clock(&heading(text)), 0, "{text}");
        }
    }

    #[test]
    fn engine_speed_and_other_speeds() {
        for text in [
            "rpm",
            "Engine speed (1/min)",
            "ENGINE_RPM ()",
            "Motordrehzahl [U/min]",
            "Régime moteur",
            "Velocidad del motor",
            "Drehzahl",
            "giri",
            "régime",
            "rpm1",
            "revs",
        ] {
            assert!(speed(&heading(text)) >= 3, "{text}");
        }
        for text in [
            "VEHICLE_SPEED ()",
            "Fan speed (rpm)",
            "Speed (km/h)",
            "ENGINE_LOAD ()",
            "Idle target rpm",
        ] {
            assert_eq!(speed(&heading(text)), 0, "{text}");
        }
    }

    #[test]
    fn manifold_pressures_and_their_sides() {
        let of = |text: &str| manifold(&heading(text)).map(|m| (m.side, m.called));
        assert_eq!(of("Front (mbar)"), Some((Side::One, Called::Nothing)));
        assert_eq!(of("vac_2 [inHg]"), Some((Side::Two, Called::Vacuum)));
        assert_eq!(of("MAP1 (kPa)"), Some((Side::One, Called::Absolute)));
        assert_eq!(of("Unterdruck hinten [mbar]"), Some((Side::Two, Called::Vacuum)));
        assert_eq!(of("Dépression avant (mbar)"), Some((Side::One, Called::Vacuum)));
        assert_eq!(of("p2 (hPa)"), Some((Side::Two, Called::Pressure)));
        assert_eq!(of("INTAKE_MANIFOLD_PRESSURE ()"), Some((Side::Unsaid, Called::Absolute)));
        assert_eq!(of("Saugrohrdruck 1 (mbar)"), Some((Side::One, Called::Absolute)));
        assert_eq!(of("Sensor B (kPa)"), Some((Side::Two, Called::Nothing)));
        assert_eq!(of("Rear"), Some((Side::Two, Called::Nothing)));
        assert_eq!(of("Vac L"), Some((Side::One, Called::Vacuum)));
        for text in [
            "Oil pressure (kPa)",
            "FUEL_TANK ()",
            "Öldruck (bar)",
            "RH1% (%)",
            "Luftdruck (hPa)",
            "ABSOLUTE_THROTTLE_B ()",
            "INTAKE_AIR_TEMP ()",
            "Crankcase (Pa)",
            "t1 (°C)",
            "Battery V",
            "ENGINE_LOAD ()",
        ] {
            assert_eq!(of(text), None, "{text}");
        }
    }

    #[test]
    fn airflow_meters_and_their_sides() {
        let of = |text: &str| flow(&heading(text)).map(|(_, side)| side);
        for (text, side) in [
            ("flow1_pa", Side::One),
            ("flow2_kpa", Side::Two),
            ("Front flow (Pa)", Side::One),
            ("Rear air flow [inH2O]", Side::Two),
            ("Durchfluss vorn (Pa)", Side::One),
            ("Débit arrière (mbar)", Side::Two),
            ("Flow B (Pa)", Side::Two),
            ("Airflow (Pa)", Side::Unsaid),
        ] {
            assert_eq!(of(text), Some(side), "{text}");
            assert_eq!(manifold(&heading(text)), None, "{text}");
        }
        for text in ["MAF flow (g/s)", "Fuel flow 1 (kPa)", "flow1", "Flow (l/h)", "Front (Pa)"] {
            assert_eq!(of(text), None, "{text}");
        }
    }

    #[test]
    fn barometer_crankcase_and_marks() {
        assert!(barometer(&heading("ABSOLUTE_BAROMETRIC_PRESSURE ()")) > 0);
        assert!(barometer(&heading("Luftdruck (hPa)")) > 0);
        assert_eq!(barometer(&heading("Ambient temp (°C)")), 0);
        assert!(crankcase(&heading("Crankcase (Pa)")) > 0);
        assert_eq!(crankcase(&heading("Crankshaft speed (1/min)")), 0);
        assert!(mark(&heading("mark")) > 0 && mark(&heading("Comment")) > 0);
        assert_eq!(mark(&heading("Watermark (mm)")), 0);
        for text in ["repère", "Bemerkung", "Anmerkung", "observación", "Remarks", "évènement"]
        {
            assert!(mark(&heading(text)) > 0, "{text}");
        }
        assert_eq!(speed(&heading("U/min")), 3);
    }
}
