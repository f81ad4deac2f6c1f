//! Rows of plain decimals, many bytes at a time: the way that the rows of nearly every log go, unless they are
//! laid out like the row above ([`super::layout`]).
//!
//! The ends of all fields in 64 bytes are found together, so that no field waits for the one before it; then
//! the eight bytes before an end are a number together (D. Lemire, Number parsing at a gigabyte per second,
//! 2021, and G. Langdale and D. Lemire, Parsing gigabytes of JSON per second, 2019; both from memory). A
//! row that holds anything else is left to the way that knows everything.

use super::layout::{Layout, Numbers};
use super::numbers::POWERS;
use super::plan::{CHANNELS, Clock, Plan};
use super::rows::Batch;
use crate::units::TimeUnit;

/// What is done with a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Skip,
    Time,
    Channel(u8),
    /// Must be empty here.
    Empty,
}

/// How plain rows are read.
#[derive(Debug, Clone)]
pub(super) struct PlainRows {
    steps: Vec<Step>,
    point: u8,
    unit: TimeUnit,
}

/// A plain row: its time, s, and its channels, NaN for 'no reading'.
pub(super) type PlainRow = (f64, [f64; CHANNELS]);

impl PlainRows {
    /// Prepares for a plan; `None` where its clock is a stamp or columns write numbers in different ways.
    pub fn new(plan: &Plan) -> Option<PlainRows> {
        let Clock::Number { field, format, unit } = plan.clock else { return None };
        let slots: Vec<_> =
            plan.slots.iter().enumerate().filter_map(|(i, s)| Some((i, s.as_ref()?))).collect();
        // One decimal sign for all: the columns are not asked for their own.
        let same = slots.iter().all(|(_, slot)| slot.format == format);
        if !same || format.grouped || format.point == plan.delimiter {
            return None;
        }
        let mut steps = vec![Step::Skip; plan.widths.usual];
        *steps.get_mut(field)? = Step::Time;
        for (index, slot) in slots {
            let step = steps.get_mut(slot.field).filter(|step| **step == Step::Skip)?;
            *step = Step::Channel(index as u8);
        }
        if let Some(mark) = plan.mark.and_then(|field| steps.get_mut(field)) {
            *mark = Step::Empty;
        }
        if plan.widths.trailing {
            steps.iter_mut().skip(plan.widths.headings).for_each(|step| *step = Step::Empty);
        }
        Some(PlainRows { steps, point: format.point, unit })
    }

    /// Reads the row that starts at `from`, where `ends` goes on; `None`, with `ends` anywhere in the row or
    /// at its end, where it is not plain.
    #[inline]
    pub fn row(&self, ends: &mut Ends, mut from: usize) -> Option<PlainRow> {
        let mut values = [f64::NAN; CHANNELS];
        let mut time = f64::NAN;
        let last = self.steps.len() - 1;
        if ends.text.get(from) == Some(&b'#') {
            return None;
        }
        for (number, step) in self.steps.iter().enumerate() {
            let end = ends.next()?;
            let closes = ends.is_line_end(end);
            if closes != (number == last) {
                return None;
            }
            let to = end - usize::from(closes && end > from && ends.text[end - 1] == b'\r');
            match step {
                Step::Skip => {}
                Step::Empty if from == to => {}
                Step::Empty => return None,
                Step::Time => time = field(ends.text, from, to, self.point)?,
                Step::Channel(channel) => {
                    values[usize::from(*channel)] = field(ends.text, from, to, self.point)?;
                }
            }
            from = end + 1;
        }
        (!time.is_nan()).then(|| (self.unit.to_seconds(time).0, values))
    }

    /// Makes a layout that of a plain row, which is given with its line end; false where it cannot be.
    pub fn lay_out(&self, row: &[u8], delimiter: u8, layout: &mut Layout) -> bool {
        let is_read = self.steps.iter().map(|step| *step != Step::Skip);
        layout.set(row, delimiter, self.point, is_read)
    }

