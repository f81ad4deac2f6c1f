//! What the page of a lesson shows besides the figures of a recording, and what the instructor presses.

pub mod drop;

use super::sentence::{Sentence, Tone};
use drop::Drop;
use serde::{Deserialize, Serialize};

/// Something that can be set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// The breather hose: 0 free, 1 blocked.
    Breather,
    /// Hole in the crankcase seals, mm.
    SealLeak,
    /// Hole into a tract, mm.
    TractLeak,
    /// Stop screw, percent of its opening in tune.
    Stop,
    /// Mixture of both carburettors, an equivalence ratio.
    Mixture,
    /// Speed that a foot holds, rev/min; 0 for none.
    Hold,
    /// What a sensor reads too much, kPa.
    Offset,
    /// Noise of a sensor, kPa.
    Noise,
}

/// What the instructor presses.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub enum Press {
    /// Sets something to a value.
    Set {
        /// What.
        what: What,
        /// 1 or 2, for what each side has.
        side: Option<u8>,
        /// The value.
        value: f64,
    },
    /// Begins a scene, from 1.
    Scene {
        /// Its number.
        number: usize,
    },
    /// Hides a fault that nobody has chosen.
    Hide,
    /// Shows the answer.
    Answer,
    /// Begins with an engine in tune.
    Engine {
        /// 4, 6 or 8.
        cylinders: u32,
    },
}

/// The lesson as it stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lesson {
    /// Of the engine.
    pub cylinders: u32,
    /// The engines that there are, by their cylinders.
    pub engines: Vec<u32>,
    /// Names of the scenes.
    pub scenes: Vec<&'static str>,
    /// The scene that runs, from 1.
    pub scene: Option<usize>,
    /// A fault was hidden at random.
    pub hidden: bool,
    /// For the class.
    pub question: Option<&'static str>,
    /// Shown on a second press.
    pub answer: Option<String>,
    /// The class is looking: what would give it away is not here.
    pub covered: bool,
    /// The class may be told what to turn: it is not looking, and a screw mends what is wrong.
    #[serde(skip)]
    pub screws_mend: bool,
    /// The filler cap is off.
    pub cap_off: bool,
    /// What can be set now.
    pub knobs: Vec<Knob>,
    /// What flows where; absent while covered, and before the engine has turned.
    pub flows: Option<Flows>,
    /// Where the engine goes, as it is tuned; absent while covered and while it is computed.
    pub predicted: Option<Predicted>,
    /// The drop that was measured in this log.
    pub drop: Option<Drop>,
}

impl Lesson {
    /// What is said instead of a verdict while the class is looking for it.
    pub fn instead(&self, verdict: Sentence) -> Sentence {
        if !self.covered || verdict.tone == Tone::Trouble {
            return verdict;
        }
        let detail = Some("The verdict comes with the answer.".into());
        Sentence { text: "What do the readings say?".into(), detail, tone: Tone::Wait }
    }
}

/// A control.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Knob {
    /// What it sets.
    pub what: What,
    /// The side, 1 or 2.
    pub side: Option<u8>,
    /// Where it stands.
    pub value: f64,
    /// Least value.
    pub least: f64,
    /// Greatest value.
    pub most: f64,
    /// From one value to the next.
    pub step: f64,
    /// Value of an engine in tune.
    pub sound: f64,
    /// Unit.
    pub unit: &'static str,
}

/// Mean flows over the last working cycle, g/s, and what goes with them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Flows {
    /// From the air cleaner past slide and jet.
    pub slide: [f64; 2],
    /// Past the throttle.
    pub throttle: [f64; 2],
    /// Through the hole into the tract.
    pub leak: [f64; 2],
    /// Into the cylinders.
    pub drawn: [f64; 2],
    /// Out of the crankcase.
    pub breather: [f64; 2],
    /// The fresh air in that.
    pub fresh: [f64; 2],
    /// Into the crankcase past its seals; negative outwards.
    pub seals: f64,
    /// Into the crankcase through the open filler; negative outwards.
    pub cap: f64,
    /// Into the crankcase past the piston rings.
    pub blow_by: f64,
    /// Crankcase below the atmosphere, kPa; negative above.
    pub crank_kpa: f64,
    /// Equivalence ratio in the tracts.
    pub mixture: [f64; 2],
}

impl Flows {
    /// To the tenth of a milligram, the pascal and a thousandth: it goes over the wire thirty times a
    /// second.
    pub fn rounded(self) -> Flows {
        let to = |value: f64, per_one: f64| (value * per_one).round() / per_one;
        let flow = |value: f64| to(value, 1e4);
        Flows {
            slide: self.slide.map(flow),
            throttle: self.throttle.map(flow),
            leak: self.leak.map(flow),
            drawn: self.drawn.map(flow),
            breather: self.breather.map(flow),
            fresh: self.fresh.map(flow),
            seals: flow(self.seals),
            cap: flow(self.cap),
            blow_by: flow(self.blow_by),
            crank_kpa: to(self.crank_kpa, 1e3),
            mixture: self.mixture.map(|ratio| to(ratio, 1e3)),
        }
    }
}

/// The steady state that the engine goes to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Predicted {
    /// Speed, rev/min.
    pub rpm: f64,
    /// Vacuum of side 1 and side 2, kPa.
    pub vac_kpa: [f64; 2],
    /// Speed with the cap on less that with the cap off, rev/min.
    pub drop_rpm: f64,
    /// It comes to rest there; else it strays, and these are means.
    pub settled: bool,
}
