//! From the characters of one field to a number.
//!
//! [`plain`] reads the plain decimals of nearly every log; [`cell`] reads what people
//! and loggers write besides: decimal commas, thousands in groups, units glued to the number.

/// How one column writes its numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Format {
    /// The decimal sign, `.` or `,`.
    pub point: u8,
    /// Thousands are set apart by the other sign.
    pub grouped: bool,
}

impl Format {
    /// Plain decimals with a point.
    pub const POINT: Format = Format { point: b'.', grouped: false };
    /// Plain decimals with a comma.
    pub const COMMA: Format = Format { point: b',', grouped: false };
}

/// What one field holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell<'a> {
    /// Nothing, or a word for 'no reading'.
    Empty,
    /// A finite number and the unit glued to it (empty for none).
    Number(f64, &'a str),
    /// NaN or infinity, spelt out or by overflow.
    NotFinite,
    /// Anything else.
    Unreadable,
}

/// Ten to the power of 0 to 22: exact in an f64, so that one division rounds correctly.
pub(super) const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Reads a plain decimal from the start of `bytes`: its value and its length. `None` for anything
/// that is not plain, such as an exponent or more digits than an f64 holds exactly.
///
/// The result is the same as that of `str::parse`: mantissa and power of ten are both exact, and
/// a division rounds once (W. D. Clinger, How to read floating point numbers accurately, 1990).
#[inline]
pub(super) fn plain(bytes: &[u8], point: u8) -> Option<(f64, usize)> {
    let mut at = 0;
    let negative = bytes.first() == Some(&b'-');
    if negative || bytes.first() == Some(&b'+') {
        at = 1;
    }
    let start = at;
    let mut mantissa: u64 = 0;
    while let Some(digit) = bytes.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    let mut digits = at - start;
    let mut decimals = 0;
    if bytes.get(at) == Some(&point) {
        at += 1;
        let first = at;
        while let Some(digit) = bytes.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            at += 1;
        }
        decimals = at - first;
        digits += decimals;
    }
    if digits == 0 || digits > 18 || mantissa > 1 << 53 {
        return None;
    }
    let value = if decimals == 0 { mantissa as f64 } else { mantissa as f64 / POWERS[decimals] };
    Some((if negative { -value } else { value }, at))
}

/// Words that loggers write where they had no reading.
const NO_READING: [&str; 9] = ["-", "--", "---", "n/a", "null", "none", "nodata", "no data", "\\n"];

/// Reads one field.
pub(super) fn cell(field: &[u8], format: Format) -> Cell<'_> {
    let Ok(text) = std::str::from_utf8(field) else { return Cell::Unreadable };
    let text = bare(text);
    if text.is_empty() || NO_READING.iter().any(|word| word.eq_ignore_ascii_case(text)) {
        return Cell::Empty;
    }
    if let Some((value, used)) = plain(text.as_bytes(), format.point)
        && used == text.len()
        && !(format.grouped && text.contains(other(format.point)))
    {
        return Cell::Number(value, "");
    }
    let (number, unit) = text.split_at(number_length(text));
    let unit = unit.trim();
    if number.is_empty() {
        let word = text.trim_start_matches(['+', '-']).to_ascii_lowercase();
        let spelt = ["nan", "inf", "infinity", "1.#qnan", "#num!"].contains(&word.as_str());
        return if spelt { Cell::NotFinite } else { Cell::Unreadable };
    }
    if unit.chars().any(|c| c.is_ascii_digit() && c != '2') || unit.starts_with(['.', ',', '#']) {
        return Cell::Unreadable;
    }
    match value_of(number, format) {
        Some(value) if value.is_finite() => Cell::Number(value, unit),
        Some(_) => Cell::NotFinite,
        None => Cell::Unreadable,
    }
}

/// A field without blanks and quotation marks around it.
pub(super) fn bare(text: &str) -> &str {
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\u{feff}');
    match text.strip_prefix('"').and_then(|t| t.strip_suffix('"')) {
        Some(inner) => inner.trim(),
        None => text,
    }
}

fn other(point: u8) -> char {
    if point == b',' { '.' } else { ',' }
}

