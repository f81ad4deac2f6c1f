//! A guide at work on a recording, and the stand-in who does what it says to a model engine.

use crate::recording::guide::{Doing, Guide, News, StandIn};
use crate::recording::session::Session;
use crate::sample::Mark;
use crate::sources::model_box::Control;
use crate::units::Seconds;
use std::sync::mpsc::Sender;

/// A guide, and who follows it.
pub struct Led {
    guide: Guide,
    confirmed: bool,
    stand_in: Option<(StandIn, Sender<Control>)>,
    seed: u64,
}

/// What has come of a move.
#[derive(Debug, Default)]
pub struct Moved {
    /// Marks that the guide has made.
    pub marks: Vec<String>,
    /// The hands are wanted.
    pub rings: bool,
    /// All steps are done.
    pub finished: bool,
}

impl Led {
    /// A guide that a person follows.
    pub fn new(guide: Guide, seed: u64) -> Self {
        Led { guide, confirmed: false, stand_in: None, seed }
    }

    /// A stand-in follows it where there is a model engine to act on.
    pub fn on(mut self, actions: Option<Sender<Control>>) -> Self {
        self.stand_in = actions.map(|actions| (StandIn::new(self.seed), actions));
        self
    }

    /// The guide.
    pub fn guide(&self) -> &Guide {
        &self.guide
    }

    /// The person says that the step is done.
    pub fn confirm(&mut self) {
        self.confirmed = true;
    }

    /// The person wants the step once more.
    pub fn again(&mut self, session: &mut Session, host_s: f64) -> Moved {
        let doing = self.guide.again();
        self.carry_out(doing, session, host_s)
    }

    /// The person leaves the step out.
    pub fn skip(&mut self, session: &mut Session, host_s: f64) -> Moved {
        let doing = self.guide.skip();
        self.carry_out(doing, session, host_s)
    }

    /// The person has made a mark by a key.
    pub fn noticed(&mut self, words: &str, session: &mut Session, host_s: f64) -> Moved {
        let doing = self.guide.noticed(&Mark::read(Seconds(0.0), words).meaning);
        self.carry_out(doing, session, host_s)
    }

    /// Moves on with the newest sample.
    pub fn advance(&mut self, session: &mut Session, log_s: f64, host_s: f64) -> Moved {
        let mut confirmed = std::mem::take(&mut self.confirmed);
        if let Some((stand_in, actions)) = &mut self.stand_in {
            let (done, pressed) = stand_in.turn(log_s, &self.guide.prompt());
            confirmed |= pressed;
            for action in done {
                let _ = actions.send(action.into());
            }
        }
        let rpm = session.last().and_then(|last| last.rpm);
        let news = News { link_down: session.is_down(), rpm };
        let doing = self.guide.advance(log_s, confirmed, news);
        if let Some((stand_in, _)) = &mut self.stand_in {
            stand_in.hear(log_s, &doing);
        }
        self.carry_out(doing, session, host_s)
    }

    fn carry_out(&self, doing: Vec<Doing>, session: &mut Session, host_s: f64) -> Moved {
        let mut moved = Moved::default();
        for doing in doing {
            match doing {
                Doing::Mark(words) => {
                    session.mark(&words, host_s);
                    moved.marks.push(words);
                }
                Doing::Ring => moved.rings = true,
                Doing::Act(_) => {}
                Doing::Finished => moved.finished = true,
            }
        }
        moved
    }
}
