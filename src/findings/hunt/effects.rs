//! What sealing a suspect does to a channel: all trials of an unbroken idle fitted together.
//!
//! `y(t) = level + drift + sum over trials of effect * answer(t) + noise`, by
//! [`correlated::fit_in_band`]: its noise falls from a corner that is weighed between one half wave of the
//! record and none at all, so that a wander of the idle slower than the trials is drift like any
//! other and each trial is held against the stretches on both sides of it, and one that is quicker is
//! averaged over. The seconds around every mark are left out: nobody knows within a second when the hand
//! moved. What has not settled after them is in the answer, first order with a time constant that is
//! weighed by likelihood. The band is fixed, as what so many columns leave of the noise has holes in its
//! spectrum that pass for peaks beside them.

use super::channels::Channel;
use super::trials::Trial;
use crate::signal::cycles::Cycles;
use crate::statistics::correlated::{self, Estimate, Fit};
use crate::statistics::uncertainty::{Budget, Component};
use crate::statistics::{student, summary};
use std::ops::Range;

/// Before a mark the hand may have moved already: people press 0.3 to 1.2 s late (from memory of
/// tests at the engine), s.
const BEFORE_MARK_S: f64 = 1.3;
/// After a mark the engine settles; who moves at 'now' moves after it, s.
const AFTER_MARK_S: f64 = 1.0;
/// The hand is taken to have moved this long before the mark, s.
const LATE_S: f64 = 0.6;
/// Idle used before the first trial of a fit and after its last, s.
const MARGIN_S: f64 = 12.0;
/// Shortest stretch left beside the marks that can be judged, s.
const LEAST_S: f64 = 1.0;
/// Most trials fitted together: with more of them the low band of the fit would no longer follow a
/// trial of 8 s.
const MOST_TOGETHER: usize = 12;
/// Time constants weighed, s, evenly in their logarithm, and how likely each is beforehand: a flywheel
/// with its mixture about a second (from memory of idling engines), a tract that fills some tenths.
const SPEED_TAUS: [(f64, f64); 7] =
    [(0.25, 0.03), (0.4, 0.1), (0.65, 0.2), (1.0, 0.3), (1.6, 0.2), (2.5, 0.12), (4.0, 0.05)];
const VACUUM_TAUS: [(f64, f64); 5] = [(0.2, 0.3), (0.5, 0.25), (1.0, 0.2), (1.6, 0.15), (2.5, 0.1)];
const AREA_TAUS: [(f64, f64); 3] = [(0.1, 0.4), (0.3, 0.4), (0.6, 0.2)];
/// The noise is read from waves of this period and longer, s: an idle hunts with a period of two to
/// three seconds, and a trial is longer than either.
const LEAST_PERIOD_S: f64 = 4.0;
/// Fewest coefficients of the noise beyond those that the fit uses up.
const LEAST_DOF: usize = 6;

fn taus(channel: Channel) -> &'static [(f64, f64)] {
    match channel {
        Channel::Speed => &SPEED_TAUS,
        Channel::Vacuum1 | Channel::Vacuum2 => &VACUUM_TAUS,
        Channel::Air1 | Channel::Air2 | Channel::Air => &AREA_TAUS,
    }
}

/// Trials that are fitted together, and the blocks they are fitted on.
#[derive(Debug, Clone)]
pub struct Together {
    /// The trials.
    pub trials: Vec<Trial>,
    blocks: Vec<usize>,
}

