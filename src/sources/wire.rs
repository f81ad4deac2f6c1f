//! Sentences on the wire: `$` fields `*` checksum, as NMEA 0183 frames them.

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
