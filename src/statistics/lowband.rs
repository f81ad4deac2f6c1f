//! The low end of a series' spectrum: cosine coefficients, the band below the hunting, and the
//! mixture of Student's t distributions that an unknown noise corner leaves of an estimate.
//!
//! Shared by the mean and the regression of [`super::correlated`], where the method is explained.

use super::student;

/// Fewest coefficients to spare beyond those that a fit uses up.
const BAND_LEAST: usize = 4;
/// A peak counts when three neighbours average this many times the mean of the lower half.
const PEAK_RATIO: f64 = 4.0;
/// First place where a peak is looked for: below it the lower half is two coefficients or fewer,
/// and chance alone makes peaks over so small a mean.
const PEAK_FROM: usize = 6;
/// The band ends at this part of the frequency of the peak, out of reach of its skirts.
const BAND_PART_OF_PEAK: f64 = 0.35;
/// Corners weighed, evenly spaced in their logarithm.
const CORNERS: usize = 40;
/// Lowest corner, half waves in the record: noise slower than that cannot be told from drift.
const LOWEST_CORNER: f64 = 1.0;
/// Levels at which one Student's t is matched to the mixture.
const MATCH_LEVELS: (f64, f64) = (0.6827, 0.95);

/// Coefficients to compute so that any peak that would shorten a band of `limit` is seen.
pub(super) fn coefficients_to_see(limit: usize, n: usize) -> usize {
    let reach = (limit as f64 / BAND_PART_OF_PEAK).ceil() as usize;
    reach.min(3 * n / 4).clamp(1, n - 1)
}

/// Frequencies worked on side by side.
pub(super) const LANES: usize = 8;

/// Sums of `x[t] cos(a (t + 1/2))` and, where `BOTH` are asked for, of `x[t] sin(a (t + 1/2))`, for the
/// angles `a` of all lanes.
pub(super) fn turned_sums<const BOTH: bool>(
    x: &[f64],
    angles: [f64; LANES],
) -> ([f64; LANES], [f64; LANES]) {
    // A frequency a lane, each turned by its own angle from value to value: no call to cos inside the
    // loop, and independent chains for the processor.
    let (turn_sin, turn_cos) = (angles.map(f64::sin), angles.map(f64::cos));
    let mut sin = angles.map(|a| (0.5 * a).sin());
    let mut cos = angles.map(|a| (0.5 * a).cos());
    let (mut even, mut odd) = ([0.0f64; LANES], [0.0f64; LANES]);
    for value in x {
        for lane in 0..LANES {
            even[lane] += value * cos[lane];
            if BOTH {
                odd[lane] += value * sin[lane];
            }
            let turned = cos[lane] * turn_cos[lane] - sin[lane] * turn_sin[lane];
            sin[lane] = sin[lane] * turn_cos[lane] + cos[lane] * turn_sin[lane];
            cos[lane] = turned;
        }
    }
    (even, odd)
}

/// Coefficients 0 to `highest` of the orthonormal cosine transform (DCT-II) of `x`.
pub(super) fn cosines(x: &[f64], highest: usize) -> Vec<f64> {
    let n = x.len() as f64;
    let mut all = Vec::with_capacity(highest + 1 + LANES);
    for first in (0..=highest).step_by(LANES) {
        let angle = |lane: usize| std::f64::consts::PI * (first + lane) as f64 / n;
        let (even, _) = turned_sums::<false>(x, std::array::from_fn(angle));
        all.extend(even.iter().map(|sum| sum * (2.0 / n).sqrt()));
    }
    all.truncate(highest + 1);
    all[0] *= std::f64::consts::FRAC_1_SQRT_2;
    all
}

/// Highest coefficient to use: `limit`, or well below the strongest peak of `power` that stands out
/// of the frequencies under it, but `BAND_LEAST` more than the `spent` ones. `power[0]` is that of
/// coefficient 0, which is left out of the search.
pub(super) fn band(power: &[f64], limit: usize, spent: usize) -> usize {
    let longest = (power.len() - 1).min(limit);
    let mut below = vec![0.0; power.len()];
    for k in 1..power.len() {
        below[k] = below[k - 1] + power[k];
    }
    let ratio = |k: usize| {
        let half = k / 2;
        let base = below[half] / half as f64;
        (below[k + 1] - below[k - 2]) / 3.0 / base
    };
    let peak = (PEAK_FROM..power.len().saturating_sub(1))
        .map(|k| (k, ratio(k)))
        .filter(|(_, r)| *r > PEAK_RATIO)
        .max_by(|a, b| a.1.total_cmp(&b.1));
    peak.map_or(longest, |(k, _)| {
        let part = (BAND_PART_OF_PEAK * k as f64) as usize;
        part.clamp((BAND_LEAST + spent).min(longest), longest)
    })
}

