//! Balance of the two carburettors, plateau by plateau.
//!
//! On every plateau the difference of the two vacuums is averaged over whole cycles, freed from the
//! error of the sensor pair, given the combined uncertainty of everything that went in (JCGM 100)
//! and judged by the decision rule of ISO 14253-1.

use super::advice;
use super::air_share::{self, Share};
use super::flow::{self, Flow};
use super::in_step::{self, InStep};
use super::one_sensor::OnSide;
use super::screws::{self, Memory, Screws};
use super::stretches::{self, Stretch};
use super::{Conditions, idle_vacuum, one_sensor, resolution, strokes, swing, zero};
use crate::cores::{MANY_SAMPLES, both, each};
use crate::sample::{Meaning, Remark};
use crate::sensors::matching::{Matching, Prior};
use crate::signal::Signal;
use crate::signal::plateaus::Kind;
use crate::statistics::decision::{self, SoFar, Verdict};
use crate::statistics::uncertainty::{Budget, Component};
use serde::Serialize;

/// How the zero difference of the pair was taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ZeroMethod {
    /// Mean difference with the engine off.
    EngineOff,
    /// Both sensors on one tap.
    Tee,
    /// Hoses exchanged.
    Swap,
    /// One sensor moved from side to side: its zero is the same on both and drops out.
    OneSensor,
    /// Nothing available: the sensors' specification stands in.
    None,
}

/// The zero of the pair.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ZeroUsed {
    /// How it was found.
    pub method: ZeroMethod,
    /// Sensor 1 reads this much more vacuum than sensor 2 at equal vacuum, kPa.
    pub offset_kpa: f64,
    /// Standard uncertainty of the offset, kPa.
    pub u_kpa: f64,
}

/// The throttle to open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Open {
    /// The throttle of side 1.
    Carb1,
    /// The throttle of side 2.
    Carb2,
    /// Neither.
    None,
}

/// Balance on one plateau of steady speed. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlateauBalance {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Mean speed, rev/min; absent when neither a pick-up nor the ripple gives it.
    pub rpm: Option<f64>,
    /// Engine cycles averaged.
    pub cycles: u64,
    /// Mean vacuum of side 1 as read, kPa.
    pub vac1_kpa: f64,
    /// Mean vacuum of side 2 as read, kPa.
    pub vac2_kpa: f64,
    /// Peak-to-peak swing of side 1 within a cycle, kPa; absent when the log is too slow.
    pub ripple1_kpa: Option<f64>,
    /// Peak-to-peak swing of side 2 within a cycle, kPa; absent when the log is too slow.
    pub ripple2_kpa: Option<f64>,
    /// Vacuum 1 less vacuum 2, corrected for the zero, kPa.
    pub difference_kpa: f64,
    /// Lower end of the interval, kPa.
    pub low_kpa: f64,
    /// Upper end of the interval, kPa.
    pub high_kpa: f64,
    /// Combined standard uncertainty, kPa.
    pub u_kpa: f64,
    /// Effective degrees of freedom; absent when unbounded.
    pub dof: Option<f64>,
    /// Throttle opening of side 1 over that of side 2.
    pub air1_over_air2: f64,
    /// Lower end of the ratio's interval.
    pub air_low: f64,
    /// Upper end of the ratio's interval.
    pub air_high: f64,
    /// Verdict against the tolerance.
    pub verdict: Verdict,
    /// Probability that the difference is within the tolerance (JCGM 106:2012, with nothing known
    /// of it beforehand); absent where the uncertainty is nil.
    pub probability_in_tolerance: Option<f64>,
    /// The throttle to open, or none.
    pub open: Open,
    /// Seconds more of log that would settle the verdict; absent when time alone cannot.
    pub needs_s: Option<f64>,
    /// What the uncertainty consists of, one row a component.
    pub budget: Vec<BudgetRow>,
    /// What the uncertainty of the throttle ratio consists of.
    pub air_budget: Vec<AirBudgetRow>,
    /// The stretches averaged, for a chart.
    #[serde(skip)]
    pub stretches: Vec<Averaged>,
}

impl PlateauBalance {
    /// The largest component of the uncertainty that a longer log does not shrink.
    pub fn largest_systematic(&self) -> Option<&'static str> {
        let rows = self.budget.iter().filter(|row| row.name != REPEATABILITY);
        rows.max_by(|a, b| a.u_kpa.total_cmp(&b.u_kpa)).map(|row| row.name)
    }
}

/// A row of the uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BudgetRow {
    /// What contributes.
    pub name: &'static str,
    /// Contribution to the standard uncertainty of the difference, kPa.
    pub u_kpa: f64,
    /// Degrees of freedom; absent when unbounded.
    pub dof: Option<f64>,
}

