//! The idle drop over all openings, and what its uncertainty consists of.

use super::balance::{LEVEL, MANY_DOF};
use super::cap_fit::CapFit;
use crate::statistics::uncertainty::{Budget, Component};
use serde::Serialize;

/// The noise of the speed, by the regression.
const REPEATABILITY: &str = "repeatability of the speed";
/// What is not known of the shape of the drop.
const SHAPE: &str = "answer of engine, edges, other loads";
/// What the openings differ by beyond that.
const BETWEEN: &str = "between repeats";

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
        components.retain(|c| c.u > 0.0);
        let budget = Budget::new(components).ok()?;
        let (low_rpm, high_rpm) = budget.interval(drop_rpm, LEVEL)?;
        Some(IdleDrop { drop_rpm, low_rpm, high_rpm, budget })
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
}

fn bounded(dof: f64) -> Option<f64> {
    Some(dof).filter(|dof| *dof < MANY_DOF)
}
