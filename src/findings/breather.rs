//! The idle drop when the oil filler cap comes off.

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
    /// Crankcase below atmosphere with the cap on, kPa.
    pub crank_closed_kpa: Option<f64>,
    /// Crankcase below atmosphere with the cap off, kPa.
    pub crank_open_kpa: Option<f64>,
    /// Verdict.
    pub verdict: BreatherVerdict,
    /// One plain sentence.
    pub say: String,
    /// Causes to check, likeliest first.
    pub causes: Vec<String>,
    /// Fitted speed over time: (s, rev/min), for the chart.
    #[serde(skip)]
    pub curve: Vec<(f64, f64)>,
}
