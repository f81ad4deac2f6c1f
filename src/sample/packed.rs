//! A piece of a column in few bytes, without loss.
//!
//! What a logger writes are decimals. With `e` decimals, `d = value * 10^e` is a whole number, and `d / 10^e`
//! gives the value back to the last bit: both are exact, and a division rounds once (W. D. Clinger, How to
//! read floating point numbers accurately, 1990). Whole numbers near a straight line then need a byte or
//! two each (frame of reference: Goldstein, Ramakrishnan and Shaft, Compressing relations and indexes,
//! 1998; decimals as whole numbers: Afroozeh, Kuffo and Boncz, ALP: adaptive lossless floating-point
//! compression, 2023). A piece that holds anything else is kept as it is.

/// Values in one piece.
pub(super) const PIECE: usize = 8192;
/// Most decimals that are tried.
const MOST_DECIMALS: usize = 9;
/// Powers of ten, exact.
const POWERS: [f64; MOST_DECIMALS + 1] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];
/// Adding this and taking it away rounds to a whole number up to 2^51, without a branch; in between its
/// lowest bits hold the number.
const ROUND: f64 = 6_755_399_441_055_744.0;
/// Largest whole number that is packed.
const MOST: f64 = 1e15;

/// How the values of a piece are written in its bytes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Form {
    /// Bytes a value: 0 on a straight line, 1, 2 or 4 from the line, 8 as they are.
    pub width: u8,
    /// Decimals of the values.
    decimals: u8,
    /// The line: the number at the first value, and its rise from value to value.
    base: i64,
    rise: i64,
}

impl Form {
    /// The values lie on the line.
    pub fn is_line(&self) -> bool {
        self.width == 0
    }

    /// Bytes of so many values.
    pub fn bytes(&self, values: usize) -> usize {
        usize::from(self.width) * values
    }

    /// Value number `at` of the bytes of a piece.
    pub fn value(&self, bytes: &[u8], at: usize) -> f64 {
        let width = usize::from(self.width);
        let own = bytes.get(at * width..(at + 1) * width).unwrap_or_default();
        let mut code = [0; 8];
        code[..own.len()].copy_from_slice(own);
        if width == 8 {
            return f64::from_le_bytes(code);
        }
        let code = u64::from_le_bytes(code) as f64;
        if width > 0 && code == none(i32::from(self.width), true) {
            return f64::NAN;
        }
        (code + (self.base + self.rise * at as i64) as f64) / POWERS[usize::from(self.decimals)]
    }

    /// Writes all values of a piece over `values`; `holes` says whether some may be missing.
    pub fn unpack(&self, bytes: &[u8], holes: bool, values: &mut [f64]) {
        match self.width {
            0 => self.place(values, std::iter::repeat(0.0), f64::NAN),
            1 => self.place(values, bytes.iter().map(|code| f64::from(*code)), none(1, holes)),
            2 => {
                let codes = each(bytes).map(|code| f64::from(u16::from_le_bytes(code)));
                self.place(values, codes, none(2, holes));
            }
            4 => {
                let codes = each(bytes).map(|code| f64::from(u32::from_le_bytes(code)));
                self.place(values, codes, none(4, holes));
            }
            _ => values.iter_mut().zip(each(bytes)).for_each(|(v, b)| *v = f64::from_le_bytes(b)),
        }
    }

    /// Values from their codes, of which `none` stands for 'no reading'.
    #[inline]
    fn place(&self, values: &mut [f64], codes: impl Iterator<Item = f64>, none: f64) {
        // One plain loop for each case, which the compiler turns into vectors. All are whole numbers below 2^53:
        // sums and products are exact.
        let power = POWERS[usize::from(self.decimals)];
        let (start, rise) = (self.base as f64, self.rise as f64);
        let values = values.iter_mut().zip(codes);
        match (self.rise == 0, none.is_nan()) {
            (true, true) => values.for_each(|(value, code)| *value = (code + start) / power),
            (true, false) => values.for_each(|(value, code)| {
                *value = if code == none { f64::NAN } else { (code + start) / power };
            }),
            (false, _) => {
                for (at, (value, code)) in (0_i32..).zip(values) {
                    let placed = (code + (start + rise * f64::from(at))) / power;
                    *value = if code == none { f64::NAN } else { placed };
                }
            }
        }
    }
}

/// The code for 'no reading' of a width, NaN where there is none.
fn none(width: i32, holes: bool) -> f64 {
    if holes { 256_f64.powi(width) - 1.0 } else { f64::NAN }
}

/// The bytes in groups of a width.
fn each<const N: usize>(bytes: &[u8]) -> impl Iterator<Item = [u8; N]> + '_ {
    bytes.as_chunks().0.iter().copied()
}

