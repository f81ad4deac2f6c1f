//! A physical model of an engine with two carburettors: logs with known truth.
//!
//! ```text
//! atmosphere -> carburettor (fuel by the metered air) -> throttle -> tract -> cylinders -> torque
//!                    ^                                     ^ leak               |
//!      crankcase -> breather                                             crank, friction, fan
//!         ^ cap, seals, blow-by                                                 |
//!                                    hoses -> sensors -> rows            ignition pulses
//! ```
//!
//! The model integrates masses of air and fuel in small steps of time ([`Engine`]), stroke by
//! stroke. It knows nothing of the estimators in the other rooms, and shares no formula with them:
//! it is what they are tried against. [`record`] runs a script of [`Action`]s, looks at the engine
//! through a box of imperfect [`sensors`] and keeps what was true beside what was read.
//!
//! A class watches a [`Running`] engine instead, switches [`Action`]s while it runs, draws its
//! [`Flows`] and sets what it reads beside a [`Prediction`].
//!
//! Everything follows from the seed: the same seed gives the same rows on every run.

mod breather;
mod charge;
mod combustion;
mod driver;
mod model;
mod noise;
mod pickup;
mod prediction;
pub mod recording;
mod running;
mod script;
pub mod sensors;
pub mod settings;
#[cfg(test)]
mod tests;
mod throughput;
mod tract;
mod tune;

pub use model::{Engine, Look};
pub use prediction::{Prediction, Steady};
pub use recording::{Means, Recording, Row, Truth, record, steady};
pub use running::Running;
pub use script::Script;
pub use settings::{Hunting, Layout, Settings, Side};
pub use throughput::{Flows, Held, Ledger, Throughput, Work};
pub use tune::{HIGHEST_HOLD_RPM, LARGEST_HOLE, RICHEST_MIXTURE};

use crate::units::{Millimetres, Rpm};

/// Something that a person does to the engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Action {
    /// The oil filler cap comes off.
    CapOff,
    /// The oil filler cap goes on.
    CapOn,
    /// The breather hose is blocked: nothing passes to either carburettor.
    BreatherBlocked,
    /// The breather hose is free.
    BreatherFree,
    /// The ignition is switched off.
    EngineOff,
    /// The engine is started: ignition on, starter until it catches.
    EngineOn,
    /// A stop screw opens the throttle of a side by a fraction of its idle opening (negative shuts).
    OpenThrottle {
        /// The carburettor.
        side: Side,
        /// Change of the idle opening, 0.1 for a tenth more.
        fraction: f64,
    },
    /// A stop screw sets the throttle of a side to a share of the idle opening in the settings,
    /// whatever was done to it before.
    ThrottleStop {
        /// The carburettor.
        side: Side,
        /// Share of the opening, 1 as in the settings.
        share: f64,
    },
    /// A carburettor sets another mixture.
    Mixture {
        /// The carburettor.
        side: Side,
        /// Equivalence ratio: 1 stoichiometric, more is richer.
        ratio: f64,
    },
    /// Both hoses are pulled off: the sensors see the atmosphere, and the taps leak past a finger.
    HosesOff,
    /// The hoses are on, each on the other's tap.
    HosesSwapped,
    /// The hoses are on, each on its own tap.
    HosesDirect,
    /// Both hoses are on the tap of tract 1, through a T-piece.
    HosesTogether,
    /// A foot holds the revs at this speed.
    Hold(Rpm),
    /// The foot comes off.
    Release,
    /// The fan cuts in.
    FanOn,
    /// The fan cuts out.
    FanOff,
    /// A round hole into one tract; diameter 0 closes it.
    TractLeak {
        /// The tract.
        side: Side,
        /// Diameter of the hole.
        hole: Millimetres,
    },
    /// The leaks of the crankcase seals together become those of one hole of this diameter.
    SealLeak(Millimetres),
}
