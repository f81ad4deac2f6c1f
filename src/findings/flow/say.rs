//! What the airflow meters say, in one or two plain sentences.

use super::ratio::Told;
use super::{DRIFT, FlowPlateau, MATCHING, ZERO};
use crate::findings::balance::{Open, REPEATABILITY};
use crate::findings::{Conditions, Sides, advice, in_step};
use crate::signal::Signal;
use crate::signal::plateaus::Kind;
use crate::statistics::decision::Verdict;

/// The finding of these plateaus; `zero_seen` says whether the engine was off in the log.
pub fn sentence(plateaus: &[FlowPlateau], zero_seen: bool, conditions: &Conditions) -> String {
    let worst = |verdict: Verdict| {
        let size = |p: &FlowPlateau| p.flow1_over_flow2.ln().abs();
        plateaus.iter().filter(|p| p.verdict == verdict).max_by(|a, b| size(a).total_cmp(&size(b)))
    };
    if let Some(out) = worst(Verdict::OutOfTolerance) {
        return format!("Out of tolerance {}: {}", at(out), way(out, conditions));
    }
    if let Some(open) = worst(Verdict::NotSettled) {
        return format!("Not settled {}: {}", at(open), cure(open, zero_seen));
    }
    let speeds = match plateaus {
        [only] => at(only),
        _ => "at every speed held".into(),
    };
    let Sides { one, two } = &conditions.sides;
    format!("In tolerance {speeds}: {one} and {two} pass the same air.")
}

fn at(plateau: &FlowPlateau) -> String {
    advice::at_speed(plateau.rpm, plateau.from_s, plateau.to_s)
}

/// Which side passes more, and what to turn.
fn way(plateau: &FlowPlateau, conditions: &Conditions) -> String {
    let Sides { one, two } = &conditions.sides;
    let (shut, wide, share) = match plateau.open {
        Open::Carb1 => (one, two, 1.0 / plateau.flow1_over_flow2),
        _ => (two, one, plateau.flow1_over_flow2),
    };
    let percent = 100.0 * (share - 1.0);
    let turn = if plateau.rpm.is_none_or(|rpm| rpm <= advice::IDLE_LIMIT_RPM) {
        advice::idle_turn(plateau.rpm, conditions.idle_target_rpm, shut, wide)
    } else {
        format!("take up the linkage so that {shut} opens as far as {wide}.")
    };
    format!("{wide} passes {percent:.0} % more air than {shut}; {turn}")
}

/// What would settle it.
fn cure(plateau: &FlowPlateau, zero_seen: bool) -> String {
    if let Some(more) = plateau.needs_s {
        return format!("log about {more:.0} s more at this speed.");
    }
    let systematic = plateau.budget.iter().filter(|row| row.name != REPEATABILITY);
    let largest = systematic.max_by(|a, b| a.u_percent.total_cmp(&b.u_percent));
    match largest.map(|row| row.name) {
        Some(MATCHING) => "more log alone cannot settle it, the airflow meters may differ by more than that; swap the two meters for 20 s (marks 'meters swapped', 'meters direct') in the next log.".into(),
        Some(ZERO) if zero_seen => "the flow is small beside what is known of the zero of the meters; log 20 s with the engine off and the meters on in the next log.".into(),
        Some(ZERO) => NO_ZERO.into(),
        Some(DRIFT) => "the zeros of the airflow meters may have drifted since the engine was off; log five seconds with the engine off at the beginning and at the end of the next log.".into(),
        Some(in_step::COMPONENT) => "the logger keeps step with the engine, and its readings fall at the same points of every cycle; log again at a slightly different engine speed or sampling rate.".into(),
        Some("resolution") => "the steps of the airflow meters are too coarse for this tolerance; more log does not help.".into(),
        Some("noise under the root") => "the flow is small beside the noise of the airflow meters; meters with a narrower throat read more.".into(),
        _ => "the ratio lies too near the limit; more log does not help, so adjust towards equal and log again.".into(),
    }
}

const NO_ZERO: &str = "the log does not show the zero of the airflow meters; log five seconds with the engine off and the meters on in the next log.";

/// Why no stretch could be judged, and how to log.
pub fn nothing(signal: &Signal, told: &[Told], zero_seen: bool) -> String {
    let how = "Log at least 15 s at a steady speed with both airflow meters on.";
    let any = |wanted: &Told| told.contains(wanted);
    if any(&Told::Zero) && !zero_seen {
        return format!("Not settled: {NO_ZERO}");
    }
    if any(&Told::Zero) || any(&Told::Noise) {
        return "Not settled: the flow is so small beside the zero and the noise of the airflow meters that its root means nothing; check that both meters are connected, or take meters with a narrower throat, which read more.".into();
    }
    if signal.cycles.rpm.is_none() {
        return "Nothing to judge: the log has no engine speed, and the flow is averaged over whole engine cycles. Log the speed too.".into();
    }
    if !signal.plateaus.iter().any(|p| p.kind == Kind::Running) {
        return format!("Nothing to judge: no steady running of 3 s or more. {how}");
    }
    format!(
        "Nothing to judge: on the steady stretches one airflow meter gave no usable reading. {how}"
    )
}
