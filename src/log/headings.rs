//! What one heading says: its words and its unit.

use crate::units::{PressureUnit, SpeedUnit, TimeUnit};

/// The unit that a heading names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unit {
    /// A pressure; `Some(true)` where it is called absolute, `Some(false)` where it is called gauge.
    Pressure(PressureUnit, Option<bool>),
    /// A time.
    Time(TimeUnit),
    /// An engine speed.
    Speed(SpeedUnit),
    /// A voltage: a raw sensor signal; true in millivolts.
    Volt(bool),
    /// Something that no role here is measured in.
    Foreign,
}

/// A heading taken apart.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Heading {
    /// The heading as it stands in the file.
    pub text: String,
    /// Its words in small letters without accents; the unit is not among them.
    pub words: Vec<String>,
    /// Its unit.
    pub unit: Option<Unit>,
}

impl Heading {
    /// Takes a heading apart; `under` is the entry of the units row, empty for none.
    pub fn read(text: &str, under: &str) -> Heading {
        let under = unbracket(under.trim());
        let (name, found) = cut_unit(text);
        let unit = if under.is_empty() { found } else { unit_of(under).or(found) };
        let name = if found.is_some() { name } else { text };
        Heading { text: text.to_string(), words: words(name), unit }
    }

    /// True where one of these words, set apart by blanks, is among the words of the heading.
    pub fn has(&self, any: &str) -> bool {
        self.words.iter().any(|word| contains(any, word))
    }
}

/// True where `word` is one of the words of `list`, which blanks set apart.
pub(super) fn contains(list: &str, word: &str) -> bool {
    list.split(' ').any(|other| other == word)
}

/// The content of brackets around the whole text.
fn unbracket(text: &str) -> &str {
    [('(', ')'), ('[', ']'), ('{', '}'), ('<', '>')]
        .iter()
        .find_map(|(open, close)| text.strip_prefix(*open)?.strip_suffix(*close))
        .unwrap_or(text)
        .trim()
}

/// Cuts the unit from the end of a heading: in brackets, or as its last word or two.
pub(super) fn cut_unit(text: &str) -> (&str, Option<Unit>) {
    let text = text.trim();
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        let Some(inside) = text.strip_suffix(close) else { continue };
        let Some(at) = inside.rfind(open) else { continue };
        let (name, content) = (inside[..at].trim(), inside[at + open.len_utf8()..].trim());
        if content.is_empty() {
            return (name, None);
        }
        return match unit_of(content) {
            Some(unit) => (name, Some(unit)),
            None => (text, None),
        };
    }
    let breaks: Vec<usize> = text
        .char_indices()
        .filter(|(_, c)| matches!(c, ' ' | '_' | ',' | '-'))
        .map(|(at, _)| at)
        .collect();
    for &at in breaks.iter().rev().take(2).rev() {
        let (name, tail) = (&text[..at], text[at + 1..].trim());
        let name = name.trim_end_matches([' ', '_', ',', '-']);
        if name.is_empty() {
            continue;
        }
        // A bare `min` or `d` is more often a word of the name than a unit.
        let word = matches!(tail.to_lowercase().as_str(), "min" | "d" | "h" | "v" | "a" | "g");
        if let Some(unit) = unit_of(tail).filter(|u| !word && *u != Unit::Foreign) {
            // `Engine RPM`: the unit is the name as well.
            let keep = matches!(unit, Unit::Speed(_)) && tail.chars().all(char::is_alphabetic);
            return (if keep { text } else { name }, Some(unit));
        }
    }
    let alone = unit_of(text).filter(|u| matches!(u, Unit::Speed(_) | Unit::Time(_)));
    (text, alone)
}

/// The unit that a text names.
pub(super) fn unit_of(text: &str) -> Option<Unit> {
    let text = unbracket(text.trim());
    if let Some(unit) = SpeedUnit::parse(text) {
        return Some(Unit::Speed(unit));
    }
    if let Some(unit) = TimeUnit::parse(text) {
        return Some(Unit::Time(unit));
    }
    if let Some((unit, absolute)) = pressure_of(text) {
        return Some(Unit::Pressure(unit, absolute));
    }
    let plain = text.to_lowercase();
    const FOREIGN: [&str; 27] = [
        "°c", "°f", "degc", "degf", "deg", "°", "%", "%rh", "km/h", "mph", "kmh", "g/s", "kg/h",
        "l/h", "mg", "g", "m", "mm", "km", "a", "ma", "l", "lambda", "nm", "kw", "ohm", "w",
    ];
    match plain.as_str() {
        "v" | "volt" | "volts" => Some(Unit::Volt(false)),
        "mv" => Some(Unit::Volt(true)),
        plain if FOREIGN.contains(&plain) => Some(Unit::Foreign),
        _ => None,
    }
}

