//! The idle drop over all openings: what its uncertainty consists of, how probable it is that it
//! counts, and how many more openings would tell.

use super::balance::{LEVEL, MANY_DOF};
use super::cap_fit::CapFit;
use crate::statistics::decision;
use crate::statistics::uncertainty::{Budget, Component};
use serde::Serialize;

/// The noise of the speed, by the regression.
const REPEATABILITY: &str = "repeatability of the speed";
/// What is not known of the shape of the drop.
const SHAPE: &str = "answer of engine, edges, other loads";
/// What the openings differ by beyond that.
const BETWEEN: &str = "between repeats";

/// Most further openings that are worth asking for: six minutes at the filler.
const MOST_MORE: u32 = 19;

/// A row of the uncertainty budget of the idle drop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IdleDropRow {
    /// What contributes.
    pub name: &'static str,
    /// Contribution to the standard uncertainty of the drop, rev/min.
    pub u_rpm: f64,
    /// Degrees of freedom; absent when unbounded.
    pub dof: Option<f64>,
}

/// The mean drop over all openings. The interval is 95 %.
#[derive(Debug, Clone, PartialEq)]
pub struct IdleDrop {
    /// Drop, rev/min; positive when the engine slows.
    pub drop_rpm: f64,
    /// Lower end, rev/min.
    pub low_rpm: f64,
    /// Upper end, rev/min.
    pub high_rpm: f64,
    budget: Budget,
    openings: usize,
}

impl IdleDrop {
    /// The drop that a fit gives; none without an opening or where the fit is broken.
    ///
    /// What the openings differ by more than their own uncertainties explain is a spread between
    /// repeats; it enters the uncertainty of the mean with one degree of freedom less than there are
    /// openings (DerSimonian and Laird 1986), so that a drop in one repeat of three proves nothing.
    pub fn of(fit: &CapFit) -> Option<Self> {
        let n = fit.drops.len() as f64;
        let drop_rpm = fit.drops.iter().map(|d| d.rpm).sum::<f64>() / n;
        let mut components = vec![
            Component::new(REPEATABILITY, fit.mean.u_noise_rpm, fit.mean.noise_dof),
            Component::new(SHAPE, fit.mean.u_shape_rpm, f64::INFINITY),
        ];
        if fit.drops.len() > 1 {
            let squares = fit.drops.iter().map(|d| (d.rpm - drop_rpm).powi(2)).sum::<f64>();
            let variance = squares / (n - 1.0);
            // What the openings share moves them together and parts none from the others.
            let own = fit.drops.iter().map(|d| d.u_rpm.powi(2)).sum::<f64>();
            let own = ((own - n * fit.mean.u_rpm().powi(2)) / (n - 1.0)).max(0.0);
            let between = ((variance - own).max(0.0) / n).sqrt();
            components.push(Component::new(BETWEEN, between, n - 1.0));
        }
        // A component that is no number is kept, so that the budget refuses it.
        components.retain(|c| c.u != 0.0);
        let budget = Budget::new(components).ok().filter(|_| drop_rpm.is_finite())?;
        let (low_rpm, high_rpm) = budget.interval(drop_rpm, LEVEL)?;
        Some(IdleDrop { drop_rpm, low_rpm, high_rpm, budget, openings: fit.drops.len() })
    }

    /// Combined standard uncertainty, rev/min.
    pub fn u_rpm(&self) -> f64 {
        self.budget.u
    }

    /// Effective degrees of freedom; absent when unbounded.
    pub fn dof(&self) -> Option<f64> {
        bounded(self.budget.dof)
    }

    /// What the uncertainty consists of; a component that is nil has no row.
    pub fn rows(&self) -> Vec<IdleDropRow> {
        let row = |c: &Component| IdleDropRow { name: c.name, u_rpm: c.u, dof: bounded(c.dof) };
        self.budget.components.iter().map(row).collect()
    }

