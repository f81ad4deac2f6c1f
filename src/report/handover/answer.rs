//! What the whole job comes to, in a sentence or two, and what it leaves open.

use super::{Found, Handover, worse};
use crate::findings::Verdict;
use crate::findings::advice::is_idle;
use crate::findings::balance::{Balance, PlateauBalance};
use crate::findings::breather::BreatherVerdict;
use crate::findings::hunt::{Hunt, HuntVerdict};

/// The answer: breather and balance as they are now and as they were; of a job that measured neither,
/// what the hunt says.
pub fn sentences(handover: &Handover) -> Vec<String> {
    let mut answer: Vec<String> = breather(handover).into_iter().chain(balance(handover)).collect();
    if answer.is_empty() {
        answer.extend(handover.hunt.as_ref().map(hunt));
    }
    answer
}

fn breather(handover: &Handover) -> Option<String> {
    let pair = &handover.breather;
    let now = pair.latest()?.finding.verdict;
    let sentence = match now {
        BreatherVerdict::Sealed => "The closed breather is sealed",
        BreatherVerdict::NotSealed => "The closed breather is not sealed",
        BreatherVerdict::Blocked => "The closed breather is blocked",
        BreatherVerdict::NotSealedOrBlocked => {
            "The closed breather is not sealed, or it is blocked"
        }
        BreatherVerdict::RevsRise => {
            "Whether the closed breather is sealed cannot be told, because the idle rises with the \
             cap off"
        }
        BreatherVerdict::NotSettled => "It is not settled whether the closed breather is sealed",
    };
    let was = match (&pair.before, &pair.after) {
        (Some(_), None) => Some(BEFORE_ONLY.to_string()),
        (Some(before), Some(_)) if before.finding.verdict != now => {
            let was = match before.finding.verdict {
                BreatherVerdict::Sealed => "it was sealed",
                BreatherVerdict::NotSealed => "it was not",
                BreatherVerdict::Blocked => "it was blocked",
                BreatherVerdict::NotSealedOrBlocked => "it was not, or it was blocked",
                BreatherVerdict::RevsRise => "the idle rose with the cap off",
                BreatherVerdict::NotSettled => "that was not settled",
            };
            Some(format!("; before the work {was}"))
        }
        _ => None,
    };
    Some(format!("{sentence}{}.", was.unwrap_or_default()))
}

const BEFORE_ONLY: &str = " (measured before the work only)";

fn balance(handover: &Handover) -> Option<String> {
    let now = handover.balance_verdict()?;
    let latest: Vec<&Balance> =
        handover.balances().into_iter().filter_map(|b| Some(&b.pair.latest()?.finding)).collect();
    let after = handover.balances().into_iter().any(|b| b.pair.after.is_some());
    let at = speeds(&latest, now);
    let sentence = match now {
        Verdict::InTolerance => format!("The carburettors are in tolerance{at}"),
        Verdict::OutOfTolerance => format!("The carburettors are out of tolerance{at}"),
        Verdict::NotSettled => {
            format!("It is not settled whether the carburettors are in tolerance{at}")
        }
    };
    let before: Vec<&Balance> = handover
        .balances()
        .into_iter()
        .filter_map(|b| Some(&b.pair.before.as_ref()?.finding))
        .collect();
    let was = before.iter().map(|b| b.verdict).reduce(worse);
    let was = match was {
        Some(_) if !after => BEFORE_ONLY.to_string(),
        Some(was) if was != now => {
            let at = speeds(&before, was);
            let words = match was {
                Verdict::InTolerance => "they were in tolerance",
                Verdict::OutOfTolerance => "they were out of tolerance",
                Verdict::NotSettled => "that was not settled",
            };
            format!("; before the work {words}{at}")
        }
        _ => String::new(),
    };
    Some(format!("{sentence}{was}."))
}

/// ` at idle (851 rev/min) and at 1998 rev/min`: the plateaus that have this verdict.
fn speeds(balances: &[&Balance], verdict: Verdict) -> String {
    let of_verdict = |p: &&PlateauBalance| p.verdict == verdict;
    let plateaus: Vec<&PlateauBalance> =
        balances.iter().flat_map(|b| &b.plateaus).filter(of_verdict).collect();
    let idles = plateaus.iter().filter(|p| is_idle(p)).filter_map(|p| p.rpm);
    let held = plateaus.iter().filter(|p| !is_idle(p)).filter_map(|p| p.rpm);
    let list = |speeds: Vec<f64>| -> Option<String> {
        let words: Vec<String> = speeds.iter().map(|rpm| format!("{rpm:.0}")).collect();
        let (last, first) = words.split_last()?;
        Some(match first {
            [] => format!("{last} rev/min"),
            first => format!("{} and {last} rev/min", first.join(", ")),
        })
    };
    let idle = list(idles.collect()).map(|speeds| format!(" at idle ({speeds})"));
    let held = list(held.collect());
    match (idle, held) {
        (Some(idle), Some(held)) => format!("{idle} and at {held}"),
        (Some(idle), None) => idle,
        (None, Some(held)) => format!(" at {held}"),
        (None, None) => String::new(),
    }
}

fn hunt(found: &Found<Hunt>) -> String {
    let leaks: Vec<&str> = found
        .finding
        .suspects
        .iter()
        .filter(|s| s.verdict == HuntVerdict::Leaks)
        .map(|s| s.name.as_str())
        .collect();
    match (found.finding.verdict, leaks.as_slice()) {
        (HuntVerdict::Sound, _) => "None of the suspects leaks.".into(),
        (_, []) => "It is not settled which suspect leaks.".into(),
        (_, [one]) => format!("One suspect leaks: {one}."),
        (_, many) => format!("{} suspects leak: {}.", many.len(), many.join(", ")),
    }
}

/// What nobody measured, one line each.
pub fn not_measured(handover: &Handover) -> Vec<String> {
    let mut missing = Vec::new();
    let mut when = |what: &str, before: bool, after: bool| match (before, after) {
        (false, false) => missing.push(format!("{what}, neither before the work nor after it.")),
        (false, true) => missing.push(format!("{what} before the work.")),
        (true, false) => missing.push(format!("{what} after the work.")),
        (true, true) => {}
    };
    let pair = &handover.breather;
    when("The closed breather", pair.before.is_some(), pair.after.is_some());
    for (what, idle) in [("The balance at idle", true), ("The balance off idle", false)] {
        let has = |found: &Option<Found<Balance>>| {
            let plateaus = found.iter().flat_map(|found| &found.finding.plateaus);
            plateaus.into_iter().any(|plateau| is_idle(plateau) == idle)
        };
        let any = |after: bool| {
            let logs = handover.balances().into_iter();
            logs.map(|b| if after { &b.pair.after } else { &b.pair.before }).any(has)
        };
        when(what, any(false), any(true));
    }
    if handover.hunt.is_none() {
        missing.push("Single leaks: no hunt was made.".into());
    }
    missing.push("The mixture: it needs an exhaust-gas analyser.".into());
    missing
}
