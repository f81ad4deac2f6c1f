//! The one sentence that the page says: what to do now.
//!
//! Made of the finding and the state of the recording. What would lose the log goes first, then the guide,
//! then the finding. Words for a person three metres away: what to do, in the order of doing it.

mod one_sensor;

pub use one_sensor::OneSensor;

use super::frame::LinkState;
use super::so_far::Judged;
use crate::findings::advice::is_idle;
use crate::findings::balance::{Open, PlateauBalance, ZeroMethod};
use crate::findings::{Conditions, Sides, Verdict, in_step, screws};
use serde::Serialize;

/// Idle this near its target needs no correction, rev/min (common practice, no published source).
const ON_TARGET_RPM: f64 = 25.0;
/// Nobody holds still for longer than this to learn that it is a near thing, s.
const PATIENCE_S: f64 = 120.0;
/// With less vacuum than this on both sides the engine stands, kPa: a running one has ten times as much.
const STANDING_KPA: f64 = 3.0;
/// Faster than this it turns by itself, rev/min: a starter makes 100 to 300 (common practice, no published source).
const TURNING_RPM: f64 = 400.0;
/// A difference of less than this share of the tolerance is no near thing.
const FAR_BELOW: f64 = 0.5;
/// A judgement older than this, in log time, says nothing of now, s.
const AGED_S: f64 = 6.0;

/// How the sentence is meant; the page shows it by a shape and a word beside the colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    /// Something to wait for, or to know.
    Wait,
    /// Something to do.
    Act,
    /// All is well.
    Good,
    /// The recording itself is in danger.
    Trouble,
}

/// The sentence.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sentence {
    /// What to do now.
    pub text: String,
    /// What else there is to know; usually absent.
    pub detail: Option<String>,
    /// How it is meant.
    pub tone: Tone,
}

/// What the guide asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct Prompted {
    /// What to do.
    pub say: String,
    /// What keeps the stretch from counting.
    pub complaint: Option<String>,
    /// Seconds left.
    pub left_s: Option<f64>,
}

/// What the sentence is made of.
#[derive(Debug, Clone, Copy)]
pub struct Situation<'a> {
    /// The link.
    pub link: LinkState,
    /// For so long nothing has come, s.
    pub silent_s: f64,
    /// The source is there and says nothing; else it is looked for.
    pub mute: bool,
    /// Why rows do not reach the disk.
    pub disk: Option<&'a str>,
    /// The recording has ended.
    pub ended: Option<Ended<'a>>,
    /// The guide.
    pub guide: Option<&'a Prompted>,
    /// The one sensor that is moved from side to side; absent where there are two.
    pub one_sensor: Option<OneSensor>,
    /// The finding so far.
    pub judged: Option<&'a Judged>,
    /// Vacuum of the sides, mean of the newest second, kPa.
    pub vac_kpa: [Option<f64>; 2],
    /// Engine speed, mean of the newest second, rev/min.
    pub rpm: Option<f64>,
    /// Log time of the newest sample, s.
    pub elapsed_s: f64,
    /// What is known of the car.
    pub conditions: &'a Conditions,
    /// It may be said what to turn; else what was measured is all that is said.
    pub advises: bool,
}

/// A recording that has ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ended<'a> {
    /// Its log.
    pub file: &'a str,
    /// The step at which its guide was left before the end, and how many there are.
    pub left_at: Option<(usize, usize)>,
}

impl Sentence {
    fn new(tone: Tone, text: impl Into<String>) -> Self {
        Sentence { text: text.into(), detail: None, tone }
    }

    fn and(mut self, detail: impl Into<String>) -> Self {
        self.detail = Some(detail.into());
        self
    }
}

/// What to do now.
pub fn sentence(now: &Situation) -> Sentence {
    if let Some(ended) = now.ended {
        return over(now, ended);
    }
    if let Some(why) = now.disk {
        let text = format!("The log is not being written: {why}");
        return Sentence::new(Tone::Trouble, text)
            .and("Make room: the newest rows wait in memory for a while.");
    }
    if now.link == LinkState::Lost {
        let detail = now.guide.and_then(|guide| guide.complaint.clone());
        let (text, looking) = if now.mute {
            ("Nothing comes: look at what sends the samples", ".")
        } else {
            ("Link lost: look at the cable", "; looking for the port.")
        };
        let nothing = format!("Nothing for {:.0} s{looking}", now.silent_s);
        return Sentence::new(Tone::Trouble, text).and(detail.unwrap_or(nothing));
    }
    if now.link == LinkState::Waiting {
        return Sentence::new(Tone::Wait, "Waiting for the box").and("Is it on, and its cable in?");
    }
    match (now.guide, now.one_sensor) {
        (Some(guide), _) => led(guide),
        (None, Some(sensor)) => one_sensor::found(now, sensor),
        (None, None) => found(now),
    }
}

