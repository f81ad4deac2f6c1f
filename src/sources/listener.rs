//! Listens to a source for as long as somebody wants to hear, and finds it again when it is gone.

use super::decoder::Decoder;
use super::event::Event;
use super::link::{Link, OpenError, Opened, Opener, is_patience};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

/// Silence of an open link that counts as a lost one.
const SILENCE: Duration = Duration::from_secs(2);
/// Between two attempts to find a link again. An unplugged port fails within a microsecond; asking
/// without a pause would keep a core busy.
const AGAIN: Duration = Duration::from_millis(100);
/// What a port holds at the end is read for no longer than this.
const HEARING_OUT: Duration = Duration::from_millis(250);
/// Bytes of one read.
const PIECE: usize = 64 * 1024;
/// After a read of less than this the next one waits a little, so that a fast box does not wake the
/// program for every line.
const SMALL_PIECE: usize = 1024;
/// How long it waits: far below what a person or a journal notices.
const GATHERING: Duration = Duration::from_millis(4);

/// Listens to a source.
pub struct Listener {
    opener: Box<dyn Opener>,
    decoder: Decoder,
    started: Instant,
    stop: Arc<AtomicBool>,
    commands: Receiver<String>,
    events: Vec<Event>,
}

/// How a link ended.
enum End {
    /// Nobody wants to hear any more.
    Stopped,
    /// It is gone.
    Gone(String),
}

impl Listener {
    /// A listener whose host times count from `started`; it ends when `stop` becomes true, and writes
    /// the commands it is given, framed, to the link.
    pub fn new(
        opener: Box<dyn Opener>,
        started: Instant,
        stop: Arc<AtomicBool>,
        commands: Receiver<String>,
    ) -> Self {
        let decoder = Decoder::new(opener.begins_whole(), opener.is_live());
        Listener { opener, decoder, started, stop, commands, events: Vec::new() }
    }

    /// Opens the source and hands over what it hears, piece by piece, until there is no more or
    /// `deliver` says that nobody listens. `opened` is told the name of the port.
    ///
    /// # Errors
    /// The source cannot be opened at the first attempt.
    pub fn listen(
        mut self,
        opened: impl FnOnce(&str),
        mut deliver: impl FnMut(Vec<Event>) -> bool,
    ) -> Result<(), OpenError> {
        let mut link = self.opener.open()?;
        opened(&link.name);
        loop {
            let end = self.hear(link, &mut deliver);
            let End::Gone(why) = end else { break };
            if !self.opener.comes_back() {
                break;
            }
            self.decoder.link_lost();
            let host_s = self.host_s();
            self.events.push(Event::LinkLost { host_s, why });
            if !self.hand_over(&mut deliver) {
                break;
            }
            let Some(found) = self.look_again() else { break };
            let (host_s, port) = (self.host_s(), found.name.clone());
            self.events.push(Event::LinkBack { host_s, port });
            link = found;
        }
        let host_s = self.host_s();
        self.decoder.finish(host_s, &mut self.events);
        self.events.push(Event::Ended);
        self.hand_over(&mut deliver);
        Ok(())
    }

    fn host_s(&self) -> f64 {
        self.started.elapsed().as_secs_f64()
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    fn hand_over(&mut self, deliver: &mut impl FnMut(Vec<Event>) -> bool) -> bool {
        self.events.is_empty() || deliver(std::mem::take(&mut self.events))
    }

    /// Hears an open link to its end.
    fn hear(&mut self, opened: Opened, deliver: &mut impl FnMut(Vec<Event>) -> bool) -> End {
        let Opened { name, mut link, heard } = opened;
        let mut buffer = vec![0; PIECE];
        let mut last = Instant::now();
        let mut silent = false;
        if !heard.is_empty() {
            self.take(&heard);
        }
        loop {
            if !self.hand_over(deliver) {
                return End::Stopped;
            }
            if self.stopped() {
                self.hear_out(link.as_mut(), &mut buffer);
                return End::Stopped;
            }
            self.send_commands(link.as_mut());
            match link.read(&mut buffer) {
                Ok(0) => return End::Gone("the port is gone".into()),
                Ok(count) => {
                    if std::mem::take(&mut silent) {
                        let (host_s, port) = (self.host_s(), name.clone());
                        self.events.push(Event::LinkBack { host_s, port });
                    }
                    last = Instant::now();
                    self.take(&buffer[..count]);
                    if count < SMALL_PIECE && self.opener.is_live() {
                        let _ = self.hand_over(deliver);
                        std::thread::sleep(GATHERING);
                    }
                }
                Err(error) if is_patience(&error) => {
                    if !silent && last.elapsed() >= SILENCE {
                        silent = true;
                        let host_s = (last - self.started).as_secs_f64();
                        let why = "the port is open but silent".into();
                        self.events.push(Event::LinkLost { host_s, why });
                    }
                }
                Err(error) => return End::Gone(error.to_string()),
            }
        }
    }

    /// What the port still holds when the recording ends was sent before its end.
    fn hear_out(&mut self, link: &mut dyn Link, buffer: &mut [u8]) {
        let end = Instant::now() + HEARING_OUT;
        while self.opener.comes_back() && Instant::now() < end {
            match link.read(buffer) {
                Ok(count) if count > 0 => self.take(&buffer[..count]),
                _ => break,
            }
        }
    }

    fn take(&mut self, bytes: &[u8]) {
        let host_s = self.host_s();
        self.events.push(Event::Heard { host_s, bytes: bytes.len() });
        self.decoder.take(bytes, host_s, &mut self.events);
    }

    /// A command that cannot be written is lost: its answer stays away, and that is said.
    fn send_commands(&self, link: &mut dyn Link) {
        for command in self.commands.try_iter() {
            let _ = link.write_all(command.as_bytes()).and_then(|()| link.flush());
        }
    }

    /// Looks for the link until it is found; `None` when nobody wants it any more.
    fn look_again(&mut self) -> Option<Opened> {
        while !self.stopped() {
            std::thread::sleep(AGAIN);
            if let Ok(found) = self.opener.open() {
                return Some(found);
            }
        }
        None
    }
}
