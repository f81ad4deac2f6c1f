//! An open stream of bytes, and how it is opened and found again.

use std::io::{self, Read, Write};
use thiserror::Error;

/// A stream of bytes that is open. A read that has nothing to give for a while fails with
/// [`io::ErrorKind::TimedOut`]; one that gives 0 bytes has ended.
pub trait Link: Read + Write + Send {}

impl<T: Read + Write + Send> Link for T {}

/// A link, ready to be listened to.
pub struct Opened {
    /// What messages call it.
    pub name: String,
    /// The stream.
    pub link: Box<dyn Link>,
    /// Bytes that were heard while it was looked for.
    pub heard: Vec<u8>,
}

/// Opens a source, and opens it again.
pub trait Opener: Send {
    /// Opens it.
    ///
    /// # Errors
    /// It is not there, not to be had, or silent; which says [`OpenError`].
    fn open(&mut self) -> Result<Opened, OpenError>;

    /// A stream that ends may come back; else its end is the end.
    fn comes_back(&self) -> bool;

    /// The stream begins with a whole line.
    fn begins_whole(&self) -> bool;

    /// The stream comes at its own speed, so that the host's clock says something of it.
    fn is_live(&self) -> bool;
}

/// Why a source cannot be listened to. The last semicolon parts what was found from what to do.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum OpenError {
    /// The port does not open.
    #[error("the port {port} cannot be listened to: {trouble}")]
    Closed {
        /// The port.
        port: String,
        /// Why, and what to do.
        trouble: String,
    },
    /// There is no port at all.
    #[error("no serial port on this machine; plug the box in and look at its cable")]
    NoPort,
    /// No port has a name like that.
    #[error("no port matches {pattern:?}; see 'evenbreath ports'")]
    NoMatch {
        /// What was asked for.
        pattern: String,
    },
    /// No port speaks.
    #[error("no port speaks ({heard}); is the box on, and its speed that of --baud?")]
    NoneSpeaks {
        /// What was heard on each.
        heard: String,
    },
    /// More than one port speaks.
    #[error("more than one port speaks ({ports}); name one of them with --port")]
    SeveralSpeak {
        /// Their names.
        ports: String,
    },
    /// The ports cannot be listed.
    #[error("the serial ports cannot be listed ({0}); name the port with --port")]
    NoList(String),
}

impl OpenError {
    /// The device is there and silent, or there is none; else the command line named something that
    /// cannot be used.
    pub fn is_silence(&self) -> bool {
        matches!(self, OpenError::NoneSpeaks { .. } | OpenError::NoPort)
    }
}

/// A read came back with nothing, because nothing came.
pub(super) fn is_patience(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::Interrupted)
}
