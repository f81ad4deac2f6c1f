//! The idle drop when the oil filler cap comes off.
//!
//! A closed crankcase breather draws its air through the open filler when the cap comes off; that
//! air is not metered, the mixture weakens and the idle drops. A system that already leaks hardly
//! changes, a blocked one does not either, and an engine set too rich may speed up: the drop alone
//! proves a seal, but does not tell the other cases apart.

use super::Conditions;
use super::advice::IDLE_LIMIT_RPM;
use super::balance::LEVEL;
use super::cap_fit::{self, CapFit};
use super::crankcase;
use super::idle_drop::{IdleDrop, IdleDropRow};
use super::openings::{self, NoOpening, Times};
use crate::sample::Remark;
use crate::signal::Signal;
use crate::statistics::student;
use serde::Serialize;

/// Verdict on the closed breather.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BreatherVerdict {
    /// The idle drops by more than the threshold: the crankcase was closed.
    Sealed,
    /// A crankcase sensor shows that air leaks in.
    NotSealed,
    /// A crankcase sensor shows that the breather passes nothing.
    Blocked,
    /// The idle does not drop; the log cannot tell a leak from a blocked breather.
    NotSealedOrBlocked,
    /// The engine speeds up with the cap off.
    RevsRise,
    /// Neither is proven.
    NotSettled,
}

/// Where the times of an opening come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TimesFrom {
    /// Marks in the log, refined within a few seconds.
    Mark,
    /// Found in the data alone.
    Data,
}

/// One opening of the filler. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Opening {
    /// Cap off, s.
    pub off_s: f64,
    /// Cap on again, s; absent when it stayed off.
    pub on_s: Option<f64>,
    /// Drop, rev/min; positive when the engine slows.
    pub drop_rpm: f64,
    /// Lower end, rev/min.
    pub low_rpm: f64,
    /// Upper end, rev/min.
    pub high_rpm: f64,
    /// Where the times come from.
    pub from: TimesFrom,
}

/// What a log says of the breather.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Breather {
    /// Idle speed with the cap on; absent when there was none.
    pub idle_rpm: Option<f64>,
    /// Drop over all openings, rev/min; positive when the engine slows.
    pub drop_rpm: Option<f64>,
    /// Lower end, rev/min.
    pub low_rpm: Option<f64>,
    /// Upper end, rev/min.
    pub high_rpm: Option<f64>,
    /// Combined standard uncertainty, rev/min.
    pub u_rpm: Option<f64>,
    /// Effective degrees of freedom; absent when unbounded.
    pub dof: Option<f64>,
    /// Drop in per cent of idle.
    pub drop_percent: Option<f64>,
    /// Time constant of the response, s.
    pub tau_s: Option<f64>,
    /// Smallest drop that counts, rev/min.
    pub threshold_rpm: f64,
    /// Manifold vacuum with the cap off less that with the cap on, kPa.
    pub vacuum_change_kpa: Option<f64>,
    /// One entry an opening.
    pub openings: Vec<Opening>,
    /// When another load came or went, s: steps of the speed that are not the cap's.
    pub other_loads_s: Vec<f64>,
    /// Crankcase below atmosphere with the cap on, kPa.
    pub crank_closed_kpa: Option<f64>,
    /// Crankcase below atmosphere with the cap off, kPa.
    pub crank_open_kpa: Option<f64>,
    /// Verdict.
    pub verdict: BreatherVerdict,
    /// Probability that the drop is more than the smallest that counts (JCGM 106:2012, with nothing
    /// known of it beforehand); absent where there is no interval, where the uncertainty is nil, and
    /// where it is in doubt that the drop is the cap's.
    pub probability_sealed: Option<f64>,
    /// More openings that would settle the verdict; absent when openings alone cannot.
    pub needs_openings: Option<u32>,
    /// What the uncertainty of the drop consists of, one row a component; empty where there is no
    /// interval.
    pub budget: Vec<IdleDropRow>,
    /// One plain sentence.
    pub say: String,
    /// Causes to check, likeliest first.
    pub causes: Vec<String>,
    /// What shakes the result: openings that no mark confirms.
    pub remarks: Vec<Remark>,
    /// Fitted speed over time: (s, rev/min), for the chart.
    #[serde(skip)]
    pub curve: Vec<(f64, f64)>,
}

/// Smallest drop that counts, rev/min, and as a share of idle: the greater of the two (common
/// practice, no published source).
const THRESHOLD: (f64, f64) = (20.0, 0.025);