/// For each corner tried, the inverse of the spectrum's shape at coefficients 0 to `highest` of a
/// series of `n`: flat up to the corner, falling as first-order noise does beyond it.
pub(super) fn inverse_shapes(highest: usize, n: usize) -> impl Iterator<Item = Vec<f64>> {
    let step = std::f64::consts::PI / n as f64;
    let top = (2.0 * n as f64).max(2.0 * LOWEST_CORNER);
    let ratio = (top / LOWEST_CORNER).ln() / (CORNERS - 1) as f64;
    (0..CORNERS).map(move |i| {
        let corner = step * LOWEST_CORNER * (ratio * i as f64).exp();
        let at = |k: usize| 1.0 + (2.0 * (0.5 * step * k as f64).sin() / corner).powi(2);
        (0..=highest).map(at).collect()
    })
}

/// What one corner says of a figure: a Student's t.
#[derive(Debug, Clone, Copy)]
pub(super) struct Component {
    /// Weight among the corners; the weights need not sum to one.
    pub weight: f64,
    /// Centre.
    pub centre: f64,
    /// Scale.
    pub scale: f64,
}

/// Weights from log likelihoods, the largest being 1.
pub(super) fn weights(log_likelihoods: &[f64]) -> Vec<f64> {
    let best = log_likelihoods.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    log_likelihoods.iter().map(|l| (l - best).exp()).collect()
}

/// Estimate with the one Student's t that stands for a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Matched {
    pub centre: f64,
    pub u: f64,
    pub dof: f64,
}

/// Weighted centre of the mixture, and the scale and degrees of freedom of the Student's t about
/// it that has the mixture's half widths at both [`MATCH_LEVELS`]: the pair that an uncertainty
/// budget can carry on with. `dof` is that of every component.
pub(super) fn matched(components: &[Component], dof: f64) -> Option<Matched> {
    let total: f64 = components.iter().map(|c| c.weight).sum();
    let centre = components.iter().map(|c| c.weight * c.centre).sum::<f64>() / total;
    let kept: Vec<Component> = components
        .iter()
        .filter(|c| c.weight > 1e-5 * total)
        .map(|c| Component { weight: c.weight / total, centre: c.centre - centre, scale: c.scale })
        .collect();
    let widest = kept.iter().map(|c| c.scale).fold(0.0, f64::max);
    if !centre.is_finite() || !widest.is_finite() {
        return None;
    }
    if widest == 0.0 {
        return Some(Matched { centre, u: 0.0, dof });
    }
    let inner = half_width(&kept, dof, MATCH_LEVELS.0)?;
    let outer = half_width(&kept, dof, MATCH_LEVELS.1)?;
    let dof = dof_of_spread(outer / inner)?;
    Some(Matched { centre, u: outer / student::coverage_factor(MATCH_LEVELS.1, dof)?, dof })
}

/// Degrees of freedom of the Student's t whose half widths at both [`MATCH_LEVELS`] have this ratio,
/// from 0.5 to 10^6.
fn dof_of_spread(ratio: f64) -> Option<f64> {
    let over = |inverse: f64| -> Option<f64> {
        let outer = student::coverage_factor(MATCH_LEVELS.1, 1.0 / inverse)?;
        let inner = student::coverage_factor(MATCH_LEVELS.0, 1.0 / inverse)?;
        Some((outer / inner / ratio).ln())
    };
    // Searched in 1/dof, in which the quantiles of t are nearly straight: chords within a bracket
    // that always holds the answer, an end that stays a second time taken at half its height (the
    // Illinois rule; Dowell and Jarratt 1971, BIT 11, 168, from memory).
    let (mut many, mut few) = (1e-6, 2.0);
    let (mut below, mut above) = (over(many)?, over(few)?);
    if below >= 0.0 || above <= 0.0 {
        return Some(if below >= 0.0 { 1.0 / many } else { 1.0 / few });
    }
    let (mut inverse, mut was_over) = (many, None);
    for _ in 0..60 {
        let next = (many * above - few * below) / (above - below);
        let moved = (next - inverse).abs();
        inverse = next;
        if moved <= 1e-9 * inverse {
            break;
        }
        let height = over(inverse)?;
        let is_over = height > 0.0;
        let kept = if was_over == Some(is_over) { 0.5 } else { 1.0 };
        if is_over {
            (few, above, below) = (inverse, height, kept * below);
        } else {
            (many, below, above) = (inverse, height, kept * above);
        }
        was_over = Some(is_over);
    }
    Some(1.0 / inverse)
}

