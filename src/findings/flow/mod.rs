//! The balance by two airflow meters on the carburettor mouths, beside that of the vacuums.
//!
//! Meters of the differential-pressure kind: the flow goes with the root of what they read ([`root`]). On
//! every steady stretch the roots are averaged over whole engine cycles, and the ratio of the two flows is
//! given its combined uncertainty (JCGM 100) and judged by the decision rule of ISO 14253-1. The limits
//! are `1 + tolerance` and its inverse, so that they are the same for both sides.
//!
//! The method rests on meters that follow the swing of a cycle: a meter that is slower reads the mean of
//! the pressure, whose root is too large. Alike on both sides that cancels; there is no telling from the
//! log whether it does.

mod pieces;
mod ratio;
mod result;
mod root;
mod say;
mod zero;

use super::Conditions;
use super::balance::{self, LEVEL, MANY_DOF, REPEATABILITY};
use super::in_step;
use crate::sample::Remark;
use crate::signal::Signal;
use crate::statistics::decision::{self, SoFar, Verdict};
use crate::statistics::uncertainty::{Budget, Component};
use ratio::{Reading, Told};
pub use result::{Flow, FlowBlock, FlowBudgetRow, FlowPlateau, FlowZeroMethod, MatchMethod};
use root::Root;
use zero::Zero;

/// Stretches with the meters direct and exchanged are one setting when their speeds agree within this share.
const SAME_SPEED: f64 = 0.06;
/// Meters that differ by this many times their limit have not been exchanged.
const BEYOND_BELIEF: f64 = 4.0;

/// Name of the component of the meters' constants in a budget.
const MATCHING: &str = "matching of the meters";
/// Name of the component of the meters' zeros in a budget.
const ZERO: &str = "zero of the meters";
/// Name of the component of their drift.
const DRIFT: &str = "drift of the meters' zeros";

/// True where the log has a column for each of the two meters.
pub fn is_there(signal: &Signal) -> bool {
    signal.track.flow1_kpa.is_some() && signal.track.flow2_kpa.is_some()
}

/// True where the meters are all there is: no vacuum to judge by.
pub fn is_alone(signal: &Signal) -> bool {
    is_there(signal) && signal.track.vac1_kpa.is_none() && signal.track.vac2_kpa.is_none()
}

/// A meter on one side only.
pub fn remark_of_one(signal: &Signal) -> Option<Remark> {
    let track = &signal.track;
    let number = match (&track.flow1_kpa, &track.flow2_kpa) {
        (Some(_), None) => (1, 2),
        (None, Some(_)) => (2, 1),
        _ => return None,
    };
    let text = format!(
        "there is a column for airflow meter {} and none for airflow meter {}: a ratio needs both, so the meter was left aside; name the other with --columns \"flow{}=HEADING\"",
        number.0, number.1, number.1
    );
    Some(Remark::new("one_flow_meter", 1, &[], text))
}

/// Finds the ratio of the flows on every steady stretch of a signal; none where the log has not both
/// meters.
pub fn find(signal: &Signal, conditions: &Conditions) -> Option<Flow> {
    let columns = [signal.track.flow1_kpa.as_ref()?, signal.track.flow2_kpa.as_ref()?];
    let zeros = columns.map(|column| Zero::find(signal, column, conditions));
    let mut roots = [0, 1].map(|m: usize| Root::of(signal, columns[m], &zeros[m]));
    let mut remarks: Vec<Remark> = turned(signal, &mut roots).into_iter().collect();
    let pieces::Found { pieces, steps } = pieces::find(signal, &roots);
    if !steps.is_empty() {
        let text = "the ratio of the airflow meters steps although the speed is steady: something was changed there; the parts are judged apart. If the meters changed places, mark it 'meters swapped'; a screw turned, 'screw 1 +0.25'";
        remarks.push(Remark::new("flow_steps", steps.len(), &steps, text));
    }
    let read = |piece| ratio::read(signal, &roots, piece, conditions.cylinders);
    let told: Vec<Told> = pieces.iter().map(read).collect();
    let (groups, doubt) = believed(groups(&told), conditions);
    remarks.extend(doubt);
    let plateaus: Vec<FlowPlateau> =
        groups.iter().filter_map(|group| plateau(group, conditions)).collect();
    let superseded = balance::superseded(signal, plateaus.iter().map(|p| p.from_s));
    let now = &plateaus[superseded..];
    let verdict = decision::overall(now.iter().map(|p| p.verdict));
    let is_seen = zeros.iter().all(Zero::is_seen);
    let say = match now {
        [] => say::nothing(signal, &told, is_seen),
        now => say::sentence(now, is_seen, conditions),
    };
    Some(Flow {
        zero: if is_seen { FlowZeroMethod::EngineOff } else { FlowZeroMethod::None },
        tolerance_percent: 100.0 * conditions.flow_tolerance,
        plateaus,
        verdict,
        say,
        superseded,
        remarks,
        blocks: pieces.iter().flat_map(|piece| by_side(signal, &roots, piece)).collect(),
    })
}

