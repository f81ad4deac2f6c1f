//! What a person can change on the engine, and how far.

use super::Action;
use super::settings::{Settings, Side};
use crate::gas::orifice::area_of_hole;
use crate::units::Millimetres;

/// Discharge coefficient of a drilled or torn hole. Common practice, no published source.
const HOLE_DISCHARGE: f64 = 0.7;

/// Effective area of a vacuum tap while a person changes hoses over, mm2.
const OPEN_TAP_MM2: f64 = 0.6;

/// The largest hole that [`Action::TractLeak`] and [`Action::SealLeak`] make. A larger one would let
/// a tract fill within one step of the integration.
pub const LARGEST_HOLE: Millimetres = Millimetres(12.0);

/// The richest mixture that [`Action::Mixture`] sets, as an equivalence ratio; the leanest is 0, no
/// fuel at all.
pub const RICHEST_MIXTURE: f64 = 2.0;

/// The highest speed that [`Action::Hold`] asks the foot for, rev/min.
pub const HIGHEST_HOLD_RPM: f64 = 6000.0;

/// Where the hoses are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hoses {
    Direct,
    Swapped,
    Together,
    Off,
}

/// State of everything that a person can change while the engine runs.
#[derive(Debug, Clone)]
pub(super) struct Tune {
    /// Effective area of each throttle on its stop screw, mm2.
    pub(super) idle_area_mm2: [f64; 2],
    /// Effective area of the leak into each tract, taps apart, mm2.
    tract_leak_mm2: [f64; 2],
    /// Equivalence ratio that each carburettor sets.
    pub(super) mixture: [f64; 2],
    /// Effective area of the leaks of all crankcase seals, mm2.
    pub(super) seal_leak_mm2: f64,
    pub(super) cap_off: bool,
    pub(super) breather_blocked: bool,
    pub(super) hoses: Hoses,
    pub(super) fan: bool,
}

impl Tune {
    pub(super) fn new(settings: &Settings) -> Self {
        Tune {
            idle_area_mm2: settings.idle_area_mm2,
            tract_leak_mm2: settings.tract_leak_mm2,
            mixture: settings.mixture,
            seal_leak_mm2: settings.seal_leak_mm2,
            cap_off: false,
            breather_blocked: false,
            hoses: Hoses::Direct,
            fan: false,
        }
    }

    /// Does what concerns the state of tune; the rest is the engine's.
    ///
    /// A value out of reach is taken to the end of its reach, and one that is no number changes
    /// nothing: nothing that a control sends can bring a NaN into the state.
    pub(super) fn act(&mut self, action: Action, settings: &Settings) {
        match action {
            Action::CapOff => self.cap_off = true,
            Action::CapOn => self.cap_off = false,
            Action::BreatherBlocked => self.breather_blocked = true,
            Action::BreatherFree => self.breather_blocked = false,
            Action::OpenThrottle { side, fraction } => {
                let area = self.idle_area_mm2[side.index()] * (1.0 + fraction).max(0.0);
                self.set_stop(side, if fraction.is_nan() { f64::NAN } else { area }, settings);
            }
            Action::ThrottleStop { side, share } => {
                self.set_stop(side, settings.idle_area_mm2[side.index()] * share, settings);
            }
            Action::Mixture { side, ratio } => {
                set(&mut self.mixture[side.index()], ratio, RICHEST_MIXTURE);
            }
            Action::HosesOff => self.hoses = Hoses::Off,
            Action::HosesSwapped => self.hoses = Hoses::Swapped,
            Action::HosesDirect => self.hoses = Hoses::Direct,
            Action::HosesTogether => self.hoses = Hoses::Together,
            Action::FanOn => self.fan = true,
            Action::FanOff => self.fan = false,
            Action::TractLeak { side, hole } => {
                set_hole(&mut self.tract_leak_mm2[side.index()], hole);
            }
            Action::SealLeak(hole) => set_hole(&mut self.seal_leak_mm2, hole),
            Action::EngineOff | Action::EngineOn | Action::Hold(_) | Action::Release => {}
        }
    }

    /// A stop screw opens a throttle no further than the whole travel of the linkage does.
    fn set_stop(&mut self, side: Side, area_mm2: f64, settings: &Settings) {
        let side = side.index();
        let widest = settings.idle_area_mm2[side] + settings.linkage_area_mm2[side];
        set(&mut self.idle_area_mm2[side], area_mm2, widest);
    }

    /// Effective area by which the atmosphere reaches a tract past its throttle, mm2.
    pub(super) fn leak_mm2(&self, side: usize) -> f64 {
        let tap = if self.hoses == Hoses::Off { OPEN_TAP_MM2 } else { 0.0 };
        self.tract_leak_mm2[side] + tap
    }
}

fn set(what: &mut f64, value: f64, highest: f64) {
    if !value.is_nan() {
        *what = value.clamp(0.0, highest);
    }
}

fn set_hole(area_mm2: &mut f64, hole: Millimetres) {
    if !hole.0.is_nan() {
        *area_mm2 = hole_mm2(hole.0.clamp(0.0, LARGEST_HOLE.0));
    }
}

fn hole_mm2(diameter_mm: f64) -> f64 {
    HOLE_DISCHARGE * area_of_hole(diameter_mm * 1e-3) * 1e6
}
