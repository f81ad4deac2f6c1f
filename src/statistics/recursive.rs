//! Recursive least squares: what is believed of a few quantities, sharpened by one observation after another.
//!
//! With nothing but observations it is least squares on all of them at once, with the prior as one more
//! observation (A. Gelb (ed.), Applied Optimal Estimation, MIT Press 1974, section 4.2; from memory). Between two
//! observations the quantities may move, by a linear law and by chance.

/// Means and covariance of `N` quantities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belief<const N: usize> {
    /// Means.
    pub mean: [f64; N],
    /// Covariance, symmetric.
    pub covariance: [[f64; N]; N],
}

impl<const N: usize> Belief<N> {
    /// Takes an observation `y = h . x + e` with `e` of standard deviation `sd` into account.
    ///
    /// The covariance is updated in the form of Joseph, `(I - K h) P (I - K h)' + K sd^2 K'`, which stays
    /// symmetric and positive where the short form does not. Without any doubt on either side nothing is learned.
    ///
    /// ```
    /// use evenbreath::statistics::recursive::Belief;
    /// let mut belief = Belief { mean: [0.0], covariance: [[4.0]] };
    /// belief.observe(&[1.0], 3.0, 2.0);
    /// assert_eq!((belief.mean[0], belief.covariance[0][0]), (1.5, 2.0));
    /// ```
    pub fn observe(&mut self, h: &[f64; N], y: f64, sd: f64) {
        let p = &self.covariance;
        let ph: [f64; N] = std::array::from_fn(|i| dot(&p[i], h));
        let spread = dot(h, &ph) + sd * sd;
        if spread <= 0.0 {
            return;
        }
        let gain = ph.map(|value| value / spread);
        let off = y - dot(h, &self.mean);
        for (mean, gain) in self.mean.iter_mut().zip(gain) {
            *mean += gain * off;
        }
        let keep: [[f64; N]; N] = std::array::from_fn(|i| {
            std::array::from_fn(|j| f64::from(u8::from(i == j)) - gain[i] * h[j])
        });
        self.covariance = spread_by(&keep, p);
        for i in 0..N {
            for j in 0..N {
                self.covariance[i][j] += gain[i] * gain[j] * sd * sd;
            }
        }
    }

    /// Moves the quantities by `x = law x` plus a chance of covariance `chance`.
    pub fn step(&mut self, law: &[[f64; N]; N], chance: &[[f64; N]; N]) {
        self.mean = std::array::from_fn(|i| dot(&law[i], &self.mean));
        self.covariance = spread_by(law, &self.covariance);
        for (row, chance) in self.covariance.iter_mut().zip(chance) {
            for (value, chance) in row.iter_mut().zip(chance) {
                *value += chance;
            }
        }
    }

    /// Standard deviation of quantity `i`.
    pub fn sd(&self, i: usize) -> f64 {
        self.covariance[i][i].max(0.0).sqrt()
    }
}

fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// `a p a'`.
fn spread_by<const N: usize>(a: &[[f64; N]; N], p: &[[f64; N]; N]) -> [[f64; N]; N] {
    // p is symmetric, so its rows are its columns.
    let ap: [[f64; N]; N] = std::array::from_fn(|i| std::array::from_fn(|j| dot(&a[i], &p[j])));
    std::array::from_fn(|i| std::array::from_fn(|j| dot(&ap[i], &a[j])))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same by the normal equations of all observations at once, 2 by 2.
    #[test]
    fn one_after_the_other_is_all_at_once() {
        let prior = Belief { mean: [1.0, -2.0], covariance: [[9.0, 1.5], [1.5, 4.0]] };
        let seen = [([1.0, 0.0], 2.5, 0.5), ([1.0, 1.0], -1.0, 0.8), ([0.3, -2.0], 7.0, 1.1)];
        let mut belief = prior;
        for (h, y, sd) in &seen {
            belief.observe(h, *y, *sd);
        }
        let det = 9.0 * 4.0 - 1.5 * 1.5;
        let mut a = [[4.0 / det, -1.5 / det], [-1.5 / det, 9.0 / det]];
        let mut b = [a[0][0] - 2.0 * a[0][1], a[1][0] - 2.0 * a[1][1]];
        for (h, y, sd) in &seen {
            for i in 0..2 {
                b[i] += h[i] * y / (sd * sd);
                for j in 0..2 {
                    a[i][j] += h[i] * h[j] / (sd * sd);
                }
            }
        }
        let det = a[0][0] * a[1][1] - a[0][1] * a[1][0];
        let mean =
            [(a[1][1] * b[0] - a[0][1] * b[1]) / det, (a[0][0] * b[1] - a[1][0] * b[0]) / det];
        let covariance = [[a[1][1] / det, -a[0][1] / det], [-a[1][0] / det, a[0][0] / det]];
        let close =
            |a: &[f64; 2], b: &[f64; 2]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12);
        assert!(close(&belief.mean, &mean));
        assert!(belief.covariance.iter().zip(&covariance).all(|(a, b)| close(a, b)));
    }

    #[test]
    fn what_is_certain_stays_and_a_step_adds_its_chance() {
        let mut belief = Belief { mean: [3.0], covariance: [[0.0]] };
        belief.observe(&[1.0], 9.0, 0.0);
        belief.observe(&[1.0], 9.0, 1.0);
        assert_eq!(belief, Belief { mean: [3.0], covariance: [[0.0]] });
        belief.step(&[[2.0]], &[[0.25]]);
        assert_eq!(belief, Belief { mean: [6.0], covariance: [[0.25]] });
        assert_eq!(belief.sd(0), 0.5);
    }
}