/// Packs a piece; `decimals` is that of the piece before it, and becomes that of this one.
pub(super) fn pack(values: &[f64], decimals: &mut u8, numbers: &mut Vec<i64>) -> (Form, Box<[u8]>) {
    let raw = || {
        let form = Form { width: 8, decimals: 0, base: 0, rise: 0 };
        (form, bytes(values, |value| value.to_le_bytes()))
    };
    // One decimal less is tried first, so that one odd piece does not cost those after it.
    let mut likely = usize::from(*decimals).saturating_sub(1)..=MOST_DECIMALS;
    let Some(found) = likely.find(|e| to_numbers(values, *e, numbers)) else {
        *decimals = 0;
        return raw();
    };
    *decimals = found as u8;
    let form = Form { width: 0, decimals: found as u8, base: 0, rise: 0 };
    about_a_line(form, numbers).unwrap_or_else(raw)
}

/// Packs a piece of whole numbers of `10^-decimals` between `low` and `high`.
pub(super) fn pack_decimals(
    numbers: &[i32],
    (low, high): (i32, i32),
    decimals: u8,
    wide: &mut Vec<i64>,
) -> (Form, Box<[u8]>) {
    let form = Form { width: 0, decimals, base: i64::from(low), rise: 0 };
    let span = high.wrapping_sub(low) as u32;
    if rise(numbers.first(), numbers.last(), numbers.len()) == 0 && span < u32::from(u16::MAX) {
        let code = |number: &i32| number.wrapping_sub(low) as u32;
        return match span {
            0 => (form, Box::default()),
            _ if span < u32::from(u8::MAX) => {
                (Form { width: 1, ..form }, bytes(numbers, |n| (code(n) as u8).to_le_bytes()))
            }
            _ => (Form { width: 2, ..form }, bytes(numbers, |n| (code(n) as u16).to_le_bytes())),
        };
    }
    wide.clear();
    wide.extend(numbers.iter().map(|number| i64::from(*number)));
    let raw = || {
        let form = Form { width: 8, decimals: 0, base: 0, rise: 0 };
        let power = POWERS[usize::from(decimals)];
        (form, bytes(numbers, |number| (f64::from(*number) / power).to_le_bytes()))
    };
    about_a_line(form, wide).unwrap_or_else(raw)
}

/// How much whole numbers rise from one to the next, by the first and the last.
fn rise<T: Copy + Into<i64>>(first: Option<&T>, last: Option<&T>, count: usize) -> i64 {
    let (Some(first), Some(last)) = (first, last) else { return 0 };
    // Off by less than the values are apart where some are missing at the ends; any line will do.
    ((*last).into() - (*first).into()) / (count.max(2) as i64 - 1)
}

/// Whole numbers as codes from a line; `None` where they are too far from it.
fn about_a_line(form: Form, numbers: &mut [i64]) -> Option<(Form, Box<[u8]>)> {
    let read = |number: &&i64| **number != NO_READING;
    let rise = rise(numbers.iter().find(read), numbers.iter().rfind(read), numbers.len());
    let missing = numbers.contains(&NO_READING);
    let (mut low, mut high) = (i64::MAX, i64::MIN);
    for (at, number) in numbers.iter_mut().enumerate() {
        if *number != NO_READING {
            *number -= rise * at as i64;
            (low, high) = (low.min(*number), high.max(*number));
        }
    }
    if low > high {
        (low, high) = (0, 0);
    }
    let span = (high - low) as u64;
    let form = |width| Form { width, base: low, rise, ..form };
    let code = |number: &i64| if *number == NO_READING { u64::MAX } else { (number - low) as u64 };
    match span {
        0 if !missing => Some((form(0), Box::default())),
        // The largest code stands for 'no reading'.
        _ if span < u64::from(u8::MAX) => {
            Some((form(1), bytes(numbers, |n| (code(n) as u8).to_le_bytes())))
        }
        _ if span < u64::from(u16::MAX) => {
            Some((form(2), bytes(numbers, |n| (code(n) as u16).to_le_bytes())))
        }
        _ if span < u64::from(u32::MAX) => {
            Some((form(4), bytes(numbers, |n| (code(n) as u32).to_le_bytes())))
        }
        _ => None,
    }
}

/// So many bytes of each.
fn bytes<T, const N: usize>(numbers: &[T], code: impl Fn(&T) -> [u8; N]) -> Box<[u8]> {
    let mut bytes = vec![0; N * numbers.len()];
    let codes = bytes.as_chunks_mut().0.iter_mut().zip(numbers);
    codes.for_each(|(bytes, number)| *bytes = code(number));
    bytes.into_boxed_slice()
}