/// Puts the trials into groups, each on one unbroken idle. Gives also those left out: too short, or
/// without idle on both sides.
pub fn group(
    cycles: &Cycles,
    runs: &[Range<usize>],
    trials: &[Trial],
) -> (Vec<Together>, Vec<Trial>) {
    let (mut groups, mut left_out) = (Vec::new(), Vec::new());
    let edges: Vec<f64> = trials.iter().flat_map(|t| [t.from_s, t.to_s]).collect();
    let mut free = vec![true; trials.len()];
    for run in runs {
        let (begin, end) = (cycles.from_s[run.start], cycles.to_s[run.end - 1]);
        let calm = |from_s: f64, to_s: f64| {
            to_s.min(end) - from_s.max(begin) >= BEFORE_MARK_S + AFTER_MARK_S + LEAST_S
        };
        let inside: Vec<usize> = (0..trials.len())
            .filter(|k| {
                let Trial { from_s, to_s, .. } = trials[*k];
                let last = k.checked_sub(1).map_or(f64::NEG_INFINITY, |k| trials[k].to_s);
                let next = trials.get(k + 1).map_or(f64::INFINITY, |t| t.from_s);
                // Before the first trial no hand has moved, after the last none does.
                let before = last.max(begin - AFTER_MARK_S);
                let after = next.min(end + BEFORE_MARK_S);
                from_s > begin
                    && to_s < end
                    && calm(from_s, to_s)
                    && from_s - before >= BEFORE_MARK_S + AFTER_MARK_S + LEAST_S
                    && after - to_s >= BEFORE_MARK_S + AFTER_MARK_S + LEAST_S
            })
            .collect();
        inside.iter().for_each(|k| free[*k] = false);
        let parts = inside.len().div_ceil(MOST_TOGETHER).max(1);
        for part in inside.chunks(inside.len().div_ceil(parts).max(1)) {
            let (first, last) = (part[0], part[part.len() - 1]);
            let margin = |at: Option<&Trial>, of: fn(&Trial) -> f64| at.map(of);
            let from = margin(first.checked_sub(1).and_then(|k| trials.get(k)), |t| t.to_s);
            let to = margin(trials.get(last + 1), |t| t.from_s);
            let from_s = (trials[first].from_s - MARGIN_S).max(from.unwrap_or(f64::NEG_INFINITY));
            let to_s = (trials[last].to_s + MARGIN_S).min(to.unwrap_or(f64::INFINITY));
            let kept = |k: &usize| {
                let (begins, ends) = (cycles.from_s[*k], cycles.to_s[*k]);
                begins >= from_s
                    && ends <= to_s
                    && edges.iter().all(|e| ends < e - BEFORE_MARK_S || begins > e + AFTER_MARK_S)
            };
            // A trial between two of these that is not one of them would be taken for idle.
            let strange = (first..=last).filter(|k| !part.contains(k)).map(|k| trials[k]);
            let strange: Vec<Trial> = strange.collect();
            let idle = |k: &usize| {
                let at_s = cycles.middle_s(*k);
                strange.iter().all(|t| at_s < t.from_s || at_s > t.to_s)
            };
            let blocks = run.clone().filter(kept).filter(idle).collect();
            let trials = part.iter().map(|k| trials[*k]).collect();
            groups.push(Together { trials, blocks });
        }
    }
    left_out.extend((0..trials.len()).filter(|k| free[*k]).map(|k| trials[k]));
    (groups, left_out)
}

/// What is known of an effect: its value, and what its uncertainty consists of.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// Sealed less released, in the unit of the channel; of a jet, open less closed.
    pub value: f64,
    /// Its uncertainty.
    pub budget: Budget,
    /// Trials in it.
    pub trials: usize,
}

/// The noise, and what the answer leaves open.
const NOISE: &str = "repeatability";
/// What the trials differ by beyond that.
const BETWEEN: &str = "between trials";

impl Effect {
    /// As it would be with `more` trials of the same kind, if its value stays.
    pub fn with(&self, more: u32) -> Option<Effect> {
        let times = 1.0 + f64::from(more) / self.trials as f64;
        let component =
            |c: &Component| Component { u: c.u / times.sqrt(), dof: c.dof * times, ..*c };
        let budget = Budget::new(self.budget.components.iter().map(component).collect()).ok()?;
        Some(Effect { budget, trials: self.trials + more as usize, ..self.clone() })
    }

    /// The same as a multiple.
    pub fn times(&self, factor: f64) -> Option<Effect> {
        let component = |c: &Component| Component { u: c.u * factor.abs(), ..*c };
        let budget = Budget::new(self.budget.components.iter().map(component).collect()).ok()?;
        Some(Effect { value: self.value * factor, budget, ..self.clone() })
    }
}

/// Probability below which trials of one subject disagree.
const DISAGREE: f64 = 0.01;

/// Estimates of the trials of one fit: each by itself, and the mean of each subject's.
struct Fitted {
    each: Vec<(Trial, Estimate)>,
    means: Vec<(usize, usize, Estimate)>,
}

