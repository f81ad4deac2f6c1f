//! The zero that a log allows, and whether its swap and the stored tee run can be believed.
//!
//! Everything known of the pair goes into one least-squares problem: a tee run of the pair, or the
//! sensors' specification where there is none, stretches with the engine off or with both hoses on
//! one tap, hose swaps. The method named is the one that by itself, beside the specification, would
//! leave the least uncertainty of the pair's error at the vacuum that is judged: what the result
//! rests on most.

use super::Conditions;
use super::balance::{ZeroMethod, ZeroUsed};
use super::stretches::Stretch;
use crate::sample::Remark;
use crate::sensors::matching::{Matching, Prior, Reading, State, TeeRun};
use crate::signal::plateaus::Kind;

/// A pair whose error at a swap is this many standard uncertainties from what its specification
/// allows has not been swapped.
const BEYOND_BELIEF: f64 = 4.0;
/// Coverage factor of the expanded uncertainties in the normalised error.
const EXPANDED: f64 = 2.0;
/// A tee run older than this should be made again, days (a choice of this program).
const FRESH_DAYS: i64 = 365;
/// The line of a tee run is trusted this far beyond the vacuum that it saw, kPa.
const BEYOND_RANGE_KPA: f64 = 3.0;

/// The pair's error, solved for all settings of a log.
pub struct Zero {
    /// The solution; absent when no stretch has a usable mean.
    pub matching: Option<Matching>,
    /// What was known beforehand.
    pub prior: Prior,
    /// Number of settings.
    pub settings: usize,
    /// The zero in words.
    pub used: ZeroUsed,
    /// A swap or a tee run that cannot be believed, a tee run that is old or does not reach far
    /// enough.
    pub remarks: Vec<Remark>,
}

/// Solves for the pair's error; hoses that the readings contradict count as not swapped, a stored
/// tee run that they contradict as not made.
pub fn solve(stretches: &mut [Stretch], conditions: &Conditions) -> Zero {
    let specification =
        Prior::from_limits(conditions.sensor_offset_limit_kpa, conditions.sensor_gain_limit);
    let mut remarks = Vec::new();
    if let Some((at_s, error)) = unbelievable_swap(stretches, &specification) {
        remarks.push(Remark::of_pressures("swap_doubtful", 1, &[at_s], |say| {
            format!(
                "the hoses are marked as swapped, but then the two sensors would differ by {} at equal vacuum, far more than their specification: the swap is not believed; check the marks and the hoses",
                say.pressure(error.abs(), 1)
            )
        }));
        believe_no_swap(stretches);
    }
    let stored = conditions.tee_run.as_ref().and_then(|run| {
        let prior = Prior::from_tee_run(run, conditions.sensor_drift_limit_kpa);
        let contradiction = contradiction(stretches, run, &prior);
        let fits = contradiction.is_none();
        remarks.extend(contradiction.or_else(|| old(run)));
        remarks.extend(beyond_range(stretches, run).filter(|_| fits));
        fits.then_some(prior)
    });
    let settings = settings(stretches);
    let readings: Vec<Reading> = stretches.iter().map(reading).collect();
    let run = stored.is_some();
    let prior = stored.unwrap_or_else(|| specification.clone());
    let matching = Matching::solve(&readings, settings, &prior);
    let evidence = Evidence { stretches, settings, prior: &prior, run, specification };
    let used = evidence.used(matching.as_ref());
    Zero { matching, prior, settings, used, remarks }
}

fn settings(stretches: &[Stretch]) -> usize {
    let running = stretches.iter().filter(|s| s.shows_sides());
    running.map(|s| s.setting + 1).max().unwrap_or(0)
}

fn vacuum(stretch: &Stretch) -> f64 {
    0.5 * (stretch.vac1_kpa + stretch.vac2_kpa)
}

