//! Which of several suspects leaks: each sealed and released in turn, two or three times.
//!
//! Sealing a leak takes its area from what the tract draws by, at every mixture
//! ([`channels`]); sealing one into the crankcase or before the throttles leaves that area as it is
//! and takes away air that was not metered, so that an engine with no more fuel than it needs speeds
//! up. These three are asked of every suspect, each with its sign: less area of tract 1, less of tract 2,
//! more speed. An engine so rich that sealing such a leak slows it is not told from a load.
//!
//! The rule: **sound** when the 95 % intervals of the speed and of both areas lie within what does
//! not matter; else **leaks** when one of the three effects is there, with its sign, at a
//! probability below 5 % after Bonferroni's correction over the three and Holm's over the suspects;
//! else **not settled**.

pub mod channels;
pub mod effects;
mod say;
mod seen;
pub mod trials;

use super::Conditions;
use super::leak_size::{Hole, HoleRow, KnownJet};
use crate::sample::Remark;
use crate::signal::Signal;
use crate::statistics::{multiple, summary};
use channels::{BURNT_SHARE, Channel, series};
use effects::{Effect, Together};
use seen::{Limits, Seen, interval};
use serde::Serialize;
use trials::{Marked, Subject, Trial};

/// Verdict on a suspect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum HuntVerdict {
    /// Air passes there.
    Leaks,
    /// If air passes there at all, it is too little to matter.
    Sound,
    /// Neither is proven.
    NotSettled,
}

/// Where the air of a leak goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Into {
    /// Into the tract of side 1, past its throttle.
    Carb1,
    /// Into the tract of side 2, past its throttle.
    Carb2,
    /// Into both tracts.
    Both,
    /// Before the throttles: into the crankcase, the breather, or a carburettor.
    BeforeThrottles,
}

/// One suspect. Effects are sealed less released; intervals are 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suspect {
    /// Its name, as first marked.
    pub name: String,
    /// Trials judged.
    pub trials: usize,
    /// Effect on the speed, rev/min.
    pub effect_rpm: Option<f64>,
    /// Lower end, rev/min.
    pub low_rpm: Option<f64>,
    /// Upper end, rev/min.
    pub high_rpm: Option<f64>,
    /// Effect on vacuum 1, kPa.
    pub effect_vac1_kpa: Option<f64>,
    /// Lower end, kPa.
    pub low_vac1_kpa: Option<f64>,
    /// Upper end, kPa.
    pub high_vac1_kpa: Option<f64>,
    /// Effect on vacuum 2, kPa.
    pub effect_vac2_kpa: Option<f64>,
    /// Lower end, kPa.
    pub low_vac2_kpa: Option<f64>,
    /// Upper end, kPa.
    pub high_vac2_kpa: Option<f64>,
    /// Effect on the area by which tract 1 draws, per cent of it.
    pub effect_air1_percent: Option<f64>,
    /// Lower end, per cent.
    pub low_air1_percent: Option<f64>,
    /// Upper end, per cent.
    pub high_air1_percent: Option<f64>,
    /// Effect on the area by which tract 2 draws, per cent of it.
    pub effect_air2_percent: Option<f64>,
    /// Lower end, per cent.
    pub low_air2_percent: Option<f64>,
    /// Upper end, per cent.
    pub high_air2_percent: Option<f64>,
    /// Probability of so clear a sign of a leak where nothing leaks, adjusted for all suspects;
    /// absent where there is no trial.
    pub p_adjusted: Option<f64>,
    /// Verdict.
    pub verdict: HuntVerdict,
    /// Where the air goes; absent unless it leaks.
    pub into: Option<Into>,
    /// More trials that would settle it, if the effects stay as they are; absent where it is settled
    /// or [`MOST_MORE`] would not do.
    pub needs_trials: Option<u32>,
    /// Diameter of the round hole into a tract that leaks as much, mm; absent without a jet and
    /// for air that does not go into a tract.
    pub hole_mm: Option<f64>,
    /// Lower end, mm.
    pub hole_low_mm: Option<f64>,
    /// Upper end, mm: of a suspect that is not shown to leak, the largest hole that it may have.
    pub hole_high_mm: Option<f64>,
    /// What the uncertainty of the diameter consists of; empty where there is none.
    pub hole_budget: Vec<HoleRow>,
}

/// The jet that was opened to measure by.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Jet {
    /// Diameter, mm.
    pub mm: f64,
    /// Trials judged.
    pub trials: usize,
    /// Effect on the area by which both tracts draw, per cent, open less closed.
    pub effect_air_percent: f64,
    /// Lower end, per cent.
    pub low_air_percent: f64,
    /// Upper end, per cent.
    pub high_air_percent: f64,
    /// It shows beyond doubt, so that holes can be measured by it.
    pub shows: bool,
}

