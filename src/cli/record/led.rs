//! A guide at work on a recording, and the stand-in who does what it says to a model engine.

use crate::engine::Action;
use crate::recording::guide::{Doing, Guide, News, StandIn};
use crate::recording::session::Session;
use std::sync::mpsc::Sender;

/// A guide, and who follows it.
pub struct Led {
    guide: Guide,
    confirmed: bool,
    stand_in: Option<(StandIn, Sender<Action>)>,
    seed: u64,
}

impl Led {
    /// A guide that a person follows.
    pub fn new(guide: Guide, seed: u64) -> Self {
        Led { guide, confirmed: false, stand_in: None, seed }
    }

    /// A stand-in follows it where there is a model engine to act on.
    pub fn on(mut self, actions: Option<Sender<Action>>) -> Self {
        self.stand_in = actions.map(|actions| (StandIn::new(self.seed), actions));
        self
    }

    /// The guide.
    pub fn guide(&self) -> &Guide {
        &self.guide
    }

    /// Moves on with the newest sample; true when all steps are done.
    pub fn advance(&mut self, session: &mut Session, log_s: f64, host_s: f64) -> bool {
        let mut confirmed = std::mem::take(&mut self.confirmed);
        if let Some((stand_in, actions)) = &mut self.stand_in {
            let (done, pressed) = stand_in.turn(log_s, &self.guide.prompt());
            confirmed |= pressed;
            for action in done {
                let _ = actions.send(action);
            }
        }
        let rpm = session.last().and_then(|last| last.rpm);
        let news = News { link_down: session.is_down(), rpm };
        let doing = self.guide.advance(log_s, confirmed, news);
        if let Some((stand_in, _)) = &mut self.stand_in {
            stand_in.hear(log_s, &doing);
        }
        for doing in doing {
            match doing {
                Doing::Mark(words) => session.mark(&words, host_s),
                Doing::Act(_) | Doing::Ring => {}
                Doing::Finished => return true,
            }
        }
        false
    }
}
