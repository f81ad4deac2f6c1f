//! The sentence of a recording of one sensor that is moved from side to side.

use super::{STANDING_KPA, Sentence, Situation, TURNING_RPM, Tone, learned, verdict};
use crate::findings::Verdict;
use crate::findings::one_sensor::{EACH_S, changes};

/// Where the one sensor is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneSensor {
    /// The side that it is on by the marks, 0 or 1; absent before the first one.
    pub on: Option<usize>,
    /// Since then, s.
    pub since_s: f64,
}

/// What to do now, as long as no guide leads.
pub(super) fn found(now: &Situation, sensor: OneSensor) -> Sentence {
    let act = |text: String| Sentence::new(Tone::Act, text);
    let sides = [&now.conditions.sides.one, &now.conditions.sides.two];
    let Some(reading_kpa) = now.vac_kpa[0].or(now.vac_kpa[1]) else {
        return act("No reading: look at the sensor".into());
    };
    let next = sides[sensor.on.map_or(0, |on| 1 - on)];
    if reading_kpa.abs() < STANDING_KPA {
        return act(match now.rpm {
            Some(rpm) if rpm > TURNING_RPM => format!("Put the hose on {next}, then mark it"),
            Some(_) => "Engine off: start it".into(),
            None => "No vacuum: start the engine, or put the hose on".into(),
        });
    }
    let Some(on) = sensor.on else {
        let why = format!("One sensor goes from side to side, {EACH_S} s on each.");
        return act(format!("Put the hose on {next}, then mark it")).and(why);
    };
    let judged = now.fresh().and_then(|judged| Some((judged, judged.steady.as_ref()?)));
    let told = judged.filter(|(_, steady)| {
        // What more log cannot settle has a cure of its own.
        steady.verdict != Verdict::NotSettled || steady.needs_s.is_none()
    });
    if let Some((judged, steady)) = told {
        return verdict(steady, judged.zero, now, learned(judged, now.conditions));
    }
    let left_s = f64::from(EACH_S) - sensor.since_s;
    if left_s > 0.0 {
        let text = format!("Hose on {}: hold still, {:.0} s more", sides[on], left_s.ceil());
        return Sentence::new(Tone::Wait, text);
    }
    let needs_s = judged.and_then(|(_, steady)| steady.needs_s);
    let detail = match needs_s.map(changes) {
        None => "At one speed there, over and back: then the figures begin.".into(),
        Some(1) => "One more move may settle it.".into(),
        Some(moves) => format!("About {moves} more moves settle it."),
    };
    act(format!("Move the hose to {next}, mark it, wait {EACH_S} s")).and(detail)
}