/// What a hunt says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hunt {
    /// Median idle during the trials, rev/min.
    pub idle_rpm: Option<f64>,
    /// An effect on the speed within this does not matter, rev/min.
    pub limit_rpm: Option<f64>,
    /// An effect on the area of tract 1 or 2 within this does not matter, per cent.
    pub limit_air_percent: Option<f64>,
    /// The known jet; absent where none was opened.
    pub jet: Option<Jet>,
    /// Leaks as soon as one suspect does, sound when all are.
    pub verdict: HuntVerdict,
    /// The suspects: those that leak first, the clearest before the others, the sound ones last.
    pub suspects: Vec<Suspect>,
    /// In plain sentences.
    pub say: String,
    /// What shakes the result.
    pub remarks: Vec<Remark>,
}

/// Most further trials that are worth asking for.
pub const MOST_MORE: u32 = 12;
/// Without a jet, a change of a tract's area within this does not matter, per cent of it: about what a
/// hole of 0.8 mm adds to a throttle at idle (common practice, no published source).
const LIMIT_AIR_PERCENT: f64 = 3.0;
/// With a jet, a hole within this does not matter, mm (common practice, no published source).
const LIMIT_HOLE_MM: f64 = 1.0;

/// Finds the trials of a log and judges the suspects.
pub fn find(signal: &Signal, conditions: &Conditions) -> Hunt {
    let marked = Marked::of(signal);
    let unanswered = say::unanswered(&marked.unanswered_s);
    if signal.cycles.rpm.is_none() {
        return nothing(say::NO_SPEED.into(), unanswered);
    }
    let suspects = marked.subjects.iter().any(|s| matches!(s, Subject::Suspect(_)));
    let Some((runs, idle_rpm)) = trials::idling(signal, &marked).filter(|_| suspects) else {
        return nothing(say::NO_TRIAL.into(), unanswered);
    };
    let (groups, left_out) = effects::group(&signal.cycles, &runs, &marked.trials);
    let measured = Measured::of(signal, conditions, &groups, &marked);
    let mut hunt = measured.judge(conditions, idle_rpm);
    hunt.remarks.extend(unanswered);
    hunt.remarks.extend(say::left_out(&left_out));
    hunt
}

fn nothing(say: String, remarks: Option<Remark>) -> Hunt {
    Hunt {
        idle_rpm: None,
        limit_rpm: None,
        limit_air_percent: None,
        jet: None,
        verdict: HuntVerdict::NotSettled,
        suspects: Vec::new(),
        say,
        remarks: remarks.into_iter().collect(),
    }
}

/// The effects of all subjects.
struct Measured<'a> {
    subjects: &'a [Subject],
    /// By channel, in the order of [`Channel::ALL`], then by subject.
    effects: Vec<Vec<Option<Effect>>>,
    /// Median of every channel over the trials; NaN where the log does not have it.
    usual: Vec<f64>,
    /// The area of both tracts with the least and the most burnt gas, by subject.
    ends: [Vec<Option<Effect>>; 2],
}

impl<'a> Measured<'a> {
    fn of(
        signal: &Signal,
        conditions: &Conditions,
        groups: &[Together],
        marked: &'a Marked,
    ) -> Self {
        let count = marked.subjects.len();
        let of = |channel: Channel, burnt: f64| {
            let values = series(signal, conditions, channel, burnt);
            let values = values.unwrap_or_else(|| vec![f64::NAN; signal.cycles.len()]);
            (
                effects::of(&signal.cycles, groups, (channel, &values), count),
                effects::usual(groups, &values),
            )
        };
        let (middle, half) = BURNT_SHARE;
        let (effects, usual) = Channel::ALL.iter().map(|c| of(*c, middle)).unzip();
        let has_jet = marked.subjects.iter().any(|s| matches!(s, Subject::Jet(_)));
        let end = |burnt: f64| match has_jet {
            true => of(Channel::Air, burnt).0,
            false => vec![None; count],
        };
        let ends = [end(middle - half), end(middle + half)];
        Measured { subjects: &marked.subjects, effects, usual, ends }
    }

    fn effect(&self, channel: Channel, subject: usize) -> Option<&Effect> {
        let at = Channel::ALL.iter().position(|c| *c == channel)?;
        self.effects.get(at)?.get(subject)?.as_ref()
    }

    fn usual(&self, channel: Channel) -> f64 {
        let at = Channel::ALL.iter().position(|c| *c == channel);
        at.and_then(|at| self.usual.get(at)).copied().unwrap_or(f64::NAN)
    }

    /// The jet that shows most clearly.
    fn jet(&self) -> Option<KnownJet> {
        let jets = self.subjects.iter().enumerate().filter_map(|(k, subject)| {
            let Subject::Jet(mm) = subject else { return None };
            let end = |e: &[Option<Effect>]| e[k].as_ref().map(|e| e.value);
            let ends = [end(&self.ends[0])?, end(&self.ends[1])?];
            Some(KnownJet { mm: *mm, effect: self.effect(Channel::Air, k)?.clone(), ends })
        });
        let clear = |jet: &KnownJet| jet.effect.value / jet.effect.budget.u;
        jets.max_by(|a, b| clear(a).total_cmp(&clear(b)))
    }

