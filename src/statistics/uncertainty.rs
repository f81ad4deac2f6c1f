//! Combination of uncertainties by JCGM 100:2008 (the GUM): combined standard uncertainty,
//! effective degrees of freedom by Welch and Satterthwaite, coverage factor, expanded uncertainty.

use super::student;

/// One line of an uncertainty budget.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// What it is, in a word or two.
    pub name: &'static str,
    /// Its standard uncertainty in the unit of the result: sensitivity coefficient included.
    pub u: f64,
    /// Its degrees of freedom; `f64::INFINITY` for a limit taken as certain.
    pub dof: f64,
}

impl Component {
    /// A component of known standard uncertainty.
    pub fn new(name: &'static str, u: f64, dof: f64) -> Self {
        Component { name, u, dof }
    }

    /// A limit `+- half_width` within which every value is as likely (rectangular distribution,
    /// GUM 4.3.7): `u` is `half_width / sqrt(3)`.
    pub fn rectangular(name: &'static str, half_width: f64) -> Self {
        Component { name, u: half_width / 3f64.sqrt(), dof: f64::INFINITY }
    }

    /// The rounding of a reading to steps of `step` (GUM F.2.2.1): `u` is `step / sqrt(12)`.
    pub fn resolution(name: &'static str, step: f64) -> Self {
        Self::rectangular(name, 0.5 * step)
    }
}

/// Why a budget cannot be added up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("uncertainty component `{name}` has u {u} and {dof} degrees of freedom")]
pub struct BadComponent {
    /// Its name.
    pub name: &'static str,
    /// Its standard uncertainty as given.
    pub u: f64,
    /// Its degrees of freedom as given.
    pub dof: f64,
}

/// Independent components and what they come to.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// The components, in the order given.
    pub components: Vec<Component>,
    /// Combined standard uncertainty: root of the sum of squares.
    pub u: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite, GUM G.4.1), not cut to a whole number;
    /// infinity when no component that counts has a finite number.
    pub dof: f64,
}

impl Budget {
    /// Adds up independent components.
    ///
    /// # Errors
    /// A component whose `u` is negative or not finite, or whose `dof` is not above zero.
    pub fn new(components: Vec<Component>) -> Result<Self, BadComponent> {
        let bad = |c: &&Component| !(c.u.is_finite() && c.u >= 0.0 && c.dof > 0.0);
        if let Some(c) = components.iter().find(bad) {
            return Err(BadComponent { name: c.name, u: c.u, dof: c.dof });
        }
        let largest = components.iter().map(|c| c.u).fold(0.0, f64::max);
        if largest == 0.0 {
            return Ok(Budget { components, u: 0.0, dof: f64::INFINITY });
        }
        // In units of the largest, so that no fourth power over- or underflows.
        let squares: f64 = components.iter().map(|c| (c.u / largest).powi(2)).sum();
        let fourths: f64 = components.iter().map(|c| (c.u / largest).powi(4) / c.dof).sum();
        let dof = if fourths > 0.0 { squares * squares / fourths } else { f64::INFINITY };
        Ok(Budget { components, u: largest * squares.sqrt(), dof })
    }

    /// Coverage factor for `level` with the degrees of freedom as they are. `None` for a level
    /// outside (0, 1).
    pub fn coverage_factor(&self, level: f64) -> Option<f64> {
        student::coverage_factor(level, self.dof)
    }

    /// Expanded uncertainty: coverage factor times `u`. `None` for a level outside (0, 1).
    pub fn expanded(&self, level: f64) -> Option<f64> {
        Some(self.coverage_factor(level)? * self.u)
    }

    /// Ends of the interval about `value` that holds `level`. `None` for a level outside (0, 1).
    pub fn interval(&self, value: f64, level: f64) -> Option<(f64, f64)> {
        let half = self.expanded(level)?;
        Some((value - half, value + half))
    }

    /// Combined standard uncertainty of the components that `keep` names: for parting what time
    /// shrinks from what it does not.
    pub fn part(&self, keep: impl Fn(&Component) -> bool) -> f64 {
        let kept = self.components.iter().filter(|c| keep(c));
        kept.fold(0.0, |sum, c| c.u.hypot(sum))
    }
}

/// Degrees of freedom cut to the next lower whole number, as GUM G.4.1 has it for use with a table;
/// below 1 and infinity are left as they are.
pub fn truncated(dof: f64) -> f64 {
    if dof < 1.0 { dof } else { dof.floor() }
}

/// Standard uncertainty of a function of correlated quantities (GUM 5.2.2): `gradient` holds the
/// sensitivity coefficients, `covariance` the covariance matrix row by row. `None` when the sizes
/// differ, a value is not finite, or the variance comes out below zero by more than rounding.
pub fn correlated_u(gradient: &[f64], covariance: &[Vec<f64>]) -> Option<f64> {
    let n = gradient.len();
    if covariance.len() != n || covariance.iter().any(|row| row.len() != n) {
        return None;
    }
    let (mut variance, mut size) = (0.0f64, 0.0f64);
    for (a, row) in gradient.iter().zip(covariance) {
        for (b, c) in gradient.iter().zip(row) {
            variance += a * b * c;
            size += (a * b * c).abs();
        }
    }
    let sound = variance.is_finite() && variance >= -1e-12 * size;
    sound.then(|| variance.max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_and_certainty_have_no_degrees_of_freedom_to_run_out_of() {
        for components in [vec![], vec![Component::rectangular("limit", 0.3)]] {
            let b = Budget::new(components).unwrap();
            assert_eq!(b.dof, f64::INFINITY);
            assert!((b.coverage_factor(0.95).unwrap() - 1.959963984540054).abs() < 1e-9);
        }
        assert_eq!(Budget::new(vec![]).unwrap().expanded(0.95), Some(0.0));
        let exact = Component::new("zero", 0.0, 3.0);
        assert_eq!(Budget::new(vec![exact]).unwrap().dof, f64::INFINITY);
    }

    #[test]
    fn a_bad_component_is_named() {
        for (u, dof) in [(f64::NAN, 3.0), (-1.0, 3.0), (1.0, 0.0), (1.0, f64::NAN)] {
            let error = Budget::new(vec![Component::new("zero", u, dof)]).unwrap_err();
            assert!(error.to_string().contains("`zero`"));
        }
        assert_eq!(Budget::new(vec![]).unwrap().expanded(1.0), None);
    }

    #[test]
    fn a_part_is_the_root_of_its_squares() {
        let parts = [("a", 3.0), ("b", 4.0), ("c", 12.0)].map(|(n, u)| Component::new(n, u, 9.0));
        let b = Budget::new(parts.to_vec()).unwrap();
        assert!((b.u - 13.0).abs() < 1e-12);
        assert!((b.part(|c| c.name != "c") - 5.0).abs() < 1e-12);
        assert_eq!(b.part(|_| false), 0.0);
    }

    #[test]
    fn covariance_of_the_wrong_shape_gives_nothing() {
        assert_eq!(correlated_u(&[1.0], &[]), None);
        assert_eq!(correlated_u(&[1.0, 1.0], &[vec![1.0, -2.0], vec![-2.0, 1.0]]), None);
        assert_eq!(correlated_u(&[1.0, -1.0], &[vec![1.0, 1.0], vec![1.0, 1.0]]), Some(0.0));
    }
}
