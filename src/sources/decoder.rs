//! From bytes to events. It knows no port and no clock: the time of arrival is handed in.

use super::event::{Event, Rejection};
use super::number_lines::NumberLines;
use super::sequence::Sequence;
use super::wire::{self, Line, Sentence};

/// A line longer than this is noise: no sentence is.
pub(super) const LONGEST_LINE: usize = 512;

/// What lines the stream has brought so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Speech {
    Nothing,
    Sentences,
    Numbers,
}

/// Reads the bytes of a source.
///
/// ```
/// use evenbreath::sources::decoder::Decoder;
/// use evenbreath::sources::event::Event;
/// let mut decoder = Decoder::new(true, false);
/// let mut events = Vec::new();
/// decoder.take(b"time_s,rpm,vac1_kpa,vac2_kpa\n0.00,850,57.2,55.9\n", 0.0, &mut events);
/// assert!(matches!(events[1], Event::Sample(sample) if sample.rpm == Some(850.0)));
/// ```
#[derive(Debug, Clone)]
pub struct Decoder {
    line: Vec<u8>,
    /// The line began before we listened.
    torn: bool,
    /// The rest of a line that is too long is passed over.
    passing: bool,
    speech: Speech,
    sequence: Sequence,
    numbers: NumberLines,
}

impl Decoder {
    /// A reader of a stream that begins with a whole line, or somewhere in one; `live` where it comes
    /// at its own speed.
    pub fn new(begins_whole: bool, live: bool) -> Self {
        Decoder {
            line: Vec::with_capacity(LONGEST_LINE),
            torn: !begins_whole,
            passing: false,
            speech: Speech::Nothing,
            sequence: Sequence::default(),
            numbers: NumberLines::new(live),
        }
    }

    /// Takes bytes that arrived at a time of the host's monotonic clock, s.
    pub fn take(&mut self, mut bytes: &[u8], host_s: f64, events: &mut Vec<Event>) {
        while let Some(end) = memchr::memchr(b'\n', bytes) {
            let (piece, rest) = (&bytes[..end], &bytes[end + 1..]);
            bytes = rest;
            if self.line.is_empty() && !self.passing && piece.len() <= LONGEST_LINE {
                self.end_of_line(piece, host_s, events);
                continue;
            }
            self.gather(piece, events);
            let line = std::mem::take(&mut self.line);
            if !std::mem::take(&mut self.passing) {
                self.end_of_line(&line, host_s, events);
            }
            self.line = line;
            self.line.clear();
        }
        self.gather(bytes, events);
    }

    /// The link is gone: what is left of a line will not be ended, and the next one may be torn.
    pub fn link_lost(&mut self) {
        self.line.clear();
        self.sequence.link_lost();
        (self.torn, self.passing) = (true, false);
    }

    /// Nothing more comes.
    pub fn finish(&mut self, host_s: f64, events: &mut Vec<Event>) {
        // A last line without its end may be whole: its checksum tells. A number line may be cut.
        let line = std::mem::take(&mut self.line);
        if !self.passing && !line.trim_ascii().is_empty() {
            match wire::classify(&line) {
                Line::Box | Line::OtherSentence => self.end_of_line(&line, host_s, events),
                _ => events.push(Event::Rejected(Rejection::Garbled)),
            }
        }
        self.sequence.finish(events);
        self.numbers.finish(events);
    }

    fn gather(&mut self, piece: &[u8], events: &mut Vec<Event>) {
        if self.passing {
            return;
        }
        if self.line.len() + piece.len() > LONGEST_LINE {
            self.line.clear();
            self.passing = true;
            self.torn = false;
            events.push(Event::Rejected(Rejection::Garbled));
            return;
        }
        self.line.extend_from_slice(piece);
    }

    fn end_of_line(&mut self, line: &[u8], host_s: f64, events: &mut Vec<Event>) {
        let torn = std::mem::take(&mut self.torn);
        let line = line.trim_ascii();
        if line.is_empty() {
            return;
        }
        if let Some(body) = wire::body(line) {
            return self.sentence(body, host_s, events);
        }
        // A sentence that broke off may have a whole one behind it on its line.
        if let Some(start) = memchr::memrchr(b'$', line).filter(|start| *start > 0)
            && let Some(body) = wire::body(&line[start..])
        {
            if !torn {
                events.push(Event::Rejected(Rejection::Garbled));
            }
            return self.sentence(body, host_s, events);
        }
        let text = std::str::from_utf8(line).unwrap_or("");
        if self.speech != Speech::Sentences && self.numbers.heading(text) {
            return;
        }
        match wire::classify(line) {
            // The tail of a torn line may look like numbers.
            _ if torn => {}
            Line::Numbers if self.speech != Speech::Sentences => {
                self.speech = Speech::Numbers;
                self.numbers.take(text, host_s, events);
            }
            Line::Numbers => events.push(Event::Rejected(Rejection::Unknown)),
            // Words in a field: a mark, where a heading has said so.
            _ if self.speech != Speech::Sentences
                && self.numbers.has_fields()
                && text.contains(',') =>
            {
                self.speech = Speech::Numbers;
                self.numbers.take(text, host_s, events);
            }
            _ => events.push(Event::Rejected(Rejection::Garbled)),
        }
    }

    fn sentence(&mut self, body: &str, host_s: f64, events: &mut Vec<Event>) {
        match wire::read(body) {
            Sentence::Sample(raw) => {
                self.speech = Speech::Sentences;
                self.sequence.take(raw, host_s, events);
            }
            Sentence::Info(info) => {
                self.speech = Speech::Sentences;
                events.push(Event::Info(info));
            }
            Sentence::Answer(words) => events.push(Event::Answer(words.to_string())),
            Sentence::Other => events.push(Event::Rejected(Rejection::Unknown)),
            Sentence::Unreadable => events.push(Event::Rejected(Rejection::Garbled)),
        }
    }
}