/// Length of the longest start of `text` that can be a number.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let sign = usize::from(bytes.first().is_some_and(|b| matches!(b, b'+' | b'-')));
    let inside = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b',');
    let mut end = sign + bytes[sign..].iter().take_while(|b| inside(b)).count();
    if !bytes[..end].iter().any(u8::is_ascii_digit) {
        return 0;
    }
    if bytes.get(end).is_some_and(|b| matches!(b, b'e' | b'E')) {
        let sign = usize::from(bytes.get(end + 1).is_some_and(|b| matches!(b, b'+' | b'-')));
        let from = (end + 1 + sign).min(bytes.len());
        let digits = bytes[from..].iter().take_while(|b| b.is_ascii_digit()).count();
        if digits > 0 {
            end = from + digits;
        }
    }
    end
}

/// The number in `text`, whose signs may be a decimal sign and signs between thousands.
fn value_of(text: &str, format: Format) -> Option<f64> {
    let (point, group) = (format.point as char, other(format.point));
    let plain = match (text.contains(point), text.contains(group)) {
        (_, false) => text.replace(',', "."),
        (true, true) => {
            let (whole, _) = text.split_once(point)?;
            if !in_groups(whole, group) || text.rfind(group) > text.find(point) {
                return None;
            }
            text.replace(group, "").replace(',', ".")
        }
        // Only the other sign: thousands where the column has them, else a stray decimal sign,
        // unless it could be either.
        (false, true) if format.grouped && in_groups(text, group) => text.replace(group, ""),
        (false, true) if !in_groups(text, group) => text.replace(',', "."),
        (false, true) => return None,
    };
    plain.parse().ok()
}

/// True for `1.234` or `12.345.678`: at most three digits, then groups of exactly three.
fn in_groups(text: &str, group: char) -> bool {
    let mut parts = text.trim_start_matches(['+', '-']).split(group);
    let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    let first = parts.next().is_some_and(|p| (1..=3).contains(&p.len()) && digits(p));
    let rest: Vec<&str> = parts.collect();
    first && !rest.is_empty() && rest.iter().all(|p| p.len() == 3 && digits(p))
}

/// Tells from sample fields of one column how it writes numbers. `comma_log` says that other
/// columns of the log use a decimal comma.
pub(super) fn format_of<'a>(fields: impl Iterator<Item = &'a str>, comma_log: bool) -> Format {
    #[derive(Default)]
    struct Seen {
        alone: usize,
        grouped: usize,
        leading_zero: bool,
    }
    let (mut comma, mut point) = (Seen::default(), Seen::default());
    let (mut small_whole, mut large_whole) = (0, 0);
    for field in fields {
        let field = bare(field);
        let number = &field[..number_length(field)];
        match (number.contains(','), number.contains('.')) {
            (true, true) if number.rfind(',') > number.rfind('.') => {
                return Format { point: b',', grouped: true };
            }
            (true, true) => return Format { point: b'.', grouped: true },
            (false, false) if number.trim_start_matches(['+', '-']).len() > 3 => large_whole += 1,
            (false, false) => small_whole += usize::from(!number.is_empty()),
            (has_comma, _) => {
                let (seen, sign) = if has_comma { (&mut comma, ',') } else { (&mut point, '.') };
                seen.alone += 1;
                seen.grouped += usize::from(in_groups(number, sign));
                seen.leading_zero |= number.trim_start_matches(['+', '-']).starts_with('0');
            }
        }
    }
    let thousands = |seen: &Seen| {
        let all = seen.alone > 0 && seen.grouped == seen.alone && !seen.leading_zero;
        all && small_whole > 0 && large_whole == 0
    };
    if comma.alone > 0 && point.alone == 0 && !thousands(&comma) || comma.grouped < comma.alone {
        Format::COMMA
    } else if comma.alone > 0 {
        Format { point: b'.', grouped: true }
    } else if comma_log && thousands(&point) {
        Format { point: b',', grouped: true }
    } else if comma_log && point.alone == 0 {
        Format::COMMA
    } else {
        Format::POINT
    }
}

