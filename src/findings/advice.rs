//! The balance in one plain sentence, and the causes to check.

use super::balance::{Open, PlateauBalance, ZeroMethod, ZeroUsed};
use super::{Conditions, Sides, in_step, one_sensor};
use crate::sample::Remark;
use crate::sensors::matching::DRIFT;
use crate::signal::Signal;
use crate::signal::plateaus::{self, Kind};
use crate::statistics::decision::Verdict;

/// Up to this speed a plateau is an idle, rev/min (common practice, no published source).
pub const IDLE_LIMIT_RPM: f64 = 1300.0;
/// Idle this near its target needs no correction, rev/min (common practice, no published source).
const ON_TARGET_RPM: f64 = 25.0;

/// A plateau counts as idle when its speed is unknown or low.
pub fn is_idle(plateau: &PlateauBalance) -> bool {
    plateau.rpm.is_none_or(|rpm| rpm <= IDLE_LIMIT_RPM)
}

/// The finding in one or two plain sentences.
pub fn sentence(
    signal: &Signal,
    plateaus: &[PlateauBalance],
    zero: &ZeroUsed,
    remarks: &[Remark],
    conditions: &Conditions,
) -> String {
    if plateaus.is_empty() {
        return nothing_to_judge(signal, remarks);
    }
    let worst = |verdict: Verdict| {
        plateaus
            .iter()
            .filter(|p| p.verdict == verdict)
            .max_by(|a, b| a.difference_kpa.abs().total_cmp(&b.difference_kpa.abs()))
    };
    if let Some(out) = worst(Verdict::OutOfTolerance) {
        return format!("Out of tolerance {}: {}", at(out), way(out, conditions));
    }
    if let Some(open) = worst(Verdict::NotSettled) {
        return format!("Not settled {}: {}", at(open), cure(open, zero));
    }
    let speeds = if plateaus.len() == 1 { at(&plateaus[0]) } else { "at every speed held".into() };
    format!(
        "In tolerance {speeds}: {} and {} draw alike.",
        conditions.sides.one, conditions.sides.two
    )
}

fn at(plateau: &PlateauBalance) -> String {
    at_speed(plateau.rpm, plateau.from_s, plateau.to_s)
}

/// The speed of a stretch, or when it was where the speed is not known.
pub(super) fn at_speed(rpm: Option<f64>, from_s: f64, to_s: f64) -> String {
    match rpm {
        Some(rpm) if rpm <= IDLE_LIMIT_RPM => format!("at idle ({rpm:.0} rev/min)"),
        Some(rpm) => format!("at {rpm:.0} rev/min"),
        None => format!("from {from_s:.0} s to {to_s:.0} s"),
    }
}

/// Which side passes more, and what to turn.
fn way(plateau: &PlateauBalance, conditions: &Conditions) -> String {
    let Sides { one, two } = &conditions.sides;
    let (shut, wide, share) = match plateau.open {
        Open::Carb1 => (one, two, 1.0 / plateau.air1_over_air2),
        _ => (two, one, plateau.air1_over_air2),
    };
    let percent = 100.0 * (share - 1.0);
    let limit = if conditions.balance_pipe { "at least " } else { "" };
    let turn = if is_idle(plateau) {
        idle_turn(plateau.rpm, conditions.idle_target_rpm, shut, wide)
    } else {
        format!("take up the linkage so that {shut} opens as far as {wide}.")
    };
    format!("{wide} passes {limit}{percent:.0} % more air than {shut}; {turn}")
}

/// What to turn at idle, `shut` being the side that passes less.
pub(super) fn idle_turn(rpm: Option<f64>, target: Option<f64>, shut: &str, wide: &str) -> String {
    match (rpm, target) {
        (Some(rpm), Some(target)) if rpm < target - ON_TARGET_RPM => {
            format!("the idle is below its target, so open {shut} a little.")
        }
        (Some(rpm), Some(target)) if rpm > target + ON_TARGET_RPM => {
            format!("the idle is above its target, so shut {wide} a little.")
        }
        (Some(_), Some(_)) => {
            format!("the idle is on its target, so open {shut} and shut {wide}, half each.")
        }
        _ => format!("open {shut} a little, or shut {wide} if the idle is too fast."),
    }
}

