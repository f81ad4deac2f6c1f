//! The connections: so many and no more, and those that say nothing go first.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::Notify;

/// Connections at a time. Each page takes one for its frames and a few for its parts.
const MOST: usize = 192;

/// A connection.
#[derive(Debug, Default)]
pub struct Line {
    ended: Notify,
    streams: AtomicBool,
}

impl Line {
    /// Ends it, whatever it waits for.
    pub fn end(&self) {
        self.ended.notify_one();
    }

    /// Waits for its end to be wanted.
    pub async fn ended(&self) {
        self.ended.notified().await;
    }

    /// It carries frames from now on.
    pub fn streams(&self) {
        self.streams.store(true, Ordering::Relaxed);
    }
}

/// All connections, the oldest first.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    lines: Arc<Mutex<VecDeque<Arc<Line>>>>,
}

impl Lines {
    /// Takes another one. Where there are too many, the oldest that carries no frames is ended for it: a
    /// thousand that were opened to say nothing keep nobody out.
    pub fn admit(&self) -> Arc<Line> {
        let line = Arc::new(Line::default());
        let mut lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        if lines.len() >= MOST {
            let quiet = lines.iter().position(|line| !line.streams.load(Ordering::Relaxed));
            if let Some(line) = lines.remove(quiet.unwrap_or(0)) {
                line.end();
            }
        }
        lines.push_back(line.clone());
        line
    }

    /// Forgets one that has ended.
    pub fn forget(&self, line: &Arc<Line>) {
        let mut lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        lines.retain(|other| !Arc::ptr_eq(other, line));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_oldest_quiet_one_makes_room() {
        let lines = Lines::default();
        let page = lines.admit();
        page.streams();
        let quiet: Vec<Arc<Line>> = (0..MOST).map(|_| lines.admit()).collect();
        let kept = lines.lines.lock().unwrap().clone();
        assert_eq!(kept.len(), MOST);
        assert!(Arc::ptr_eq(&kept[0], &page), "a page stays");
        assert!(!kept.iter().any(|line| Arc::ptr_eq(line, &quiet[0])), "the oldest quiet one goes");
        lines.forget(&page);
        assert_eq!(lines.lines.lock().unwrap().len(), MOST - 1);
    }
}
