//! Normal draws that fill their space evenly.

use statrs::distribution::{ContinuousCDF, Normal};

/// Bases of the sequence, one a dimension; further dimensions begin again, with the draws in another
/// order.
const BASES: [usize; 12] = [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37];
/// The beginning of a sequence in a large base runs in step with that of its neighbours.
const SKIPPED: usize = 41;

/// Draw `k` of `count` independent standard normal variables: the sequence of Halton (1960,
/// Numerische Mathematik 2:84) through the quantiles.
pub fn normal(k: usize, count: usize) -> Vec<f64> {
    let standard = Normal::standard();
    (0..count)
        .map(|dimension| {
            let turn = dimension / BASES.len();
            let place = radical_inverse(SKIPPED + k + 97 * turn, BASES[dimension % BASES.len()]);
            standard.inverse_cdf(place)
        })
        .collect()
}

/// The digits of `k` in a base, mirrored at the point.
fn radical_inverse(mut k: usize, base: usize) -> f64 {
    let (mut value, mut digit) = (0.0, 1.0);
    while k > 0 {
        digit /= base as f64;
        value += digit * (k % base) as f64;
        k /= base;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::cholesky::root;

    #[test]
    fn the_draws_have_the_covariance_asked_for() {
        let wanted = [vec![2.0, 0.6, -0.3], vec![0.6, 1.0, 0.2], vec![-0.3, 0.2, 0.5]];
        let l = root(&wanted).unwrap();
        let n = 4000;
        let draws: Vec<Vec<f64>> = (0..n)
            .map(|k| {
                let z = normal(k, 3);
                (0..3).map(|i| (0..3).map(|j| l[i][j] * z[j]).sum()).collect()
            })
            .collect();
        for i in 0..3 {
            for j in 0..3 {
                let found = draws.iter().map(|d| d[i] * d[j]).sum::<f64>() / n as f64;
                assert!((found - wanted[i][j]).abs() < 0.02, "{i} {j}: {found}");
            }
        }
    }
}
