//! The head of the page: whose car, and what was seen to beforehand.

use serde::Serialize;

/// Whose car, when, by whose order. What nobody said is absent.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Job {
    /// The car.
    pub car: Option<String>,
    /// The engine, as the log calls it.
    pub engine: Option<String>,
    /// Who had the work done.
    pub customer: Option<String>,
    /// Number or name of the job.
    pub job: Option<String>,
    /// The day, as year-month-day.
    pub date: Option<String>,
    /// Free words.
    pub note: Option<String>,
    /// Cylinders of the engine, both sides together.
    pub cylinders: Option<u32>,
    /// Idle speed wanted, rev/min.
    pub idle_target_rpm: Option<f64>,
}

/// Something that has to be right before a figure means anything.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Precondition {
    /// What.
    pub name: String,
    /// Somebody said that it was seen to.
    pub checked: bool,
}

/// What is asked of every job (common practice, no published source).
pub const PRECONDITIONS: [&str; 10] = [
    "engine fully warm",
    "valve clearances",
    "ignition timing and dwell",
    "plugs and leads",
    "hoses and seals",
    "choke off",
    "electrical loads off",
    "air filter noted",
    "throttle linkage free",
    "oil level",
];

/// Names as alike as this are taken for a slip of the keyboard.
const ALIKE: f64 = 0.82;

/// What somebody ticked: one of [`PRECONDITIONS`], whatever its capitals, or one of his own.
///
/// # Errors
/// Words that come close to a precondition and are not one: most likely it was meant.
pub fn precondition(text: &str) -> Result<String, String> {
    let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if plain.is_empty() {
        return Err("names nothing; write what was checked, such as 'choke off'".into());
    }
    let lower = plain.to_lowercase();
    let known = PRECONDITIONS.into_iter().find(|known| *known == lower);
    if let Some(known) = known {
        return Ok(known.into());
    }
    let near = PRECONDITIONS.into_iter().find(|known| {
        lower.len() < 100 && strsim::normalized_damerau_levenshtein(known, &lower) >= ALIKE
    });
    match near {
        Some(near) => {
            Err(format!("{plain:?} is close to one that is known; did you mean {near:?}?"))
        }
        None => Ok(plain),
    }
}

/// The fixed list with what was ticked, and after it what somebody added.
pub fn ticked(checked: &[String]) -> Vec<Precondition> {
    let fixed = PRECONDITIONS.into_iter().map(|name| Precondition {
        name: name.into(),
        checked: checked.iter().any(|said| said == name),
    });
    let mut all: Vec<Precondition> = fixed.collect();
    for said in checked {
        if !all.iter().any(|p| p.name == *said) {
            all.push(Precondition { name: said.clone(), checked: true });
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_precondition_is_ticked_and_another_is_added_ticked() {
        let said = ["Choke  OFF", "new gasket"].map(|s| precondition(s).unwrap());
        let list = ticked(&[said[0].clone(), said[1].clone(), said[1].clone()]);
        assert_eq!(list.len(), PRECONDITIONS.len() + 1);
        let on: Vec<&str> = list.iter().filter(|p| p.checked).map(|p| p.name.as_str()).collect();
        assert_eq!(on, ["choke off", "new gasket"]);
    }

    #[test]
    fn a_slip_of_the_keyboard_is_not_taken_for_a_new_precondition() {
        let message = precondition("valve clearence").unwrap_err();
        assert!(message.contains("did you mean \"valve clearances\"?"), "{message}");
        assert!(precondition(" ").is_err());
        for fixed in PRECONDITIONS {
            assert_eq!(precondition(fixed).as_deref(), Ok(fixed));
        }
    }
}