/// Smallest change of an idle that counts, rev/min.
pub(super) fn threshold(conditions: &Conditions, idle_rpm: f64) -> f64 {
    conditions.threshold_rpm.unwrap_or(THRESHOLD.0.max(THRESHOLD.1 * idle_rpm))
}

/// Finds the openings of the filler and judges the drop.
pub fn find(signal: &Signal, conditions: &Conditions) -> Breather {
    let threshold = |idle: f64| threshold(conditions, idle);
    let found = openings::find(signal);
    let found = match &found {
        Ok(found) => found,
        Err(why) => return nothing(threshold(0.0), openings::sentence(*why)),
    };
    let judged = cap_fit::fit(signal, found).and_then(|fit| {
        let mut judged = judge(signal, &fit, threshold(fit.idle_rpm))?;
        judged.remarks.extend(left_out(found, &fit));
        Some(judged)
    });
    judged.unwrap_or_else(|| {
        let say = "Not settled: around the openings there is too little steady idle. Idle 15 s, cap off 10 s, cap on 10 s, two or three times.";
        nothing(threshold(0.0), say.into())
    })
}

fn nothing(threshold_rpm: f64, say: String) -> Breather {
    Breather {
        idle_rpm: None,
        drop_rpm: None,
        low_rpm: None,
        high_rpm: None,
        u_rpm: None,
        dof: None,
        drop_percent: None,
        tau_s: None,
        threshold_rpm,
        vacuum_change_kpa: None,
        openings: Vec::new(),
        other_loads_s: Vec::new(),
        crank_closed_kpa: None,
        crank_open_kpa: None,
        verdict: BreatherVerdict::NotSettled,
        probability_sealed: None,
        needs_openings: None,
        budget: Vec::new(),
        say,
        causes: Vec::new(),
        remarks: Vec::new(),
        curve: Vec::new(),
    }
}

fn judge(signal: &Signal, fit: &CapFit, threshold: f64) -> Option<Breather> {
    let all = IdleDrop::of(fit)?;
    let IdleDrop { drop_rpm: drop, low_rpm: low, high_rpm: high, .. } = all;
    let marked = fit.openings.iter().any(|o| o.from == TimesFrom::Mark);
    if !marked && low <= LEAST_UNMARKED_DROP * threshold {
        return Some(nothing(threshold, openings::sentence(NoOpening::OnlyUnreturned)));
    }
    let crank = crankcase::find(signal, fit);
    let doubt = doubt(fit, drop);
    let verdict = match doubt {
        Some(_) => BreatherVerdict::NotSettled,
        None => verdict(low, high, threshold, crank.as_ref()),
    };
    let open = doubt.is_none() && verdict == BreatherVerdict::NotSettled;
    let needs = open.then(|| all.openings_more(threshold)).flatten();
    let (idle, openings) = (fit.idle_rpm, fit.openings.len());
    let numbers = Numbers { drop, low, high, idle, threshold, openings, needs };
    // Without a return there is only a step, and one dip that nobody marked is as likely a fan's:
    // neither is a drop to speak of.
    let is_shown = !matches!(doubt, Some(Doubt::Unreturned | Doubt::OneUnmarked));
    let shown = |value: f64| is_shown.then_some(value);
    Some(Breather {
        idle_rpm: Some(fit.idle_rpm),
        drop_rpm: shown(drop),
        low_rpm: shown(low),
        high_rpm: shown(high),
        u_rpm: shown(all.u_rpm()),
        dof: all.dof().filter(|_| is_shown),
        drop_percent: shown(100.0 * drop / fit.idle_rpm),
        tau_s: fit.tau_s,
        threshold_rpm: threshold,
        vacuum_change_kpa: fit.vacuum_change_kpa,
        openings: openings_of(fit)?,
        other_loads_s: fit.loads.clone(),
        crank_closed_kpa: crank.as_ref().map(|c| c.closed_kpa),
        crank_open_kpa: crank.as_ref().map(|c| c.open_kpa),
        verdict,
        // No number of the speed tells how probable it is that the dip is the cap's.
        probability_sealed: all.probability_above(threshold).filter(|_| doubt.is_none()),
        needs_openings: needs,
        budget: if is_shown { all.rows() } else { Vec::new() },
        say: doubt.map_or_else(|| say(verdict, &numbers), |doubt| doubt.say(&numbers)),
        causes: causes(verdict),
        remarks: unconfirmed(fit).into_iter().chain(other_loads(fit)).collect(),
        curve: fit.curve.clone(),
    })
}