    /// Puts so many rows that are laid out like a plain one in a batch; `numbers` are the columns of their
    /// numbers.
    pub fn keep(&self, like: &PlainRow, numbers: &mut [Numbers], rows: usize, batch: &mut Batch) {
        let mut numbers = numbers.iter_mut();
        for step in &self.steps {
            // A field that is empty has no number.
            let is_empty = |channel: &u8| like.1[usize::from(*channel)].is_nan();
            match step {
                Step::Channel(channel) if is_empty(channel) => {
                    let column = &mut batch.channels[usize::from(*channel)];
                    (0..rows).for_each(|_| column.push(f64::NAN));
                }
                Step::Channel(channel) => {
                    let column = &mut batch.channels[usize::from(*channel)];
                    numbers.by_ref().take(1).for_each(|numbers| numbers.put(rows, column));
                }
                Step::Time => {
                    let times = numbers.by_ref().take(1);
                    times.for_each(|times| times.put_times(rows, self.unit, &mut batch.time_s));
                }
                Step::Skip | Step::Empty => {}
            }
        }
        batch.follow(rows as u32);
    }
}

/// The ends of the fields of a text, one after the other: its delimiters and line ends.
pub(super) struct Ends<'a> {
    text: &'a [u8],
    delimiter: u8,
    /// Where the bytes that are looked at begin, and a bit for each end among them that is still to come.
    base: usize,
    found: u64,
    /// The end that was given last.
    at: usize,
}

/// Bytes that are looked at together.
const LOOK: usize = 64;

impl<'a> Ends<'a> {
    /// Of a text from its start on.
    pub fn new(text: &'a [u8], delimiter: u8) -> Self {
        let mut ends = Ends { text, delimiter, base: 0, found: 0, at: usize::MAX };
        ends.look();
        ends
    }

    /// Goes on at a place of the text.
    pub fn go_on(&mut self, at: usize) {
        (self.base, self.at) = (at, usize::MAX);
        self.look();
    }

    fn look(&mut self) {
        let rest = self.text.get(self.base..).unwrap_or_default();
        self.found = match rest.first_chunk() {
            Some(bytes) => ends_in(bytes, self.delimiter),
            None => {
                let mut bytes = [0; LOOK];
                bytes[..rest.len()].copy_from_slice(rest);
                // Beyond the text there is no end, whatever the delimiter.
                ends_in(&bytes, self.delimiter) & ((1 << rest.len()) - 1)
            }
        };
    }

    /// The place of the next end.
    #[inline]
    fn next(&mut self) -> Option<usize> {
        while self.found == 0 {
            self.base += LOOK;
            if self.base >= self.text.len() {
                return None;
            }
            self.look();
        }
        self.at = self.base + self.found.trailing_zeros() as usize;
        self.found &= self.found - 1;
        Some(self.at)
    }

    #[inline]
    fn is_line_end(&self, at: usize) -> bool {
        self.text[at] == b'\n'
    }

    /// Goes to the end of the line that starts at `from` and is being gone along: its place.
    pub fn line_end(&mut self, from: usize) -> Option<usize> {
        let gone = self.at != usize::MAX && self.at >= from;
        let mut end = if gone { self.at } else { self.next()? };
        while !self.is_line_end(end) {
            end = self.next()?;
        }
        Some(end)
    }
}

/// A bit for each byte that ends a field.
#[inline]
fn ends_in(bytes: &[u8; LOOK], delimiter: u8) -> u64 {
    let mut is_end = [0_u8; LOOK];
    for (is_end, byte) in is_end.iter_mut().zip(bytes) {
        *is_end = u8::from(*byte == delimiter) | u8::from(*byte == b'\n');
    }
    let mut found = 0;
    for (number, eight) in is_end.as_chunks().0.iter().enumerate() {
        // Byte k, 0 or 1, becomes bit k of the highest byte: 8 k + (56 - 7 k) = 56 + k.
        let bits = u64::from_le_bytes(*eight).wrapping_mul(0x0102_0408_1020_4080) >> 56;
        found |= bits << (8 * number);
    }
    found
}

