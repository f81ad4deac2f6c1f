//! Least squares where the standard uncertainty of every observation is known beforehand.
//!
//! Prior knowledge enters as an observation of the unknown itself. The estimate is
//! `(X' W X)^-1 X' W y` with `W = diag(1/u^2)`, its covariance `(X' W X)^-1` (JCGM 102:2011, the
//! linear least-squares case).
//!
//! Few unknowns are shared by all observations; beside them an observation may hold one unknown of
//! its group, `value = x . shared + c own`. The normal matrix is then an arrow, and the groups'
//! unknowns are eliminated before anything is inverted: divided by `c`, the observations of a group
//! are freed from their weighted mean, and what is left tells of the shared unknowns alone (the
//! Schur complement in its form without differences of large numbers). The cost is linear in the
//! number of observations, however many groups there are.

use super::cholesky;
use super::normal_equations::dot;

/// One observation: `value = sum of coefficients * shared unknowns + own`, with standard uncertainty
/// `u`.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// One coefficient a shared unknown.
    pub coefficients: Vec<f64>,
    /// Number of the group whose own unknown is in it, and that unknown's coefficient; not zero.
    pub own: Option<(usize, f64)>,
    /// What was observed.
    pub value: f64,
    /// Its standard uncertainty; positive.
    pub u: f64,
}

/// Result of [`fit`].
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Estimate of every shared unknown.
    pub estimate: Vec<f64>,
    /// Covariance of these estimates, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// `sensitivity[j][i]`: change of shared unknown `j` with observation `i`.
    pub sensitivity: Vec<Vec<f64>>,
    groups: Vec<Group>,
    /// Observations that change a shared unknown.
    telling: Vec<usize>,
}

/// The observations with one own unknown.
#[derive(Debug, Clone, PartialEq)]
struct Group {
    /// Numbers of the observations, and the change of their weighted mean with each.
    members: Vec<(usize, f64)>,
    /// Weighted means of the coefficients and of the value.
    coefficients: Vec<f64>,
    value: f64,
}

impl Fit {
    /// Estimate of the own unknown of a group.
    pub fn own(&self, group: usize) -> f64 {
        self.groups[group].value - dot(&self.groups[group].coefficients, &self.estimate)
    }

    /// Change of the own unknown of a group with observation `i`.
    pub fn own_sensitivity(&self, group: usize, i: usize) -> f64 {
        let Group { members, coefficients, .. } = &self.groups[group];
        let direct = members.binary_search_by_key(&i, |m| m.0).map_or(0.0, |at| members[at].1);
        let shared = coefficients.iter().zip(&self.sensitivity);
        direct - shared.map(|(c, row)| c * row[i]).sum::<f64>()
    }

    /// Numbers of the observations that can change the own unknown of a group, rising: its own, and
    /// those that tell of the shared unknowns. Few, where most groups have one observation.
    pub fn movers(&self, group: usize) -> Vec<usize> {
        let members = self.groups[group].members.iter().map(|m| m.0);
        let mut movers: Vec<usize> = members.chain(self.telling.iter().copied()).collect();
        movers.sort_unstable();
        movers.dedup();
        movers
    }
}

