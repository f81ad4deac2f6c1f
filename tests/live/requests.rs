//! A client that says what a test wants said, byte by byte.

use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::time::Duration;

/// Nothing that is waited for takes longer on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);

/// An answer.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

pub fn connect(port: u16) -> TcpStream {
    let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.set_write_timeout(Some(PATIENCE)).unwrap();
    stream
}

/// Sends bytes and reads what comes until the server closes; an empty head where it says nothing.
pub fn raw(port: u16, bytes: &[u8]) -> Answer {
    let mut stream = connect(port);
    // The server may close before all is sent: that is an answer too.
    let _ = stream.write_all(bytes);
    let mut text = Vec::new();
    let _ = stream.read_to_end(&mut text);
    let text = String::from_utf8_lossy(&text).into_owned();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|word| word.parse().ok()).unwrap_or(0);
    Answer { status, head: head.to_lowercase(), body: body.to_string() }
}

/// A GET with the right host and these lines more.
pub fn get(port: u16, path: &str, lines: &str) -> Answer {
    let host = format!("127.0.0.1:{port}");
    raw(
        port,
        format!("GET {path} HTTP/1.1\r\nhost: {host}\r\nconnection: close\r\n{lines}\r\n")
            .as_bytes(),
    )
}

/// A POST to `/press` with the right host and these lines more.
pub fn post(port: u16, lines: &str, body: &str) -> Answer {
    let length = body.len();
    let request = format!(
        "POST /press HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\nconnection: close\r\ncontent-length: {length}\r\n\
         {lines}\r\n{body}"
    );
    raw(port, request.as_bytes())
}

/// What the page itself sends with a press on this machine.
pub const OWN: &str = "x-evenbreath-press: here\r\nsec-fetch-site: same-origin\r\n";

/// A page that listens.
pub struct Listening {
    lines: BufReader<TcpStream>,
}

impl Listening {
    pub fn to(port: u16, query: &str) -> Self {
        let mut stream = connect(port);
        let request = format!("GET /stream{query} HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\n\r\n");
        stream.write_all(request.as_bytes()).unwrap();
        Listening { lines: BufReader::new(stream) }
    }

    /// The next frame; `None` where the server has closed.
    pub fn frame(&mut self) -> Option<Value> {
        loop {
            let mut line = String::new();
            if self.lines.read_line(&mut line).unwrap_or(0) == 0 {
                return None;
            }
            if let Some(data) = line.strip_prefix("data: ") {
                return Some(serde_json::from_str(data).unwrap());
            }
        }
    }

    /// The first frame of which something is so.
    pub fn until(&mut self, what: &str, is_so: impl Fn(&Value) -> bool) -> Value {
        for _ in 0..4000 {
            let frame = self.frame().unwrap_or_else(|| panic!("closed before {what}"));
            if is_so(&frame) {
                return frame;
            }
        }
        panic!("never came: {what}");
    }
}

/// The program with a page.
pub struct Recorder {
    pub child: Child,
    pub port: u16,
}

impl Recorder {
    pub fn start(args: &[&str]) -> Self {
        Self::of("record", args)
    }

    pub fn of(name: &str, args: &[&str]) -> Self {
        Self::with(name, args, Stdio::null())
    }

    /// One that is sent its samples, and the sending end.
    pub fn fed(args: &[&str]) -> (Self, ChildStdin) {
        let mut recorder = Self::with("record", args, Stdio::piped());
        let sender = recorder.child.stdin.take().unwrap();
        (recorder, sender)
    }

    fn with(name: &str, args: &[&str], input: Stdio) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenbreath"));
        command.arg(name).args(args).stdin(input);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let mut said = BufReader::new(child.stderr.take().unwrap());
        let url = loop {
            let mut line = String::new();
            assert!(said.read_line(&mut line).unwrap() > 0, "no address was printed");
            if let Some(url) = line.split_whitespace().find(|word| word.starts_with("http")) {
                break url.to_string();
            }
        };
        // Its messages are read to the end, so that it never waits for a reader.
        std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
        let after_host = url.rsplit_once(':').unwrap().1;
        let port = after_host.split('/').next().unwrap().parse().unwrap();
        Recorder { child, port }
    }

    /// Waits for its end, and gives its exit code.
    pub fn ended(&mut self) -> Option<i32> {
        self.child.wait().unwrap().code()
    }
}

impl Drop for Recorder {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An empty folder of this name.
pub fn folder(name: &str) -> std::path::PathBuf {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("live-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}