/// The number in the bytes `from..to` of a text, NaN where there are none; `None` where it is not plain.
#[inline]
fn field(text: &[u8], mut from: usize, to: usize, point: u8) -> Option<f64> {
    while from < to && text[from] == b' ' {
        from += 1;
    }
    if from == to {
        return Some(f64::NAN);
    }
    number(text, from, to, point)
}

/// A number of at most sixteen signs, none of them an exponent. Mantissa and power of ten are both exact, and
/// the division rounds once, so that it is what `str::parse` gives.
#[inline]
fn number(text: &[u8], from: usize, to: usize, point: u8) -> Option<f64> {
    let signed = matches!(text[from], b'-' | b'+');
    let negative = text[from] == b'-';
    let count = to - from - usize::from(signed);
    let (mantissa, decimals) = match count {
        1..=8 => {
            let number = Digits::of(text[..to].last_chunk()?, count, point)?;
            if number.digits == 0 {
                return None;
            }
            (number.value, number.decimals)
        }
        9..=16 => {
            let high = Digits::of(text[..to - 8].last_chunk()?, count - 8, point)?;
            let low = Digits::of(text[..to].last_chunk()?, 8, point)?;
            let decimals = match (high.decimals, low.decimals) {
                (None, decimals) => decimals,
                (Some(decimals), None) => Some(decimals + 8),
                _ => return None,
            };
            (
                high.value * if low.digits == 8 { 100_000_000 } else { 10_000_000 } + low.value,
                decimals,
            )
        }
        _ => return None,
    };
    if mantissa > 1 << 53 {
        return None;
    }
    let value = mantissa as i64 as f64 / POWERS[decimals.unwrap_or(0)];
    Some(f64::from_bits(value.to_bits() | u64::from(negative) << 63))
}

/// Up to eight digits with a decimal sign among them or none.
struct Digits {
    value: u64,
    digits: usize,
    /// Digits behind the decimal sign, where there is one.
    decimals: Option<usize>,
}

/// A byte in every place.
const EACH: u64 = 0x0101_0101_0101_0101;
const LOWER_BITS: u64 = 0x7f * EACH;
const HIGHEST_BITS: u64 = 0x80 * EACH;

impl Digits {
    /// Of the last `count` of eight bytes, at least one.
    #[inline]
    fn of(eight: &[u8; 8], count: usize, point: u8) -> Option<Digits> {
        // The values of digits; zeros before them. The first byte is the lowest.
        let own = u64::MAX << (64 - 8 * count);
        let mut values = (u64::from_le_bytes(*eight) ^ (u64::from(b'0') * EACH)) & own;
        // The highest bit of a byte is set where it is the decimal sign.
        let unlike = values ^ (u64::from(point ^ b'0') * EACH);
        let points = !(((unlike & LOWER_BITS) + LOWER_BITS) | unlike | LOWER_BITS);
        let (mut digits, mut decimals) = (count, None);
        if points != 0 {
            let place = points.trailing_zeros();
            let (before, behind) = ((points >> 7) - 1, (u64::MAX << place) << 1);
            values = (values & behind) | ((values & before) << 8);
            decimals = Some((63 - place as usize) / 8);
            digits -= 1;
        }
        // ... and where it is no digit; a second decimal sign is none.
        if ((values.wrapping_add(0x76 * EACH)) | values) & HIGHEST_BITS != 0 {
            return None;
        }
        // Pairs, fours and eight of them are joined.
        let pairs = values.wrapping_mul(10).wrapping_add(values >> 8);
        let (even, odd) = (pairs & 0x0000_00ff_0000_00ff, (pairs >> 16) & 0x0000_00ff_0000_00ff);
        let fours = even.wrapping_mul(0x000f_4240_0000_0064);
        let value = fours.wrapping_add(odd.wrapping_mul(0x0000_2710_0000_0001)) >> 32;
        Some(Digits { value: u64::from(value as u32), digits, decimals })
    }
}

