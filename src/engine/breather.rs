//! The closed crankcase breather: crankcase, seals, cap, and the passage to the carburettors.

use super::settings::Settings;
use super::tract::flow;
use crate::gas::atmosphere::GAS_CONSTANT;

/// Free volume of the crankcase, m3.
const VOLUME: f64 = 4.5e-3;

/// Temperature of its gas, K.
const KELVIN: f64 = 355.0;

/// Effective area of the open filler, mm2: a hole of a person's thumb.
const FILLER_MM2: f64 = 350.0;

/// Time in which fresh air replaces blow-by at the mouth of the breather, s. Filler and breather
/// share the rocker cover, so the rest of the crankcase need not be flushed first.
const TRANSPORT_S: f64 = 0.5;

/// State of the crankcase.
#[derive(Debug, Clone)]
pub(super) struct Breather {
    /// Absolute pressure in the crankcase, Pa.
    pub(super) pressure: f64,
    /// Share of fresh air in what the breather passes.
    pub(super) fresh: f64,
    /// The filler cap is off.
    pub(super) open: bool,
    /// Effective area of all seal leaks, mm2.
    pub(super) seal_leak_mm2: f64,
}

/// What the breather gives one carburettor, kg/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Given {
    /// All gas.
    pub(super) gas: f64,
    /// The part of it that is fresh air and has met no jet.
    pub(super) fresh: f64,
}

impl Breather {
    pub(super) fn new(settings: &Settings) -> Self {
        Breather {
            pressure: settings.baro_pa,
            fresh: 0.0,
            open: false,
            seal_leak_mm2: settings.seal_leak_mm2,
        }
    }

    /// Moves on by a step and says what each carburettor gets.
    ///
    /// `depression` is the pressure below the atmosphere between slide and throttle, Pa;
    /// `blow_by` the gas past the rings, kg/s.
    pub(super) fn advance(
        &mut self,
        settings: &Settings,
        depression: [f64; 2],
        blow_by: f64,
        step_s: f64,
    ) -> [Given; 2] {
        let inlet = self.seal_leak_mm2 + if self.open { FILLER_MM2 } else { 0.0 };
        let inward = flow(inlet * 1e-6, settings.baro_pa, self.pressure, settings.ambient_k);
        let passage = settings.breather_mm2 * 1e-6;
        let out = depression
            .map(|below| flow(passage, self.pressure, settings.baro_pa - below, KELVIN).max(0.0));
        let net = inward + blow_by - out[0] - out[1];
        self.pressure += net * GAS_CONSTANT * KELVIN / VOLUME * step_s;
        let entering = inward.max(0.0) + blow_by;
        let share = if entering > 0.0 { inward.max(0.0) / entering } else { 0.0 };
        self.fresh += (share - self.fresh) * (step_s / TRANSPORT_S).min(1.0);
        out.map(|gas| Given { gas, fresh: gas * self.fresh })
    }
}
