//! Air with fuel in it.

/// A mass of air and the fuel it carries.
///
/// Fuel is kept as the air it could burn (fuel mass times the stoichiometric ratio), so that the
/// equivalence ratio is the plain quotient.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Charge {
    /// Air, kg.
    pub(super) air: f64,
    /// Air that the fuel could burn, kg.
    pub(super) fuel: f64,
}

impl Charge {
    /// Equivalence ratio; 0 where there is no air.
    pub(super) fn mixture(&self) -> f64 {
        if self.air > 0.0 { self.fuel / self.air } else { 0.0 }
    }

    /// Takes this mass of air, kg, out, with its share of the fuel.
    pub(super) fn take(&mut self, air: f64) -> Charge {
        let air = air.min(self.air);
        let taken = Charge { air, fuel: air * self.mixture() };
        self.air -= taken.air;
        self.fuel -= taken.fuel;
        taken
    }

    /// Adds another charge.
    pub(super) fn add(&mut self, other: Charge) {
        self.air += other.air;
        self.fuel += other.fuel;
    }
}
