//! A box on a pseudo-terminal: it speaks the sentences of the wire and counts them.

use serialport::{SerialPort, TTYPort};
use std::fs;
use std::io::Write;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::{Duration, Instant};

/// Held while a program is started or a port is made.
pub static STARTING: Mutex<()> = Mutex::new(());

/// A box that may be plugged in under any name.
pub struct BenchBox {
    folder: PathBuf,
    port: Option<(TTYPort, TTYPort, PathBuf)>,
    /// Sentences sent since the box was switched on.
    pub sent: u64,
    interval_us: u64,
}

/// A sentence; the framing is written out here, so that the program's own is not trusted.
pub fn framed(body: &str) -> Vec<u8> {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n").into_bytes()
}

impl BenchBox {
    /// A box that samples so many times a second, on the shelf.
    pub fn new(folder: &Path, hz: u64) -> Self {
        BenchBox { folder: folder.into(), port: None, sent: 0, interval_us: 1_000_000 / hz }
    }

    /// Plugs it in under a name.
    pub fn plug(&mut self, name: &str) -> PathBuf {
        let (mut master, slave) = {
            let _no_program_starts = STARTING.lock().unwrap();
            let (master, slave) = TTYPort::pair().unwrap();
            // The clones are closed in programs that are started; the pair itself would stay open in
            // them, and the plug could not be pulled.
            (master.try_clone_native().unwrap(), slave.try_clone_native().unwrap())
        };
        master.set_timeout(Duration::from_secs(20)).unwrap();
        let path = self.folder.join(name);
        symlink(slave.name().unwrap(), &path).unwrap();
        self.port = Some((master, slave, path.clone()));
        path
    }

    /// Pulls the plug: what the cable still held is gone.
    pub fn unplug(&mut self) {
        if let Some((_, _, path)) = self.port.take() {
            fs::remove_file(path).unwrap();
        }
    }

    /// Says what it is.
    pub fn introduce(&mut self) {
        let hz = 1_000_000 / self.interval_us;
        self.say(&framed(&format!("EBI,bench-box,1,10,5000,MPXV6115V,MPXV6115V,{hz}")));
    }

    /// The next sentence: idling at about 850 rev/min and 57 kPa.
    pub fn sentence(&mut self) -> Vec<u8> {
        let k = self.sent;
        self.sent += 1;
        let (seq, micros) = (k % 65_536, k * self.interval_us % (1 << 32));
        let swing = [0, 9, 14, 11, 2, 6, 12, 5][k as usize % 8];
        framed(&format!("EBP,{seq},{micros},{},{},{}", 8_480 + k % 40, 490 + swing, 500 - swing))
    }

    /// Sends sentences as fast as the port takes them.
    pub fn send(&mut self, count: u64) {
        for _ in 0..count {
            let line = self.sentence();
            self.say(&line);
        }
    }

    /// Sends sentences at its own rate for a while.
    pub fn run(&mut self, how_long: Duration) {
        let (start, from) = (Instant::now(), self.sent);
        while start.elapsed() < how_long {
            let due = start.elapsed().as_micros() as u64 / self.interval_us;
            while self.sent - from < due {
                self.send(1);
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// Puts bytes on the cable.
    pub fn say(&mut self, bytes: &[u8]) {
        if let Some((master, _, _)) = &mut self.port {
            master.write_all(bytes).unwrap();
        }
    }
}