/// What would settle it.
fn cure(plateau: &PlateauBalance, zero: &ZeroUsed) -> String {
    if let (Some(more), ZeroMethod::OneSensor) = (plateau.needs_s, zero.method) {
        let changes = one_sensor::changes(more);
        return format!(
            "move the hose from side to side {changes} more times at this speed, {} s each, with a mark each time.",
            one_sensor::EACH_S
        );
    }
    if let Some(more) = plateau.needs_s {
        return format!("log about {more:.0} s more at this speed.");
    }
    match (plateau.largest_systematic(), zero.method) {
        (Some(in_step::COMPONENT), _) => {
            "the logger keeps step with the engine, and its readings fall at the same points of every cycle; log again at a slightly different engine speed or sampling rate.".into()
        }
        (Some("resolution"), _) => {
            "the sensors' steps are too coarse for this tolerance; more log does not help.".into()
        }
        (Some(DRIFT), _) => "what the sensors have drifted since the tee run leaves it open; log five seconds with the engine off in the next log, which takes that out.".into(),
        (_, ZeroMethod::Swap | ZeroMethod::OneSensor) => {
            "the difference lies too near the limit; more log does not help, so adjust towards zero and log again.".into()
        }
        _ => "more log alone cannot settle it, the sensors may differ by more than that; swap the two hoses for 20 s (marks 'hoses swapped', 'hoses direct') in the next log.".into(),
    }
}

/// Why no plateau could be judged, and how to log.
fn nothing_to_judge(signal: &Signal, remarks: &[Remark]) -> String {
    let how = "Log at least 15 s at a steady speed with both hoses on.";
    let running = signal.plateaus.iter().any(|p| p.kind == Kind::Running);
    let one = signal.cycles.vac1_kpa.is_none() || signal.cycles.vac2_kpa.is_none();
    if one {
        return format!("Nothing to compare: the log holds the vacuum of one side only. {how}");
    }
    if let Some(off) = remarks.iter().find(|remark| remark.code == "hose_off") {
        return format!("Nothing to compare: {}.", off.text);
    }
    if signal.cycles.rpm.is_none() {
        let why = "the log has no engine speed, and the ripple of the vacuum does not give it";
        return format!(
            "Nothing to judge: {why}. Log the speed, or at least 60 readings a second."
        );
    }
    let length_s = signal.track.duration().0;
    if length_s < plateaus::LEAST_S {
        return format!("Nothing to judge: the log is only {length_s:.1} s long. {how}");
    }
    if let Some(stuck) = signal.remarks.iter().find(|remark| remark.code == "stuck_sensor") {
        return format!("Nothing to judge: {}. {how}", stuck.text);
    }
    if signal.cycles.is_empty() {
        return format!("Nothing to judge: the log holds no whole engine cycle. {how}");
    }
    if !running {
        return format!(
            "Nothing to judge: the log holds no 3 s of steady speed with the engine running. {how}"
        );
    }
    format!("Nothing to judge: on the steady stretches one sensor gave no usable reading. {how}")
}

/// Causes to check, likeliest first; offered as such, never as certainties.
pub fn causes(plateaus: &[PlateauBalance], zero: &ZeroUsed) -> Vec<String> {
    let out = |p: &&PlateauBalance| p.verdict == Verdict::OutOfTolerance;
    let idle_out = plateaus.iter().filter(|p| is_idle(p)).any(|p| out(&p));
    let off_idle_out = plateaus.iter().filter(|p| !is_idle(p)).any(|p| out(&p));
    let off_idle_seen = plateaus.iter().any(|p| !is_idle(p));
    let idle_in = plateaus.iter().filter(|p| is_idle(p)).any(|p| p.verdict == Verdict::InTolerance);
    let alike = alike_everywhere(plateaus);
    let list: &[&str] = if alike && idle_out && off_idle_out {
        &[
            "unequal alike everywhere: the zero of the sensors (swap the hoses and see whether the difference stays)",
            "a bent or worn throttle spindle",
            "unlike carburettors (needles, pistons, springs)",
        ]
    } else if idle_out {
        &[
            "throttle stop screws set unequally",
            "an air leak into one tract (flange gasket, hose, spindle), which matters most at idle",
        ]
    } else if off_idle_out && idle_in {
        &["linkage take-up between the carburettors, since idle is equal and the held speed is not"]
    } else if off_idle_out {
        &[
            "linkage take-up between the carburettors",
            "unlike carburettors (needles, pistons, springs)",
        ]
    } else {
        &[]
    };
    let mut causes: Vec<String> = list.iter().map(|text| (*text).to_string()).collect();
    if idle_out && !off_idle_seen {
        causes.push("log held speeds of 1,500 to 2,000 and 2,500 to 3,000 rev/min too: they tell stop screws from linkage".into());
    }
    if !causes.is_empty() && zero.method == ZeroMethod::EngineOff {
        causes.push("unlike gains of the two sensors: a hose swap of 20 s takes them out".into());
    }
    causes
}

/// Idle and off-idle differ from zero alike: same sign, and within each other's intervals.
fn alike_everywhere(plateaus: &[PlateauBalance]) -> bool {
    let idle = plateaus.iter().find(|p| is_idle(p));
    let held = plateaus.iter().filter(|p| !is_idle(p)).collect::<Vec<_>>();
    idle.is_some_and(|idle| {
        !held.is_empty()
            && held.iter().all(|h| h.low_kpa <= idle.high_kpa && idle.low_kpa <= h.high_kpa)
    })
}