/// Half width about zero outside which the mixture lies with probability `1 - level`.
fn half_width(components: &[Component], dof: f64, level: f64) -> Option<f64> {
    let below = |x: f64| student::cdf(x, dof).unwrap_or(0.0);
    // The density up to its constant factor, which costs two gamma functions.
    let peak = student::density(0.0, dof)?;
    let density = |x: f64| peak * (-0.5 * (dof + 1.0) * (x * x / dof).ln_1p()).exp();
    let ends = |c: &Component, h: f64| ((-h - c.centre) / c.scale, (c.centre - h) / c.scale);
    let outside = |h: f64| -> (f64, f64) {
        components.iter().fold((0.0, 0.0), |(tail, slope), c| {
            let (low, high) = ends(c, h);
            // About its own centre the two tails are one another's mirror image.
            let (tails, heights) = match low == high {
                true => (2.0 * below(low), 2.0 * density(low)),
                false => (below(low) + below(high), density(low) + density(high)),
            };
            (tail + c.weight * tails, slope + c.weight * heights / c.scale)
        })
    };
    let factor = student::coverage_factor(level, dof)?;
    let reach = |c: &Component| c.scale * factor + c.centre.abs();
    let (mut low, mut high) = (0.0, components.iter().map(reach).fold(0.0, f64::max));
    let mut half = components.iter().map(|c| c.weight * reach(c)).sum::<f64>();
    // Newton within a bracket that always holds the answer; halving where Newton leaves it.
    for _ in 0..60 {
        let (tail, slope) = outside(half);
        let over = tail - (1.0 - level);
        if over > 0.0 {
            low = half
        } else {
            high = half
        }
        let newton = half + over / slope;
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        let moved = (next - half).abs();
        half = next;
        if moved <= 1e-9 * half {
            break;
        }
    }
    (half.is_finite() && half > 0.0).then_some(half)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_whole_transform_keeps_the_sum_of_squares() {
        let x: Vec<f64> = (0..37).map(|i| f64::from(i * i % 11) - 1.0).collect();
        let total: f64 = cosines(&x, 36).iter().map(|c| c * c).sum();
        let squares: f64 = x.iter().map(|v| v * v).sum();
        assert!((total / squares - 1.0).abs() < 1e-12, "{total} against {squares}");
    }

    #[test]
    fn the_turned_cosines_stay_true_over_a_long_series() {
        let n = 25_000;
        let at = |t: usize| (std::f64::consts::PI * 157.0 * (t as f64 + 0.5) / n as f64).cos();
        let x: Vec<f64> = (0..n).map(at).collect();
        let c = cosines(&x, 160);
        assert!((c[157] - (n as f64 / 2.0).sqrt()).abs() < 1e-8, "{}", c[157]);
        assert!(c[158].abs() < 1e-8 && c[0].abs() < 1e-8);
    }

    #[test]
    fn the_band_stops_below_a_peak_and_is_full_without_one() {
        let mut power = vec![1.0; 160];
        assert_eq!(band(&power, 64, 0), 64);
        for p in &mut power[38..43] {
            *p = 60.0;
        }
        assert!((12..=16).contains(&band(&power, 64, 0)));
        assert_eq!(band(&power, 64, 20), 24);
    }

    #[test]
    fn one_component_is_matched_by_itself() {
        for dof in [1.0, 5.0, 64.0] {
            let one = Component { weight: 0.3, centre: 7.0, scale: 2.0 };
            let m = matched(&[one], dof).unwrap();
            assert!((m.centre - 7.0).abs() < 1e-12);
            assert!((m.u / 2.0 - 1.0).abs() < 1e-4 && (m.dof / dof - 1.0).abs() < 1e-2, "{m:?}");
        }
        let spread = [-1.0, 1.0].map(|c| Component { weight: 1.0, centre: c, scale: 1e-9 });
        let m = matched(&spread, 5.0).unwrap();
        let half = m.u * student::coverage_factor(0.95, m.dof).unwrap();
        assert!(m.centre.abs() < 1e-12 && (half - 1.0).abs() < 1e-6, "{m:?}");
    }
}