fn reading(stretch: &Stretch) -> Reading {
    let (state, vacuum_kpa) = match (stretch.kind, stretch.swapped) {
        (Kind::EngineOff, _) => (State::EngineOff, 0.0),
        _ if stretch.tee => (State::Tee, vacuum(stretch)),
        (Kind::Running, false) => (State::Direct(stretch.setting), vacuum(stretch)),
        (Kind::Running, true) => (State::Swapped(stretch.setting), vacuum(stretch)),
    };
    let difference = &stretch.difference;
    Reading { difference_kpa: difference.mean, u_kpa: difference.u, vacuum_kpa, state }
}

/// Direct and swapped stretches of one setting.
fn swapped_pairs(stretches: &[Stretch]) -> impl Iterator<Item = (&Stretch, &Stretch)> {
    let running = |s: &&Stretch| s.shows_sides();
    stretches.iter().filter(running).filter(|s| s.swapped).flat_map(move |swapped| {
        let direct = move |s: &&Stretch| !s.swapped && s.setting == swapped.setting;
        stretches.iter().filter(running).filter(direct).map(move |direct| (direct, swapped))
    })
}

/// Where, and by how much, a swap contradicts the specification of the pair and what the log shows
/// of it where both sensors saw one pressure.
fn unbelievable_swap(stretches: &[Stretch], specification: &Prior) -> Option<(f64, f64)> {
    let alike = stretches.iter().filter(|s| !s.shows_sides());
    let alike: Vec<Reading> = alike.map(reading).collect();
    let expected = Matching::solve(&alike, 0, specification)?;
    swapped_pairs(stretches).find_map(|(direct, swapped)| {
        let error = 0.5 * (direct.difference.mean + swapped.difference.mean);
        let (mean, u) = expected.error_kpa(0.5 * (vacuum(direct) + vacuum(swapped)));
        ((error - mean).abs() > BEYOND_BELIEF * u).then_some((swapped.from_s, error))
    })
}

/// Every running stretch as if the hoses had stayed, and as a setting of its own.
fn believe_no_swap(stretches: &mut [Stretch]) {
    for (number, stretch) in stretches.iter_mut().filter(|s| s.shows_sides()).enumerate() {
        (stretch.swapped, stretch.setting) = (false, number);
    }
}

/// The error of the pair as the log itself shows it: when, at which vacuum, the error and its
/// standard uncertainty, kPa.
fn shown(stretches: &[Stretch]) -> Vec<(f64, f64, f64, f64)> {
    let alike = stretches.iter().filter(|s| !s.shows_sides()).map(|s| {
        let reading = reading(s);
        (s.from_s, reading.vacuum_kpa, reading.difference_kpa, reading.u_kpa)
    });
    let swaps = swapped_pairs(stretches).map(|(direct, swapped)| {
        let error = 0.5 * (direct.difference.mean + swapped.difference.mean);
        let u = 0.5 * direct.difference.u.hypot(swapped.difference.u);
        (swapped.from_s, 0.5 * (vacuum(direct) + vacuum(swapped)), error, u)
    });
    alike.chain(swaps).collect()
}

/// A log that contradicts the tee run: the normalised error of the two, `|x - X| / sqrt(U_x^2 +
/// U_X^2)` with expanded uncertainties (ISO 13528, E_n; from memory), is above 1.
fn contradiction(stretches: &[Stretch], run: &TeeRun, prior: &Prior) -> Option<Remark> {
    let expected = Matching::solve(&[], 0, prior)?;
    let normalised = |seen: &(f64, f64, f64, f64)| {
        let (error, u) = expected.error_kpa(seen.1);
        (seen.2 - error).abs() / (EXPANDED * u.hypot(seen.3))
    };
    let seen = shown(stretches);
    let worst = seen.iter().max_by(|a, b| normalised(a).total_cmp(&normalised(b)))?;
    if normalised(worst) <= 1.0 {
        return None;
    }
    let (at_s, vacuum, error, _) = *worst;
    Some(Remark::of_pressures("tee_run_contradicted", 1, &[at_s], |say| {
        format!(
            "the tee run of {} no longer fits: at {} it has sensor 1 less sensor 2 at {}, this log shows {}; it is left aside, and only this log and the sensors' specification count; make the tee run again",
            run.date,
            say.pressure(vacuum.abs(), 0),
            say.pressure(expected.error_kpa(vacuum).0, 2),
            say.pressure(error, 2)
        )
    }))
}