/// What a recording came to. Without a guide it is the verdict of its last seconds, where there was one; that of a
/// guide is judged on the whole log, once that is closed.
fn over(now: &Situation, ended: Ended) -> Sentence {
    let log = format!("The log is {}.", ended.file);
    if let Some(why) = now.disk {
        let text = format!("The log may lack rows: {why}");
        return Sentence::new(Tone::Trouble, text).and(format!(
            "Recording ended. {log} Copy it to another disk and read it back; make room before you record again."
        ));
    }
    if let Some((step, steps)) = ended.left_at {
        let text = format!("Guide left at step {step} of {steps}");
        return Sentence::new(Tone::Wait, text).and(format!("Recording ended. {log}"));
    }
    let judged = now.fresh().filter(|_| now.guide.is_none() && now.link == LinkState::Up);
    let last = judged.and_then(|judged| Some((judged, judged.steady.as_ref()?)));
    match last.filter(|(_, steady)| steady.verdict != Verdict::NotSettled) {
        Some((judged, steady)) => {
            let said = verdict(steady, judged.zero, now, learned(judged, now.conditions));
            let more = said.detail.map_or(String::new(), |detail| format!(" {detail}"));
            Sentence { detail: Some(format!("Recording ended.{more} {log}")), ..said }
        }
        None => Sentence::new(Tone::Wait, "Recording ended").and(log),
    }
}

impl Situation<'_> {
    /// The judgement, where it says something of now.
    fn fresh(&self) -> Option<&Judged> {
        self.judged.filter(|judged| self.elapsed_s - judged.newest_s <= AGED_S)
    }
}

fn led(guide: &Prompted) -> Sentence {
    if let Some(complaint) = &guide.complaint {
        return Sentence::new(Tone::Act, unstopped(complaint)).and(guide.say.clone());
    }
    let tone = if guide.left_s.is_some() { Tone::Wait } else { Tone::Act };
    Sentence::new(tone, unstopped(&guide.say))
}

/// Without the full stop, as it stands alone.
fn unstopped(text: &str) -> &str {
    text.strip_suffix('.').unwrap_or(text)
}

fn found(now: &Situation) -> Sentence {
    let judged = now.fresh();
    if let [Some(one), Some(two)] = now.vac_kpa
        && one.abs().max(two.abs()) < STANDING_KPA
    {
        if now.rpm.is_some_and(|rpm| rpm > TURNING_RPM) {
            return Sentence::new(Tone::Act, "No vacuum: put both hoses on");
        }
        return match judged.map(|judged| judged.zero) {
            Some(ZeroMethod::EngineOff) => Sentence::new(Tone::Act, "Zero known: start the engine"),
            _ => Sentence::new(Tone::Wait, "Engine off: wait, the zero is being taken"),
        };
    }
    if let Some(missing) = now.vac_kpa.iter().position(Option::is_none) {
        let sides = &now.conditions.sides;
        let name = [&sides.one, &sides.two][missing];
        return Sentence::new(Tone::Act, format!("No reading from {name}: look at its sensor"));
    }
    match judged.and_then(|judged| Some((judged.steady.as_ref()?, judged.zero))) {
        Some((steady, zero)) => {
            let turns = judged.and_then(|judged| learned(judged, now.conditions));
            verdict(steady, zero, now, turns)
        }
        None => Sentence::new(Tone::Wait, "Hold the speed steady")
            .and("The figures begin after three seconds without a change."),
    }
}

/// What to turn and what is expected then, once a turn has taught what a screw does on this engine.
fn learned(judged: &Judged, conditions: &Conditions) -> Option<(String, String)> {
    let screws = judged.screws.as_ref().filter(|screws| screws.learned_from > 0)?;
    let proposal = screws.proposal?;
    let turns = screws::in_words(&proposal.turns, &conditions.sides)?;
    let speed = proposal.expected.speed_rpm;
    let then = format!("Then an idle of {:.0} to {:.0} is expected.", speed.low, speed.high);
    Some((turns, then))
}

fn verdict(
    steady: &PlateauBalance,
    zero: ZeroMethod,
    now: &Situation,
    turns: Option<(String, String)>,
) -> Sentence {
    match steady.verdict {
        Verdict::OutOfTolerance => out(steady, now, turns),
        Verdict::InTolerance => within(steady, now, turns),
        Verdict::NotSettled => match steady.needs_s.filter(|s| *s <= PATIENCE_S) {
            Some(s) => {
                Sentence::new(Tone::Wait, format!("Hold still, {:.0} s more", s.max(1.0).ceil()))
            }
            None => stuck(steady, zero, now),
        },
    }
}