/// Solves for the shared unknowns and for the own ones of `groups` groups; none when the
/// observations do not determine them or are not finite.
///
/// ```
/// use evenbreath::statistics::known_errors::{Observation, fit};
/// let seen = |value, u| Observation { coefficients: vec![1.0], own: None, value, u };
/// let shared = fit(&[seen(1.0, 1.0), seen(4.0, 2.0)], 0).unwrap();
/// assert!((shared.estimate[0] - 1.6).abs() < 1e-12); // (1/1 + 4/4) / (1/1 + 1/4)
/// // 9 = shared + own, so that own is 7.4.
/// let ninth = Observation { own: Some((0, 1.0)), ..seen(9.0, 1.0) };
/// let both = fit(&[seen(1.0, 1.0), seen(4.0, 2.0), ninth], 1).unwrap();
/// assert!((both.estimate[0] - 1.6).abs() < 1e-12 && (both.own(0) - 7.4).abs() < 1e-12);
/// ```
pub fn fit(observations: &[Observation], groups: usize) -> Option<Fit> {
    let unknowns = observations.first()?.coefficients.len();
    let usable = |seen: &Observation| {
        let own = seen.own.is_none_or(|(group, c)| group < groups && c.is_finite() && c != 0.0);
        own && seen.value.is_finite() && seen.u > 0.0 && seen.coefficients.len() == unknowns
    };
    if !observations.iter().all(usable) {
        return None;
    }
    let groups = grouped(observations, groups)?;
    // Each observation as it tells of the shared unknowns, and its weight.
    let freed: Vec<(Vec<f64>, f64, f64)> = observations
        .iter()
        .map(|seen| match seen.own {
            None => (seen.coefficients.clone(), seen.value, seen.u.powi(-2)),
            Some((group, c)) => {
                let mean = &groups[group];
                let row = seen.coefficients.iter().zip(&mean.coefficients);
                (row.map(|(x, m)| x / c - m).collect(), seen.value / c - mean.value, weight(seen))
            }
        })
        .collect();
    let mut normal = vec![vec![0.0; unknowns]; unknowns];
    for (row, _, weight) in &freed {
        for (cells, a) in normal.iter_mut().zip(row) {
            cells.iter_mut().zip(row).for_each(|(cell, b)| *cell += weight * a * b);
        }
    }
    let (covariance, _) = cholesky::inverse(&normal)?;
    let along = |shared: &Vec<f64>| -> Vec<f64> {
        freed.iter().map(|(row, _, weight)| weight * dot(shared, row)).collect()
    };
    let mut sensitivity: Vec<Vec<f64>> = covariance.iter().map(along).collect();
    let estimate = sensitivity
        .iter()
        .map(|row| row.iter().zip(&freed).map(|(s, (_, value, _))| s * value).sum())
        .collect();
    for (i, seen) in observations.iter().enumerate() {
        let c = seen.own.map_or(1.0, |own| own.1);
        sensitivity.iter_mut().for_each(|row| row[i] /= c);
    }
    let tells = |i: &usize| sensitivity.iter().any(|row| row[*i] != 0.0);
    let telling = (0..observations.len()).filter(tells).collect();
    Some(Fit { estimate, covariance, sensitivity, groups, telling })
}

/// Weight of an observation once it is divided by the coefficient of its own unknown.
fn weight(seen: &Observation) -> f64 {
    (seen.own.map_or(1.0, |own| own.1) / seen.u).powi(2)
}

