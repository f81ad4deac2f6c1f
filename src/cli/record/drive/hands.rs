//! What people do while it records: a key, a press on the page, a step of the guide.

use super::super::keys::Wish;
use super::super::led::Moved;
use super::super::teacher::Taught;
use super::{Drive, Ended};
use crate::live::{Press, Pressed, lesson};
use crate::recording::lesson::done_by;
use crate::sample::{Mark, Meaning};
use crate::units::Seconds;
use crossterm::event::KeyEvent;
use std::time::Instant;

impl Drive<'_> {
    /// Lets the guide move on; true when it has come to its end.
    pub(super) fn lead(&mut self, log_s: f64) -> bool {
        let now_s = self.host_s();
        let Some(led) = &mut self.led else { return false };
        let moved = led.advance(&mut self.session, log_s, now_s);
        self.moved(moved)
    }

    fn moved(&mut self, moved: Moved) -> bool {
        if let Some(keys) = &mut self.keys {
            moved.marks.iter().for_each(|words| keys.saw(words));
        }
        if moved.rings {
            self.display.ring();
        }
        moved.finished
    }

    pub(super) fn key(&mut self, key: KeyEvent, at: Instant) -> Option<Ended> {
        let at_s = (at - self.started).as_secs_f64();
        let wish = self.keys.as_mut()?.press(key, at_s)?;
        self.fulfil(wish, at_s)
    }

    /// What was pressed on the page. The page is told whether it was done, and why not.
    pub(super) fn pressed(&mut self, pressed: Pressed) -> Option<Ended> {
        let done = match pressed.press() {
            Press::Lesson { what } => self.teach(*what),
            press => self.press(press),
        };
        match done {
            Ok(ended) => {
                pressed.answer(Ok(()));
                ended
            }
            Err(why) => {
                pressed.answer(Err(why));
                None
            }
        }
    }

    fn press(&mut self, press: &Press) -> Result<Option<Ended>, String> {
        let keys = self.keys.as_mut().ok_or("nothing can be pressed here")?;
        let wish = keys.pressed(press)?;
        self.stopped_on_page |= wish == Wish::End;
        let at_s = self.host_s();
        Ok(self.fulfil(wish, at_s))
    }

    /// What was pressed in a lesson.
    fn teach(&mut self, what: lesson::Press) -> Result<Option<Ended>, String> {
        let at_s = self.host_s();
        let teacher = self.teacher.as_mut().ok_or("this recording is no lesson")?;
        match teacher.press(what).map_err(|refused| refused.to_string())? {
            Taught::Mark(words) => self.session.mark(&words, at_s),
            Taught::Next => return Ok(Some(Ended::Asked)),
            Taught::Nothing => {}
        }
        Ok(None)
    }

    fn fulfil(&mut self, wish: Wish, at_s: f64) -> Option<Ended> {
        match (wish, &mut self.led) {
            (Wish::Mark(words), led) => {
                self.session.mark(&words, at_s);
                if let Some(teacher) = &mut self.teacher {
                    teacher.noticed(&words);
                }
                if let (Some(engine), Some(action)) = (&self.engine, done_by(&meaning(&words))) {
                    let _ = engine.send(action.into());
                }
                if let Some(led) = led {
                    let moved = led.noticed(&words, &mut self.session, at_s);
                    self.moved(moved);
                }
            }
            (Wish::End, _) => return Some(Ended::Asked),
            (Wish::Done, Some(led)) => led.confirm(),
            (Wish::Again, Some(led)) => {
                let moved = led.again(&mut self.session, at_s);
                self.moved(moved);
            }
            (Wish::Skip, Some(led)) => {
                let moved = led.skip(&mut self.session, at_s);
                return self.moved(moved).then_some(Ended::Guide);
            }
            (Wish::Done | Wish::Again | Wish::Skip, None) => {}
        }
        None
    }
}

fn meaning(words: &str) -> Meaning {
    Mark::read(Seconds(0.0), words).meaning
}
