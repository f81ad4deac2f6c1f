//! Sentences on the wire: `$` fields `*` checksum, as NMEA 0183 frames them.

use super::event::BoxInfo;

/// What a line from a box is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Line {
    /// A sentence of this program's box with the right checksum.
    Box,
    /// Another sentence with the right checksum.
    OtherSentence,
    /// Plain numbers with commas between them.
    Numbers,
    /// Anything else: a torn sentence, a wrong checksum, noise.
    Garbage,
}

/// Exclusive-or of the bytes between `$` and `*`.
///
/// ```
/// // Engine speed sentence from the tests of a public NMEA 0183 parser: $IIRPM,...*5F
/// assert_eq!(evenbreath::sources::wire::checksum(b"IIRPM,E,1,2418.2,10.5,A"), 0x5F);
/// ```
pub fn checksum(body: &[u8]) -> u8 {
    body.iter().fold(0, |sum, byte| sum ^ byte)
}

/// The text between `$` and `*` when the framing and the checksum are right. Hexadecimal digits may
/// be of either case.
pub fn body(line: &[u8]) -> Option<&str> {
    let line = line.trim_ascii_end();
    let inside = line.strip_prefix(b"$")?;
    let star = inside.len().checked_sub(3)?;
    let (body, sum) = (&inside[..star], &inside[star..]);
    let digits = std::str::from_utf8(sum.strip_prefix(b"*")?).ok()?;
    if !digits.bytes().all(|b| b.is_ascii_hexdigit())
        || !body.iter().all(|b| (0x20..0x7F).contains(b))
    {
        return None;
    }
    let right = u8::from_str_radix(digits, 16).ok()? == checksum(body);
    right.then(|| std::str::from_utf8(body).ok()).flatten()
}

/// A sample as it stands in its sentence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Raw {
    /// Sequence number, wraps at 65536.
    pub seq: u16,
    /// The device's counter of microseconds, wraps at 2^32.
    pub micros: u32,
    /// Engine speed, rev/min.
    pub rpm: Option<f64>,
    /// Codes of sensor 1, sensor 2 and the crankcase.
    pub codes: [Option<f64>; 3],
}

/// What a sentence with the right checksum says.
#[derive(Debug, Clone, PartialEq)]
pub enum Sentence<'a> {
    /// A sample.
    Sample(Raw),
    /// What the box is.
    Info(BoxInfo),
    /// The answer to a command: the words after the name of the sentence.
    Answer(&'a str),
    /// A sentence of another kind.
    Other,
    /// A sentence of the box whose fields cannot be read.
    Unreadable,
}

/// Reads the text between `$` and `*`.
///
/// ```
/// use evenbreath::sources::wire::{Sentence, read};
/// let Sentence::Sample(raw) = read("EBP,17,1250000,8493,1834,1902") else { panic!() };
/// assert_eq!((raw.seq, raw.rpm, raw.codes[1]), (17, Some(849.3), Some(1902.0)));
/// ```
pub fn read(body: &str) -> Sentence<'_> {
    let (head, rest) = body.split_once(',').unwrap_or((body, ""));
    match head {
        "EBP" => sample(rest).map_or(Sentence::Unreadable, Sentence::Sample),
        "EBI" => info(rest).map_or(Sentence::Unreadable, Sentence::Info),
        "EBA" => Sentence::Answer(rest),
        _ => Sentence::Other,
    }
}

/// A command to the box, framed.
///
/// ```
/// assert_eq!(evenbreath::sources::wire::command("RATE,200"), "$EBC,RATE,200*74\r\n");
/// ```
pub fn command(words: &str) -> String {
    framed(&format!("EBC,{words}"))
}

/// A sentence from the text between `$` and `*`.
pub fn framed(body: &str) -> String {
    format!("${body}*{:02X}\r\n", checksum(body.as_bytes()))
}

fn sample(fields: &str) -> Option<Raw> {
    let mut fields = fields.split(',');
    let (seq, micros) = (fields.next()?, fields.next()?);
    let tenths = empty_or(fields.next()?)?;
    let codes = [
        empty_or(fields.next()?)?,
        empty_or(fields.next()?)?,
        match fields.next() {
            Some(third) => empty_or(third)?,
            None => None,
        },
    ];
    if fields.next().is_some() {
        return None;
    }
    let rpm = tenths.map(|tenths| tenths / 10.0);
    Some(Raw { seq: seq.parse().ok()?, micros: micros.parse().ok()?, rpm, codes })
}

/// A field that may be empty; `None` for one that is neither empty nor a whole number.
fn empty_or(field: &str) -> Option<Option<f64>> {
    if field.is_empty() {
        return Some(None);
    }
    field.parse::<u32>().ok().map(|number| Some(f64::from(number)))
}

