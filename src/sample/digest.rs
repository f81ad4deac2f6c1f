//! What a piece of a column holds, so that most questions need no look at its values.

/// Figures of one piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Digest {
    /// Values that are no reading.
    pub missing: u32,
    /// Least and greatest reading; infinite, with the signs turned, where there is none.
    pub low: f64,
    /// See `low`.
    pub high: f64,
    /// First and last reading; NaN where there is none.
    pub first: f64,
    /// See `first`.
    pub last: f64,
    /// Readings that differ from the one before them in the piece, whatever is missing in between.
    pub changes: u32,
    /// Values that are not equal to the one before them in the piece; a missing one never is.
    pub parted: u32,
    /// The values lie on a straight line, but for rounding.
    pub straight: bool,
    /// Length of the longest run of one reading, where that is more than [`Digest::SHORT_RUN`]; else that.
    pub longest_run: u32,
}

impl Digest {
    /// Runs up to this are not looked for.
    pub const SHORT_RUN: usize = 12;

    /// Takes in the values of a piece. What is infinite counts as missing.
    pub(super) fn of(values: &[f64]) -> Digest {
        let mut digest = Digest {
            missing: 0,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            first: f64::NAN,
            last: f64::NAN,
            changes: 0,
            parted: 0,
            straight: false,
            longest_run: Self::SHORT_RUN as u32,
        };
        (digest.low, digest.high, digest.missing) = extent(values);
        digest.first = values.iter().copied().find(|v| v.is_finite()).unwrap_or(f64::NAN);
        digest.parted = values.windows(2).map(|pair| u32::from(pair[0] != pair[1])).sum();
        digest.runs(values);
        digest
    }

    fn runs(&mut self, values: &[f64]) {
        // Without a hole every change parts two values; runs are looked for where there are some.
        if self.missing == 0 {
            self.changes = self.parted;
            self.last = values.last().copied().unwrap_or(f64::NAN);
        } else {
            let mut last = f64::NAN;
            for value in values.iter().copied().filter(|v| v.is_finite()) {
                self.changes += u32::from(!last.is_nan() && last != value);
                last = value;
            }
            self.last = last;
        }
        self.longest_run = longest_run(values, |value| value.is_finite());
    }

    /// Takes in whole numbers, at least one, that `value` makes values of; also the least and the greatest number.
    pub(super) fn of_decimals(numbers: &[i32], value: impl Fn(i32) -> f64) -> (Digest, (i32, i32)) {
        let (low, high) = extent_of_numbers(numbers);
        let end = |number: Option<&i32>| number.map_or(f64::NAN, |number| value(*number));
        let changes = numbers.windows(2).map(|pair| u32::from(pair[0] != pair[1])).sum();
        let digest = Digest {
            missing: 0,
            low: value(low),
            high: value(high),
            first: end(numbers.first()),
            last: end(numbers.last()),
            changes,
            parted: changes,
            straight: false,
            longest_run: longest_run(numbers, |_| true),
        };
        (digest, (low, high))
    }

    /// The same of values that all went through a conversion that keeps or turns their order.
    pub(super) fn converted(self, convert: impl Fn(f64) -> f64) -> Digest {
        let (low, high) = if self.low > self.high {
            (self.low, self.high)
        } else {
            let ends = [convert(self.low), convert(self.high)];
            (ends[0].min(ends[1]), ends[0].max(ends[1]))
        };
        Digest { low, high, first: convert(self.first), last: convert(self.last), ..self }
    }

    /// The digest of nothing but missing values, or of no value.
    pub fn is_empty(&self) -> bool {
        self.first.is_nan()
    }
}

/// Least and greatest reading, infinite with the signs turned where there is none, and how many values are no
/// reading.
///
/// ```
/// use evenbreath::sample::extent;
/// assert_eq!(extent(&[3.0, f64::NAN, 1.0]), (1.0, 3.0, 1));
/// ```
pub fn extent(values: &[f64]) -> (f64, f64, u32) {
    // Side by side: in one lane each comparison would wait for the last.
    const LANES: usize = 8;
    let (mut low, mut high) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    let mut missing = 0;
    for chunk in values.chunks(LANES) {
        for ((value, low), high) in chunk.iter().zip(&mut low).zip(&mut high) {
            let read = value.is_finite();
            missing += u32::from(!read);
            *low = if read && *value < *low { *value } else { *low };
            *high = if read && *value > *high { *value } else { *high };
        }
    }
    let low = low.into_iter().fold(f64::INFINITY, f64::min);
    (low, high.into_iter().fold(f64::NEG_INFINITY, f64::max), missing)
}

/// Least and greatest; in lanes, which the compiler turns into vectors.
fn extent_of_numbers(numbers: &[i32]) -> (i32, i32) {
    const LANES: usize = 16;
    let (mut low, mut high) = ([i32::MAX; LANES], [i32::MIN; LANES]);
    for chunk in numbers.chunks(LANES) {
        for ((number, low), high) in chunk.iter().zip(&mut low).zip(&mut high) {
            (*low, *high) = ((*low).min(*number), (*high).max(*number));
        }
    }
    (low.into_iter().fold(i32::MAX, i32::min), high.into_iter().fold(i32::MIN, i32::max))
}

/// See [`Digest::longest_run`].
fn longest_run<T: PartialEq + Copy>(values: &[T], is_reading: impl Fn(T) -> bool) -> u32 {
    // Whatever is longer than the longest so far has a value in common with steps of that length, and the one
    // before it.
    let (mut longest, mut at) = (Digest::SHORT_RUN, Digest::SHORT_RUN);
    while let Some(&value) = values.get(at) {
        if values[at - 1] == value && is_reading(value) {
            let same = |v: &&T| **v == value;
            let before = values[..at].iter().rev().take_while(same).count();
            longest = longest.max(before + values[at..].iter().take_while(same).count());
        }
        at += longest;
    }
    longest as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_digest_says_what_a_walk_over_the_values_finds() {
        const NONE: f64 = f64::NAN;
        let digest = Digest::of(&[NONE, 2.0, 2.0, NONE, 2.0, 3.0, 3.0, 3.0, -1.0, NONE]);
        assert_eq!((digest.missing, digest.low, digest.high), (3, -1.0, 3.0));
        assert_eq!((digest.first, digest.last), (2.0, -1.0));
        assert_eq!((digest.changes, digest.parted, digest.longest_run), (2, 6, 12));
        let whole = Digest::of(&[1.0, 1.0, 4.0, 4.0, 4.0, 4.0]);
        assert_eq!((whole.changes, whole.parted, whole.last), (1, 1, 4.0));
        let turned = whole.converted(|v| 10.0 - v);
        assert_eq!((turned.low, turned.high, turned.first), (6.0, 9.0, 9.0));
        for nothing in [Digest::of(&[]), Digest::of(&[NONE, f64::INFINITY])] {
            assert!(nothing.is_empty() && nothing.low > nothing.high);
            assert!(nothing.converted(|v| -v).low > nothing.converted(|v| -v).high);
        }
    }

    #[test]
    fn the_longest_run_is_found_wherever_it_lies() {
        for (from, length) in [(0, 13), (1, 13), (11, 14), (12, 13), (40, 100), (3, 197), (0, 200)]
        {
            let mut values: Vec<f64> = (0..200).map(f64::from).collect();
            values[from..(from + length).min(200)].fill(-1.0);
            let longest = length.min(200 - from) as u32;
            assert_eq!(Digest::of(&values).longest_run, longest, "{from} {length}");
            values[from..(from + length).min(200)].fill(f64::NAN);
            assert_eq!(Digest::of(&values).longest_run, 12);
        }
    }
}
