//! Frames that tests publish.

use evenbreath::live::frame::{Buttons, Frame, Link, LinkState, Log, Side, Unit};
use evenbreath::live::sentence::{Sentence, Tone};
use evenbreath::live::trace::Point;

/// A frame at a log time, s, with so many points of the trace that end there.
pub fn frame(elapsed_s: f64, points: usize) -> Frame {
    let side =
        |name: &str| Side { name: name.into(), vacuum_kpa: Some(57.0), tone_hz: Some(562.0) };
    let at = |k: usize| Point {
        at_s: elapsed_s - 0.05 * (points - 1 - k) as f64,
        low_kpa: 0.9,
        value_kpa: 1.0,
        high_kpa: 1.1,
    };
    Frame {
        anew: false,
        heard_unix_ms: None,
        elapsed_s,
        sentence: Sentence { text: "Hold still, 4 s more".into(), detail: None, tone: Tone::Wait },
        sides: [side("Front"), side("Rear")],
        matched: true,
        rpm: Some(850.0),
        idle_target_rpm: None,
        crank_kpa: None,
        difference: None,
        tolerance_kpa: 1.3,
        verdict: None,
        needs_s: Some(3.4),
        trace: (0..points).map(at).collect(),
        closing: vec![(elapsed_s, 0.5, 1.5)],
        unit: Unit { symbol: "kPa", per_kpa: 1.0, decimals: 2 },
        link: Link { state: LinkState::Up, rate_hz: Some(1000.0), lost: Some(0), garbled: 0 },
        log: Log { file: "idle.csv".into(), rows: 1, recording: true, trouble: None },
        marks: Vec::new(),
        buttons: Buttons::default(),
        guide: None,
        lesson: None,
    }
}
