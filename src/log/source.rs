//! Bytes of any encoding as UTF-8, piece by piece.

use super::ReadError;
use crate::sample::Remark;
use encoding_rs::{Decoder, Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};
use std::io::{ErrorKind, Read};

/// How many bytes are looked at before anything is decided.
const LOOK: usize = 96 * 1024;

/// A source of UTF-8 with LF or CRLF line ends.
pub(super) struct Source<R> {
    input: R,
    name: String,
    decoder: Option<Decoder>,
    /// Bytes read and not yet handed out.
    held: Vec<u8>,
    /// Old line ends of a bare CR become LF.
    mend_cr: bool,
    ended: bool,
    /// What a person should know about the encoding.
    pub remark: Option<Remark>,
}

impl<R: Read> Source<R> {
    /// Looks at the start of the input and decides on its encoding.
    ///
    /// Errors: empty, not text, unreadable.
    pub fn open(mut input: R, name: &str) -> Result<Self, ReadError> {
        let mut start = Vec::new();
        let ended = read_some(&mut input, &mut start, LOOK).map_err(|e| unreadable(name, e))?;
        if start.is_empty() {
            return Err(ReadError::Empty { name: name.to_string() });
        }
        let (encoding, skip) = encoding_of(&start, ended);
        let bytes = &start[skip..];
        if let Some((found, advice)) = not_text(bytes, encoding) {
            let (found, advice) = (found.to_string(), advice.to_string());
            return Err(ReadError::Binary { name: name.to_string(), found, advice });
        }
        let remark = encoding.map(|encoding| {
            let text = format!(
                "the file is not UTF-8; it was read as {}, so check names with accents",
                encoding.name()
            );
            Remark::new("encoding", 1, &[], text)
        });
        let mend_cr = encoding.is_none_or(|e| e == WINDOWS_1252)
            && bytes.contains(&b'\r')
            && !bytes.contains(&b'\n');
        Ok(Source {
            input,
            name: name.to_string(),
            decoder: encoding.map(Encoding::new_decoder_without_bom_handling),
            held: bytes.to_vec(),
            mend_cr,
            ended,
            remark: remark.filter(|_| encoding == Some(WINDOWS_1252)),
        })
    }

    /// Appends about `want` more bytes of UTF-8 to `out`; false when there are no more.
    pub fn fill(&mut self, out: &mut Vec<u8>, want: usize) -> Result<bool, ReadError> {
        if self.ended && self.held.is_empty() {
            return Ok(false);
        }
        let before = out.len();
        let target = if self.decoder.is_some() {
            &mut self.held
        } else {
            out.append(&mut self.held);
            &mut *out
        };
        let have = target.len() - if self.decoder.is_some() { 0 } else { before };
        if !self.ended && have < want {
            self.ended = read_some(&mut self.input, target, want - have)
                .map_err(|e| unreadable(&self.name, e))?;
        }
        if let Some(decoder) = &mut self.decoder {
            decode(decoder, &mut self.held, self.ended, out);
        }
        if self.mend_cr {
            out[before..].iter_mut().filter(|b| **b == b'\r').for_each(|b| *b = b'\n');
        }
        Ok(true)
    }
}

/// Decodes all of `held` to the end of `out`; a character cut in two stays in the decoder.
fn decode(decoder: &mut Decoder, held: &mut Vec<u8>, last: bool, out: &mut Vec<u8>) {
    let start = out.len();
    let room = decoder.max_utf8_buffer_length(held.len()).unwrap_or(held.len() * 3 + 16);
    out.resize(start + room, 0);
    let (_, _, written, _) = decoder.decode_to_utf8(held, &mut out[start..], last);
    out.truncate(start + written);
    held.clear();
}

/// Reads up to `want` bytes to the end of `out`; true at the end of the input.
fn read_some(input: &mut impl Read, out: &mut Vec<u8>, want: usize) -> std::io::Result<bool> {
    out.reserve(want);
    let read = input.by_ref().take(want as u64).read_to_end(out)?;
    Ok(read < want)
}

fn unreadable(name: &str, source: std::io::Error) -> ReadError {
    let name = name.to_string();
    if source.kind() == ErrorKind::IsADirectory {
        return ReadError::Directory { name };
    }
    ReadError::Unreadable { name, source }
}

/// The encoding (`None` for UTF-8) and the bytes of its mark at the start.
fn encoding_of(start: &[u8], whole: bool) -> (Option<&'static Encoding>, usize) {
    match start {
        [0xef, 0xbb, 0xbf, ..] => return (None, 3),
        [0xff, 0xfe, ..] => return (Some(UTF_16LE), 2),
        [0xfe, 0xff, ..] => return (Some(UTF_16BE), 2),
        _ => {}
    }
    let look = &start[..start.len().min(4096)];
    let zeros = |from: usize| {
        let all = look.len() / 2;
        let zeros = look.iter().skip(from).step_by(2).filter(|b| **b == 0).count();
        if all == 0 { 0.0 } else { zeros as f64 / all as f64 }
    };
    if zeros(1) > 0.7 && zeros(0) < 0.1 {
        return (Some(UTF_16LE), 0);
    }
    if zeros(0) > 0.7 && zeros(1) < 0.1 {
        return (Some(UTF_16BE), 0);
    }
    match std::str::from_utf8(start) {
        Ok(_) => (None, 0),
        // A character cut in two by the end of the look is no fault.
        Err(e) if e.error_len().is_none() && !whole => (None, 0),
        Err(_) => (Some(WINDOWS_1252), 0),
    }
}

