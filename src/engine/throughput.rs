//! What went where: masses and work summed over the life of the engine, flows over a working cycle.

use crate::units::Kpa;

/// Air that a kilogram of petrol needs to burn, kg. Heywood, Internal Combustion Engine Fundamentals
/// (1988), appendix D; from memory.
pub(super) const STOICHIOMETRIC: f64 = 14.6;

/// Seconds after which flows are averaged although the cycle is not over: the engine stands still or
/// is cranked slowly.
const LONGEST_CYCLE_S: f64 = 0.5;

/// Masses that have passed since the engine was made, kg.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Throughput {
    /// Past each throttle, what came from the breather included.
    pub throttle_kg: [f64; 2],
    /// Through the leak into each tract and its open tap.
    pub tract_leak_kg: [f64; 2],
    /// From tract 1 to tract 2 through the balance pipe.
    pub pipe_kg: f64,
    /// Air that the cylinders of each tract have drawn.
    pub drawn_kg: [f64; 2],
    /// Fuel that each carburettor has metered.
    pub fuel_kg: [f64; 2],
    /// Out of the crankcase to each carburettor.
    pub breather_kg: [f64; 2],
    /// The fresh air in that.
    pub breather_fresh_kg: [f64; 2],
    /// Into the crankcase past its seals; negative when more went out.
    pub seal_leak_kg: f64,
    /// Into the crankcase through the open filler; negative when more went out.
    pub cap_kg: f64,
    /// Into the crankcase past the piston rings.
    pub blow_by_kg: f64,
}

/// Masses that are there now, kg.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Held {
    /// Air in each tract.
    pub tract_kg: [f64; 2],
    /// Gas in the crankcase.
    pub crankcase_kg: f64,
}

/// Work done on the crank since the engine was made, J, and what it holds.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Work {
    /// By the gas on the pistons in the power strokes.
    pub gas_j: f64,
    /// By the starter.
    pub starter_j: f64,
    /// Against friction.
    pub friction_j: f64,
    /// Against the vacuum on the pistons in the intake strokes.
    pub pumping_j: f64,
    /// Against the fan.
    pub fan_j: f64,
    /// Kinetic energy of everything that turns, now.
    pub kinetic_j: f64,
}

/// The accounts of the engine: what passed, what is there, what was done.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Ledger {
    /// Masses that have passed.
    pub passed: Throughput,
    /// Masses that are there.
    pub held: Held,
    /// Work done.
    pub work: Work,
}

/// Mean flows over the last whole working cycle, g/s, and the state at its end.
///
/// While the engine stands still, and while it turns too slowly for a cycle in half a second, they
/// are means over half a second. Before the first such stretch is over all flows are 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flows {
    /// Length of the stretch, s.
    pub over_s: f64,
    /// Past each throttle, what came from the breather included.
    pub throttle_g_per_s: [f64; 2],
    /// Through the leak into each tract and its open tap.
    pub tract_leak_g_per_s: [f64; 2],
    /// From tract 1 to tract 2 through the balance pipe.
    pub pipe_g_per_s: f64,
    /// Air that the cylinders of each tract draw.
    pub drawn_g_per_s: [f64; 2],
    /// Fuel that each carburettor meters.
    pub fuel_g_per_s: [f64; 2],
    /// Out of the crankcase to each carburettor.
    pub breather_g_per_s: [f64; 2],
    /// The fresh air in that: it has met no jet and weakens the mixture.
    pub breather_fresh_g_per_s: [f64; 2],
    /// Into the crankcase past its seals; negative outwards.
    pub seal_leak_g_per_s: f64,
    /// Into the crankcase through the open filler; negative outwards.
    pub cap_g_per_s: f64,
    /// Into the crankcase past the piston rings.
    pub blow_by_g_per_s: f64,
    /// Crankcase below the atmosphere; negative when it is above.
    pub crankcase: Kpa,
    /// Between slide and throttle of each carburettor below the atmosphere: what draws on the
    /// breather.
    pub depression: [Kpa; 2],
    /// Equivalence ratio of what is in each tract.
    pub mixture: [f64; 2],
}

