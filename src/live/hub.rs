//! Hands every frame to every page, and waits for none.

use super::connections::Line;
use super::frame::Frame;
use super::sentence::Sentence;
use super::trace::Point;
use axum::body::Bytes;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::mpsc::{Receiver, Sender, channel};

/// What a page that comes late is shown of the past, s.
const KEPT_S: f64 = 60.0;
/// Frames that wait for a page: about three seconds of them.
const WAITING: usize = 64;
/// Pages at a time: a class, each with one.
const MOST_PAGES: usize = 48;

/// The recorder's end of the page.
#[derive(Debug, Clone, Default)]
pub struct Hub {
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Default)]
struct State {
    latest: Option<Frame>,
    trace: VecDeque<Point>,
    closing: VecDeque<(f64, f64, f64)>,
    pages: Vec<Page>,
}

/// A page that listens. Dropping it ends its connection, which may hang in a write that nobody reads.
#[derive(Debug)]
struct Page {
    queue: Sender<Bytes>,
    line: Arc<Line>,
}

impl Drop for Page {
    fn drop(&mut self) {
        self.line.end();
    }
}

impl Hub {
    /// Hands over a frame. A page whose queue is full is dropped; it may come again and is then shown what
    /// it has missed.
    pub fn publish(&self, frame: Frame) {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.remember(&frame);
        if let Some(event) = event(&frame) {
            state.pages.retain(|page| page.queue.try_send(event.clone()).is_ok());
        }
        state.latest = Some(frame);
    }

    /// Sends the latest frame once more, so that a page knows that there still is somebody.
    pub fn again(&self) {
        let latest = self.state.lock().unwrap_or_else(PoisonError::into_inner).latest.clone();
        if let Some(latest) = latest {
            let (trace, closing) = (Vec::new(), Vec::new());
            self.publish(Frame { anew: false, heard_unix_ms: None, trace, closing, ..latest });
        }
    }

    /// The latest frame with other words below its sentence.
    pub fn say(&self, words: &str) {
        if let Some(latest) = &mut self.state.lock().unwrap_or_else(PoisonError::into_inner).latest
        {
            latest.sentence.detail = Some(words.into());
        }
        self.again();
    }

    /// The latest frame with another sentence: what the log came to, once it is closed and judged.
    pub fn conclude(&self, sentence: Sentence) {
        if let Some(latest) = &mut self.state.lock().unwrap_or_else(PoisonError::into_inner).latest
        {
            latest.sentence = sentence;
        }
        self.again();
    }

    /// Pages that listen.
    pub fn pages(&self) -> usize {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.pages.retain(|page| !page.queue.is_closed());
        state.pages.len()
    }

    /// Another page: its frames, the first with all that is kept. `None` where there are too many.
    pub(super) fn join(&self, line: Arc<Line>) -> Option<Receiver<Bytes>> {
        let (queue, frames) = channel(WAITING);
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.pages.retain(|page| !page.queue.is_closed());
        if state.pages.len() >= MOST_PAGES {
            return None;
        }
        // How soon the browser comes back after a broken connection, ms.
        let _ = queue.try_send(Bytes::from_static(b"retry: 500\n\n"));
        if let Some(whole) = state.whole().as_ref().and_then(event) {
            let _ = queue.try_send(whole);
        }
        state.pages.push(Page { queue, line });
        Some(frames)
    }
}

impl State {
    fn remember(&mut self, frame: &Frame) {
        if frame.anew {
            self.trace.clear();
            self.closing.clear();
        }
        self.trace.extend(&frame.trace);
        self.closing.extend(&frame.closing);
        let from_s = frame.elapsed_s - KEPT_S;
        while self.trace.front().is_some_and(|point| point.at_s < from_s) {
            self.trace.pop_front();
        }
        while self.closing.front().is_some_and(|(at_s, ..)| *at_s < from_s) {
            self.closing.pop_front();
        }
    }

    /// The latest frame with all that is kept.
    fn whole(&self) -> Option<Frame> {
        let latest = self.latest.as_ref()?;
        Some(Frame {
            anew: true,
            heard_unix_ms: None,
            trace: self.trace.iter().copied().collect(),
            closing: self.closing.iter().copied().collect(),
            ..latest.clone()
        })
    }
}

/// A server-sent event (HTML Living Standard, 9.2.6): JSON has no line breaks of its own.
fn event(frame: &Frame) -> Option<Bytes> {
    let mut bytes = b"data: ".to_vec();
    serde_json::to_writer(&mut bytes, frame).ok()?;
    bytes.extend_from_slice(b"\n\n");
    Some(bytes.into())
}
