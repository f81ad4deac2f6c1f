//! The serial box: opened by its port, or found by what it says; found again under any name.

use super::link::{Link, OpenError, Opened, Opener, is_patience};
use super::ports;
use super::wire::{Line, classify};
use serialport::SerialPortType;
use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Time for a box to say something. The slowest box speaks ten times a second, and one that starts
/// when its port is opened needs a second or so for that.
const TIME_TO_SPEAK: Duration = Duration::from_millis(2500);
/// Where one has spoken, the others have had their chance after this.
const TIME_FOR_OTHERS: Duration = Duration::from_millis(800);

/// What stays the same when a port comes back under another name: vendor, product, serial number.
type Identity = (u16, u16, Option<String>);

/// Opens a serial port.
pub struct Serial {
    /// A path, or one with a `*` in its last part; any port when absent.
    wanted: Option<String>,
    baud: u32,
    /// The port that was open last.
    last: Option<(String, Option<Identity>)>,
}

/// What came of listening to a port that may be the one.
struct Candidate {
    opened: Option<Opened>,
    speaks: bool,
    said: String,
}

impl Serial {
    /// The port of this path, those that a `*` in its last part leaves open, or any.
    pub fn new(wanted: Option<String>, baud: u32) -> Self {
        Serial { wanted, baud, last: None }
    }

    /// A path without any choice in it.
    fn path(&self) -> Option<&str> {
        self.wanted.as_deref().filter(|wanted| !wanted.contains('*'))
    }

    fn names(&self) -> Result<Vec<String>, OpenError> {
        match self.wanted.as_deref().filter(|wanted| wanted.contains('*')) {
            Some(pattern) => Ok(matching(pattern)),
            None => ports::names().map_err(|error| OpenError::NoList(error.to_string())),
        }
    }

    /// The one that speaks; `first` also where others do.
    fn find(&self, names: &[String], first: bool) -> Result<Opened, OpenError> {
        if names.is_empty() {
            return Err(match &self.wanted {
                Some(pattern) => OpenError::NoMatch { pattern: pattern.clone() },
                None => OpenError::NoPort,
            });
        }
        let found = AtomicBool::new(false);
        let candidates = listen(names, self.baud, first.then_some(&found));
        let said: Vec<String> = candidates
            .iter()
            .zip(names)
            .map(|(candidate, name)| format!("{name}: {}", candidate.said))
            .collect();
        let mut speaking: Vec<Opened> = candidates
            .into_iter()
            .filter(|candidate| candidate.speaks)
            .filter_map(|candidate| candidate.opened)
            .collect();
        match speaking.len() {
            0 => Err(OpenError::NoneSpeaks { heard: said.join(", ") }),
            1 => Ok(speaking.remove(0)),
            _ if first => Ok(speaking.remove(0)),
            _ => {
                let names: Vec<&str> = speaking.iter().map(|one| one.name.as_str()).collect();
                Err(OpenError::SeveralSpeak { ports: names.join(", ") })
            }
        }
    }

    /// The port that was lost: its own path, else the same device under another name. Where the system
    /// does not know devices apart, whichever speaks.
    fn again(&self, last: &str, identity: Option<&Identity>) -> Result<Opened, OpenError> {
        let its_own = self.path().unwrap_or(last);
        if let Ok(opened) = open(its_own, self.baud)
            && self.path().is_some()
        {
            return Ok(opened);
        }
        let names = self.names()?;
        let same = names.iter().find(|name| identity.is_some() && of(name).as_ref() == identity);
        if identity.is_some() {
            return same.map_or(Err(OpenError::NoPort), |name| open(name, self.baud));
        }
        self.find(&names, true)
    }
}

impl Opener for Serial {
    fn open(&mut self) -> Result<Opened, OpenError> {
        let opened = match (&self.last, self.path()) {
            (Some((last, identity)), _) => self.again(last, identity.as_ref()),
            (None, Some(path)) => open(path, self.baud),
            (None, None) => self.find(&self.names()?, false),
        }?;
        self.last = Some((opened.name.clone(), of(&opened.name)));
        Ok(opened)
    }

    fn comes_back(&self) -> bool {
        true
    }

