//! The text of `--columns`: who is who, said by the user.

use super::headings::{Unit, cut_unit, unit_of};
use super::{ReadError, Role};

/// One column named by the user.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Asked {
    /// What it is to be.
    pub role: Role,
    /// Which field, counted from 0.
    pub field: usize,
    /// The unit given with it, where it goes before that of the heading.
    pub unit: Option<Unit>,
}

/// Reads the text of `--columns` against the headings.
///
/// Errors: [`ReadError::BadColumns`] for an unknown role, a role or a column named twice, a heading
/// that is not there or that fits several columns.
pub(super) fn asked(text: &str, headings: &[String]) -> Result<Vec<Asked>, ReadError> {
    let bad = |detail: String| ReadError::BadColumns { text: text.to_string(), detail };
    let mut found: Vec<Asked> = Vec::new();
    for part in parts(text) {
        let Some((word, name)) = part.split_once('=') else {
            return Err(bad(format!(
                "{part:?} is not of the form role=heading; write for example \"time=Time [ms],vac1=Front\""
            )));
        };
        let word = word.trim().to_lowercase();
        let Some(role) = Role::ALL.into_iter().find(|role| role.word() == word) else {
            let roles: Vec<&str> = Role::ALL.iter().map(|role| role.word()).collect();
            return Err(bad(format!("there is no role {word:?}; roles are {}", roles.join(", "))));
        };
        let (field, unit) = place(name.trim(), headings).map_err(bad)?;
        if found.iter().any(|other| other.role == role) {
            return Err(bad(format!("{word} is named twice; name it once")));
        }
        let clash = |other: &&Asked| other.field == field;
        if let Some(other) = found.iter().find(clash) {
            let (other, heading) = (other.role.word(), &headings[field]);
            return Err(bad(format!(
                "column {heading:?} is both {other} and {word}; give it one role"
            )));
        }
        found.push(Asked { role, field, unit });
    }
    for (vac, map) in [(Role::Vac1, Role::Map1), (Role::Vac2, Role::Map2)] {
        let has = |role| found.iter().any(|asked| asked.role == role);
        if has(vac) && has(map) {
            let (vac, map) = (vac.word(), map.word());
            return Err(bad(format!("{vac} and {map} are the same side; name one of them")));
        }
    }
    Ok(found)
}

/// Cuts the text at those commas that a new `role=` follows, for headings may hold commas.
fn parts(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut start = 0;
    for (at, _) in text.match_indices(',') {
        let next = text[at + 1..].split_once('=').map(|(word, _)| word.trim());
        if next.is_some_and(|w| !w.is_empty() && w.chars().all(|c| c.is_ascii_alphanumeric())) {
            parts.push(text[start..at].trim());
            start = at + 1;
        }
    }
    parts.push(text[start..].trim().trim_end_matches(','));
    parts.retain(|part| !part.is_empty());
    parts
}

/// Finds the column a user means: by number, by its heading, by its heading without the unit.
fn place(name: &str, headings: &[String]) -> Result<(usize, Option<Unit>), String> {
    let (numbered, unit) = match name.split_once([' ', '[', '(']) {
        Some((number, _)) => (number, unit_of(name[number.len()..].trim())),
        None => (name, None),
    };
    if let Some(number) = numbered.strip_prefix('#').and_then(|n| n.parse::<usize>().ok()) {
        return match number.checked_sub(1).filter(|field| *field < headings.len()) {
            Some(field) => Ok((field, unit)),
            None => Err(format!("there is no column {numbered}; the log has {}", headings.len())),
        };
    }
    let plain = |text: &str| -> String {
        let kept = text.chars().filter(|c| !c.is_whitespace() && *c != '"');
        kept.flat_map(char::to_lowercase).collect()
    };
    let mut mended = name.to_string();
    super::source::mend_twice_encoded(&mut mended);
    let fits = |test: &dyn Fn(&str) -> bool| -> Vec<usize> {
        (0..headings.len()).filter(|field| test(&headings[*field])).collect()
    };
    let (stem, unit) = cut_unit(&mended);
    type Test<'a> = &'a dyn Fn(&str) -> bool;
    let tests: [(Test, Option<Unit>); 4] = [
        (&|heading| heading == mended, None),
        (&|heading| plain(heading) == plain(&mended), None),
        (&|heading| plain(cut_unit(heading).0) == plain(&mended), None),
        (&|heading| plain(cut_unit(heading).0) == plain(stem) && unit.is_some(), unit),
    ];
    for (test, unit) in tests {
        match fits(test).as_slice() {
            [] => {}
            [field] => return Ok((*field, unit)),
            [first, second, ..] => {
                let (first, second) = (first + 1, second + 1);
                return Err(format!(
                    "{name:?} fits columns {first} and {second}; name one by its number, such as #{first}"
                ));
            }
        }
    }
    Err(format!("there is no heading {name:?}; headings are {}", headings.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{PressureUnit, TimeUnit};

    fn headings() -> Vec<String> {
        ["Time [ms]", "Engine speed", "Druck, vorn (mbar)", "Rear", "x", "x"]
            .map(String::from)
            .into()
    }

    fn roles(text: &str) -> Result<Vec<(Role, usize)>, String> {
        asked(text, &headings())
            .map(|all| all.iter().map(|a| (a.role, a.field)).collect())
            .map_err(|e| e.to_string())
    }

    #[test]
    fn columns_are_found_by_heading_and_number() {
        let text = "time=Time [ms], rpm=engine SPEED,vac1=Druck, vorn (mbar),vac2=#4";
        let expected = vec![(Role::Time, 0), (Role::Rpm, 1), (Role::Vac1, 2), (Role::Vac2, 3)];
        assert_eq!(roles(text), Ok(expected));
        assert_eq!(roles("time=Time"), Ok(vec![(Role::Time, 0)]));
    }

    #[test]
    fn a_unit_may_be_added() {
        let all = asked("vac2=Rear [inHg],time=Time [s]", &headings()).unwrap();
        assert_eq!(all[0].unit, Some(Unit::Pressure(PressureUnit::InHg, None)));
        assert_eq!((all[1].field, all[1].unit), (0, Some(Unit::Time(TimeUnit::Second))));
        assert_eq!(
            asked("vac1=#4 [psi]", &headings()).unwrap()[0].unit,
            Some(Unit::Pressure(PressureUnit::Psi, None))
        );
    }

    #[test]
    fn what_cannot_be_meant_is_said() {
        for (text, words) in [
            ("vac3=Rear", "no role"),
            ("vac1", "role=heading"),
            ("vac1=Nothing", "no heading"),
            ("vac1=x", "fits columns 5 and 6"),
            ("vac1=Rear,vac1=#5", "named twice"),
            ("vac1=Rear,vac2=Rear", "both vac1 and vac2"),
            ("vac1=#9", "no column #9"),
            ("vac1=#0", "no column #0"),
            ("vac1=Rear,map1=#5", "same side"),
        ] {
            let said = roles(text).unwrap_err();
            assert!(said.contains(words), "{text}: {said}");
        }
    }
}