/// What a file that is not text seems to be, and what to do.
fn not_text(
    bytes: &[u8],
    encoding: Option<&'static Encoding>,
) -> Option<(&'static str, &'static str)> {
    let save = "save or export it as CSV and read that";
    match bytes {
        [b'P', b'K', 3, 4, ..] => return Some(("a zip archive or a spreadsheet", save)),
        [0xd0, 0xcf, 0x11, 0xe0, ..] => return Some(("an old spreadsheet", save)),
        [0x1f, 0x8b, ..] => return Some(("compressed data", "unpack it first")),
        [b'%', b'P', b'D', b'F', ..] => return Some(("a PDF document", save)),
        _ => {}
    }
    if encoding.is_some_and(|e| e != WINDOWS_1252) {
        return None;
    }
    // A power cut leaves zeros at the end of a file; they are no sign of binary data.
    let written = bytes.iter().rposition(|b| *b != 0).map_or(0, |last| last + 1);
    let bytes = &bytes[..written];
    let odd = |b: &u8| *b < 32 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0c | 0x1b);
    let odd = bytes.iter().filter(|b| odd(b)).count();
    (written == 0 || odd * 50 > written)
        .then_some(("binary data", "give a log in CSV: a heading row and a row a sample"))
}

/// Mends text that was encoded twice (`Â°C` for `°C`): true where it was.
pub(super) fn mend_twice_encoded(text: &mut String) -> bool {
    if text.is_ascii() {
        return false;
    }
    let (bytes, _, unmappable) = WINDOWS_1252.encode(text);
    match std::str::from_utf8(&bytes) {
        Ok(mended) if !unmappable && mended.len() < text.len() => {
            *text = mended.to_string();
            true
        }
        _ => false,
    }
}

/// A field as text: UTF-8 where it is, else Windows-1252.
pub(super) fn as_text(field: &[u8]) -> std::borrow::Cow<'_, str> {
    match std::str::from_utf8(field) {
        Ok(text) => text.into(),
        Err(_) => WINDOWS_1252.decode_without_bom_handling(field).0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(bytes: &[u8]) -> Result<(String, bool), ReadError> {
        let mut source = Source::open(bytes, "x")?;
        let mut out = Vec::new();
        while source.fill(&mut out, 5)? {}
        Ok((String::from_utf8(out).unwrap(), source.remark.is_some()))
    }

    fn utf16(text: &str, mark: bool, big: bool) -> Vec<u8> {
        let units = mark.then_some(0xfeff).into_iter().chain(text.encode_utf16());
        units.flat_map(|u| if big { u.to_be_bytes() } else { u.to_le_bytes() }).collect()
    }

    #[test]
    fn every_encoding_gives_the_same_text() {
        let text = "time_s,°C µ\r\n0.0,1\r\n";
        for mark in [true, false] {
            for big in [true, false] {
                assert_eq!(all(&utf16(text, mark, big)).unwrap(), (text.to_string(), false));
            }
        }
        assert_eq!(all(text.as_bytes()).unwrap(), (text.to_string(), false));
        assert_eq!(all(&[b"\xef\xbb\xbf", text.as_bytes()].concat()).unwrap().0, text);
        let (latin, _, _) = WINDOWS_1252.encode(text);
        assert_eq!(all(&latin).unwrap(), (text.to_string(), true));
    }

    #[test]
    fn bare_cr_becomes_lf() {
        assert_eq!(all(b"a,b\r1,2\r").unwrap().0, "a,b\n1,2\n");
    }

    #[test]
    fn what_is_not_text_is_refused() {
        assert!(matches!(all(b""), Err(ReadError::Empty { .. })));
        assert!(matches!(all(b"PK\x03\x04rest"), Err(ReadError::Binary { .. })));
        let noise: Vec<u8> = (0..2000u32).map(|i| ((i * 7919) >> 3) as u8).collect();
        assert!(matches!(all(&noise), Err(ReadError::Binary { .. })));
    }

    #[test]
    fn twice_encoded_text_is_mended_and_other_text_left() {
        let mut text = "t1 (Â°C)".to_string();
        assert!(mend_twice_encoded(&mut text));
        assert_eq!(text, "t1 (°C)");
        for good in ["°C", "Kühler", "µ"] {
            let mut text = good.to_string();
            assert!(!mend_twice_encoded(&mut text), "{good}");
        }
    }
}
