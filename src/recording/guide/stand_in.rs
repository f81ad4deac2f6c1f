//! Somebody at the model engine who does what the guide says, as late as a person is.

use super::{Doing, Prompt};
use crate::engine::Action;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use std::collections::VecDeque;
use std::ops::Range;

/// From the words to the hand on the thing, s (common practice, no published source).
const REACH_S: Range<f64> = 0.5..1.3;
/// From one grip to the next, as with a hose that comes off and goes on elsewhere, s.
const GRIP_S: Range<f64> = 2.0..3.0;
/// From the thing done to the key, s.
const KEY_S: Range<f64> = 0.4..1.0;

/// A stand-in for the person. The same seed gives the same delays.
#[derive(Debug, Clone)]
pub struct StandIn {
    random: Pcg64,
    to_do: VecDeque<(f64, Action)>,
    free_s: f64,
    key_s: Option<(usize, f64)>,
}

impl StandIn {
    /// Somebody with nothing to do.
    pub fn new(seed: u64) -> Self {
        let random = Pcg64::seed_from_u64(seed);
        StandIn { random, to_do: VecDeque::new(), free_s: f64::NEG_INFINITY, key_s: None }
    }

    /// Hears what the guide gave out at a log time, s.
    pub fn hear(&mut self, now_s: f64, doing: &[Doing]) {
        for doing in doing {
            if let Doing::Act(action) = doing {
                let takes = if self.to_do.is_empty() { REACH_S } else { GRIP_S };
                self.free_s = self.free_s.max(now_s) + self.random.random_range(takes);
                self.to_do.push_back((self.free_s, *action));
            }
        }
    }

    /// What is done at a log time, s, and whether Enter is pressed.
    pub fn turn(&mut self, now_s: f64, prompt: &Prompt) -> (Vec<Action>, bool) {
        let mut done = Vec::new();
        while let Some((_, action)) = self.to_do.front().filter(|(at_s, _)| *at_s <= now_s) {
            done.push(*action);
            self.to_do.pop_front();
        }
        let waits = prompt.left_s.is_some_and(|left| left > 0.0);
        if !prompt.waits_for_key || waits || !self.to_do.is_empty() {
            return (done, false);
        }
        let fresh = now_s + self.random.random_range(KEY_S);
        let (_, at_s) = *match &mut self.key_s {
            Some(key) if key.0 == prompt.step => key,
            other => other.insert((prompt.step, fresh)),
        };
        let pressed = now_s >= at_s;
        if pressed {
            self.key_s = None;
        }
        (done, pressed)
    }
}