fn openings_of(fit: &CapFit) -> Option<Vec<Opening>> {
    fit.openings
        .iter()
        .zip(&fit.drops)
        .map(|(opening, d)| {
            let reach = student::coverage_factor(LEVEL, d.dof)? * d.u_rpm;
            Some(Opening {
                off_s: opening.off_s,
                on_s: opening.on_s,
                drop_rpm: d.rpm,
                low_rpm: d.rpm - reach,
                high_rpm: d.rpm + reach,
                from: opening.from,
            })
        })
        .collect()
}

/// Why numbers alone must not decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Doubt {
    /// The cap came off and did not go back on.
    Unreturned,
    /// Not an idle: the breather draws little at a held speed.
    NotIdle,
    /// One dip that nobody marked.
    OneUnmarked,
    /// The speed falls and the vacuum does not: the throttle moved, or an idle control answered.
    VacuumRises,
}

fn doubt(fit: &CapFit, drop: f64) -> Option<Doubt> {
    let marked = fit.openings.iter().any(|o| o.from == TimesFrom::Mark);
    if fit.openings.iter().all(|o| o.on_s.is_none()) {
        Some(Doubt::Unreturned)
    } else if fit.idle_rpm > IDLE_LIMIT_RPM {
        Some(Doubt::NotIdle)
    } else if !marked && fit.openings.len() < LEAST_UNMARKED {
        Some(Doubt::OneUnmarked)
    } else if !marked && drop > 0.0 && fit.vacuum_change_kpa.is_none_or(|change| change > 0.0) {
        Some(Doubt::VacuumRises)
    } else {
        None
    }
}

impl Doubt {
    fn say(self, n: &Numbers) -> String {
        let repeat = "idle 15 s, cap off 10 s, cap on 10 s, two or three times, with the marks 'cap off' and 'cap on'";
        match self {
            Doubt::Unreturned => format!(
                "Not settled: the cap came off and did not go back on, and a single step can be a fan or a drift; {repeat}."
            ),
            Doubt::NotIdle => format!(
                "Not settled: the cap was tried at {:.0} rev/min, which is no idle; let the throttles close and {repeat}.",
                n.idle
            ),
            Doubt::OneUnmarked => format!(
                "Not settled: the speed dips once by {:.0} rev/min and comes back, but no mark says that it was the cap, and a fan or a lamp does the same; {repeat}.",
                n.drop
            ),
            Doubt::VacuumRises => format!(
                "Not settled: the speed dips and comes back, but the manifold vacuum does not fall with it as it does when the cap comes off; {repeat}."
            ),
        }
    }
}

/// Openings that no mark confirms, for a person to confirm.
fn unconfirmed(fit: &CapFit) -> Option<Remark> {
    let at: Vec<f64> =
        fit.openings.iter().filter(|o| o.from == TimesFrom::Data).map(|o| o.off_s).collect();
    (!at.is_empty()).then(|| {
        let text = "the cap's times were found in the data, no mark confirms them: a fan that comes and goes looks alike";
        Remark::new("unmarked_openings", at.len(), &at, text)
    })
}

/// Openings that the fit could not take in.
fn left_out(found: &[Times], fit: &CapFit) -> Option<Remark> {
    // The fit moves an edge by a second or two; two openings are further apart.
    const MOVED_S: f64 = 4.0;
    let taken = |o: &&Times| fit.openings.iter().any(|own| (own.off_s - o.off_s).abs() <= MOVED_S);
    let at: Vec<f64> = found.iter().filter(|o| !taken(o)).map(|o| o.off_s).collect();
    (!at.is_empty()).then(|| {
        let text = format!(
            "{} of {} openings left out: the log breaks off, or the engine does not idle steadily, in or around them",
            at.len(),
            found.len()
        );
        Remark::new("openings_left_out", at.len(), &at, text)
    })
}

/// Steps of the speed that are not the cap's.
fn other_loads(fit: &CapFit) -> Option<Remark> {
    let text = "the speed steps where no cap was moved: a fan or a lamp does that; it is taken out, and costs certainty";
    (!fit.loads.is_empty()).then(|| Remark::new("other_load", fit.loads.len(), &fit.loads, text))
}

