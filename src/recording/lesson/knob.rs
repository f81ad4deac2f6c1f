//! What an instructor can set on the model engine and on the box, how far, and in which words.

use crate::engine::{Action, Side};
use crate::sources::model_box::Control;
use crate::units::{Kpa, Millimetres, Rpm};

/// Something that can be set to a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Knob {
    /// The breather hose: 0 free, 1 blocked.
    Breather,
    /// Hole in the crankcase seals, mm.
    SealLeak,
    /// Hole into a tract, mm.
    TractLeak(Side),
    /// Stop screw: percent of the opening in tune.
    Stop(Side),
    /// Mixture of both carburettors, as an equivalence ratio: 1 stoichiometric, more is richer.
    Mixture,
    /// Foot on the pedal: speed to hold, rev/min; 0 is off the pedal.
    Hold,
    /// What a sensor reads too much, kPa.
    Offset(Side),
    /// Standard deviation of one reading of a sensor, kPa.
    Noise(Side),
}

/// The values that a knob has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// The least.
    pub least: f64,
    /// The greatest.
    pub most: f64,
    /// From one to the next.
    pub step: f64,
    /// That of an engine in tune, with a box in order.
    pub sound: f64,
    /// Unit, for people.
    pub unit: &'static str,
}

impl Knob {
    /// All of them.
    pub const ALL: [Knob; 12] = [
        Knob::Breather,
        Knob::SealLeak,
        Knob::TractLeak(Side::One),
        Knob::TractLeak(Side::Two),
        Knob::Stop(Side::One),
        Knob::Stop(Side::Two),
        Knob::Mixture,
        Knob::Hold,
        Knob::Offset(Side::One),
        Knob::Offset(Side::Two),
        Knob::Noise(Side::One),
        Knob::Noise(Side::Two),
    ];

    /// Its place in [`Knob::ALL`].
    pub(super) fn index(self) -> usize {
        Knob::ALL.iter().position(|knob| *knob == self).unwrap_or(0)
    }

    /// The values that it has.
    pub fn reach(self) -> Reach {
        let reach = |least, most, step, sound, unit| Reach { least, most, step, sound, unit };
        match self {
            Knob::Breather => reach(0.0, 1.0, 1.0, 0.0, ""),
            // Seals in order leak as much as a hole of 0.7 mm.
            Knob::SealLeak => reach(0.0, 12.0, 0.1, 0.7, "mm"),
            Knob::TractLeak(_) => reach(0.0, 4.0, 0.1, 0.0, "mm"),
            Knob::Stop(_) => reach(60.0, 140.0, 1.0, 100.0, "%"),
            Knob::Mixture => reach(0.8, 1.5, 0.01, 1.0, ""),
            Knob::Hold => reach(0.0, 4000.0, 100.0, 0.0, "rev/min"),
            Knob::Offset(_) => reach(-5.0, 5.0, 0.1, 0.0, "kPa"),
            Knob::Noise(_) => reach(0.0, 1.0, 0.02, 0.06, "kPa"),
        }
    }

    /// The value that it takes when it is set to this one: within reach, on a step. `None` for no number.
    pub fn taken(self, value: f64) -> Option<f64> {
        let Reach { least, most, step, .. } = self.reach();
        let within = value.clamp(least, most);
        // Steps are counted, so that a tenth is the number that a person writes as 0.1.
        let per_one = (1.0 / step).round().max(1.0);
        let on_step = if step < 1.0 {
            (within * per_one).round() / per_one
        } else {
            (within / step).round() * step
        };
        value.is_finite().then_some(on_step)
    }

    /// What it says when it stands at a value, for the log and for people.
    pub fn words(self, value: f64) -> String {
        let side = |side: Side| side.index() + 1;
        match self {
            Knob::Breather if value > 0.0 => "breather hose blocked".into(),
            Knob::Breather => "breather hose free".into(),
            Knob::SealLeak => format!("leak of the crankcase seals {value} mm"),
            Knob::TractLeak(of) if value > 0.0 => {
                format!("leak into tract {}: {value} mm", side(of))
            }
            Knob::TractLeak(of) => format!("leak into tract {} closed", side(of)),
            Knob::Stop(of) => format!("stop screw {} at {value} % of its opening", side(of)),
            Knob::Mixture => format!("mixture {value} on both sides"),
            Knob::Hold if value > 0.0 => format!("foot holds {value} rev/min"),
            Knob::Hold => "foot off the pedal".into(),
            Knob::Offset(of) => format!("sensor {} reads {value:+} kPa too much", side(of)),
            Knob::Noise(of) => format!("noise of sensor {} {value} kPa", side(of)),
        }
    }

    /// What brings the engine or the box there.
    pub(super) fn controls(self, value: f64) -> Vec<Control> {
        let action = match self {
            Knob::Breather if value > 0.0 => Action::BreatherBlocked,
            Knob::Breather => Action::BreatherFree,
            Knob::SealLeak => Action::SealLeak(Millimetres(value)),
            Knob::TractLeak(side) => Action::TractLeak { side, hole: Millimetres(value) },
            Knob::Stop(side) => Action::ThrottleStop { side, share: value / 100.0 },
            Knob::Mixture => {
                return Side::BOTH
                    .map(|side| Action::Mixture { side, ratio: value }.into())
                    .to_vec();
            }
            Knob::Hold if value > 0.0 => Action::Hold(Rpm(value)),
            Knob::Hold => Action::Release,
            Knob::Offset(channel) => {
                return vec![Control::Offset { channel, offset: Kpa(value) }];
            }
            Knob::Noise(channel) => return vec![Control::Noise { channel, noise: Kpa(value) }],
        };
        vec![action.into()]
    }
}