/// A row of the uncertainty budget of the throttle ratio.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AirBudgetRow {
    /// What contributes.
    pub name: &'static str,
    /// Contribution to the standard uncertainty of the ratio.
    pub u_ratio: f64,
}

/// A stretch that went into a plateau: the corrected difference of a block is
/// `(vac1 - vac2 - error) * sign`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Averaged {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// 1, or -1 with the hoses exchanged.
    pub sign: f64,
    /// Error of the pair at this vacuum, kPa.
    pub error_kpa: f64,
}

/// What a log says of the balance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Balance {
    /// The zero taken out.
    pub zero: ZeroUsed,
    /// Tolerance on the difference, kPa.
    pub tolerance_kpa: f64,
    /// One entry a plateau, in the order of time.
    pub plateaus: Vec<PlateauBalance>,
    /// Verdict over all plateaus.
    pub verdict: Verdict,
    /// One plain sentence.
    pub say: String,
    /// Causes to check, likeliest first.
    pub causes: Vec<String>,
    /// What the stop screws do, and what to turn; absent where there is nothing to say.
    pub screws: Option<Screws>,
    /// How many of the first plateaus tell of an engine that is no more: a stop screw was turned after them.
    #[serde(skip)]
    pub superseded: usize,
    /// The stretches of one sensor on either side, for a chart; empty with two sensors.
    #[serde(skip)]
    pub on_sides: Vec<OnSide>,
    /// What shakes the result: hoses off, a swap that is not believed, a difference that steps.
    pub remarks: Vec<Remark>,
    /// By the airflow meters; absent where the log has not both.
    pub flow: Option<Flow>,
}

/// Finds the balance on every plateau of a signal.
pub fn find(signal: &Signal, conditions: &Conditions) -> Balance {
    if let Some(balance) = one_sensor::find(signal, conditions) {
        return balance;
    }
    let stretches::Found { mut stretches, mut remarks } = stretches::find(signal);
    let zero = zero::solve(&mut stretches, conditions);
    remarks.extend(zero.remarks);
    let prior = &zero.prior;
    let much = signal.track.len() >= MANY_SAMPLES;
    let mut plateaus = Vec::new();
    if let Some(matching) = &zero.matching {
        let in_step: Vec<InStep> = each(much, &stretches, |s| {
            in_step::of(signal, s.samples, s.difference.u, conditions.cylinders)
        });
        let (stretches, in_step) = (&stretches[..], &in_step[..]);
        let pair = Pair { signal, stretches, in_step, matching, prior, conditions };
        let mut running = vec![Vec::<usize>::new(); zero.settings];
        let turning = stretches.iter().enumerate().filter(|(_, s)| s.kind == Kind::Running);
        for (number, stretch) in turning {
            if let Some(numbers) = running.get_mut(stretch.setting) {
                numbers.push(number);
            }
        }
        let settings: Vec<(usize, Vec<usize>)> = running.into_iter().enumerate().collect();
        let plateau = |(setting, running): &(usize, Vec<usize>)| pair.plateau(*setting, running);
        plateaus.extend(each(much, &settings, plateau).into_iter().flatten());
        remarks.extend(in_step_remark(&plateaus, in_step, conditions.tolerance_kpa));
    }
    remarks.extend(idle_vacuum::remark(&plateaus, conditions));
    remarks.extend(one_sensor::remark_of_two(signal));
    remarks.extend(flow::remark_of_one(signal));
    let (screws, uneven) = both(
        much,
        || screws::find(signal, &plateaus, conditions, &Memory::default()).screws,
        || strokes::find(signal, &stretches, conditions.cylinders),
    );
    let zero = zero.used;
    let superseded = superseded(signal, plateaus.iter().map(|p| p.from_s));
    let now = &plateaus[superseded..];
    let verdict = decision::overall(now.iter().map(|p| p.verdict));
    let say = advice::sentence(signal, now, &zero, &remarks, conditions);
    let flow = flow::find(signal, conditions);
    let (verdict, say) = match &flow {
        Some(flow) if flow::is_alone(signal) => (flow.verdict, flow.say.clone()),
        _ => (verdict, say),
    };
    let mut causes = advice::causes(now, &zero);
    causes.extend(uneven.map(|uneven| uneven.cause(conditions)));
    let tolerance_kpa = conditions.tolerance_kpa;
    Balance {
        zero,
        tolerance_kpa,
        plateaus,
        verdict,
        say,
        causes,
        screws,
        superseded,
        on_sides: Vec::new(),
        remarks,
        flow,
    }
}

