//! Eight bytes of a row that are checked, and joined to a number, together (D. Lemire, Number parsing at a
//! gigabyte per second, 2021; from memory).

use std::ops::Range;

/// Bytes of a word.
pub(super) const WORD: usize = 8;

/// A byte in every place of a word.
const EACH: u64 = 0x0101_0101_0101_0101;
const HIGHEST_BITS: u64 = 0x80 * EACH;

/// Eight bytes of a row, with the signs that must be in them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Word {
    /// Where it begins, from the start of the row: up to seven bytes before it.
    from: isize,
    /// Bytes that must be what they were, and what that is.
    fixed: u64,
    signs: u64,
    /// Bytes that must be digits: those before the decimal sign and those behind it, and how far they are
    /// moved so that all stand at the end of the word.
    whole: u64,
    whole_shift: u32,
    decimals: u64,
    decimals_shift: u32,
}

impl Word {
    /// Eight bytes in which nothing is checked.
    pub fn at(from: isize) -> Word {
        Word { from, fixed: 0, signs: 0, whole: 0, whole_shift: 0, decimals: 0, decimals_shift: 0 }
    }

    /// Where it ends, from the start of the row.
    pub fn end(&self) -> usize {
        (self.from + WORD as isize) as usize
    }

    /// Bit of the lowest byte of a word that holds a byte of the row.
    fn shift_of(&self, at: usize) -> u32 {
        8 * (at as isize - self.from) as u32
    }

    /// Also checks that some bytes of a row, all within it, are what they are.
    pub fn with_signs(mut self, row: &[u8], bytes: Range<usize>) -> Word {
        for at in bytes {
            self.fixed |= 0xff << self.shift_of(at);
            self.signs |= u64::from(row[at]) << self.shift_of(at);
        }
        self
    }

    /// The eight bytes before `end`, of which those from `first` on are checked; `place` is that of the decimal
    /// sign of the number, or its end.
    pub fn of(row: &[u8], end: usize, first: usize, place: usize) -> Word {
        let mut word = Word::at(end as isize - WORD as isize);
        let first = first.max(end.saturating_sub(WORD));
        for at in first..end {
            if !row[at].is_ascii_digit() {
                word = word.with_signs(row, at..at + 1);
            } else if at < place {
                word.whole |= 0xff << word.shift_of(at);
            } else {
                word.decimals |= 0xff << word.shift_of(at);
            }
        }
        // The last digit goes to the last byte, and those before the decimal sign next to those behind it.
        word.decimals_shift = word.decimals.leading_zeros() % 64;
        let behind = word.decimals.count_ones();
        word.whole_shift = (word.whole.leading_zeros() % 64).saturating_sub(behind);
        word
    }

    /// Joins the digits of this word of rows that follow one another; returns how many rows there were before
    /// the first that has other signs in it.
    pub fn join(&self, text: &[u8], start: usize, length: usize, joined: &mut [i32]) -> usize {
        let Some(from) = start.checked_add_signed(self.from) else { return 0 };
        let Some(text) = text.get(from..) else { return 0 };
        let (mut wrong, mut rows) = (0, 0);
        for (row, joined) in text.chunks(length).zip(&mut *joined) {
            let Some(eight) = row.first_chunk() else { break };
            let (faults, values) = self.look(u64::from_le_bytes(*eight));
            wrong |= faults;
            let values = ((values & self.whole) << self.whole_shift)
                | ((values & self.decimals) << self.decimals_shift);
            *joined = number_of(values);
            rows += 1;
        }
        if wrong == 0 { rows } else { self.right(text, length, rows) }
    }

    /// A bit for what must not be in a word, and the values of its digits.
    #[inline]
    fn look(&self, word: u64) -> (u64, u64) {
        let values = (word ^ (u64::from(b'0') * EACH)) & (self.whole | self.decimals);
        // The highest bit of a byte is set where it is no digit.
        let no_digits = (values.wrapping_add(0x76 * EACH) | values) & HIGHEST_BITS;
        (((word ^ self.signs) & self.fixed) | no_digits, values)
    }

    /// Rows before the first that has other signs in this word.
    #[cold]
    fn right(&self, text: &[u8], length: usize, rows: usize) -> usize {
        let is_right = |row: &&[u8]| {
            row.first_chunk().is_some_and(|eight| self.look(u64::from_le_bytes(*eight)).0 == 0)
        };
        text.chunks(length).take(rows).take_while(is_right).count()
    }
}

/// The number of eight digits, the first of them in the lowest byte: pairs, fours and eight of them are joined.
#[inline]
fn number_of(digits: u64) -> i32 {
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let (even, odd) = (pairs & 0x0000_00ff_0000_00ff, (pairs >> 16) & 0x0000_00ff_0000_00ff);
    let fours = even.wrapping_mul(0x000f_4240_0000_0064);
    (fours.wrapping_add(odd.wrapping_mul(0x0000_2710_0000_0001)) >> 32) as i32
}
