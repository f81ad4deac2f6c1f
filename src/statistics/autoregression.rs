//! Autoregressive model of noise, for whitening: it makes candidates of a fit comparable under
//! hunting. For intervals the low band of [`super::correlated`] holds better.

/// An autoregression `x[t] = sum of phi_k x[t-k] + e[t]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Autoregression {
    /// Coefficients, lag 1 first.
    pub phi: Vec<f64>,
    /// Standard deviation of the innovations `e`.
    pub sigma: f64,
}

impl Autoregression {
    /// Yule-Walker estimate of a given order by the Levinson-Durbin recursion (Brockwell and Davis,
    /// Time Series: Theory and Methods, 1991, section 8.2; from memory). `residuals` have mean zero.
    /// None for a series shorter than twice the order or without variance.
    ///
    /// ```
    /// use evenbreath::statistics::autoregression::Autoregression;
    /// let alternating: Vec<f64> = (0..400).map(|k| if k % 2 == 0 { 1.0 } else { -1.0 }).collect();
    /// let model = Autoregression::fit(&alternating, 1).unwrap();
    /// assert!((model.phi[0] + 1.0).abs() < 0.01);
    /// ```
    pub fn fit(residuals: &[f64], order: usize) -> Option<Self> {
        let n = residuals.len();
        if n < 2 * order.max(1) {
            return None;
        }
        let lag = |k: usize| {
            residuals[k..].iter().zip(residuals).map(|(a, b)| a * b).sum::<f64>() / n as f64
        };
        let gamma: Vec<f64> = (0..=order).map(lag).collect();
        if gamma[0].is_nan() || gamma[0] <= 0.0 {
            return None;
        }
        let mut phi: Vec<f64> = Vec::with_capacity(order);
        let mut variance = gamma[0];
        for k in 1..=order {
            let known: f64 = phi.iter().enumerate().map(|(j, p)| p * gamma[k - 1 - j]).sum();
            let reflection = (gamma[k] - known) / variance;
            let mirrored: Vec<f64> = phi.iter().rev().map(|p| reflection * p).collect();
            phi.iter_mut().zip(&mirrored).for_each(|(p, m)| *p -= m);
            phi.push(reflection);
            variance *= 1.0 - reflection * reflection;
        }
        let sigma = variance.max(0.0).sqrt();
        (sigma > 0.0).then_some(Autoregression { phi, sigma })
    }

    /// `x[t] - sum of phi_k x[t-k]` for every `t` that has a full past.
    pub fn whiten(&self, x: &[f64]) -> Vec<f64> {
        let order = self.phi.len();
        let Some(count) = x.len().checked_sub(order) else { return Vec::new() };
        // A lag at a time over the whole series: a loop that the processor runs in lanes.
        let mut white = x[order..].to_vec();
        for (lag, phi) in (1..).zip(&self.phi) {
            let past = &x[order - lag..order - lag + count];
            white.iter_mut().zip(past).for_each(|(w, v)| *w -= phi * v);
        }
        white
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::StandardNormal;

    #[test]
    fn a_hunting_series_is_whitened() {
        // Poles at radius 0.95: a narrow-band oscillation of about 18 samples.
        let truth = [1.9 * 0.94, -0.9025];
        let mut random = rand_pcg::Pcg64::seed_from_u64(2);
        let mut x = vec![0.0, 0.0];
        for t in 2..4000 {
            let e: f64 = random.sample(StandardNormal);
            x.push(truth[0] * x[t - 1] + truth[1] * x[t - 2] + e);
        }
        let model = Autoregression::fit(&x, 2).unwrap();
        assert!((model.phi[0] - truth[0]).abs() < 0.03 && (model.phi[1] - truth[1]).abs() < 0.03);
        assert!((model.sigma - 1.0).abs() < 0.05, "{}", model.sigma);
        let white = model.whiten(&x);
        let product: f64 = white.windows(2).map(|w| w[0] * w[1]).sum();
        assert!((product / white.iter().map(|e| e * e).sum::<f64>()).abs() < 0.05);
    }

    #[test]
    fn nothing_is_modelled_without_variance() {
        assert_eq!(Autoregression::fit(&[0.0; 50], 2), None);
        assert_eq!(Autoregression::fit(&[1.0], 2), None);
    }
}
