//! What a mark means for a model engine: a mark says what was done, so it is done.

use crate::engine::Action;
use crate::sample::{Mark, Meaning};
use crate::units::Seconds;

/// What is done to a model engine when a mark is made. One that calls another a mistake takes back what that did.
/// `None` for a mark that does nothing to an engine.
pub fn done_by(meaning: &Meaning) -> Option<Action> {
    if let Meaning::Mistake(words) = meaning {
        let before = match Mark::read(Seconds(0.0), words).meaning {
            Meaning::CapOff => Meaning::CapOn,
            Meaning::CapOn => Meaning::CapOff,
            Meaning::EngineOff => Meaning::EngineOn,
            Meaning::EngineOn => Meaning::EngineOff,
            Meaning::HosesSwapped | Meaning::TeeOn => Meaning::HosesDirect,
            Meaning::HosesDirect => Meaning::HosesSwapped,
            Meaning::TeeOff => Meaning::TeeOn,
            _ => return None,
        };
        return done_by(&before);
    }
    match meaning {
        Meaning::CapOff => Some(Action::CapOff),
        Meaning::CapOn => Some(Action::CapOn),
        Meaning::EngineOff => Some(Action::EngineOff),
        Meaning::EngineOn => Some(Action::EngineOn),
        Meaning::HosesSwapped => Some(Action::HosesSwapped),
        Meaning::HosesDirect | Meaning::TeeOff => Some(Action::HosesDirect),
        Meaning::TeeOn => Some(Action::HosesTogether),
        _ => None,
    }
}
