//! What goes on inside a model engine while it runs, for whoever draws it: its state as it is now, and the
//! steady state that it goes to, which is computed on a thread of its own.

use crate::engine::{Engine, Flows, Look, Prediction, Running};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

/// What is seen at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Speed and pressures now.
    pub look: Look,
    /// Mean flows over the last working cycle.
    pub flows: Flows,
    /// Where the engine goes as it is tuned; absent until that is computed, and from the moment
    /// something is done to the engine until it is computed anew.
    pub prediction: Option<Prediction>,
}

/// The view into a model engine. Clones see the same.
#[derive(Debug, Clone)]
pub struct Inside {
    shared: Arc<Mutex<Shared>>,
    asks: Sender<(u64, Engine)>,
}

#[derive(Debug, Default)]
struct Shared {
    now: Option<(Look, Flows)>,
    prediction: Option<Prediction>,
    /// Which question the newest prediction has to answer.
    asked: u64,
}

impl Inside {
    /// A view in which nothing is seen yet, and the thread that foresees; it ends when the last view does.
    pub fn new() -> (Inside, JoinHandle<()>) {
        let shared = Arc::new(Mutex::new(Shared::default()));
        let (asks, asked) = channel();
        let answers = shared.clone();
        let foreseeing = std::thread::spawn(move || foresee(&asked, &answers));
        (Inside { shared, asks }, foreseeing)
    }

    /// What is seen now; `None` before there is an engine.
    pub fn seen(&self) -> Option<Seen> {
        let shared = self.shared.lock().unwrap_or_else(PoisonError::into_inner);
        let (look, flows) = shared.now?;
        Some(Seen { look, flows, prediction: shared.prediction })
    }

    /// Shows the engine as it is now.
    pub(super) fn show(&self, running: &Running) {
        let now = (running.look(), running.flows());
        self.shared.lock().unwrap_or_else(PoisonError::into_inner).now = Some(now);
    }

    /// Has the engine foreseen from here; what was foreseen before no longer holds.
    pub(super) fn foresee(&self, engine: &Engine) {
        let mut shared = self.shared.lock().unwrap_or_else(PoisonError::into_inner);
        shared.asked += 1;
        shared.prediction = None;
        let _ = self.asks.send((shared.asked, engine.clone()));
    }
}

/// Answers the newest question; one that a later question has overtaken is left out.
fn foresee(asked: &Receiver<(u64, Engine)>, answers: &Mutex<Shared>) {
    while let Ok(mut newest) = asked.recv() {
        while let Ok(later) = asked.try_recv() {
            newest = later;
        }
        let prediction = Prediction::of(&newest.1);
        let mut shared = answers.lock().unwrap_or_else(PoisonError::into_inner);
        if shared.asked == newest.0 {
            shared.prediction = Some(prediction);
        }
    }
}