/// Which side passes more, and which screw to turn. The throttle that is closed is the one that passes more,
/// unless the idle is below its target.
fn out(steady: &PlateauBalance, now: &Situation, turns: Option<(String, String)>) -> Sentence {
    let conditions = now.conditions;
    let Sides { one, two } = &conditions.sides;
    let (shut, wide, share) = match steady.open {
        Open::Carb1 => (one, two, 1.0 / steady.air1_over_air2),
        _ => (two, one, steady.air1_over_air2),
    };
    let percent = 100.0 * (share - 1.0);
    let decimals = usize::from(percent < 1.5);
    let least = if conditions.balance_pipe { "at least " } else { "" };
    let measured = format!("{wide} passes {least}{percent:.decimals$} % more air");
    if !now.advises {
        return Sentence::new(Tone::Wait, measured)
            .and("That is what is measured; a screw may not be the cause.");
    }
    let (turn, detail) = if let Some((turns, then)) = turns.filter(|_| is_idle(steady)) {
        (turns, Some(then))
    } else if is_idle(steady) {
        idle_turn(steady.rpm, conditions.idle_target_rpm, shut, wide)
    } else {
        (format!("take up the linkage of {shut}"), None)
    };
    Sentence { text: format!("{measured}: {turn}"), detail, tone: Tone::Act }
}

fn idle_turn(
    rpm: Option<f64>,
    target: Option<f64>,
    shut: &str,
    wide: &str,
) -> (String, Option<String>) {
    let (open, close) = (format!("open {shut} a little"), format!("close {wide} a little"));
    let Some((rpm, target)) = rpm.zip(target) else { return (close, None) };
    if rpm < target - ON_TARGET_RPM {
        (open, Some(format!("The idle is below its target of {target:.0}.")))
    } else if rpm > target + ON_TARGET_RPM {
        (close, Some(format!("The idle is above its target of {target:.0}.")))
    } else {
        let both = format!("close {wide}, open {shut}");
        (both, Some("A little, half each: the idle is on its target.".into()))
    }
}

fn within(steady: &PlateauBalance, now: &Situation, turns: Option<(String, String)>) -> Sentence {
    let conditions = now.conditions;
    let Sides { one, two } = &conditions.sides;
    let good = Sentence::new(Tone::Good, "In tolerance");
    let idle = steady.rpm.zip(conditions.idle_target_rpm).filter(|_| is_idle(steady));
    match idle {
        Some((rpm, target)) if (rpm - target).abs() > ON_TARGET_RPM => {
            let (off, turn) = if rpm < target { ("below", "open") } else { ("above", "close") };
            let turn = turns.map_or_else(|| format!("{turn} both alike"), |(turns, _)| turns);
            let turn = if now.advises { format!(": {turn}") } else { String::new() };
            good.and(format!("Idle is {off} its target of {target:.0}{turn}."))
        }
        _ => good.and(format!("{one} and {two} pass the same air.")),
    }
}

/// What to do where waiting does not settle it.
fn stuck(steady: &PlateauBalance, zero: ZeroMethod, now: &Situation) -> Sentence {
    let tolerance_kpa = now.conditions.tolerance_kpa;
    // Far from the limit it is not what was measured that leaves it open, but what the sensors may be wrong by.
    let unmatched = (steady.low_kpa <= 0.0 && steady.high_kpa >= 0.0)
        || steady.difference_kpa.abs() < FAR_BELOW * tolerance_kpa;
    let act = |text: &str| Sentence::new(Tone::Act, text);
    match (steady.largest_systematic(), zero) {
        (_, ZeroMethod::None) => act("Zero not known: stop the engine for 5 s"),
        (Some(in_step::COMPONENT), _) => {
            act("Change the speed a little: the box keeps step with the engine")
        }
        (_, ZeroMethod::EngineOff) if unmatched => {
            act("Sensors not matched yet: swap the two hoses for 20 s")
                .and("They may differ by more than the tolerance.")
        }
        (_, ZeroMethod::EngineOff) => act("Near the limit: swap the two hoses for 20 s")
            .and("The sensors may differ by more than what is left."),
        _ if !now.advises => act("Too near the limit to tell"),
        _ => act("Too near the limit to tell: bring both closer together"),
    }
}

#[cfg(test)]
mod tests;