#[cfg(test)]
mod tests {
    use super::super::numbers::plain;
    use super::*;
    use proptest::prelude::*;

    /// The number, with other fields before and behind it.
    fn among_others(number: &[u8], point: u8) -> Option<f64> {
        let before = b"87654.321,9.75,8765.4321,";
        let text = [before, number, b",99.5"].concat();
        field(&text, before.len(), before.len() + number.len(), point)
    }

    proptest! {
        #[test]
        fn a_number_is_what_it_is_digit_by_digit(
            text in "[+-]?[0-9]{0,10}[.,]?[0-9]{0,9}[0-9.,;e +-]{0,2}",
            wild in prop::collection::vec(any::<u8>(), 1..18),
            point in prop_oneof![Just(b'.'), Just(b',')],
        ) {
            for bytes in [text.as_bytes(), &wild] {
                let found = among_others(bytes, point);
                let blanks = bytes.iter().take_while(|byte| **byte == b' ').count();
                let bytes = &bytes[blanks..];
                let expected = plain(bytes, point).filter(|(_, used)| *used == bytes.len());
                match (found, expected) {
                    (Some(found), _) if bytes.is_empty() => prop_assert!(found.is_nan()),
                    (Some(found), Some((expected, _))) => prop_assert_eq!(found.to_bits(), expected.to_bits()),
                    (Some(found), None) => prop_assert!(false, "{:?} is no {}", bytes, found),
                    (None, Some(_)) => prop_assert!(bytes.len() > 16, "{:?}", bytes),
                    (None, None) => {}
                }
            }
        }

        #[test]
        fn every_end_is_found(text in "[0-9,;\n\\x00]{0,200}", delimiter in prop_oneof![Just(b','), Just(b';'), Just(0)]) {
            let mut ends = Ends::new(text.as_bytes(), delimiter);
            let found: Vec<usize> = std::iter::from_fn(|| ends.next()).collect();
            let is_end = |byte: u8| byte == delimiter || byte == b'\n';
            let expected: Vec<usize> = text.bytes().enumerate().filter(|(_, b)| is_end(*b)).map(|(at, _)| at).collect();
            prop_assert_eq!(found, expected);
        }
    }

    #[test]
    fn numbers_of_every_length() {
        for text in [
            "0",
            "7.5",
            ".25",
            "5.",
            "850",
            "57.23",
            "3599.999",
            "12345678",
            "1234567.",
            "0.000001",
            "-0.5",
            "+12.25",
            "-0.00",
            "123456789",
            "12345678.5",
            "1234567.75",
            "3599.123456",
            "-.123456789",
            "123456.78901234",
            "9007199254740992",
            "1.00000000000001",
        ] {
            let found = among_others(text.as_bytes(), b'.').unwrap();
            assert_eq!(found.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{text}");
        }
        for text in
            [".", "-", "+.", "1.2.3", "1.2345678.9", "12,5", "1e5", "57.2 ", "9007199254740993"]
        {
            assert_eq!(among_others(text.as_bytes(), b'.'), None, "{text}");
        }
        assert!(among_others(b"  ", b'.').unwrap().is_nan());
    }

    #[test]
    fn the_end_of_a_line_is_found_wherever_it_was_left() {
        let text = b"1,2,3\n\nx\n4,5";
        for taken in 0..=3 {
            let mut ends = Ends::new(text, b',');
            (0..taken).for_each(|_| assert!(ends.next().is_some()));
            assert_eq!(ends.line_end(0), Some(5), "{taken}");
            assert_eq!(
                (ends.line_end(6), ends.line_end(7), ends.line_end(9)),
                (Some(6), Some(8), None)
            );
        }
    }
}
