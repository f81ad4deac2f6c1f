//! Before and after: how far the work has brought the pair.

use super::advice::is_idle;
use super::balance::{Balance, LEVEL, PlateauBalance};
use crate::statistics::decision::Verdict;
use crate::statistics::uncertainty::{Budget, Component};
use serde::Serialize;

/// Change at one speed. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Mean speed of the two plateaus compared, rev/min; absent without a speed.
    pub rpm: Option<f64>,
    /// Difference before, kPa.
    pub before_kpa: f64,
    /// Difference after, kPa.
    pub after_kpa: f64,
    /// Lower end of the change in the size of the difference (after less before), kPa.
    pub low_kpa: f64,
    /// Upper end of the change, kPa.
    pub high_kpa: f64,
    /// The size of the difference has fallen, beyond doubt.
    pub improved: bool,
}

/// Two logs side by side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// Finding of the first log.
    pub before: Balance,
    /// Finding of the second log.
    pub after: Balance,
    /// One entry a speed that both logs hold.
    pub change: Vec<Change>,
    /// One plain sentence.
    pub say: String,
}

/// Plateaus of two logs are at one speed when they differ by less than this share.
const SAME_SPEED: f64 = 0.1;

/// Compares two balances, speed by speed.
///
/// The two logs are taken as independent: what they share of the sensors' error then counts twice,
/// which makes the interval of the change wide rather than narrow.
pub fn find(before: Balance, after: Balance) -> Comparison {
    let mut free: Vec<&PlateauBalance> = after.plateaus.iter().collect();
    let mut change = Vec::new();
    let mut alone = Vec::new();
    for old in &before.plateaus {
        let nearest = (0..free.len())
            .filter(|k| same_speed(old, free[*k]))
            .min_by(|a, b| apart(old.rpm, free[*a].rpm).total_cmp(&apart(old.rpm, free[*b].rpm)));
        match nearest {
            Some(nearest) => change.extend(change_of(old, free.remove(nearest))),
            None => alone.push((old, "before")),
        }
    }
    alone.extend(free.into_iter().map(|new| (new, "after")));
    let say = sentence(&before, &after, &change, &alone);
    Comparison { before, after, change, say }
}

fn apart(a: Option<f64>, b: Option<f64>) -> f64 {
    a.zip(b).map_or(0.0, |(a, b)| (a - b).abs())
}

/// Two idles are one speed whatever they turn at, since stop screws move the idle; speeds that are
/// both unknown count as one: the log's only plateau is then all there is.
fn same_speed(a: &PlateauBalance, b: &PlateauBalance) -> bool {
    match (a.rpm, b.rpm) {
        (Some(_), Some(_)) if is_idle(a) && is_idle(b) => true,
        (Some(a), Some(b)) => (a - b).abs() <= SAME_SPEED * a,
        (None, None) => true,
        _ => false,
    }
}

fn change_of(old: &PlateauBalance, new: &PlateauBalance) -> Option<Change> {
    let part = |name, p: &PlateauBalance| Component {
        name,
        u: p.u_kpa,
        dof: p.dof.unwrap_or(f64::INFINITY),
    };
    let budget = Budget::new(vec![part("before", old), part("after", new)]).ok()?;
    let size = new.difference_kpa.abs() - old.difference_kpa.abs();
    let (low_kpa, high_kpa) = budget.interval(size, LEVEL)?;
    let rpm = old.rpm.zip(new.rpm).map(|(a, b)| 0.5 * (a + b));
    Some(Change {
        rpm,
        before_kpa: old.difference_kpa,
        after_kpa: new.difference_kpa,
        low_kpa,
        high_kpa,
        improved: high_kpa < 0.0,
    })
}

fn sentence(
    before: &Balance,
    after: &Balance,
    change: &[Change],
    alone: &[(&PlateauBalance, &str)],
) -> String {
    if before.plateaus.is_empty() || after.plateaus.is_empty() {
        let which = if before.plateaus.is_empty() { "first" } else { "second" };
        return format!(
            "Nothing to compare: the {which} log holds no plateau that could be judged."
        );
    }
    if change.is_empty() {
        return "Nothing to compare: the two logs hold no speed in common.".into();
    }
    let improved = change.iter().filter(|c| c.improved).count();
    let worse = change.iter().filter(|c| c.low_kpa > 0.0).count();
    let now = match after.verdict {
        Verdict::InTolerance => "Now in tolerance",
        Verdict::OutOfTolerance => "Still out of tolerance",
        Verdict::NotSettled => "Not settled whether it is in tolerance now",
    };
    let speeds = |count: usize| {
        format!("{count} of {} speed{}", change.len(), if change.len() == 1 { "" } else { "s" })
    };
    let how = match (improved, worse) {
        (0, 0) => "no change beyond the uncertainty at any speed".to_string(),
        (_, 0) => format!("better at {}", speeds(improved)),
        (0, _) => format!("worse at {}", speeds(worse)),
        (..) => format!("better at {}, worse at {worse}", speeds(improved)),
    };
    let missed: Vec<String> = alone
        .iter()
        .filter_map(|(plateau, log)| plateau.rpm.map(|rpm| format!("{rpm:.0} rev/min ({log})")))
        .collect();
    match missed.is_empty() {
        true => format!("{now}: {how}."),
        false => format!("{now}: {how}. Held in one log only: {}.", missed.join(", ")),
    }
}