    /// Probability that the true drop is above a threshold, rev/min; absent where the uncertainty is
    /// nil.
    pub fn probability_above(&self, threshold_rpm: f64) -> Option<f64> {
        decision::probability_above(self.drop_rpm, self.u_rpm(), self.budget.dof, threshold_rpm)
    }

    /// Openings beyond those so far until the interval no longer reaches the threshold, rev/min, on
    /// the side of zero that the drop is on, if the drop stays where it is. None where
    /// [`MOST_MORE`] do not suffice, as where the shape alone is too wide.
    ///
    /// Noise and spread between repeats shrink with the square root of the number of openings, and
    /// their degrees of freedom grow with it; the shape is common to all and is taken to stay, so
    /// that rather too many are asked for than too few.
    pub fn openings_more(&self, threshold_rpm: f64) -> Option<u32> {
        let to_limit = (self.drop_rpm.abs() - threshold_rpm).abs();
        (1..=MOST_MORE).find(|more| {
            let reach = self.budget_with(*more).and_then(|budget| budget.expanded(LEVEL));
            reach.is_some_and(|reach| reach < to_limit)
        })
    }

    /// The budget with this many more openings.
    fn budget_with(&self, more: u32) -> Option<Budget> {
        let times = 1.0 + f64::from(more) / self.openings as f64;
        let component = |c: &Component| match c.name {
            SHAPE => *c,
            BETWEEN => Component { u: c.u / times.sqrt(), dof: c.dof + f64::from(more), ..*c },
            _ => Component { u: c.u / times.sqrt(), dof: c.dof * times, ..*c },
        };
        Budget::new(self.budget.components.iter().map(component).collect()).ok()
    }
}

fn bounded(dof: f64) -> Option<f64> {
    Some(dof).filter(|dof| *dof < MANY_DOF)
}

#[cfg(test)]
mod tests {
    use super::super::cap_fit::{Drop, Parts};
    use super::*;