    fn judge(&self, conditions: &Conditions, idle_rpm: f64) -> Hunt {
        let jet = self.jet();
        let measure = jet.as_ref().filter(|jet| jet.shows());
        let both = self.usual(Channel::Air);
        let share = measure.map_or(LIMIT_AIR_PERCENT, |jet| {
            let sides = [Channel::Air1, Channel::Air2].map(|c| self.usual(c));
            let side = summary::mean(&sides).unwrap_or(both);
            100.0 * jet.effect_of(LIMIT_HOLE_MM) / side
        });
        // The smallest idle drop that counts.
        let rpm = super::breather::threshold(conditions, idle_rpm);
        let limits = Limits { rpm, air_percent: share };
        let names = self.subjects.iter().enumerate().filter_map(|(k, subject)| match subject {
            Subject::Suspect(name) => Some((k, name)),
            Subject::Jet(_) => None,
        });
        let mut judged: Vec<(f64, Suspect)> = Vec::new();
        let tried: Vec<(Seen, usize, &String)> =
            names.map(|(k, name)| (self.seen(k), k, name)).collect();
        let raw: Vec<f64> = tried.iter().filter_map(|(seen, ..)| seen.probability()).collect();
        let mut adjusted = multiple::holm(&raw).unwrap_or_default().into_iter();
        for (seen, k, name) in &tried {
            let p = seen.probability().and_then(|_| adjusted.next());
            let verdict = seen.verdict(p, &limits);
            let into = (verdict == HuntVerdict::Leaks).then(|| seen.into(raw.len())).flatten();
            let hole = measure
                .filter(|_| into != Some(Into::BeforeThrottles))
                .and_then(|jet| self.hole(jet, *k, conditions));
            let needs = (verdict == HuntVerdict::NotSettled)
                .then(|| seen.trials_more(&limits, raw.len()))
                .flatten();
            let suspect = seen.suspect(name, p, (verdict, into, needs), hole);
            judged.push((seen.probability().unwrap_or(1.0), suspect));
        }
        judged.sort_by(|a, b| rank(a.1.verdict).cmp(&rank(b.1.verdict)).then(a.0.total_cmp(&b.0)));
        let suspects: Vec<Suspect> = judged.into_iter().map(|(_, suspect)| suspect).collect();
        let jet = jet.as_ref().and_then(|jet| told(jet, both));
        let is = |verdict| suspects.iter().any(|s| s.verdict == verdict);
        let verdict = if is(HuntVerdict::Leaks) {
            HuntVerdict::Leaks
        } else if suspects.is_empty() || is(HuntVerdict::NotSettled) {
            HuntVerdict::NotSettled
        } else {
            HuntVerdict::Sound
        };
        let mut hunt = Hunt {
            idle_rpm: Some(idle_rpm),
            limit_rpm: Some(limits.rpm),
            limit_air_percent: Some(limits.air_percent).filter(|share| share.is_finite()),
            jet,
            verdict,
            suspects,
            say: String::new(),
            remarks: Vec::new(),
        };
        hunt.remarks.extend(say::faint_jet(hunt.jet.as_ref()));
        hunt.remarks.extend(say::slower(&hunt));
        hunt.say = say::sentences(&hunt, &conditions.sides);
        hunt
    }

    /// What a subject does, with the areas in per cent of their own.
    fn seen(&self, subject: usize) -> Seen {
        let own = |channel: Channel| self.effect(channel, subject).cloned();
        let share = |c: Channel| own(c).and_then(|effect| effect.times(100.0 / self.usual(c)));
        Seen {
            rpm: own(Channel::Speed),
            vacuum: [own(Channel::Vacuum1), own(Channel::Vacuum2)],
            air: [share(Channel::Air1), share(Channel::Air2)],
        }
    }

    fn hole(&self, jet: &KnownJet, subject: usize, conditions: &Conditions) -> Option<Hole> {
        let sealed = self.effect(Channel::Air, subject)?.times(-1.0)?;
        let end = |k: usize| self.ends[k][subject].as_ref().map(|e| -e.value);
        jet.hole(&sealed, [end(0)?, end(1)?], conditions)
    }
}

fn rank(verdict: HuntVerdict) -> u8 {
    match verdict {
        HuntVerdict::Leaks => 0,
        HuntVerdict::NotSettled => 1,
        HuntVerdict::Sound => 2,
    }
}

fn told(jet: &KnownJet, usual: f64) -> Option<Jet> {
    let share = interval(&jet.effect.times(100.0 / usual)?)?;
    Some(Jet {
        mm: jet.mm,
        trials: jet.effect.trials,
        effect_air_percent: share.value,
        low_air_percent: share.low,
        high_air_percent: share.high,
        shows: jet.shows(),
    })
}
