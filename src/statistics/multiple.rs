//! Many questions asked of one log: adjusted probabilities that keep false alarms at the level
//! promised for all of them together.

/// Holm's step-down adjustment (1979, Scandinavian Journal of Statistics 6:65) of the probabilities
/// `p`, in their order: those at or below a level are significant at it, all taken together.
/// `None` when a value is not within 0 to 1.
pub fn holm(p: &[f64]) -> Option<Vec<f64>> {
    if p.iter().any(|v| !(0.0..=1.0).contains(v)) {
        return None;
    }
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![0.0; p.len()];
    let mut least = 0.0f64;
    for (rank, &i) in order.iter().enumerate() {
        least = least.max((p.len() - rank) as f64 * p[i]).min(1.0);
        adjusted[i] = least;
    }
    Some(adjusted)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_and_nonsense() {
        assert_eq!(holm(&[]), Some(vec![]));
        assert_eq!(holm(&[0.03]), Some(vec![0.03]));
        assert_eq!(holm(&[0.9, 0.8]), Some(vec![1.0, 1.0]));
        assert_eq!(holm(&[0.1, f64::NAN]), None);
        assert_eq!(holm(&[1.1]), None);
    }
}