/// True when a field holds something like a measured value or a stamp rather than words.
pub(super) fn looks_like_value(field: &str) -> bool {
    let field = bare(field);
    let starts = field.trim_start_matches(['+', '-', '.', ',']);
    let letters = field.chars().filter(|c| c.is_alphabetic()).count();
    let digits = field.chars().filter(char::is_ascii_digit).count();
    let sane = |c: char| {
        c.is_alphanumeric()
            || matches!(c, ' ' | '.' | ',' | ':' | '-' | '+' | '/' | '%' | '"' | '°')
    };
    let stamp = field.contains(':') && digits >= 4;
    let number = starts.starts_with(|c: char| c.is_ascii_digit());
    (number && letters <= 6 || stamp) && letters <= digits.max(5) && field.chars().all(sane)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(text: &str, format: Format) -> Option<f64> {
        match cell(text.as_bytes(), format) {
            Cell::Number(value, _) => Some(value),
            _ => None,
        }
    }

    #[test]
    fn the_fast_way_gives_what_the_standard_library_gives() {
        let mut random: u64 = 7;
        for _ in 0..200_000 {
            random = random.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            let (digits, decimals) = (random >> 40, (random >> 8) as usize % 9);
            let text = format!("-{}.{:0width$}", digits, random % 9, width = decimals);
            if let Some((value, used)) = plain(text.as_bytes(), b'.') {
                assert_eq!(
                    (value.to_bits(), used),
                    (text.parse::<f64>().unwrap().to_bits(), text.len())
                );
            }
        }
        assert_eq!(plain(b"0.100000000000000000001", b'.'), None);
        assert_eq!(plain(b"9007199254740993", b'.'), None);
        assert_eq!(plain(b".", b'.'), None);
        assert_eq!(plain(b"-0,5;", b','), Some((-0.5, 4)));
    }

    #[test]
    fn fields_with_units_commas_and_groups() {
        assert_eq!(cell(b" 61kPa ", Format::POINT), Cell::Number(61.0, "kPa"));
        assert_eq!(cell(b"2124RPM", Format::POINT), Cell::Number(2124.0, "RPM"));
        assert_eq!(cell(b"12.5 inH2O", Format::POINT), Cell::Number(12.5, "inH2O"));
        assert_eq!(number("993,017", Format::COMMA), Some(993.017));
        assert_eq!(number("1.234,5", Format::COMMA), Some(1234.5));
        assert_eq!(number("1,250", Format { point: b'.', grouped: true }), Some(1250.0));
        assert_eq!(number("1e3", Format::POINT), Some(1000.0));
        assert_eq!(number("1,5e3", Format::COMMA), Some(1500.0));
        assert_eq!(number("0.5", Format::COMMA), Some(0.5));
        assert_eq!(number("1.234", Format::COMMA), None, "a thousand or one and a bit");
    }

    #[test]
    fn what_is_no_number_is_said_so() {
        for text in ["", "  ", "\"\"", "n/a", "--"] {
            assert_eq!(cell(text.as_bytes(), Format::POINT), Cell::Empty, "{text}");
        }
        for text in ["NaN", "-inf", "1e999"] {
            assert_eq!(cell(text.as_bytes(), Format::POINT), Cell::NotFinite, "{text}");
        }
        for text in ["12.3.4", "abc", "1-2", "5#3", "12:30", "\u{0}"] {
            assert!(!matches!(cell(text.as_bytes(), Format::POINT), Cell::Number(_, "")), "{text}");
            assert_ne!(cell(text.as_bytes(), Format::POINT), Cell::Empty, "{text}");
        }
        assert_eq!(cell(b"\xff12", Format::POINT), Cell::Unreadable);
    }

    #[test]
    fn the_decimal_sign_of_a_column() {
        let of = |fields: &[&str], log| format_of(fields.iter().copied(), log);
        assert_eq!(of(&["993,017", "989,05", "400"], false), Format::COMMA);
        assert_eq!(of(&["0,125", "0,250"], false), Format::COMMA);
        assert_eq!(of(&["850", "1,250"], false), Format { point: b'.', grouped: true });
        assert_eq!(of(&["1.023,4", "848,5"], false), Format { point: b',', grouped: true });
        assert_eq!(of(&["850", "1.250"], true), Format { point: b',', grouped: true });
        assert_eq!(of(&["850.5", "1.250"], true), Format::POINT);
        assert_eq!(of(&["12", ""], true), Format::COMMA);
        assert_eq!(of(&["12", ""], false), Format::POINT);
    }

    #[test]
    fn values_and_words_are_told_apart() {
        for text in ["0.02", "-3,5", "61kPa", "2020-02-23 12:47:41", "5/06/2019 12:00:00 +02:00"] {
            assert!(looks_like_value(text), "{text}");
        }
        for text in ["time_s", "1/min", "MEAN VALUE:", "Front (mbar)", "00;848"] {
            assert!(!looks_like_value(text) || text == "1/min", "{text}");
        }
    }
}