/// The groups with their weighted means; none when a group has no observation.
fn grouped(observations: &[Observation], groups: usize) -> Option<Vec<Group>> {
    let mut members: Vec<Vec<usize>> = vec![Vec::new(); groups];
    for (i, seen) in observations.iter().enumerate() {
        if let Some((group, _)) = seen.own {
            members[group].push(i);
        }
    }
    let group = |members: Vec<usize>| {
        let total: f64 = members.iter().map(|i| weight(&observations[*i])).sum();
        let first = *members.first()?;
        let divided = |value: f64, i: usize| value / observations[i].own.map_or(1.0, |own| own.1);
        // About the first one: the mean of a single observation is that one to the last digit, and
        // what is freed from it is exactly nothing.
        let mean = |value: &dyn Fn(&Observation) -> f64| {
            let about = divided(value(&observations[first]), first);
            let off = |i: &usize| {
                weight(&observations[*i]) * (divided(value(&observations[*i]), *i) - about)
            };
            about + members.iter().map(off).sum::<f64>() / total
        };
        let unknowns = observations[first].coefficients.len();
        let coefficients = (0..unknowns).map(|j| mean(&|seen| seen.coefficients[j])).collect();
        let value = mean(&|seen| seen.value);
        let share = |i: usize| (i, divided(weight(&observations[i]) / total, i));
        let members = members.into_iter().map(share).collect();
        Some(Group { members, coefficients, value })
    };
    members.into_iter().map(group).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_two_points_has_the_textbook_covariance() {
        // y = a + b x at x = 0 and x = 2, u = 1: var a = 1, var b = 1/2, cov = -1/2.
        let seen =
            |x: f64, value| Observation { coefficients: vec![1.0, x], own: None, value, u: 1.0 };
        let fit = fit(&[seen(0.0, 3.0), seen(2.0, 7.0)], 0).unwrap();
        assert!((fit.estimate[0] - 3.0).abs() < 1e-12 && (fit.estimate[1] - 2.0).abs() < 1e-12);
        let want = [[1.0, -0.5], [-0.5, 0.5]];
        for (row, want) in fit.covariance.iter().zip(want) {
            for (cell, want) in row.iter().zip(want) {
                assert!((cell - want).abs() < 1e-12);
            }
        }
    }

    /// The same with every own unknown as a shared one: the dense normal equations.
    fn dense(observations: &[Observation], groups: usize) -> Fit {
        let spread = |seen: &Observation| {
            let mut coefficients = seen.coefficients.clone();
            coefficients.resize(seen.coefficients.len() + groups, 0.0);
            if let Some((group, c)) = seen.own {
                coefficients[seen.coefficients.len() + group] = c;
            }
            Observation { coefficients, own: None, ..*seen }
        };
        fit(&observations.iter().map(spread).collect::<Vec<_>>(), 0).unwrap()
    }

    #[test]
    fn groups_give_what_the_dense_equations_give() {
        let groups = 5;
        let noise = |k: usize| ((k * 37 + k * k) % 53) as f64 / 26.0 - 1.0;
        let mut seen: Vec<Observation> = (0..23)
            .map(|k| Observation {
                coefficients: vec![1.0, 50.0 + 9.0 * noise(k + 7)],
                own: (k % 4 != 0).then(|| (k % groups, if k % 3 == 0 { -1.0 } else { 1.5 })),
                value: 2.0 + noise(k),
                u: 0.3 + 0.2 * noise(k + 3).abs(),
            })
            .collect();
        seen.push(Observation { coefficients: vec![0.0, 1.0], own: None, value: 0.01, u: 0.02 });
        let (found, want) = (fit(&seen, groups).unwrap(), dense(&seen, groups));
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-9 * b.abs().max(1e-3), "{a} {b}");
        for j in 0..2 {
            close(found.estimate[j], want.estimate[j]);
            (0..2).for_each(|k| close(found.covariance[j][k], want.covariance[j][k]));
            (0..seen.len()).for_each(|i| close(found.sensitivity[j][i], want.sensitivity[j][i]));
        }
        for group in 0..groups {
            close(found.own(group), want.estimate[2 + group]);
            for i in 0..seen.len() {
                close(found.own_sensitivity(group, i), want.sensitivity[2 + group][i]);
            }
        }
    }

    #[test]
    fn a_group_of_one_is_moved_by_itself_and_by_what_tells_of_the_shared() {
        let with = |own| Observation { coefficients: vec![0.3], own, value: 0.7, u: 0.1 };
        let one = |group| with(Some((group, 1.0)));
        let found = fit(&[one(0), with(None), one(1), one(2)], 3).unwrap();
        assert_eq!(found.movers(2), [1, 3]);
        assert_eq!(found.own_sensitivity(2, 0), 0.0);
        assert_eq!(found.own_sensitivity(2, 3), 1.0);
        assert!((found.own_sensitivity(2, 1) + 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_is_not_determined_is_not_answered() {
        let seen = |value, u| Observation { coefficients: vec![1.0], own: None, value, u };
        let known = seen(1.0, 1.0);
        assert_eq!(fit(&[], 0), None);
        assert_eq!(fit(&[seen(f64::NAN, 1.0)], 0), None);
        assert_eq!(fit(&[seen(1.0, 0.0)], 0), None);
        assert_eq!(fit(&[seen(1.0, f64::NAN)], 0), None);
        assert_eq!(fit(std::slice::from_ref(&known), 1), None, "a group without an observation");
        for own in [(1, 1.0), (0, 0.0), (0, f64::NAN)] {
            assert_eq!(fit(&[Observation { own: Some(own), ..known.clone() }], 1), None);
        }
        let alone = Observation { own: Some((0, 1.0)), ..known.clone() };
        assert_eq!(fit(&[alone], 1), None, "one observation for two unknowns");
        let alike = Observation { coefficients: vec![1.0, 1.0], ..known };
        assert_eq!(fit(&[alike.clone(), alike], 0), None);
    }
}