/// The effect of every subject on a channel; `None` for one without a trial on it.
///
/// The trials of a subject are averaged. Where two of them differ by more than noise makes likely, what
/// they differ by enters with one degree of freedom less than there are trials (the variance between
/// of DerSimonian and Laird 1986, Controlled Clinical Trials 7:177, from memory), so that a fan that
/// cuts in during one of two trials makes no leak. It does not enter where they agree: of two trials it
/// is known so badly that no leak would ever be found.
pub fn of(
    cycles: &Cycles,
    groups: &[Together],
    (channel, values): (Channel, &[f64]),
    subjects: usize,
) -> Vec<Option<Effect>> {
    let fitted: Vec<Fitted> =
        groups.iter().filter_map(|group| fit(cycles, group, values, channel)).collect();
    (0..subjects).map(|subject| combined(&fitted, subject)).collect()
}

fn combined(fitted: &[Fitted], subject: usize) -> Option<Effect> {
    let each: Vec<Estimate> = fitted
        .iter()
        .flat_map(|f| &f.each)
        .filter(|(trial, _)| trial.subject == subject)
        .map(|(_, estimate)| *estimate)
        .collect();
    let n = each.len() as f64;
    let mut value = 0.0;
    let mut components = Vec::new();
    for (_, count, mean) in fitted.iter().flat_map(|f| &f.means).filter(|m| m.0 == subject) {
        let share = *count as f64 / n;
        value += share * mean.value;
        components.push(Component::new(NOISE, share * mean.u, mean.dof));
    }
    if disagree(&each) {
        let squares = each.iter().map(|e| (e.value - value).powi(2)).sum::<f64>();
        let own = each.iter().map(|e| e.u * e.u).sum::<f64>() / n;
        let between = ((squares / (n - 1.0) - own).max(0.0) / n).sqrt();
        components.push(Component::new(BETWEEN, between, n - 1.0));
    }
    components.retain(|c| c.u != 0.0);
    let budget = Budget::new(components).ok().filter(|_| !each.is_empty() && value.is_finite())?;
    Some(Effect { value, budget, trials: each.len() })
}

/// Whether any two trials differ at [`DISAGREE`], Bonferroni's correction over the pairs made.
fn disagree(each: &[Estimate]) -> bool {
    let pairs = each.len() * each.len().saturating_sub(1) / 2;
    let differ = |a: &Estimate, b: &Estimate| {
        let t = (a.value - b.value).abs() / a.u.hypot(b.u);
        let beyond = student::cdf(-t, a.dof.min(b.dof)).map(|p| 2.0 * p * pairs as f64);
        beyond.is_some_and(|p| p < DISAGREE)
    };
    each.iter().enumerate().any(|(k, a)| each[..k].iter().any(|b| differ(a, b)))
}

fn fit(cycles: &Cycles, group: &Together, values: &[f64], channel: Channel) -> Option<Fitted> {
    let blocks: Vec<usize> =
        group.blocks.iter().copied().filter(|k| values[*k].is_finite()).collect();
    let y: Vec<f64> = blocks.iter().map(|k| values[*k]).collect();
    let times: Vec<f64> = blocks.iter().map(|k| cycles.middle_s(*k)).collect();
    let (first, last) = (*times.first()?, *times.last()?);
    let drift = |power: i32| -> Vec<f64> {
        times.iter().map(|t| (2.0 * (t - first) / (last - first) - 1.0).powi(power)).collect()
    };
    let drifts = [drift(0), drift(1), drift(2)];
    let answers = |tau: f64| -> Vec<Vec<f64>> {
        let answer = |trial: &Trial| times.iter().map(|t| answer(*t, trial, tau)).collect();
        group.trials.iter().map(answer).collect()
    };
    let lasts_s: f64 = blocks.iter().map(|k| cycles.to_s[*k] - cycles.from_s[*k]).sum();
    let band = (2.0 * lasts_s / LEAST_PERIOD_S) as usize;
    if band.min(y.len()) < drifts.len() + group.trials.len() + LEAST_DOF {
        return None;
    }
    let at = |(tau, prior): &(f64, f64)| -> Option<(f64, Fit)> {
        let answers = answers(*tau);
        let columns: Vec<&[f64]> = drifts.iter().chain(&answers).map(Vec::as_slice).collect();
        let fit = correlated::fit_in_band(&y, &columns, band).ok()?;
        Some((prior.ln() + fit.log_likelihood, fit))
    };
    let fits: Vec<(f64, Fit)> = taus(channel).iter().filter_map(at).collect();
    let contrast = |wanted: &dyn Fn(&Trial) -> bool| {
        let count = group.trials.iter().filter(|t| wanted(t)).count().max(1) as f64;
        let share = |t: &Trial| if wanted(t) { 1.0 / count } else { 0.0 };
        let drifts = drifts.iter().map(|_| 0.0);
        average(&fits, &drifts.chain(group.trials.iter().map(share)).collect::<Vec<f64>>())
    };
    let each = group.trials.iter().filter_map(|trial| Some((*trial, contrast(&|t| t == trial)?)));
    let mut subjects: Vec<usize> = group.trials.iter().map(|t| t.subject).collect();
    subjects.sort_unstable();
    subjects.dedup();
    let mean = |subject: &usize| {
        let count = group.trials.iter().filter(|t| t.subject == *subject).count();
        Some((*subject, count, contrast(&|t| t.subject == *subject)?))
    };
    Some(Fitted { each: each.collect(), means: subjects.iter().filter_map(mean).collect() })
}