/// The cycles of a stretch by side: with the meters exchanged, meter 2 is on side 1.
fn by_side<'a>(
    signal: &'a Signal,
    roots: &'a [Root; 2],
    piece: &'a pieces::Piece,
) -> impl Iterator<Item = FlowBlock> + use<'a> {
    let side1 = usize::from(piece.swapped);
    piece.blocks.iter().map(move |k| {
        let (one, two) = (roots[side1].blocks[*k], roots[1 - side1].blocks[*k]);
        FlowBlock {
            at_s: signal.cycles.middle_s(*k),
            flow1_kpa: one * one,
            flow2_kpa: two * two,
            flow1_over_flow2: one / two,
        }
    })
}

/// Turns the sign of a meter that reads below its zero with the engine running.
fn turned(signal: &Signal, roots: &mut [Root; 2]) -> Option<Remark> {
    let mut names = Vec::new();
    for (number, root) in roots.iter_mut().enumerate() {
        if pieces::usual(signal, root) < 0.0 {
            root.turn();
            names.push(format!("airflow meter {}", number + 1));
        }
    }
    let (each, whose) = if names.len() == 2 {
        ("read", "the two hoses of each are exchanged; the signs were turned")
    } else {
        ("reads", "its two hoses are exchanged; the sign was turned")
    };
    (!names.is_empty()).then(|| {
        let text =
            format!("{} {each} below zero with the engine running: {whose}", names.join(" and "));
        Remark::new("flow_negative", names.len(), &[], text)
    })
}

/// Readings of one setting: the meters direct, and exchanged.
#[derive(Debug, Clone, Default)]
struct Group<'a> {
    direct: Vec<&'a Reading>,
    swapped: Vec<&'a Reading>,
}

/// A reading is of the setting before it when nothing but the meters was changed in between.
fn groups(told: &[Told]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group> = Vec::new();
    let mut before: Option<&Reading> = None;
    for told in told {
        let Told::Ratio(reading) = told else {
            before = None;
            continue;
        };
        let same_speed = |other: &Reading| match (other.rpm, reading.rpm) {
            (Some(a), Some(b)) => (a - b).abs() <= SAME_SPEED * a,
            _ => true,
        };
        let same = |other: &&Reading| {
            !reading.fresh && other.swapped != reading.swapped && same_speed(other)
        };
        if before.filter(same).is_none() {
            groups.push(Group::default());
        }
        before = Some(reading);
        if let Some(group) = groups.last_mut() {
            if reading.swapped { &mut group.swapped } else { &mut group.direct }.push(reading);
        }
    }
    groups
}

/// Meters that an exchange shows to be impossibly unlike count as never exchanged.
fn believed<'a>(
    groups: Vec<Group<'a>>,
    conditions: &Conditions,
) -> (Vec<Group<'a>>, Option<Remark>) {
    let limit = BEYOND_BELIEF * prior(conditions);
    let unlike = |group: &&Group| {
        let (both, by) = ratio::exchanged(&group.direct, &group.swapped)?;
        (by.abs() > limit.hypot(BEYOND_BELIEF * both.scatter.0)).then_some((both.from_s, by))
    };
    let Some((at_s, by)) = groups.iter().find_map(|group| unlike(&group)) else {
        return (groups, None);
    };
    let text = format!(
        "the airflow meters are marked as swapped, but then they would differ by {:.0} % at equal flow, far more than their limit: the swap is not believed; check the marks and the meters",
        100.0 * by.abs().exp_m1()
    );
    let alone = groups.into_iter().flat_map(|group| group.direct.into_iter().chain(group.swapped));
    let mut alone: Vec<&Reading> = alone.collect();
    alone.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let alone =
        alone.into_iter().map(|reading| Group { direct: vec![reading], swapped: Vec::new() });
    (alone.collect(), Some(Remark::new("meter_swap_doubtful", 1, &[at_s], text)))
}