/// A pressure unit with or without a word that says absolute or gauge: `psi a`, `mbar(abs)`.
fn pressure_of(text: &str) -> Option<(PressureUnit, Option<bool>)> {
    if let Some(unit) = PressureUnit::parse(text) {
        let letters: String = text.chars().filter(|c| !c.is_whitespace()).collect();
        return Some((unit, letters.eq_ignore_ascii_case("psia").then_some(true)));
    }
    let plain = text.to_lowercase().replace(['(', ')', '[', ']'], " ");
    let plain = plain.trim();
    const ENDS: [(&str, bool); 8] = [
        ("absolute", true),
        ("abs.", true),
        ("abs", true),
        ("gauge", false),
        ("rel.", false),
        ("rel", false),
        ("a", true),
        ("g", false),
    ];
    ENDS.iter().find_map(|(end, absolute)| {
        let unit = plain.strip_suffix(end)?;
        Some((PressureUnit::parse(unit)?, Some(*absolute)))
    })
}

/// The words of a name: cut at blanks, signs, between letters and digits and before capitals.
pub(super) fn words(name: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut last = ' ';
    for c in name.chars() {
        let cut = !c.is_alphanumeric()
            || (last.is_lowercase() && c.is_uppercase())
            || (last.is_alphabetic() && c.is_numeric())
            || (last.is_numeric() && c.is_alphabetic())
            || !last.is_alphanumeric();
        if c.is_alphanumeric() {
            if cut || words.is_empty() {
                words.push(String::new());
            }
            if let Some(word) = words.last_mut() {
                c.to_lowercase().for_each(|c| push_plain(word, c));
            }
        }
        last = c;
    }
    words
}

pub(super) fn push_plain(word: &mut String, c: char) {
    match c {
        'à' | 'á' | 'â' | 'ä' | 'ã' | 'å' => word.push('a'),
        'è' | 'é' | 'ê' | 'ë' => word.push('e'),
        'ì' | 'í' | 'î' | 'ï' => word.push('i'),
        'ò' | 'ó' | 'ô' | 'ö' | 'õ' => word.push('o'),
        'ù' | 'ú' | 'û' | 'ü' => word.push('u'),
        'ñ' => word.push('n'),
        'ç' => word.push('c'),
        'ß' => word.push_str("ss"),
        c => word.push(c),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_in_brackets_as_last_words_and_in_a_row_of_their_own() {
        let unit = |text| Heading::read(text, "").unit;
        let mbar = Some(Unit::Pressure(PressureUnit::Mbar, None));
        assert_eq!(unit("Front (mbar)"), mbar);
        assert_eq!(unit("Front mbar"), mbar);
        assert_eq!(unit("front_mbar"), mbar);
        assert_eq!(Heading::read("Front", "[mbar]").unit, mbar);
        assert_eq!(unit("vac_2 [inHg]"), Some(Unit::Pressure(PressureUnit::InHg, None)));
        assert_eq!(unit("Vacuum 2 in Hg"), Some(Unit::Pressure(PressureUnit::InHg, None)));
        assert_eq!(unit("Pressure psi a"), Some(Unit::Pressure(PressureUnit::Psi, Some(true))));
        assert_eq!(unit("P (mbar abs)"), Some(Unit::Pressure(PressureUnit::Mbar, Some(true))));
        assert_eq!(unit("Time [ms]"), Some(Unit::Time(TimeUnit::Millisecond)));
        assert_eq!(unit("time_s"), Some(Unit::Time(TimeUnit::Second)));
        assert_eq!(unit("Engine speed (1/min)"), Some(Unit::Speed(SpeedUnit::RevPerMinute)));
        assert_eq!(unit("Drehzahl [U/min]"), Some(Unit::Speed(SpeedUnit::RevPerMinute)));
        assert_eq!(unit("ENGINE_RPM ()"), None);
        assert_eq!(unit("t1 (°C)"), Some(Unit::Foreign));
        assert_eq!(unit("Front (V)"), Some(Unit::Volt(false)));
        assert_eq!(unit("Date (MM/DD/YYYY)"), None);
        assert_eq!(unit("mark"), None);
    }

    #[test]
    fn words_of_a_name() {
        let words = |text| Heading::read(text, "").words.join(" ");
        assert_eq!(words("INTAKE_MANIFOLD_PRESSURE ()"), "intake manifold pressure");
        assert_eq!(words("vac1_kpa"), "vac 1");
        assert_eq!(words("EngineSpeed (1/min)"), "engine speed");
        assert_eq!(words("Régime moteur (tr/min)"), "regime moteur");
        assert_eq!(words("Unterdruck hinten [mbar]"), "unterdruck hinten");
        assert_eq!(words("Engine RPM"), "engine rpm");
        assert_eq!(words("Time (HH:mm:ss)"), "time hh mm ss");
        assert_eq!(words("()"), "");
    }
}
