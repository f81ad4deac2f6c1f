//! What is done to the engine, and when it is marked.

use super::Action;
use super::driver::late;
use super::model::Engine;
use crate::units::Seconds;
use rand_pcg::Pcg64;

/// One thing in a script.
#[derive(Debug, Clone, PartialEq)]
struct Item {
    at_s: f64,
    action: Option<Action>,
    mark: Option<String>,
}

/// What is done to the engine, and when.
///
/// ```
/// use evenbreath::engine::{Action, Script};
/// use evenbreath::units::Seconds;
/// let script = Script::idling(Seconds(40.0))
///     .marked(Seconds(15.0), Action::CapOff, "cap off")
///     .marked(Seconds(25.0), Action::CapOn, "cap on");
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    pub(super) lasts_s: f64,
    pub(super) running: bool,
    items: Vec<Item>,
}

impl Script {
    /// A log of this length that begins with a warm engine at idle.
    pub fn idling(lasts: Seconds) -> Self {
        Script { lasts_s: lasts.0, running: true, items: Vec::new() }
    }

    /// A log of this length that begins with the engine off.
    pub fn stopped(lasts: Seconds) -> Self {
        Script { lasts_s: lasts.0, running: false, items: Vec::new() }
    }

    /// Does something that nobody marks.
    pub fn act(mut self, at: Seconds, action: Action) -> Self {
        self.items.push(Item { at_s: at.0, action: Some(action), mark: None });
        self
    }

    /// Does something and marks it, as late as a person is.
    pub fn marked(mut self, at: Seconds, action: Action, mark: &str) -> Self {
        self.items.push(Item { at_s: at.0, action: Some(action), mark: Some(mark.into()) });
        self
    }

    /// A mark without an action.
    pub fn mark(mut self, at: Seconds, mark: &str) -> Self {
        self.items.push(Item { at_s: at.0, action: None, mark: Some(mark.into()) });
        self
    }
}

/// Plays the items of a script in the order of time.
pub(super) struct Player {
    items: Vec<Item>,
    next_item: usize,
    marks: Vec<(f64, String)>,
    next_mark: usize,
    start_s: f64,
}

impl Player {
    pub(super) fn new(script: &Script, start_s: f64, seed: u64) -> Self {
        let mut random = Pcg64::new(u128::from(seed), 3);
        let mut items = script.items.clone();
        items.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        let pressed = |item: &Item, random: &mut Pcg64| {
            // What is done before the first row is marked on the first row.
            if item.at_s > 0.0 { item.at_s + late(random) } else { 0.0 }
        };
        let marks = items
            .iter()
            .filter_map(|item| {
                let mark = item.mark.clone()?;
                Some((pressed(item, &mut random), mark))
            })
            .collect();
        Player { items, next_item: 0, marks, next_mark: 0, start_s }
    }

    pub(super) fn play(&mut self, engine: &mut Engine) {
        let now = engine.now_s() - self.start_s;
        while let Some(item) = self.items.get(self.next_item).filter(|item| item.at_s <= now) {
            if let Some(action) = item.action {
                engine.act(action);
            }
            self.next_item += 1;
        }
    }

    /// The mark that has waited for a row, if any.
    pub(super) fn mark(&mut self, now_s: f64) -> String {
        let now = now_s - self.start_s;
        match self.marks.get(self.next_mark) {
            Some((at, mark)) if *at <= now => {
                self.next_mark += 1;
                mark.clone()
            }
            _ => String::new(),
        }
    }
}