    fn begins_whole(&self) -> bool {
        false
    }

    fn is_live(&self) -> bool {
        true
    }
}

fn open(path: &str, baud: u32) -> Result<Opened, OpenError> {
    match serialport::new(path, baud).timeout(ports::PATIENCE).open() {
        Ok(port) => {
            let link: Box<dyn Link> = Box::new(port);
            Ok(Opened { name: path.into(), link, heard: Vec::new() })
        }
        Err(_) if !Path::new(path).exists() => Err(OpenError::NoMatch { pattern: path.into() }),
        Err(error) => Err(OpenError::Closed { port: path.into(), trouble: ports::trouble(&error) }),
    }
}

/// Listens to all of them at once; to the first that speaks only, where `found` is there to say so.
fn listen(names: &[String], baud: u32, found: Option<&AtomicBool>) -> Vec<Candidate> {
    std::thread::scope(|scope| {
        let ears: Vec<_> =
            names.iter().map(|name| scope.spawn(move || listen_to(name, baud, found))).collect();
        let deaf = || Candidate { opened: None, speaks: false, said: "not heard".into() };
        ears.into_iter().map(|ear| ear.join().unwrap_or_else(|_| deaf())).collect()
    })
}

fn listen_to(name: &str, baud: u32, found: Option<&AtomicBool>) -> Candidate {
    let mut opened = match open(name, baud) {
        Ok(opened) => opened,
        Err(OpenError::Closed { trouble, .. }) => {
            return Candidate { opened: None, speaks: false, said: trouble };
        }
        Err(other) => {
            return Candidate { opened: None, speaks: false, said: other.to_string() };
        }
    };
    let started = Instant::now();
    let mut buffer = [0; 4096];
    let mut spoke = false;
    let settled = || found.is_some_and(|found| found.load(Ordering::Relaxed));
    while !settled() && started.elapsed() < if spoke { TIME_FOR_OTHERS } else { TIME_TO_SPEAK } {
        match opened.link.read(&mut buffer) {
            Ok(count) if count > 0 => {
                opened.heard.extend_from_slice(&buffer[..count]);
                spoke = spoke || speaks(&opened.heard);
                if let Some(found) = found.filter(|_| spoke) {
                    found.store(true, Ordering::Relaxed);
                }
            }
            Err(error) if is_patience(&error) => {}
            Ok(_) | Err(_) => {
                return Candidate { opened: None, speaks: false, said: "gone".into() };
            }
        }
    }
    let said = match opened.heard.len() {
        0 => "silent".into(),
        count => format!("{count} bytes, no line that can be read"),
    };
    Candidate { opened: Some(opened), speaks: spoke, said }
}

/// There is a line of a box in it, behind the first line end: what stands before may be torn.
fn speaks(heard: &[u8]) -> bool {
    let mut lines = heard.split(|byte| *byte == b'\n').skip(1);
    lines.any(|line| matches!(classify(line), Line::Box | Line::Numbers))
}

/// The device behind a port, where the system knows it.
fn of(name: &str) -> Option<Identity> {
    let real = fs::canonicalize(name).ok();
    let real = real.as_deref().unwrap_or(Path::new(name));
    let known = serialport::available_ports().ok()?;
    known.into_iter().find(|port| Path::new(&port.port_name) == real).and_then(|port| {
        match port.port_type {
            SerialPortType::UsbPort(usb) => Some((usb.vid, usb.pid, usb.serial_number)),
            _ => None,
        }
    })
}

/// The files whose names a pattern with one `*` in its last part leaves open, sorted.
fn matching(pattern: &str) -> Vec<String> {
    let (folder, last) = pattern.rsplit_once('/').unwrap_or((".", pattern));
    let (start, end) = last.split_once('*').unwrap_or((last, ""));
    let Ok(entries) = fs::read_dir(if folder.is_empty() { "/" } else { folder }) else {
        return Vec::new();
    };
    let mut names: Vec<String> = entries
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| {
            name.len() >= start.len() + end.len() && name.starts_with(start) && name.ends_with(end)
        })
        .map(|name| format!("{folder}/{name}"))
        .collect();
    names.sort();
    names
}