/// What nobody marked is a drop only when it is more than this share of the smallest drop that
/// counts, beyond doubt: a smaller one could not prove anything either.
const LEAST_UNMARKED_DROP: f64 = 0.5;
/// Fewest unmarked dips that make a cap test.
const LEAST_UNMARKED: usize = 2;

/// Sealed only with the whole interval above the threshold; the other verdicts likewise.
fn verdict(
    low: f64,
    high: f64,
    threshold: f64,
    crank: Option<&crankcase::Crankcase>,
) -> BreatherVerdict {
    if low > threshold {
        BreatherVerdict::Sealed
    } else if high < -threshold {
        BreatherVerdict::RevsRise
    } else if high < threshold && low > -threshold {
        match crank {
            Some(crank) if crank.pushed_up() => BreatherVerdict::Blocked,
            Some(_) => BreatherVerdict::NotSealed,
            None => BreatherVerdict::NotSealedOrBlocked,
        }
    } else {
        BreatherVerdict::NotSettled
    }
}

struct Numbers {
    drop: f64,
    low: f64,
    high: f64,
    idle: f64,
    threshold: f64,
    openings: usize,
    needs: Option<u32>,
}

fn say(verdict: BreatherVerdict, n: &Numbers) -> String {
    let Numbers { idle, threshold, .. } = n;
    // Nought added, so that nothing below zero reads -0.
    let [drop, low, high] = [n.drop, n.low, n.high].map(|rpm| rpm.round() + 0.0);
    let size = format!("{drop:.0} rev/min (between {low:.0} and {high:.0}) from {idle:.0}");
    let moves = if drop > 0.0 {
        format!("drops by only {size}")
    } else {
        format!("does not drop (between {low:.0} and {high:.0} rev/min, below zero it rises)")
    };
    match verdict {
        BreatherVerdict::Sealed => format!(
            "The breather is sealed: with the cap off the idle drops by {size}, more than the {threshold:.0} that count."
        ),
        BreatherVerdict::NotSealedOrBlocked => format!(
            "Not sealed, or blocked: with the cap off the idle {moves}, less than the {threshold:.0} that count. Lay a sheet of paper on the open filler: drawn down, the breather pulls and air leaks in elsewhere; not drawn down, it is blocked."
        ),
        BreatherVerdict::NotSealed => format!(
            "Not sealed: with the cap off the idle {moves}, and the crankcase stays near atmosphere with the cap on: air leaks in."
        ),
        BreatherVerdict::Blocked => format!(
            "Blocked: with the cap off the idle {moves}, and with the cap on the crankcase is pushed above atmosphere: the breather passes nothing."
        ),
        BreatherVerdict::RevsRise => format!(
            "The revs rise by {:.0} rev/min (between {:.0} and {:.0}) with the cap off: the mixture is rich, so this test cannot prove the seal. Correct the mixture first.",
            -drop, -high, -low
        ),
        BreatherVerdict::NotSettled => format!(
            "Not settled: the idle drop is {size}, and {threshold:.0} are needed: neither is proven. {}",
            n.way_out()
        ),
    }
}

impl Numbers {
    /// What would settle it.
    fn way_out(&self) -> String {
        let Some(more) = self.needs else {
            return "Repeat the opening two or three times, 10 s off and 10 s on, with fan and lights off.".into();
        };
        let all = self.openings as u32 + more;
        let openings = if more == 1 { "opening" } else { "openings" };
        format!(
            "About {more} more {openings} would settle it: log {all} in a row, 10 s off and 10 s on, with fan and lights off."
        )
    }
}

fn causes(verdict: BreatherVerdict) -> Vec<String> {
    let list: &[&str] = match verdict {
        BreatherVerdict::NotSealed => &[
            "oil filler cap seal, dipstick seal",
            "breather hose split or loose",
            "rocker cover, side cover or sump gasket, crankshaft seals",
        ],
        BreatherVerdict::Blocked => {
            &["breather hose kinked or clogged", "breather valve or gauze clogged"]
        }
        BreatherVerdict::NotSealedOrBlocked => &[
            "oil filler cap seal, dipstick seal, breather hose, rocker cover and sump gaskets (air leaks in)",
            "breather hose, valve or gauze clogged (nothing is drawn)",
            "the breather is not connected to the carburettors",
        ],
        BreatherVerdict::RevsRise => &["idle mixture too rich on one or both carburettors"],
        BreatherVerdict::Sealed | BreatherVerdict::NotSettled => &[],
    };
    list.iter().map(|text| (*text).to_string()).collect()
}
