//! A hunt in words.

use super::{Hunt, HuntVerdict, Into, Jet, Suspect, Trial};
use crate::findings::Sides;
use crate::sample::Remark;

const HOW: &str = "At idle seal one suspect 8 s and release it 8 s, then the next, and go round all of them two or three times, with the marks 'seal NAME' and 'release NAME' ('record --guide hunt' leads through it).";

/// What to do where there is no trial.
pub const NO_TRIAL: &str = "Not settled: the log holds no trial. At idle seal one suspect 8 s and release it 8 s, then the next, and go round all of them two or three times, with the marks 'seal NAME' and 'release NAME' ('record --guide hunt' leads through it).";

/// What to do where there is no speed.
pub const NO_SPEED: &str = "Not settled: the log holds no engine speed, and its vacuum shows no ripple to take it from. Connect the pick-up, or log 100 rows a second and more.";

/// What was found, and what to do next.
pub fn sentences(hunt: &Hunt, sides: &Sides) -> String {
    let of = |verdict: HuntVerdict| -> Vec<&Suspect> {
        hunt.suspects.iter().filter(|s| s.verdict == verdict).collect()
    };
    let (leaks, sound) = (of(HuntVerdict::Leaks), of(HuntVerdict::Sound));
    let open = of(HuntVerdict::NotSettled);
    let mut say: Vec<String> = leaks.iter().map(|suspect| leak(suspect, sides)).collect();
    if leaks.is_empty() {
        say.push(match open.is_empty() {
            true => "No suspect leaks enough to matter.".into(),
            false => "Not settled: no suspect is shown to leak.".into(),
        });
    }
    let all_sound = leaks.is_empty() && open.is_empty();
    if !sound.is_empty() && !all_sound {
        say.push(format!("Sound: {}.", names(&sound)));
    }
    if !open.is_empty() {
        say.push(again(&open));
    }
    say.join(" ")
}

fn leak(suspect: &Suspect, sides: &Sides) -> String {
    let name = &suspect.name;
    let hole = match (suspect.hole_mm, suspect.hole_low_mm, suspect.hole_high_mm) {
        (Some(mm), Some(low), Some(high)) => {
            format!(", as much as a round hole of {mm:.1} mm ({low:.1} to {high:.1})")
        }
        _ => String::new(),
    };
    let share = |air: Option<f64>| air.map_or(0.0, |percent| -percent);
    let [one, two] = [suspect.effect_air1_percent, suspect.effect_air2_percent].map(share);
    match suspect.into {
        Some(Into::Both) => {
            format!("{name} leaks into both tracts{hole}.")
        }
        Some(Into::Carb1) => {
            format!(
                "{name} leaks into the tract of {}: {one:.0} % of the air that it draws{hole}.",
                sides.one
            )
        }
        Some(Into::Carb2) => {
            format!(
                "{name} leaks into the tract of {}: {two:.0} % of the air that it draws{hole}.",
                sides.two
            )
        }
        Some(Into::BeforeThrottles) | None => format!(
            "{name} leaks before the throttles, as a crankcase seal or a breather hose does: sealed, the idle rises by {:.0} rev/min.",
            suspect.effect_rpm.unwrap_or(0.0)
        ),
    }
}

/// Which to try again, and how often.
fn again(open: &[&Suspect]) -> String {
    let mut parts = Vec::new();
    let mut counts: Vec<u32> = open.iter().filter_map(|s| s.needs_trials).collect();
    counts.sort_unstable();
    counts.dedup();
    for count in counts {
        let these: Vec<&Suspect> =
            open.iter().copied().filter(|s| s.needs_trials == Some(count)).collect();
        let times = if count == 1 { "once more".into() } else { format!("{count} times more") };
        let each = if these.len() > 1 { " each" } else { "" };
        parts.push(format!("Try {} {times}{each}, 8 s sealed and 8 s released.", names(&these)));
    }
    let tried = |s: &&Suspect| s.needs_trials.is_none() && s.trials > 0;
    let beyond: Vec<&Suspect> = open.iter().copied().filter(tried).collect();
    if !beyond.is_empty() {
        parts.push(format!(
            "{}: more of the same does not settle it soon; seal for 20 s instead of 8, on a steadier idle.",
            names(&beyond)
        ));
    }
    let untried: Vec<&Suspect> = open.iter().copied().filter(|s| s.trials == 0).collect();
    if !untried.is_empty() {
        parts.push(format!("No trial of {} could be used. {HOW}", names(&untried)));
    }
    parts.join(" ")
}

fn names(suspects: &[&Suspect]) -> String {
    let names: Vec<&str> = suspects.iter().map(|s| s.name.as_str()).collect();
    match names.split_last() {
        Some((last, [])) => (*last).to_string(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
        None => String::new(),
    }
}

/// Marks that no other answers.
pub fn unanswered(at_s: &[f64]) -> Option<Remark> {
    let text = "a mark 'seal', 'release' or 'known leak' without the one that belongs to it: left out; mark both, and open or seal one at a time";
    (!at_s.is_empty()).then(|| Remark::new("mark_unanswered", at_s.len(), at_s, text))
}

/// Trials that could not be judged.
pub fn left_out(trials: &[Trial]) -> Option<Remark> {
    let at_s: Vec<f64> = trials.iter().map(|trial| trial.from_s).collect();
    let text = "trials left out: shorter than 4 s, without 4 s of idle on both sides, or with a gap, a stall or a blip of the throttle in or beside them";
    (!at_s.is_empty()).then(|| Remark::new("trials_left_out", at_s.len(), &at_s, text))
}

/// A jet that was opened and does not show.
pub fn faint_jet(jet: Option<&Jet>) -> Option<Remark> {
    let text = "the known jet does not show clearly, so that no hole can be measured by it; open it more often, or a larger one";
    jet.filter(|jet| !jet.shows).map(|_| Remark::new("faint_jet", 1, &[], text))
}

/// Suspects that slow the idle when they are sealed.
pub fn slower(hunt: &Hunt) -> Option<Remark> {
    let limit = hunt.limit_rpm?;
    let these: Vec<&Suspect> = hunt
        .suspects
        .iter()
        .filter(|s| s.verdict == HuntVerdict::NotSettled)
        .filter(|s| s.high_rpm.is_some_and(|high| high < -limit))
        .collect();
    (!these.is_empty()).then(|| {
        let text = format!(
            "sealing {} slows the idle and takes no air away: a load that came with it does that, a shut vacuum line that advances the ignition, or, on an engine set too rich, a leak before the throttles",
            names(&these)
        );
        Remark::new("slower_when_sealed", these.len(), &[], text)
    })
}
