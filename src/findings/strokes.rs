//! A cylinder that draws less than its neighbours.
//!
//! The cylinders of one carburettor draw one after the other. Alike and evenly spaced they leave a
//! ripple at their pulse rate alone; where their strokes adjoin, as on a side of many in-line fours,
//! at odd orders of the working cycle and hardly between. A cylinder that draws less adds the orders
//! in between. Which orders those are depends on the firing order, which nobody need tell: both
//! sides of an engine have the same pattern, so that an order that is strong on one side and weak on
//! the other belongs to a cylinder. It says nothing when a cylinder of each side is weak.

use super::balance::LEVEL;
use super::stretches::Stretch;
use super::{Conditions, Sides};
use crate::cores::{MANY_SAMPLES, each};
use crate::sample::Column;
use crate::signal::{Signal, orders};
use crate::statistics::correlated::{MeanInterval, mean_interval};
use crate::statistics::uncertainty::{Budget, Component};

/// An order counts when it stands at this many times the other side's share of the ripple, at the
/// least. Hoses of unlike length or bore change a share too; healthy sides of the model engine stay
/// below 1.3 whatever their throttles, a cylinder that draws 60 % stands at 2.1 and more
/// (48 engines of each kind).
const LEAST_TIMES: f64 = 1.6;
/// ... and when the two sides' shares differ by this much of the main ripple.
const LEAST_SHARE: f64 = 0.03;
/// Samples a cycle for each order looked at: two would be Nyquist's limit.
const SAMPLES_AN_ORDER: f64 = 4.0;
/// Stretches looked at, the longest first: cylinders are the engine's and not a setting's.
const MOST_STRETCHES: usize = 6;
/// Windows that allow an interval.
const LEAST_WINDOWS: usize = 8;

/// One side's strokes are less alike than the other's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uneven {
    /// 1 or 2.
    pub side: u8,
    /// Periods in a working cycle at which it shows.
    pub order: usize,
    /// Size there as a share of the main ripple, on this side.
    pub share: f64,
    /// ... and on the other.
    pub other_share: f64,
    /// The share is at least this many times the other's, with 95 % confidence.
    pub times_low: f64,
    /// Speed, rev/min.
    pub rpm: Option<f64>,
}

impl Uneven {
    /// The cause to check, in words; with the numbers of the cylinders, where they are known.
    pub fn cause(&self, conditions: &Conditions) -> String {
        let Sides { one, two } = &conditions.sides;
        let (name, other) = if self.side == 1 { (one, two) } else { (two, one) };
        let which = match self.cylinders(conditions) {
            Some(numbers) => format!("one of the cylinders {numbers}"),
            None => "one cylinder".into(),
        };
        let speed = self.rpm.map_or_else(String::new, |rpm| format!(" at {rpm:.0} rev/min"));
        let often = match self.order {
            1 => "once".to_string(),
            2 => "twice".to_string(),
            order => format!("{order} times"),
        };
        format!(
            "unlike cylinders: on {name} the ripple at {often} a working cycle is {:.0} % of the main one, on {other} {:.0} %{speed}, as when {which} draws less than its neighbours; compare compressions, valve clearances and plugs before the carburettors are blamed",
            100.0 * self.share,
            100.0 * self.other_share
        )
    }

    /// The cylinders of this side: `1 and 2`, `1, 2 and 3`.
    fn cylinders(&self, conditions: &Conditions) -> Option<String> {
        let first = &conditions.carb1_cylinders;
        let own = |number: &u32| first.contains(number) == (self.side == 1);
        let numbers: Vec<String> =
            (1..=conditions.cylinders).filter(own).map(|number| number.to_string()).collect();
        let (last, before) = numbers.split_last().filter(|_| !first.is_empty())?;
        Some(match before {
            [] => last.clone(),
            _ => format!("{} and {last}", before.join(", ")),
        })
    }
}