/// How many of the first plateaus, which begin at these times (s), tell of an engine that is no more: a stop
/// screw was turned after them, and it was logged again.
pub(super) fn superseded(signal: &Signal, begin_s: impl ExactSizeIterator<Item = f64>) -> usize {
    let is_screw = |meaning: &Meaning| matches!(meaning, Meaning::Screw { .. });
    let turned = signal.track.marks.iter().rfind(|mark| is_screw(&mark.meaning));
    let all = begin_s.len();
    let before = turned.map_or(0, |turned| begin_s.take_while(|at_s| *at_s < turned.at.0).count());
    if before < all { before } else { 0 }
}

/// Said where it is the largest part of a plateau's uncertainty, and matters beside the tolerance.
fn in_step_remark(
    plateaus: &[PlateauBalance],
    in_step: &[InStep],
    tolerance_kpa: f64,
) -> Option<Remark> {
    let largest = |p: &&PlateauBalance| {
        let row = p.budget.iter().max_by(|a, b| a.u_kpa.total_cmp(&b.u_kpa));
        row.is_some_and(|row| {
            row.name == in_step::COMPONENT && row.u_kpa > IN_STEP_MATTERS * tolerance_kpa
        })
    };
    let at_s: Vec<f64> = plateaus.iter().filter(largest).map(|p| p.from_s).collect();
    let worst = in_step.iter().max_by(|a, b| a.u_kpa.total_cmp(&b.u_kpa))?;
    (!at_s.is_empty()).then(|| in_step::remark(worst, &at_s))
}

/// What is needed to work out one plateau.
struct Pair<'a> {
    signal: &'a Signal,
    stretches: &'a [Stretch],
    /// What being in step does to each stretch.
    in_step: &'a [InStep],
    matching: &'a Matching,
    prior: &'a Prior,
    conditions: &'a Conditions,
}

impl Pair<'_> {
    /// `running` are the numbers of the setting's stretches with the engine running.
    fn plateau(&self, setting: usize, running: &[usize]) -> Option<PlateauBalance> {
        let stretches = running.iter().map(|number| &self.stretches[*number]);
        let own: Vec<&Stretch> = stretches.filter(|s| s.shows_sides()).collect();
        let (first, last) = (own.first()?, own.last()?);
        let time: f64 = own.iter().map(|s| s.to_s - s.from_s).sum();
        let weighted = |value: &dyn Fn(&Stretch) -> f64| {
            own.iter().map(|s| value(s) * (s.to_s - s.from_s)).sum::<f64>() / time
        };
        let side = |one: bool| {
            weighted(&|s: &Stretch| if s.swapped != one { s.vac1_kpa } else { s.vac2_kpa })
        };
        let rpm = own.iter().all(|s| s.rpm.is_some()).then(|| weighted(&|s| s.rpm.unwrap_or(0.0)));
        let difference = self.matching.difference_kpa(setting);
        let aliased = running.iter().map(|i| self.in_step[*i].u_kpa).fold(0.0, f64::max);
        let budget = self.budget(setting, &own, difference, aliased)?;
        let (u, dof) = (budget.u, budget.dof);
        let coverage = budget.coverage_factor(LEVEL)?;
        let reach = coverage * u;
        let (low, high) = (difference - reach, difference + reach);
        let tolerance = self.conditions.tolerance_kpa;
        let verdict = decision::decide(low, high, tolerance);
        let vacuum = 0.5 * (side(true) + side(false));
        let air = air_share::of_sides(self.conditions, vacuum, difference, u)?;
        let air_reach = coverage * air.u();
        let ripple = |one: bool| {
            let rates: Option<Vec<f64>> = own
                .iter()
                .map(|s| swing::ripple(self.signal, s.samples, s.swapped != one))
                .collect();
            rates.map(|r| r.iter().sum::<f64>() / r.len() as f64)
        };
        Some(PlateauBalance {
            from_s: first.from_s,
            to_s: last.to_s,
            rpm,
            cycles: own.iter().map(|s| s.cycles).sum::<f64>().round() as u64,
            vac1_kpa: side(true),
            vac2_kpa: side(false),
            ripple1_kpa: ripple(true),
            ripple2_kpa: ripple(false),
            difference_kpa: difference,
            low_kpa: low,
            high_kpa: high,
            u_kpa: u,
            dof: Some(dof).filter(|d| *d < MANY_DOF),
            air1_over_air2: air.ratio,
            air_low: air.ratio - air_reach,
            air_high: air.ratio + air_reach,
            verdict,
            probability_in_tolerance: decision::probability_within(
                difference, u, dof, -tolerance, tolerance,
            ),
            open: open(verdict, low, high),
            needs_s: (verdict == Verdict::NotSettled)
                .then(|| self.needs(&budget, difference, time))
                .flatten(),
            budget: rows(&budget),
            air_budget: air_rows(&air),
            stretches: own.iter().map(|s| self.averaged(s)).collect(),
        })
    }

    fn averaged(&self, stretch: &Stretch) -> Averaged {
        let vacuum = 0.5 * (stretch.vac1_kpa + stretch.vac2_kpa);
        Averaged {
            from_s: stretch.from_s,
            to_s: stretch.to_s,
            sign: if stretch.swapped { -1.0 } else { 1.0 },
            error_kpa: self.matching.error_kpa(vacuum).0,
        }
    }

    /// Everything that makes the difference uncertain; `aliased` is what being in step adds, kPa.
    fn budget(
        &self,
        setting: usize,
        own: &[&Stretch],
        difference: f64,
        aliased: f64,
    ) -> Option<Budget> {
        let mut components = Vec::new();
        for (number, sensitivity) in self.matching.sensitivities(setting) {
            let stretch = &self.stretches[number];
            let u = (sensitivity * stretch.difference.u).abs();
            let name = match stretch {
                s if s.shows_sides() && s.setting == setting => REPEATABILITY,
                s if s.tee => "zero of the pair: tee run",
                _ => "zero of the pair",
            };
            components.push(Component { name, u, dof: stretch.difference.dof });
        }
        let worst = own
            .iter()
            .map(|s| resolution::of_difference(&self.signal.track, s.samples))
            .fold(0.0, f64::max);
        // A gain that both sensors share scales the difference, and no swap shows it.
        let common = self.conditions.sensor_gain_limit / 3.0_f64.sqrt() / 2.0_f64.sqrt();
        let known = |name, u| Component { name, u, dof: f64::INFINITY };
        components.push(known("gain common to both sensors", common * difference.abs()));
        components.extend(self.matching.left_by_prior(setting, self.prior));
        components.push(known("resolution", worst));
        components.push(known(in_step::COMPONENT, aliased));
        // One that is no number is kept, so that the budget refuses it.
        components.retain(|c| c.u != 0.0);
        Budget::new(components).ok()
    }

    /// Seconds more that would settle the verdict: the repeatability shrinks with the square root
    /// of time, the rest does not.
    fn needs(&self, budget: &Budget, difference: f64, so_far_s: f64) -> Option<f64> {
        decision::seconds_more(&SoFar {
            u_random: budget.part(|c| c.name == REPEATABILITY),
            u_systematic: budget.part(|c| c.name != REPEATABILITY),
            seconds: so_far_s,
            to_limit: (difference.abs() - self.conditions.tolerance_kpa).abs(),
            coverage_factor: budget.coverage_factor(LEVEL)?,
        })
    }
}