fn info(fields: &str) -> Option<BoxInfo> {
    let fields: Vec<&str> = fields.split(',').map(str::trim).collect();
    let [name, version, bits, vref, one, two, hz] = fields.as_slice() else { return None };
    let positive = |text: &str| text.parse::<f64>().ok().filter(|v| v.is_finite() && *v > 0.0);
    Some(BoxInfo {
        name: name.to_string(),
        version: version.to_string(),
        adc_bits: bits.parse().ok().filter(|bits| (1..=32).contains(bits))?,
        vref_mv: positive(vref)?,
        sensors: [one.to_string(), two.to_string()],
        sample_hz: positive(hz)?,
    })
}

/// Says what a line is.
pub fn classify(line: &[u8]) -> Line {
    match body(line) {
        Some(body) if ["EBP,", "EBI,", "EBA,"].iter().any(|head| body.starts_with(head)) => {
            Line::Box
        }
        Some(_) => Line::OtherSentence,
        None if numbers(line) => Line::Numbers,
        None => Line::Garbage,
    }
}

/// At least three fields, all numbers or empty, the first one a number.
fn numbers(line: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(line.trim_ascii()) else { return false };
    let fields: Vec<&str> = text.split(',').map(str::trim).collect();
    let number = |field: &&str| field.parse::<f64>().is_ok_and(f64::is_finite);
    fields.len() >= 3 && number(&fields[0]) && fields.iter().all(|f| f.is_empty() || number(f))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published sentences, as the check values of the design list them with their places.
    const PUBLISHED: [&str; 4] = [
        "$GPGGA,015808.00,2726.53758,S,15126.05255,E,1,08,1.0,365.1,M,39.5,M,,*79",
        "$IIRPM,E,1,2418.2,10.5,A*5F",
        "$PSRF103,00,01,00,01*25",
        "$GNGLL,2239.37849,N,11400.75600,E,123254.00,A,A*7F",
    ];

    #[test]
    fn published_sentences_check() {
        for sentence in PUBLISHED {
            assert_eq!(classify(sentence.as_bytes()), Line::OtherSentence, "{sentence}");
            let mut torn = sentence.as_bytes().to_vec();
            torn[5] ^= 1;
            assert_eq!(classify(&torn), Line::Garbage, "{sentence}");
        }
    }

    #[test]
    fn fields_that_cannot_be_read_are_no_sample() {
        for body in [
            "EBP",
            "EBP,",
            "EBP,1,2,3,4",
            "EBP,1,2,3,4,5,6,7",
            "EBP,65536,2,3,4,5",
            "EBP,1,-2,3,4,5",
            "EBP,1,4294967296,3,4,5",
            "EBP,1,2,3.5,4,5",
            "EBP,1,2,NaN,4,5",
            "EBI,box,1,0,5000,A,B,200",
            "EBI,box,1,10,inf,A,B,200",
            "EBI,box,1,10,5000,A,B",
            "EBI,box,1,10,5000,A,B,0",
        ] {
            assert_eq!(read(body), Sentence::Unreadable, "{body}");
        }
        let Sentence::Sample(raw) = read("EBP,65535,4294967295,,,7,8") else { panic!() };
        assert_eq!((raw.seq, raw.micros, raw.rpm), (65_535, u32::MAX, None));
        assert_eq!(raw.codes, [None, Some(7.0), Some(8.0)]);
        assert_eq!(read("EBA,RATE,200"), Sentence::Answer("RATE,200"));
        assert_eq!(read("IIRPM,E,1,2418.2,10.5,A"), Sentence::Other);
        let Sentence::Info(info) = read("EBI,two-hose-box,1,14,5000,A,B,200") else { panic!() };
        assert_eq!((info.adc_bits, info.vref_mv, info.sample_hz), (14, 5000.0, 200.0));
    }

    #[test]
    fn a_box_is_known_by_its_sentences() {
        let body = "EBP,7,123456,8510,512,530";
        let line = format!("${body}*{:02x}\r\n", checksum(body.as_bytes()));
        assert_eq!(classify(line.as_bytes()), Line::Box);
        assert_eq!(classify(b"12.5,851,57.2,55.9\n"), Line::Numbers);
        assert_eq!(classify(b"12.5,,57.2,55.9"), Line::Numbers);
        for garbage in
            [&b""[..], b"$", b"$*", b"$EBP*7", b"hello", b"1,2", b"\xff\xfe,1,2", b"a,b,c"]
        {
            assert_eq!(classify(garbage), Line::Garbage, "{garbage:?}");
        }
    }
}