/// A tee run that is over a year old.
fn old(run: &TeeRun) -> Option<Remark> {
    let text = format!("the tee run of {} is over a year from this log; make it again", run.date);
    run.age_days
        .filter(|days| days.abs() > FRESH_DAYS)
        .map(|_| Remark::new("tee_run_old", 1, &[], text))
}

/// Stretches at a vacuum that the tee run did not see.
fn beyond_range(stretches: &[Stretch], run: &TeeRun) -> Option<Remark> {
    let (low, high) = run.vacuum_kpa;
    let seen = low - BEYOND_RANGE_KPA..high + BEYOND_RANGE_KPA;
    let beyond = |s: &&Stretch| s.shows_sides() && !seen.contains(&vacuum(s));
    let at: Vec<f64> = stretches.iter().filter(beyond).map(|s| s.from_s).collect();
    (!at.is_empty()).then(|| {
        Remark::of_pressures("tee_run_range", at.len(), &at, |say| {
            format!(
                "the vacuum lies outside what the tee run saw ({} to {}): its line is carried on there",
                say.number(low.max(0.0), 0),
                say.pressure(high, 0)
            )
        })
    })
}

/// What there is to take the zero from.
struct Evidence<'a> {
    stretches: &'a [Stretch],
    settings: usize,
    prior: &'a Prior,
    /// The prior is that of a tee run.
    run: bool,
    specification: Prior,
}

impl Evidence<'_> {
    /// The vacuum that is judged: where the hoses were swapped, else the first steady running.
    fn working_kpa(&self) -> f64 {
        let swapped = swapped_pairs(self.stretches).next().map(|(_, swapped)| swapped);
        let running = || self.stretches.iter().find(|s| s.shows_sides());
        swapped.or_else(running).map_or(0.0, vacuum)
    }

    /// Standard uncertainty of the pair's error at the vacuum that is judged, when one method alone
    /// stands beside the specification; none where the log lacks it.
    fn left_by(&self, method: ZeroMethod) -> Option<f64> {
        let of = |keep: &dyn Fn(&Stretch) -> bool| -> Vec<Reading> {
            self.stretches.iter().filter(|s| keep(s)).map(reading).collect()
        };
        let (readings, settings, prior) = match method {
            ZeroMethod::Swap => {
                swapped_pairs(self.stretches).next()?;
                (of(&|s| s.shows_sides()), self.settings, &self.specification)
            }
            ZeroMethod::Tee => {
                let tee = of(&|s| s.tee);
                if tee.is_empty() && !self.run {
                    return None;
                }
                (tee, 0, self.prior)
            }
            ZeroMethod::EngineOff => (of(&|s| s.kind == Kind::EngineOff), 0, &self.specification),
            ZeroMethod::OneSensor | ZeroMethod::None => return None,
        };
        if readings.is_empty() && method == ZeroMethod::EngineOff {
            return None;
        }
        Some(Matching::solve(&readings, settings, prior)?.error_kpa(self.working_kpa()).1)
    }

    /// The method that leaves the least, and the pair's error where it was measured.
    fn used(&self, matching: Option<&Matching>) -> ZeroUsed {
        let u_kpa = self.specification.u_offset_kpa();
        let none = ZeroUsed { method: ZeroMethod::None, offset_kpa: 0.0, u_kpa };
        let best = [ZeroMethod::Swap, ZeroMethod::Tee, ZeroMethod::EngineOff]
            .into_iter()
            .filter_map(|method| Some((method, self.left_by(method)?)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let (Some((method, _)), Some(matching)) = (best, matching) else { return none };
        let at_kpa = if method == ZeroMethod::EngineOff { 0.0 } else { self.working_kpa() };
        let (offset_kpa, u_kpa) = matching.error_kpa(at_kpa);
        ZeroUsed { method, offset_kpa, u_kpa }
    }
}