/// What there is of a trial's effect at a time, s.
fn answer(at_s: f64, trial: &Trial, tau: f64) -> f64 {
    let since = |mark_s: f64| {
        let x = at_s - mark_s + LATE_S;
        if x > 0.0 { 1.0 - (-x / tau).exp() } else { 0.0 }
    };
    since(trial.from_s) - since(trial.to_s)
}

/// An estimate over all time constants, each with its weight's logarithm.
fn average(fits: &[(f64, Fit)], contrast: &[f64]) -> Option<Estimate> {
    let best = fits.iter().map(|(log, _)| *log).fold(f64::NEG_INFINITY, f64::max);
    let all: Vec<(f64, Estimate)> = fits
        .iter()
        .filter_map(|(log, fit)| Some(((log - best).exp(), fit.estimate(contrast)?)))
        .collect();
    let total: f64 = all.iter().map(|(weight, _)| weight).sum();
    let over = |of: &dyn Fn(&Estimate) -> f64| {
        all.iter().map(|(weight, e)| weight / total * of(e)).sum::<f64>()
    };
    let value = over(&|e| e.value);
    let u = over(&|e| e.u * e.u + (e.value - value).powi(2)).sqrt();
    let dof = over(&|e| e.dof);
    (value.is_finite() && u.is_finite()).then_some(Estimate { value, u, dof })
}

/// Median of a channel over the blocks of all groups; NaN where there is none.
pub fn usual(groups: &[Together], values: &[f64]) -> f64 {
    let all: Vec<f64> = groups
        .iter()
        .flat_map(|group| &group.blocks)
        .map(|k| values[*k])
        .filter(|value| value.is_finite())
        .collect();
    summary::median(&all).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two trials of one suspect, each known to 2 with 30 degrees of freedom.
    fn of(values: [f64; 2]) -> Effect {
        let estimate = |value: f64, u: f64| Estimate { value, u, dof: 30.0 };
        let trial = |from_s: f64| Trial { subject: 0, from_s, to_s: from_s + 8.0 };
        let each =
            vec![(trial(10.0), estimate(values[0], 2.0)), (trial(26.0), estimate(values[1], 2.0))];
        let mean = estimate(0.5 * (values[0] + values[1]), 2.0 / 2.0_f64.sqrt());
        combined(&[Fitted { each, means: vec![(0, 2, mean)] }], 0).unwrap()
    }

    #[test]
    fn trials_that_disagree_widen_the_effect_by_what_they_differ() {
        let between = |effect: &Effect| effect.budget.part(|c| c.name == BETWEEN);
        // t = 4 / (2 sqrt 2) = 1.4 is what noise makes; 60 / (2 sqrt 2) = 21 is a load that came in one.
        let (agree, differ) = (of([28.0, 32.0]), of([0.0, 60.0]));
        assert_eq!((agree.value, differ.value), (30.0, 30.0));
        assert_eq!(between(&agree), 0.0);
        // Variance of the two values 1800, less 4 of their own, over two.
        assert!((between(&differ) - (1796.0_f64 / 2.0).sqrt()).abs() < 1e-9);
    }
}
