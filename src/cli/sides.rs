//! What the sides are called when nobody said: by the headings of the two columns.

use crate::findings::Sides;
use crate::log::{Role, Taken};
use crate::units::PressureUnit;

/// Words of a heading that say what is measured, not where.
const NO_NAME: &str = "vac vacuum vakuum unterdruck depression vacio vuoto vide map abs absolute \
    absolut gauge rel pressure press druck pression presion pressione p manifold intake inlet \
    saugrohr ansaug carb carburettor carburetor vergaser carburateur carburador sensor in hg h2o";

/// The words in which the headings of the two vacuums differ, such as `Front` and `Rear`; none
/// where they differ in a number only, or not at all.
pub fn from_headings(taken: &[Taken]) -> Option<Sides> {
    let heading = |roles: [Role; 2]| taken.iter().find(|t| roles.contains(&t.role));
    let one = words(&heading([Role::Vac1, Role::Map1])?.heading);
    let two = words(&heading([Role::Vac2, Role::Map2])?.heading);
    let name = |own: &[String], other: &[String]| {
        let apart = own.iter().filter(|word| !other.iter().any(|o| same(o, word)));
        let name: Vec<&str> = apart.map(String::as_str).collect();
        let name = name.join(" ");
        Some(name).filter(|name| name.chars().any(char::is_alphabetic))
    };
    Some(Sides { one: name(&one, &two)?, two: name(&two, &one)? })
}

/// True where two names differ at most in capitals and blanks.
pub fn same(one: &str, two: &str) -> bool {
    let plain = |text: &str| {
        let words: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
        words.join(" ")
    };
    plain(one) == plain(two)
}

/// The words of a heading without units, words of the trade and numbers. Digits and capitals
/// within a word begin a new one: `vac1`, `vacFront`.
fn words(heading: &str) -> Vec<String> {
    let mut words: Vec<String> = vec![String::new()];
    let mut last = ' ';
    for c in heading.chars() {
        let digit = c.is_numeric() != last.is_numeric();
        let capital = c.is_uppercase() && last.is_lowercase();
        if !c.is_alphanumeric() || digit || capital {
            words.push(String::new());
        }
        if c.is_alphanumeric()
            && let Some(word) = words.last_mut()
        {
            word.push(c);
        }
        last = c;
    }
    let names = |word: &String| {
        let lower = word.to_lowercase();
        word.chars().any(char::is_alphabetic)
            && PressureUnit::parse(word).is_none()
            && !["v", "mv", "m"].contains(&word.to_lowercase().as_str())
            && !NO_NAME.split_whitespace().any(|other| other == lower)
    };
    words.into_iter().filter(names).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sides(one: &str, two: &str) -> Option<(String, String)> {
        let taken = |role, heading: &str| Taken {
            role,
            heading: heading.into(),
            unit: String::new(),
            guessed: true,
            text: String::new(),
        };
        let taken = [taken(Role::Time, "Time"), taken(Role::Map1, one), taken(Role::Vac2, two)];
        from_headings(&taken).map(|sides| (sides.one, sides.two))
    }

    #[test]
    fn the_words_in_which_two_headings_differ() {
        for (one, two, names) in [
            ("Front (mbar)", "Rear (mbar)", ("Front", "Rear")),
            ("Unterdruck links [hPa]", "Unterdruck rechts [hPa]", ("links", "rechts")),
            ("front_vac_mbar", "rear_vac_kpa", ("front", "rear")),
            ("MAP left bank", "Vacuum right bank (in Hg)", ("left", "right")),
            ("carb1Front", "carb2Rear", ("Front", "Rear")),
            ("Vac A", "Vac B", ("A", "B")),
            ("Dépression arrière gauche", "Dépression arrière droite", ("gauche", "droite")),
        ] {
            let got = sides(one, two);
            assert_eq!(got, Some((names.0.into(), names.1.into())), "{one}, {two}");
        }
    }

    #[test]
    fn numbers_and_equal_words_are_no_names() {
        for (one, two) in [
            ("vac1_kpa", "vac2_kpa"),
            ("#3", "#4"),
            ("Vacuum 1 (inHg)", "MAP 2 (kPa)"),
            ("Front", "front"),
            ("Sensor", "Sensor rear"),
            ("", ""),
        ] {
            assert_eq!(sides(one, two), None, "{one}, {two}");
        }
    }
}