impl Flows {
    /// Air that passes the slide and the jet of each carburettor, g/s: what passes the throttle, less
    /// what the breather adds behind the slide.
    pub fn slide_g_per_s(&self) -> [f64; 2] {
        [0, 1].map(|side| self.throttle_g_per_s[side] - self.breather_g_per_s[side])
    }
}

/// Cuts the sums of masses at the ends of the working cycles.
#[derive(Debug, Clone)]
pub(super) struct CycleCut {
    at_step: u64,
    passed: Throughput,
    over_s: f64,
    mean: Throughput,
    /// Cuts made.
    pub(super) cuts: u64,
}

impl CycleCut {
    pub(super) fn new() -> Self {
        let nothing = Throughput::default();
        CycleCut { at_step: 0, passed: nothing, over_s: 0.0, mean: nothing, cuts: 0 }
    }

    /// Takes notice of a step, and of whether a cycle ended in it.
    pub(super) fn see(&mut self, passed: &Throughput, step: u64, step_s: f64, ended: bool) {
        let since_s = (step - self.at_step) as f64 * step_s;
        if !ended && since_s < LONGEST_CYCLE_S {
            return;
        }
        self.over_s = since_s;
        self.mean = passed.since(&self.passed).over(since_s);
        (self.passed, self.at_step) = (*passed, step);
        self.cuts += 1;
    }

    /// The flows of the last stretch, beside the state now.
    pub(super) fn flows(&self, crankcase: Kpa, depression: [Kpa; 2], mixture: [f64; 2]) -> Flows {
        let mean = &self.mean;
        Flows {
            over_s: self.over_s,
            throttle_g_per_s: grams(mean.throttle_kg),
            tract_leak_g_per_s: grams(mean.tract_leak_kg),
            pipe_g_per_s: mean.pipe_kg * GRAMS,
            drawn_g_per_s: grams(mean.drawn_kg),
            fuel_g_per_s: grams(mean.fuel_kg),
            breather_g_per_s: grams(mean.breather_kg),
            breather_fresh_g_per_s: grams(mean.breather_fresh_kg),
            seal_leak_g_per_s: mean.seal_leak_kg * GRAMS,
            cap_g_per_s: mean.cap_kg * GRAMS,
            blow_by_g_per_s: mean.blow_by_kg * GRAMS,
            crankcase,
            depression,
            mixture,
        }
    }
}

/// Grams in a kilogram.
const GRAMS: f64 = 1000.0;

fn grams(kg: [f64; 2]) -> [f64; 2] {
    kg.map(|kg| kg * GRAMS)
}

impl Throughput {
    fn combine(&self, other: &Throughput, with: impl Fn(f64, f64) -> f64) -> Throughput {
        let both = |a: [f64; 2], b: [f64; 2]| [with(a[0], b[0]), with(a[1], b[1])];
        Throughput {
            throttle_kg: both(self.throttle_kg, other.throttle_kg),
            tract_leak_kg: both(self.tract_leak_kg, other.tract_leak_kg),
            pipe_kg: with(self.pipe_kg, other.pipe_kg),
            drawn_kg: both(self.drawn_kg, other.drawn_kg),
            fuel_kg: both(self.fuel_kg, other.fuel_kg),
            breather_kg: both(self.breather_kg, other.breather_kg),
            breather_fresh_kg: both(self.breather_fresh_kg, other.breather_fresh_kg),
            seal_leak_kg: with(self.seal_leak_kg, other.seal_leak_kg),
            cap_kg: with(self.cap_kg, other.cap_kg),
            blow_by_kg: with(self.blow_by_kg, other.blow_by_kg),
        }
    }

    /// What has passed since an earlier time, kg.
    pub fn since(&self, earlier: &Throughput) -> Throughput {
        self.combine(earlier, |now, then| now - then)
    }

    /// What passes a second.
    fn over(&self, seconds: f64) -> Throughput {
        self.combine(self, |kg, _| kg / seconds)
    }
}
