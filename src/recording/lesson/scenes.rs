//! Scenes for a class: an engine in a certain state, a question, and its answer.

use super::knob::Knob;
use crate::engine::{Layout, Side};
use crate::findings::balance::Open;
use crate::findings::breather::BreatherVerdict;

/// What a sound log of such an engine shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shows {
    /// The side whose throttle is the closed one; `None` where the difference is within 1.3 kPa.
    pub closed: Option<Open>,
    /// What the filler cap shows.
    pub breather: BreatherVerdict,
}

/// A scene.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scene {
    /// Its name, which gives nothing away.
    pub name: &'static str,
    /// The engine.
    pub layout: Layout,
    /// What differs from an engine in tune.
    pub set: &'static [(Knob, f64)],
    /// For the class.
    pub question: &'static str,
    /// For the second press.
    pub answer: &'static str,
    /// What `balance` and `breather` say of a log of it.
    pub shows: Shows,
}

const EVEN: Option<Open> = None;

/// The scenes, in the order of a lesson.
pub const SCENES: [Scene; 8] = [
    Scene {
        name: "The cap comes off",
        layout: Layout::Four,
        set: &[],
        question: "Take the oil filler cap off. What does the idle do, and why?",
        answer: "It falls. The breather now draws air through the open filler that no jet has met, and \
                 the mixture goes lean: see the arrow from the filler to the carburettors.",
        shows: Shows { closed: EVEN, breather: BreatherVerdict::Sealed },
    },
    Scene {
        name: "The cap makes no difference",
        layout: Layout::Four,
        set: &[(Knob::SealLeak, 6.0)],
        question: "Take the cap off. The idle hardly moves: is air getting in elsewhere, or is the \
                   breather shut? How would you tell?",
        answer: "Air is getting in: the seals already pass what the filler would. The crankcase stands \
                 near the atmosphere, and paper on the open filler is drawn down.",
        shows: Shows { closed: EVEN, breather: BreatherVerdict::NotSealedOrBlocked },
    },
    Scene {
        name: "No difference, once more",
        layout: Layout::Four,
        set: &[(Knob::Breather, 1.0)],
        question: "Again the idle hardly moves when the cap comes off. Is it the same fault?",
        answer: "No: the breather hose is blocked. With the cap on, the crankcase stands above the \
                 atmosphere, and paper on the open filler is lifted, not drawn down.",
        shows: Shows { closed: EVEN, breather: BreatherVerdict::NotSealedOrBlocked },
    },
    Scene {
        name: "One pulls harder",
        layout: Layout::Four,
        set: &[(Knob::Stop(Side::One), 89.0)],
        question: "Side 1 has the higher vacuum. Which side passes more air, and which screw would you \
                   turn?",
        answer: "Side 2. The stop screw of side 1 is closed too far, so its cylinders draw harder on \
                 less air: open 1 when the idle is low, close 2 when it is high.",
        shows: Shows { closed: Some(Open::Carb1), breather: BreatherVerdict::Sealed },
    },
    Scene {
        name: "Not every difference is a screw",
        layout: Layout::Four,
        set: &[(Knob::TractLeak(Side::Two), 1.4)],
        question: "Side 2 passes more air at idle. Name two causes. Does holding 2,500 rev/min tell \
                   them apart?",
        answer: "A stop screw that is open too far, or a leak into tract 2, and the speed does not tell: \
                 either adds the same opening at every speed. It is a leak: its air has met no jet, and \
                 the mixture of side 2 is lean. Sealing and pinching find it.",
        shows: Shows { closed: Some(Open::Carb1), breather: BreatherVerdict::Sealed },
    },
    Scene {
        name: "The wrong way round",
        layout: Layout::Four,
        set: &[(Knob::Mixture, 1.45)],
        question: "The cap comes off and the engine speeds up. What is wrong?",
        answer: "The mixture is too rich: the unmetered air brings it nearer to what burns best. \
                 The breather draws as it should, but prove it again when the mixture is set.",
        shows: Shows { closed: EVEN, breather: BreatherVerdict::RevsRise },
    },
    Scene {
        name: "Believe the needle?",
        layout: Layout::Six,
        set: &[(Knob::Offset(Side::One), 1.8)],
        question: "The two readings are nearly 2 kPa apart. Would you turn a screw?",
        answer: "No: sensor 1 reads 1.8 kPa too much. It does so with the engine off too, and with the \
                 hoses swapped the difference changes its sign. The figures have it taken out now.",
        shows: Shows { closed: EVEN, breather: BreatherVerdict::Sealed },
    },
    Scene {
        name: "Two faults at once",
        layout: Layout::Eight,
        set: &[(Knob::Stop(Side::Two), 90.0), (Knob::SealLeak, 9.0)],
        question: "Something is wrong with the balance and with the breather. Which do you mend first?",
        answer: "The breather: its air weakens the mixture of both sides, and an idle that is set on \
                 false air is wrong as soon as the seals are tight. Then open 2.",
        shows: Shows { closed: Some(Open::Carb2), breather: BreatherVerdict::NotSealedOrBlocked },
    },
];