    fn drop(drop_rpm: f64, openings: usize, parts: [(&'static str, f64, f64); 3]) -> IdleDrop {
        let parts = parts.into_iter().filter(|(_, u, _)| *u > 0.0);
        let components = parts.map(|(name, u, dof)| Component::new(name, u, dof)).collect();
        let budget = Budget::new(components).unwrap();
        let (low_rpm, high_rpm) = budget.interval(drop_rpm, LEVEL).unwrap();
        IdleDrop { drop_rpm, low_rpm, high_rpm, budget, openings }
    }

    #[test]
    fn the_random_parts_shrink_with_the_openings_and_the_shape_does_not() {
        let many = f64::INFINITY;
        // 1.96 u < 10: u < 5.1021. Of two openings with 6.3 each is 6.3 sqrt(2/n): at n = 4 4.45.
        let noise =
            drop(30.0, 2, [(REPEATABILITY, 6.3, many), (SHAPE, 0.0, many), (BETWEEN, 0.0, 1.0)]);
        assert_eq!(noise.openings_more(20.0), Some(2));
        // 5.1021^2 - 3.4^2 = 3.804^2: 6.3 sqrt(2/n) < 3.804 from n = 5.49 on.
        let both =
            drop(30.0, 2, [(REPEATABILITY, 6.3, many), (SHAPE, 3.4, many), (BETWEEN, 0.0, 1.0)]);
        assert_eq!(both.openings_more(20.0), Some(4));
        // The shape alone reaches the threshold: 1.96 * 5.2 > 10.
        let shape =
            drop(30.0, 2, [(REPEATABILITY, 0.1, many), (SHAPE, 5.2, many), (BETWEEN, 0.0, 1.0)]);
        assert_eq!(shape.openings_more(20.0), None);
        // 25 sqrt(2/n) < 5.1021 from n = 48.02 on: nobody opens a filler that often.
        let wide =
            drop(30.0, 2, [(REPEATABILITY, 25.0, many), (SHAPE, 0.0, many), (BETWEEN, 0.0, 1.0)]);
        assert_eq!(wide.openings_more(20.0), None);
        // Of three repeats 6 each way has t = 4.303 with two degrees of freedom; of n it is
        // 6 sqrt(3/n) t(n - 1) < 10: 2.571 * 4.2426 = 10.91 at six, 2.447 * 3.9279 = 9.61 at seven.
        let between =
            drop(30.0, 3, [(REPEATABILITY, 0.0, many), (SHAPE, 0.0, many), (BETWEEN, 6.0, 2.0)]);
        assert_eq!(between.openings_more(20.0), Some(4));
        // The same distances below the threshold, and below zero.
        for drop_rpm in [10.0, -10.0, -30.0] {
            assert_eq!(IdleDrop { drop_rpm, ..noise.clone() }.openings_more(20.0), Some(2));
        }
        // On the limit no number tells.
        assert_eq!(IdleDrop { drop_rpm: 20.0, ..noise }.openings_more(20.0), None);
    }

    #[test]
    fn the_rows_name_the_parts() {
        let parts = [(REPEATABILITY, 3.0, 8.0), (SHAPE, 4.0, f64::INFINITY), (BETWEEN, 0.0, 1.0)];
        let drop = drop(30.0, 2, parts);
        let rows: Vec<_> = drop.rows().into_iter().map(|r| (r.name, r.u_rpm, r.dof)).collect();
        assert_eq!(rows, [(REPEATABILITY, 3.0, Some(8.0)), (SHAPE, 4.0, None)]);
        // Welch and Satterthwaite: 5^4 / (3^4 / 8).
        assert!((drop.dof().unwrap() - 625.0 * 8.0 / 81.0).abs() < 1e-9);
        assert_eq!(drop.probability_above(30.0), Some(0.5));
    }

    #[test]
    fn a_fit_that_is_broken_gives_no_drop() {
        let fit = |rpm: f64, u_noise_rpm: f64| CapFit {
            openings: Vec::new(),
            drops: [28.0, 32.0].map(|d| Drop { rpm: rpm + d, u_rpm: 2.5, dof: 9.0 }).to_vec(),
            mean: Parts { u_noise_rpm, noise_dof: 12.0, u_shape_rpm: 1.5 },
            idle_rpm: 850.0,
            tau_s: None,
            vacuum_change_kpa: None,
            loads: Vec::new(),
            curve: Vec::new(),
            blocks: Vec::new(),
        };
        let sound = IdleDrop::of(&fit(0.0, 2.0)).unwrap();
        // The drops share all that their fit leaves open, so that all they differ by is between
        // repeats: 2^2 + 1.5^2 + 2^2.
        assert_eq!(sound.drop_rpm, 30.0);
        assert!((sound.u_rpm() - 10.25f64.sqrt()).abs() < 1e-12, "{}", sound.u_rpm());
        assert_eq!(IdleDrop::of(&fit(0.0, f64::NAN)), None);
        assert_eq!(IdleDrop::of(&fit(f64::NAN, 2.0)), None);
        // Noise of nothing is no component, and the shape stays.
        let still = IdleDrop::of(&fit(0.0, 0.0)).unwrap();
        assert!(still.rows().iter().any(|row| row.name == SHAPE && row.u_rpm == 1.5));
        assert!(still.rows().iter().all(|row| row.name != REPEATABILITY));
    }

    #[test]
    fn the_probability_is_that_of_students_t() {
        let parts = [(REPEATABILITY, 5.0, 2.0), (SHAPE, 0.0, 1.0), (BETWEEN, 0.0, 1.0)];
        // Two degrees of freedom: 1/2 + t/(2 sqrt(2 + t^2)) at t = 2.
        let p = drop(30.0, 1, parts).probability_above(20.0).unwrap();
        assert!((p - (0.5 + 1.0 / 6f64.sqrt())).abs() < 1e-12, "{p}");
        let exact = drop(30.0, 1, parts.map(|(name, _, dof)| (name, 0.0, dof)));
        assert_eq!(exact.probability_above(20.0), None);
    }
}
