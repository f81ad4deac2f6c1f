//! Streams that are made here: a log played again, an engine model with a box on it, standard input.

use super::link::{Link, OpenError, Opened, Opener};
use std::io::{self, Read, Write};
use std::time::{Duration, Instant};

/// A read waits no longer than this for something that is not due yet.
const PATIENCE: Duration = Duration::from_millis(50);

/// Makes bytes as their time comes.
pub trait Stream: Send {
    /// Puts what is due at `now_s`, seconds since the stream was opened, behind `bytes`; gives when more
    /// is due, or `None` where there is no more.
    fn due(&mut self, now_s: f64, bytes: &mut Vec<u8>) -> Option<f64>;

    /// Takes what is written to the stream.
    fn told(&mut self, _bytes: &[u8]) {}
}

/// A stream that keeps time with the clock, or runs so many times as fast.
pub struct Paced<S> {
    stream: S,
    opened: Instant,
    speed: f64,
    bytes: Vec<u8>,
    given: usize,
    ended: bool,
}

impl<S: Stream> Read for Paced<S> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.given == self.bytes.len() && !self.ended {
            (self.given, _) = (0, self.bytes.clear());
            let now_s = self.opened.elapsed().as_secs_f64() * self.speed;
            match self.stream.due(now_s, &mut self.bytes) {
                None => self.ended = true,
                Some(next_s) if self.bytes.is_empty() => {
                    let wait_s = ((next_s - now_s) / self.speed).clamp(0.0, PATIENCE.as_secs_f64());
                    std::thread::sleep(Duration::from_secs_f64(wait_s));
                    return Err(io::ErrorKind::TimedOut.into());
                }
                Some(_) => {}
            }
        }
        let count = buffer.len().min(self.bytes.len() - self.given);
        buffer[..count].copy_from_slice(&self.bytes[self.given..self.given + count]);
        self.given += count;
        Ok(count)
    }
}

impl<S: Stream> Write for Paced<S> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.stream.told(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Opens a stream that is made here, once.
pub struct Once {
    name: String,
    link: Option<Box<dyn Link>>,
    live: bool,
}

impl Once {
    /// A stream that keeps time, `speed` times as fast as true.
    pub fn paced<S: Stream + 'static>(name: &str, stream: S, speed: f64) -> Self {
        let (opened, bytes) = (Instant::now(), Vec::new());
        let link = Paced { stream, opened, speed, bytes, given: 0, ended: false };
        Once { name: name.into(), link: Some(Box::new(link)), live: true }
    }

    /// Standard input.
    pub fn standard_input() -> Self {
        Once { name: "standard input".into(), link: Some(Box::new(Input)), live: false }
    }
}

impl Opener for Once {
    fn open(&mut self) -> Result<Opened, OpenError> {
        let link = self.link.take().ok_or(OpenError::NoPort)?;
        Ok(Opened { name: self.name.clone(), link, heard: Vec::new() })
    }

    fn comes_back(&self) -> bool {
        false
    }

    fn begins_whole(&self) -> bool {
        true
    }

    fn is_live(&self) -> bool {
        self.live
    }
}

/// Standard input; there is nobody to write to.
struct Input;

impl Read for Input {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        io::stdin().lock().read(buffer)
    }
}

impl Write for Input {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
