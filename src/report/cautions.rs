//! Cautions, printed where they apply.

use super::page::{Page, Tone};
use crate::findings::Verdict;
use crate::findings::breather::BreatherVerdict;

/// A danger of the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Caution {
    /// Carbon monoxide.
    Exhaust,
    /// Fan, belts, pulleys.
    MovingParts,
    /// Exhaust, coolant, high tension.
    HotAndLive,
    /// Flammable spray.
    Spray,
    /// The car may roll.
    Rolling,
    /// Oil thrown from the open filler.
    OpenFiller,
    /// Emission settings.
    Law,
    /// What the finding is not.
    NoCertificate,
}

impl Caution {
    /// The words.
    pub fn text(self) -> &'static str {
        match self {
            Caution::Exhaust => {
                "Run the engine in open air or lead the exhaust outside: carbon monoxide kills."
            }
            Caution::MovingParts => {
                "Keep hands, hair, sleeves and hoses clear of fan, belts and pulleys."
            }
            Caution::HotAndLive => "Exhaust and coolant burn; high-tension leads bite.",
            Caution::Spray => {
                "No flammable spray near a running engine: try leaks by sealing and pinching, or \
                 with water mist, never with fuel or aerosol solvent."
            }
            Caution::Rolling => {
                "Car on level ground, in neutral or park, brake on, wheels chocked."
            }
            Caution::OpenFiller => {
                "Cap off for seconds, not minutes: oil can be thrown from the open filler."
            }
            Caution::Law => {
                "Emission settings follow local law; the mixture needs an exhaust-gas analyser, \
                 and in many places a licensed test station."
            }
            Caution::NoCertificate => {
                "These findings are measurements, not a roadworthiness certificate."
            }
        }
    }
}

const RUNNING: [Caution; 4] =
    [Caution::Exhaust, Caution::MovingParts, Caution::HotAndLive, Caution::Rolling];

/// Cautions beside a balance finding.
pub fn for_balance(verdict: Verdict) -> Vec<Caution> {
    let mut list = RUNNING.to_vec();
    if verdict == Verdict::OutOfTolerance {
        // An air leak is among the causes to check.
        list.push(Caution::Spray);
    }
    if verdict == Verdict::InTolerance {
        // The mixture is what people turn to next.
        list.push(Caution::Law);
    }
    list.push(Caution::NoCertificate);
    list
}

/// Cautions beside a breather finding.
pub fn for_breather(verdict: BreatherVerdict) -> Vec<Caution> {
    let mut list = RUNNING.to_vec();
    list.push(Caution::OpenFiller);
    match verdict {
        // The engine speeds up on more air: it is set rich, and the mixture comes up.
        BreatherVerdict::RevsRise => list.push(Caution::Law),
        BreatherVerdict::NotSealed | BreatherVerdict::NotSealedOrBlocked => {
            list.push(Caution::Spray);
        }
        BreatherVerdict::Sealed | BreatherVerdict::Blocked | BreatherVerdict::NotSettled => {}
    }
    list.push(Caution::NoCertificate);
    list
}

/// Cautions beside a leak hunt.
pub fn for_hunt() -> Vec<Caution> {
    let mut list = RUNNING.to_vec();
    list.extend([Caution::Spray, Caution::NoCertificate]);
    list
}

/// Cautions beside a tee run.
pub fn for_match() -> Vec<Caution> {
    RUNNING.to_vec()
}

/// Cautions before an engine is started to be recorded: where the filler is opened, and where leaks
/// are tried, there are more.
pub fn for_recording(opens_filler: bool, tries_leaks: bool) -> Vec<Caution> {
    let mut list = RUNNING.to_vec();
    list.extend(opens_filler.then_some(Caution::OpenFiller));
    list.extend(tries_leaks.then_some(Caution::Spray));
    list
}

/// Cautions beside a comparison: the work is over, the paper goes to the owner.
pub fn for_compare() -> Vec<Caution> {
    vec![Caution::Law, Caution::NoCertificate]
}

/// Every caution, for a page that goes through the whole job.
pub fn all() -> Vec<Caution> {
    let mut list = RUNNING.to_vec();
    list.extend([Caution::OpenFiller, Caution::Spray, Caution::Law, Caution::NoCertificate]);
    list
}

/// Writes the section.
pub fn write(page: &mut Page, cautions: &[Caution]) {
    page.heading("Take care", Tone::Plain);
    for caution in cautions {
        page.item(caution.text());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_running_engine_always_brings_its_four_cautions() {
        for verdict in [Verdict::InTolerance, Verdict::OutOfTolerance, Verdict::NotSettled] {
            let list = for_balance(verdict);
            assert!(RUNNING.iter().all(|caution| list.contains(caution)));
        }
    }

    #[test]
    fn what_is_opened_or_tried_while_recording_is_warned_of() {
        assert_eq!(for_recording(false, false), RUNNING);
        assert!(for_recording(true, false).contains(&Caution::OpenFiller));
        let hunt = for_recording(false, true);
        assert!(hunt.contains(&Caution::Spray) && !hunt.contains(&Caution::OpenFiller));
    }

    #[test]
    fn spray_is_warned_of_where_leaks_will_be_hunted() {
        assert!(for_breather(BreatherVerdict::NotSealedOrBlocked).contains(&Caution::Spray));
        assert!(!for_breather(BreatherVerdict::Sealed).contains(&Caution::Spray));
        assert!(for_breather(BreatherVerdict::Sealed).contains(&Caution::OpenFiller));
    }
}