/// The value as a whole number of `10^-decimals`, where it is one that is small enough.
pub(super) fn as_decimal(value: f64, decimals: u8) -> Option<i32> {
    let power = POWERS[usize::from(decimals)];
    let number = (value * power).round();
    (number.abs() < f64::from(i32::MAX) && number / power == value).then_some(number as i32)
}

/// Whole numbers of `10^-decimals` as values.
pub(super) fn as_values(numbers: &[i32], decimals: u8) -> impl Iterator<Item = f64> + '_ {
    let power = POWERS[usize::from(decimals)];
    numbers.iter().map(move |number| f64::from(*number) / power)
}

/// Stands for NaN among whole numbers.
const NO_READING: i64 = i64::MIN;

/// The values as whole numbers of `10^-decimals`; false where one of them is none.
fn to_numbers(values: &[f64], decimals: usize, numbers: &mut Vec<i64>) -> bool {
    let power = POWERS[decimals];
    numbers.clear();
    // In short runs, so that a piece of other numbers is given up early.
    values.chunks(64).all(|run| {
        let mut exact = true;
        numbers.extend(run.iter().map(|value| {
            let rounded = value * power + ROUND;
            let number = rounded.to_bits().wrapping_sub(ROUND.to_bits()) as i64;
            let within = value.abs() * power < MOST;
            exact &= value.is_nan() | (within & ((rounded - ROUND) / power == *value));
            if value.is_nan() { NO_READING } else { number }
        }));
        exact
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn there_and_back(values: &[f64]) -> Form {
        let (form, bytes) = pack(values, &mut 0, &mut Vec::new());
        assert_eq!(bytes.len(), form.bytes(values.len()));
        let mut back = vec![0.0; values.len()];
        form.unpack(&bytes, values.iter().any(|v| v.is_nan()), &mut back);
        for (at, (value, back)) in values.iter().zip(&back).enumerate() {
            assert!(value == back || (value.is_nan() && back.is_nan()), "{at}: {value} {back}");
            let alone = form.value(&bytes, at);
            assert!(value == &alone || (value.is_nan() && alone.is_nan()), "{at}: {value} {alone}");
        }
        form
    }

    #[test]
    fn what_loggers_write_needs_few_bytes() {
        let width = |values: Vec<f64>| there_and_back(&values).width;
        assert_eq!(width((0..4096).map(|k| f64::from(k) / 1000.0).collect()), 0);
        assert_eq!(width(vec![57.25; 100]), 0);
        assert_eq!(width((0..4096).map(|k| 850.0 + f64::from(k % 7)).collect()), 1);
        assert_eq!(width((0..4096).map(|k| f64::from(5700 + k % 3000) / 100.0).collect()), 2);
        assert_eq!(width((0..100).map(|k| f64::from(k * k % 91) * 1e4).collect()), 4);
        assert_eq!(width(vec![1.0 / 3.0; 10]), 8);
        assert_eq!(width(vec![f64::INFINITY, 1.0]), 8);
        assert_eq!(width(vec![1e300, 1.0]), 8);
        assert_eq!(width(vec![f64::NAN; 10]), 1);
        assert_eq!(width(vec![]), 0);
        assert_eq!(width(vec![f64::NAN, 1.5, f64::NAN, 1.5]), 1);
    }

    #[test]
    fn the_codes_at_the_edge_of_a_width_are_told_from_no_reading() {
        for most in [254.0, 255.0, 256.0, 65_534.0, 65_535.0, 65_536.0] {
            there_and_back(&[0.0, most, f64::NAN, 0.0, most]);
            there_and_back(&[0.0, f64::NAN, most / 100.0, 0.0]);
        }
        there_and_back(&[0.0, 4_294_967_294.0, 0.0, f64::NAN]);
        there_and_back(&[0.0, 4_294_967_295.0, 0.0]);
        there_and_back(&[-9e14, 9e14, -9e14]);
    }

    proptest! {
        #[test]
        fn any_values_come_back(values in prop::collection::vec(
            prop_oneof![
                any::<f64>(),
                (-2_000_000_i64..2_000_000, 0_u32..7).prop_map(|(d, e)| d as f64 / 10_f64.powi(e as i32)),
                Just(f64::NAN),
            ],
            0..200,
        )) {
            there_and_back(&values);
        }

        #[test]
        fn decimals_come_back(
            values in prop::collection::vec(-100_000_i64..100_000, 0..300),
            decimals in 0_i32..9,
            hint in 0_u8..9,
        ) {
            let values: Vec<f64> = values.iter().map(|d| *d as f64 / 10_f64.powi(decimals)).collect();
            there_and_back(&values);
            let (form, bytes) = pack(&values, &mut hint.clone(), &mut Vec::new());
            let mut back = vec![0.0; values.len()];
            form.unpack(&bytes, values.iter().any(|v| v.is_nan()), &mut back);
            prop_assert_eq!(back, values);
        }
    }
}