/// The clearest sign of a cylinder that draws less than its neighbours; none where there is none, or
/// where the log is too slow to tell.
pub fn find(signal: &Signal, stretches: &[Stretch], cylinders: u32) -> Option<Uneven> {
    let mut apart: Vec<&Stretch> = stretches.iter().filter(|s| s.shows_sides()).collect();
    apart.sort_by(|a, b| (b.to_s - b.from_s).total_cmp(&(a.to_s - a.from_s)));
    apart.truncate(MOST_STRETCHES);
    let much = signal.track.len() >= MANY_SAMPLES;
    each(much, &apart, |stretch| of_stretch(signal, stretch, cylinders))
        .into_iter()
        .flatten()
        .max_by(|a, b| a.times_low.total_cmp(&b.times_low))
}

fn of_stretch(signal: &Signal, stretch: &Stretch, cylinders: u32) -> Option<Uneven> {
    let pulses = (cylinders / 2).max(2) as usize;
    let samples = (stretch.samples.1 - stretch.samples.0) as f64;
    if samples < SAMPLES_AN_ORDER * pulses as f64 * stretch.cycles {
        return None;
    }
    let sensors = [signal.track.vac1_kpa.as_ref()?, signal.track.vac2_kpa.as_ref()?];
    let sides = if stretch.swapped { [sensors[1], sensors[0]] } else { sensors };
    let starts = &signal.cycles.sample;
    let first = starts.partition_point(|s| (*s as usize) < stretch.samples.0);
    let end = starts.partition_point(|s| (*s as usize) < stretch.samples.1);
    let of_side = |side: &Column| {
        orders::powers((&signal.track.time_s, side), &signal.cycles, first..end, pulses)
    };
    let windows = Windows { powers: [of_side(sides[0]), of_side(sides[1])] };
    let main = windows.main_order(pulses)?;
    (1..=pulses)
        .filter(|order| *order != main)
        .filter_map(|order| windows.compare(order, main))
        .map(|found| Uneven { rpm: stretch.rpm, ..found })
        .max_by(|a, b| a.times_low.total_cmp(&b.times_low))
}

/// Power at each order, window by window, of side 1 and of side 2.
struct Windows {
    powers: [Vec<Vec<f64>>; 2],
}

impl Windows {
    /// Logarithm of the power at one order over that at another, one value a window.
    fn log_ratios(&self, side: usize, (order, against): (usize, usize)) -> Vec<f64> {
        let ratio = |power: &Vec<f64>| (power[order - 1] / power[against - 1]).ln();
        self.powers[side].iter().map(ratio).filter(|ratio| ratio.is_finite()).collect()
    }

    /// The order that both sides have: the one whose weaker side is strongest.
    fn main_order(&self, pulses: usize) -> Option<usize> {
        let strength = |order: usize| {
            let of_side = |side| {
                let ratios = self.log_ratios(side, (order, pulses));
                let n = ratios.len();
                (n >= LEAST_WINDOWS).then(|| ratios.iter().sum::<f64>() / n as f64)
            };
            Some(f64::min(of_side(0)?, of_side(1)?))
        };
        let strengths: Option<Vec<f64>> = (1..=pulses).map(strength).collect();
        let best = strengths?.into_iter().enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(best.0 + 1)
    }

    /// The side on which an order stands out against the main one.
    fn compare(&self, order: usize, main: usize) -> Option<Uneven> {
        let mean = |side| mean_interval(&self.log_ratios(side, (order, main)), LEVEL);
        let (one, two) = (mean(0)?, mean(1)?);
        let part = |name, m: &MeanInterval| Component::new(name, m.u, m.dof);
        let budget = Budget::new(vec![part("side 1", &one), part("side 2", &two)]).ok()?;
        let reach = budget.expanded(LEVEL)?;
        // Half the logarithm of a power is that of a size.
        let share = |log: f64| (0.5 * log).exp();
        let times_low = share((one.mean - two.mean).abs() - reach);
        let (side, high, low) =
            if one.mean > two.mean { (1, one.mean, two.mean) } else { (2, two.mean, one.mean) };
        let (share, other_share) = (share(high), share(low));
        let counts = times_low >= LEAST_TIMES && share - other_share >= LEAST_SHARE;
        counts.then_some(Uneven { side, order, share, other_share, times_low, rpm: None })
    }
}
