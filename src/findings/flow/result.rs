//! What two airflow meters say of the balance: numbers, intervals, a verdict.

use crate::findings::balance::Open;
use crate::sample::Remark;
use crate::statistics::decision::Verdict;
use serde::Serialize;

/// How the constants of the two meters were matched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MatchMethod {
    /// The meters changed places at one speed: their constants drop out.
    Swap,
    /// Nothing available: the limit of a meter's constant stands in.
    None,
}

/// How the zeros of the meters were found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FlowZeroMethod {
    /// Mean reading with the engine off.
    EngineOff,
    /// Nothing available: the limit of a meter's zero stands in.
    None,
}

/// The ratio of the flows on one stretch of steady speed. Intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowPlateau {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Mean speed, rev/min; absent where it is not known.
    pub rpm: Option<f64>,
    /// Engine cycles averaged.
    pub cycles: u64,
    /// Steady differential pressure that gives the mean flow of side 1, zero taken out, kPa.
    pub flow1_kpa: f64,
    /// The same of side 2, kPa.
    pub flow2_kpa: f64,
    /// Flow of side 1 over that of side 2.
    pub flow1_over_flow2: f64,
    /// Lower end of the ratio's interval.
    pub low: f64,
    /// Upper end of the ratio's interval.
    pub high: f64,
    /// Combined standard uncertainty of the ratio, % of it.
    pub u_percent: f64,
    /// Effective degrees of freedom; absent when unbounded.
    pub dof: Option<f64>,
    /// How the meters were matched.
    pub matching: MatchMethod,
    /// Flow of meter 1 over that of meter 2 at equal flow; absent without an exchange of the meters.
    pub meter1_over_meter2: Option<f64>,
    /// Verdict against the tolerance.
    pub verdict: Verdict,
    /// Probability that the ratio is within the tolerance (JCGM 106:2012, with nothing known of it
    /// beforehand); absent where the uncertainty is nil.
    pub probability_in_tolerance: Option<f64>,
    /// The throttle to open, or none.
    pub open: Open,
    /// Seconds more of log that would settle the verdict; absent when time alone cannot.
    pub needs_s: Option<f64>,
    /// What the uncertainty consists of, one row a component.
    pub budget: Vec<FlowBudgetRow>,
}

/// A row of the uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowBudgetRow {
    /// What contributes.
    pub name: &'static str,
    /// Contribution to the standard uncertainty of the ratio, % of it.
    pub u_percent: f64,
    /// Degrees of freedom; absent when unbounded.
    pub dof: Option<f64>,
}

/// What the airflow meters of a log say of the balance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Flow {
    /// How the zeros of the meters were found.
    pub zero: FlowZeroMethod,
    /// Most by which one side may pass more air than the other, %.
    pub tolerance_percent: f64,
    /// One entry a stretch, in the order of time.
    pub plateaus: Vec<FlowPlateau>,
    /// Verdict over all that are not superseded by a turn of a screw.
    pub verdict: Verdict,
    /// One plain sentence.
    pub say: String,
    /// How many of the first plateaus tell of an engine that is no more: a stop screw was turned after
    /// them.
    #[serde(skip)]
    pub superseded: usize,
    /// What shakes the result.
    pub remarks: Vec<Remark>,
    /// The cycles that were averaged, for a chart.
    #[serde(skip)]
    pub blocks: Vec<FlowBlock>,
}

/// The flows over one block of whole cycles, as the meters show them with their zeros taken out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlowBlock {
    /// Middle, s.
    pub at_s: f64,
    /// Steady differential pressure that gives the mean flow of side 1, kPa.
    pub flow1_kpa: f64,
    /// The same of side 2, kPa.
    pub flow2_kpa: f64,
    /// Flow of side 1 over that of side 2.
    pub flow1_over_flow2: f64,
}