/// Standard uncertainty of the meters' matching where nothing shows it: a rectangular limit each.
fn prior(conditions: &Conditions) -> f64 {
    conditions.flow_meter_limit / 3.0_f64.sqrt() * 2.0_f64.sqrt()
}

fn plateau(group: &Group, conditions: &Conditions) -> Option<FlowPlateau> {
    let exchanged = ratio::exchanged(&group.direct, &group.swapped);
    let (reading, meters) = match (exchanged, ratio::joined(&group.direct)) {
        (Some((both, by)), _) => (both, Some(by.exp())),
        (None, Some(direct)) => (direct, None),
        // Never direct: the meter of the other column is on side 1.
        (None, None) => {
            let mut swapped = ratio::joined(&group.swapped)?;
            swapped.log_ratio = -swapped.log_ratio;
            swapped.flow_kpa.reverse();
            (swapped, None)
        }
    };
    let budget = budget(&reading, meters.is_none(), conditions)?;
    let coverage = budget.coverage_factor(LEVEL)?;
    let (value, u) = (reading.log_ratio, budget.u);
    let (low, high) = (value - coverage * u, value + coverage * u);
    let limit = conditions.flow_tolerance.ln_1p();
    let verdict = decision::decide(low, high, limit);
    let so_far = SoFar {
        u_random: budget.part(|c| c.name == REPEATABILITY),
        u_systematic: budget.part(|c| c.name != REPEATABILITY),
        seconds: reading.lasts_s,
        to_limit: (value.abs() - limit).abs(),
        coverage_factor: coverage,
    };
    let open = verdict == Verdict::NotSettled;
    Some(FlowPlateau {
        from_s: reading.from_s,
        to_s: reading.to_s,
        rpm: reading.rpm,
        cycles: reading.cycles.round() as u64,
        flow1_kpa: reading.flow_kpa[0],
        flow2_kpa: reading.flow_kpa[1],
        flow1_over_flow2: value.exp(),
        low: low.exp(),
        high: high.exp(),
        u_percent: 100.0 * u,
        dof: Some(budget.dof).filter(|dof| *dof < MANY_DOF),
        matching: if meters.is_some() { MatchMethod::Swap } else { MatchMethod::None },
        meter1_over_meter2: meters,
        verdict,
        probability_in_tolerance: decision::probability_within(value, u, budget.dof, -limit, limit),
        // The side that passes less has its throttle shut further.
        open: balance::open(verdict, -high, -low),
        needs_s: if open { decision::seconds_more(&so_far) } else { None },
        budget: rows(&budget),
    })
}

/// Everything that makes the logarithm of the ratio uncertain.
fn budget(reading: &Reading, unmatched: bool, conditions: &Conditions) -> Option<Budget> {
    let known = |name, u| Component { name, u, dof: f64::INFINITY };
    let (u, dof) = reading.scatter;
    let mut components = vec![Component { name: REPEATABILITY, u, dof }];
    for (u, dof) in reading.by_zero {
        components.push(Component { name: ZERO, u: u.abs(), dof });
    }
    components.push(known(DRIFT, reading.by_drift));
    components.push(known(MATCHING, if unmatched { prior(conditions) } else { 0.0 }));
    components.push(known("noise under the root", reading.by_noise));
    components.push(known("resolution", reading.by_resolution));
    components.push(known(in_step::COMPONENT, reading.by_step));
    components.retain(|component| component.u != 0.0);
    Budget::new(components).ok()
}

fn rows(budget: &Budget) -> Vec<FlowBudgetRow> {
    let row = |row: balance::BudgetRow| FlowBudgetRow {
        name: row.name,
        // The rows are those of the logarithm: a hundredth of it is a per cent of the ratio.
        u_percent: 100.0 * row.u_kpa,
        dof: row.dof,
    };
    balance::rows(budget).into_iter().map(row).collect()
}
