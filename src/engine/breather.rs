//! The closed crankcase breather: crankcase, seals, cap, and the passage to the carburettors.
//!
//! ```text
//! atmosphere --seals, open filler--> crankcase --breather--> between slide and throttle, each side
//!                                       ^ blow-by past the rings
//! ```
//!
//! One volume at one temperature: `dp/dt = R T/V (m_seals + m_cap + m_blow_by - m_breather)`, the
//! ideal gas law differentiated. Every opening passes what [`crate::gas::orifice`] gives for the
//! pressures at its ends. The breather opens where the carburettor holds its constant depression, so
//! that it is drawn upon by that and not by the vacuum of the tract. It lets nothing back.
//!
//! What enters the breather is part blow-by, part fresh air; the share of fresh air follows that of
//! what enters the crankcase with a lag of first order. Blow-by is taken as charge with the mixture
//! of the carburettor, for it is mostly unburnt (common practice, no published source).

use super::settings::Settings;
use super::throughput::Throughput;
use super::tract::flow;
use super::tune::Tune;
use crate::gas::atmosphere::GAS_CONSTANT;

/// Free volume of the crankcase, m3.
const VOLUME: f64 = 4.5e-3;

/// Temperature of its gas, K.
const KELVIN: f64 = 355.0;

/// Effective area of the open filler, mm2: a hole of a person's thumb.
const FILLER_MM2: f64 = 350.0;

/// Pressure above the atmosphere at which dipstick and lip seals begin to lift, Pa, and the effective
/// area that every further pascal opens, mm2. Without them a tight crankcase with its breather
/// blocked would rise to tens of kilopascals. Common practice, no published source.
const LIFT_PA: f64 = 2_500.0;
const LIFT_MM2_PER_PA: f64 = 2.0e-3;

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
        Breather { pressure: settings.baro_pa, fresh: 0.0 }
    }

    /// Gas in the crankcase, kg.
    pub(super) fn held_kg(&self) -> f64 {
        self.pressure * VOLUME / (GAS_CONSTANT * KELVIN)
    }

    /// Moves on by a step, says what each carburettor gets and adds to what has passed.
    ///
    /// `depression` is the pressure below the atmosphere between slide and throttle, Pa;
    /// `blow_by` the gas past the rings, kg/s.
    pub(super) fn advance(
        &mut self,
        (settings, tune): (&Settings, &Tune),
        depression: [f64; 2],
        blow_by: f64,
        step_s: f64,
        passed: &mut Throughput,
    ) -> [Given; 2] {
        let filler = if tune.cap_off { FILLER_MM2 } else { 0.0 };
        let over = self.pressure - settings.baro_pa - LIFT_PA;
        let inlet = tune.seal_leak_mm2 + filler + LIFT_MM2_PER_PA * over.max(0.0);
        let inward = flow(inlet * 1e-6, settings.baro_pa, self.pressure, settings.ambient_k);
        let passage = if tune.breather_blocked { 0.0 } else { settings.breather_mm2 * 1e-6 };
        let out = depression
            .map(|below| flow(passage, self.pressure, settings.baro_pa - below, KELVIN).max(0.0));
        let net = inward + blow_by - out[0] - out[1];
        self.pressure += net * GAS_CONSTANT * KELVIN / VOLUME * step_s;
        let entering = inward.max(0.0) + blow_by;
        let share = if entering > 0.0 { inward.max(0.0) / entering } else { 0.0 };
        self.fresh += (share - self.fresh) * (step_s / TRANSPORT_S).min(1.0);
        let given = out.map(|gas| Given { gas, fresh: gas * self.fresh });
        let by_cap = if inlet > 0.0 { inward * filler / inlet } else { 0.0 };
        passed.cap_kg += by_cap * step_s;
        passed.seal_leak_kg += (inward - by_cap) * step_s;
        passed.blow_by_kg += blow_by * step_s;
        for (side, given) in given.iter().enumerate() {
            passed.breather_kg[side] += given.gas * step_s;
            passed.breather_fresh_kg[side] += given.fresh * step_s;
        }
        given
    }
}
