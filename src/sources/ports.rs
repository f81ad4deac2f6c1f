//! The serial ports of this machine, and what is heard on each.

use super::decoder::LONGEST_LINE;
use super::link::is_patience;
use super::wire::{Line, classify};
use serde::Serialize;
use std::io::Read;
use std::time::{Duration, Instant};

/// Speed of the wire unless told otherwise, baud.
pub const BAUD: u32 = 115_200;
/// Time after which a read comes back to look at the clock.
pub(super) const PATIENCE: Duration = Duration::from_millis(50);

/// What was heard on a port.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Heard {
    /// Name of the port.
    pub port: String,
    /// Sentences of a box with the right checksum.
    pub sentences: u64,
    /// Other sentences with the right checksum.
    pub other_sentences: u64,
    /// Lines of plain numbers.
    pub number_lines: u64,
    /// Lines that are none of these; the first one after opening does not count, it is torn.
    pub garbage_lines: u64,
    /// Bytes received.
    pub bytes: u64,
    /// Why the port could not be listened to; absent when it could.
    pub trouble: Option<String>,
}

impl Heard {
    /// One sentence for a person.
    pub fn say(&self) -> String {
        if let Some(trouble) = &self.trouble {
            return trouble.clone();
        }
        let counted = [
            (self.sentences, "box sentence"),
            (self.number_lines, "number line"),
            (self.other_sentences, "other sentence"),
            (self.garbage_lines, "garbled line"),
        ];
        let parts: Vec<String> = counted
            .into_iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, what)| format!("{count} {what}{}", if count == 1 { "" } else { "s" }))
            .collect();
        match (self.bytes, parts.is_empty()) {
            (0, _) => "silent".into(),
            (bytes, true) => format!("{bytes} bytes without a whole line: another speed, perhaps"),
            _ => format!("heard {}", parts.join(", ")),
        }
    }
}

/// Names of the serial ports, sorted.
///
/// # Errors
/// The system does not give the list.
pub fn names() -> Result<Vec<String>, serialport::Error> {
    let mut names: Vec<String> =
        serialport::available_ports()?.into_iter().map(|port| port.port_name).collect();
    names.sort();
    Ok(names)
}

/// Listens to all ports at once for `how_long`.
///
/// # Errors
/// No threads can be had for it.
pub fn listen_to_all(
    names: &[String],
    baud: u32,
    how_long: Duration,
) -> Result<Vec<Heard>, std::io::Error> {
    let runtime = tokio::runtime::Builder::new_current_thread().build()?;
    runtime.block_on(async {
        let ears: Vec<_> = names
            .iter()
            .map(|name| {
                let name = name.clone();
                tokio::task::spawn_blocking(move || listen(&name, baud, how_long))
            })
            .collect();
        let mut heard = Vec::with_capacity(ears.len());
        for ear in ears {
            heard.push(ear.await?);
        }
        Ok(heard)
    })
}

fn listen(name: &str, baud: u32, how_long: Duration) -> Heard {
    match serialport::new(name, baud).timeout(PATIENCE).open() {
        Ok(mut port) => listen_on(name, port.as_mut(), how_long),
        Err(error) => {
            Heard { port: name.into(), trouble: Some(trouble(&error)), ..Heard::default() }
        }
    }
}

/// Listens on an open port and counts what it hears.
pub fn listen_on(name: &str, port: &mut dyn Read, how_long: Duration) -> Heard {
    let mut heard = Heard { port: name.into(), ..Heard::default() };
    let mut line: Vec<u8> = Vec::new();
    let mut torn = true;
    let mut buffer = [0; 4096];
    let end = Instant::now() + how_long;
    while Instant::now() < end {
        let count = match port.read(&mut buffer) {
            // A port that gives nothing without waiting is gone; asking again would only spin.
            Ok(0) => {
                heard.trouble = Some("gone while listening: look at the plug".into());
                break;
            }
            Ok(count) => count,
            Err(error) if is_patience(&error) => 0,
            Err(error) => {
                heard.trouble = Some(format!("stopped while listening: {error}"));
                break;
            }
        };
        heard.bytes += count as u64;
        for byte in &buffer[..count] {
            if *byte == b'\n' || line.len() == LONGEST_LINE {
                count_line(&mut heard, &line, torn);
                (torn, _) = (false, line.clear());
            } else {
                line.push(*byte);
            }
        }
    }
    heard
}

fn count_line(heard: &mut Heard, line: &[u8], torn: bool) {
    match classify(line) {
        Line::Box => heard.sentences += 1,
        Line::OtherSentence => heard.other_sentences += 1,
        // The tail of a torn line may look like numbers.
        Line::Numbers | Line::Garbage if torn => {}
        Line::Numbers => heard.number_lines += 1,
        Line::Garbage if line.trim_ascii().is_empty() => {}
        Line::Garbage => heard.garbage_lines += 1,
    }
}

/// Why a port does not open, and what to do.
pub(super) fn trouble(error: &serialport::Error) -> String {
    use std::io::ErrorKind;
    match error.kind() {
        serialport::ErrorKind::Io(ErrorKind::PermissionDenied) => {
            "no permission: on Linux add yourself to the group that owns it (often dialout)".into()
        }
        serialport::ErrorKind::NoDevice => "busy or gone: close the program that holds it".into(),
        _ => format!("it does not open ({error}); try another cable or port"),
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::super::wire::checksum;
    use super::*;
    use serialport::SerialPort;
    use std::io::Write;

    #[test]
    fn a_box_on_a_pseudo_terminal_is_heard() {
        let (mut master, mut slave) = serialport::TTYPort::pair().unwrap();
        slave.set_timeout(PATIENCE).unwrap();
        let mut text = String::from("8510,512,530*55\n");
        for seq in 0..20 {
            let body = format!("EBP,{seq},{},8510,512,530", seq * 20_000);
            text += &format!("${body}*{:02X}\r\n", checksum(body.as_bytes()));
        }
        text += "$EBP,20,1,2,3,4*00\n\n$IIRPM,E,1,2418.2,10.5,A*5F\n0.4,850,57.1,56.2\n";
        master.write_all(text.as_bytes()).unwrap();
        let heard = listen_on("pseudo", &mut slave, Duration::from_millis(300));
        assert_eq!((heard.sentences, heard.other_sentences), (20, 1), "{heard:?}");
        assert_eq!((heard.number_lines, heard.garbage_lines), (1, 1), "{heard:?}");
        assert_eq!(heard.bytes, text.len() as u64);
        assert!(heard.say().starts_with(
            "heard 20 box sentences, 1 number line, 1 other sentence, 1 garbled line"
        ));
    }

    #[test]
    fn silence_and_a_missing_port_are_said() {
        let (_master, mut slave) = serialport::TTYPort::pair().unwrap();
        slave.set_timeout(PATIENCE).unwrap();
        assert_eq!(listen_on("quiet", &mut slave, Duration::from_millis(120)).say(), "silent");
        let names = vec!["/dev/evenbreath-is-not-here".to_string()];
        let heard = listen_to_all(&names, BAUD, Duration::from_millis(50)).unwrap();
        assert!(heard[0].trouble.is_some(), "{heard:?}");
        assert!(!heard[0].say().contains("silent"));
    }
}
