//! The model engine against the laws it must obey, seen from outside: masses, work, symmetry, the
//! steady state by hand, the step, what a class switches, and a storm of nonsense.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod air;
mod by_hand;
mod ledger;
mod predicted;
mod steps;
mod storm;
mod switches;
mod symmetry;

use evenbreath::engine::{Action, Engine, Settings};

/// An idling engine without random variation.
pub fn idling(settings: &Settings, actions: &[Action]) -> Engine {
    let mut engine = Engine::new(settings.calm(), 1);
    engine.act(Action::EngineOn);
    engine.run(8.0);
    actions.iter().for_each(|action| engine.act(*action));
    engine
}