/// Probability that the intervals hold.
pub(super) const LEVEL: f64 = 0.95;
/// From here on Student's t is the normal distribution for all purposes.
pub(super) const MANY_DOF: f64 = 1e5;

/// A logger in step is worth a word from this share of the tolerance on: twice it is the reach.
const IN_STEP_MATTERS: f64 = 0.05;

pub(super) const REPEATABILITY: &str = "repeatability";

pub(super) fn air_rows(air: &Share) -> Vec<AirBudgetRow> {
    [
        ("difference of the vacuums", air.u_by_difference),
        ("offset and gain common to both sensors", air.u_by_vacuum),
        ("barometric pressure", air.u_by_baro),
        ("burnt gas left in the cylinders", air.u_by_filling),
    ]
    .into_iter()
    .map(|(name, u_ratio)| AirBudgetRow { name, u_ratio })
    .collect()
}

/// Components of one name joined into a row, with the degrees of freedom of Welch and Satterthwaite,
/// so that the rows joined once more give those of the whole.
pub(super) fn rows(budget: &Budget) -> Vec<BudgetRow> {
    let mut names: Vec<&'static str> = Vec::new();
    for component in &budget.components {
        if !names.contains(&component.name) {
            names.push(component.name);
        }
    }
    let row = |name: &'static str| {
        let parts = budget.components.iter().filter(|c| c.name == name).cloned().collect();
        let joined = Budget::new(parts).ok()?;
        let dof = Some(joined.dof).filter(|d| *d < MANY_DOF);
        Some(BudgetRow { name, u_kpa: joined.u, dof })
    };
    names.into_iter().filter_map(row).collect()
}

/// The side with the higher vacuum has its throttle shut further.
pub(super) fn open(verdict: Verdict, low: f64, high: f64) -> Open {
    match verdict {
        Verdict::InTolerance => Open::None,
        _ if low > 0.0 => Open::Carb1,
        _ if high < 0.0 => Open::Carb2,
        _ => Open::None,
    }
}
