//! What the person wants to be led through.

use crate::engine::Action;
use crate::units::Millimetres;
use thiserror::Error;

/// The work that a guide leads through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Work {
    /// The cap test: is the closed breather sealed?
    Breather,
    /// The balance: zero, hose swap, idle and screws, then off idle.
    Balance,
    /// Suspects of a leak, sealed one at a time.
    Hunt,
    /// Both hoses on one tap through a T-piece: the matching of the pair.
    Match,
}

/// Something that may leak.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// What the person calls it; it becomes part of the marks.
    pub name: String,
    /// What sealing and releasing it are to the model engine. The model has seals and tracts, no
    /// named hoses: `None` leaves it as it is, and the trial then shows nothing.
    pub on_model: Option<[Action; 2]>,
}

impl From<&str> for Suspect {
    fn from(name: &str) -> Self {
        Suspect { name: name.into(), on_model: None }
    }
}

/// What a guide is to lead through, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The work.
    pub work: Work,
    /// How often the cap comes off (breather).
    pub openings: u32,
    /// How often each suspect is sealed (hunt).
    pub trials: u32,
    /// What may leak (hunt).
    pub suspects: Vec<Suspect>,
    /// Diameter of a drilled jet that can be opened on a spare tap (hunt).
    pub known_leak: Option<Millimetres>,
    /// The user's names for the two sides.
    pub carb_names: [String; 2],
    /// Cap and suspects by count-down, without a key: for a person who cannot reach the keyboard.
    ///
    /// A mark then tells when something was to be done, not that it was: a person who missed the
    /// moment must mark a mistake. So Enter is the rule, this the exception.
    pub hands_free: bool,
}

impl Plan {
    /// The work as it is usually done: three openings, three trials a suspect, Enter at each step.
    pub fn new(work: Work) -> Self {
        Plan {
            work,
            openings: 3,
            trials: 3,
            suspects: Vec::new(),
            known_leak: None,
            carb_names: ["carburettor 1".into(), "carburettor 2".into()],
            hands_free: false,
        }
    }

    /// The plan with blanks of the suspects' names put straight, or what is wrong with it.
    pub(super) fn checked(&self) -> Result<Plan, PlanError> {
        let mut plan = self.clone();
        if plan.work == Work::Breather && !(1..=MOST).contains(&plan.openings) {
            return Err(PlanError::Openings(plan.openings));
        }
        if plan.work != Work::Hunt {
            return Ok(plan);
        }
        if !(1..=MOST).contains(&plan.trials) {
            return Err(PlanError::Trials(plan.trials));
        }
        if plan.suspects.is_empty() {
            return Err(PlanError::NoSuspect);
        }
        if let Some(Millimetres(mm)) = plan.known_leak
            && !(mm.is_finite() && mm > 0.0 && mm <= WIDEST_JET_MM)
        {
            return Err(PlanError::Jet(mm));
        }
        let mut seen: Vec<String> = Vec::new();
        for suspect in &mut plan.suspects {
            let plain: String =
                suspect.name.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
            suspect.name = plain.split_whitespace().collect::<Vec<_>>().join(" ");
            let small = suspect.name.to_lowercase();
            if small.is_empty() {
                return Err(PlanError::NoName);
            }
            if seen.contains(&small) {
                return Err(PlanError::Twice(suspect.name.clone()));
            }
            seen.push(small);
        }
        Ok(plan)
    }
}

/// Most openings of the cap, and trials of a suspect.
const MOST: u32 = 20;
/// A jet wider than this stalls the engine, mm (common practice, no published source).
const WIDEST_JET_MM: f64 = 6.0;

/// A plan that cannot be led through.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PlanError {
    /// No opening, or too many.
    #[error("{0} openings of the cap: take 1 to {MOST}; two or three are usual")]
    Openings(u32),
    /// No trial, or too many.
    #[error("{0} trials of each suspect: take 1 to {MOST}; three are usual")]
    Trials(u32),
    /// Nothing to hunt.
    #[error("a leak hunt needs suspects: name them, such as 'dipstick seal' or 'breather hose'")]
    NoSuspect,
    /// A suspect without a name.
    #[error("a suspect has no name: name what is sealed, such as 'dipstick seal'")]
    NoName,
    /// One name for two suspects.
    #[error("two suspects are called '{0}': give each a name of its own")]
    Twice(String),
    /// A jet that cannot be.
    #[error(
        "a known leak of {0} mm: give the diameter of the jet, above 0 and up to {WIDEST_JET_MM} mm"
    )]
    Jet(f64),
}
