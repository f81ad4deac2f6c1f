//! Which row of the file a sample was read from.

/// The data rows of samples, counted from 0 at the first row under the header. Rows follow one another but for
/// those that were left out, so that it holds a run of them in two numbers.
///
/// ```
/// use evenbreath::sample::RowNumbers;
/// let rows: RowNumbers = [0, 1, 2, 5, 6].into_iter().collect();
/// assert_eq!((rows.of(3), rows.len()), (5, 5));
/// assert_eq!((rows.before(5), rows.before(4)), (3, 3));
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RowNumbers {
    /// Number of the first sample of a run, and its row.
    runs: Vec<(usize, u32)>,
    len: usize,
}

impl RowNumbers {
    /// Rows without any left out.
    pub fn all(len: usize) -> RowNumbers {
        RowNumbers { runs: if len > 0 { vec![(0, 0)] } else { Vec::new() }, len }
    }

    /// Number of samples.
    pub fn len(&self) -> usize {
        self.len
    }

    /// True without a sample.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Puts the row of one more sample at the end.
    #[inline]
    pub fn push(&mut self, row: u32) {
        let follows = |(first, start): &(usize, u32)| {
            row.checked_sub(*start).is_some_and(|more| more as usize == self.len - first)
        };
        if !self.runs.last().is_some_and(follows) {
            self.runs.push((self.len, row));
        }
        self.len += 1;
    }

    /// Puts the rows of so many more samples, from this row on, at the end.
    pub fn follow(&mut self, row: u32, samples: usize) {
        if samples > 0 {
            self.push(row);
            self.len += samples - 1;
        }
    }

    /// Puts the rows of the samples that follow behind these, `rows` further on, and leaves the other empty.
    pub fn append(&mut self, next: &mut RowNumbers, rows: u32) {
        let before = self.len;
        for (at, (first, start)) in next.runs.iter().enumerate() {
            let end = next.runs.get(at + 1).map_or(next.len, |(first, _)| *first);
            self.len = before + first;
            self.push(rows + start);
            self.len = before + end;
        }
        next.runs.clear();
        next.len = 0;
    }

    /// The row of a sample; of one beyond the last, the row that would follow.
    pub fn of(&self, sample: usize) -> u32 {
        let after = self.runs.partition_point(|(first, _)| *first <= sample);
        let run = after.checked_sub(1).and_then(|at| self.runs.get(at));
        run.map_or(0, |(first, start)| start + (sample - first) as u32)
    }

    /// True where no row stands before an earlier one.
    pub fn is_rising(&self) -> bool {
        self.runs.is_sorted_by(|a, b| a.1 as usize + (b.0 - a.0) <= b.1 as usize)
    }

    /// Number of samples of rows before this one; rows rise.
    pub fn before(&self, row: u32) -> usize {
        let after = self.runs.partition_point(|(_, start)| *start < row);
        let Some(at) = after.checked_sub(1) else { return 0 };
        let (first, start) = self.runs[at];
        let end = self.runs.get(after).map_or(self.len, |(first, _)| *first);
        end.min(first + (row - start) as usize)
    }

    /// The rows in the order of the samples.
    pub fn iter(&self) -> impl Iterator<Item = u32> + '_ {
        self.runs.iter().enumerate().flat_map(|(at, (first, start))| {
            let end = self.runs.get(at + 1).map_or(self.len, |(first, _)| *first);
            (0..(end - first) as u32).map(move |more| start + more)
        })
    }
}

impl FromIterator<u32> for RowNumbers {
    fn from_iter<I: IntoIterator<Item = u32>>(rows: I) -> RowNumbers {
        let mut numbers = RowNumbers::default();
        rows.into_iter().for_each(|row| numbers.push(row));
        numbers
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn rows_are_those_that_went_in(steps in prop::collection::vec(1_u32..4, 0..60), cut in 0_usize..60) {
            let rows: Vec<u32> = steps.iter().scan(0, |row, step| { *row += step; Some(*row - 1) }).collect();
            let numbers: RowNumbers = rows.iter().copied().collect();
            prop_assert_eq!(numbers.iter().collect::<Vec<_>>(), rows.clone());
            prop_assert!(numbers.is_rising());
            for (sample, row) in rows.iter().enumerate() {
                prop_assert_eq!(numbers.of(sample), *row);
            }
            for row in 0..200 {
                prop_assert_eq!(numbers.before(row), rows.partition_point(|r| *r < row));
            }
            // In two parts, the second counted from its own beginning.
            let cut = cut.min(rows.len());
            let start = rows.get(cut).map_or(0, |row| row - row % 2);
            let mut first: RowNumbers = rows[..cut].iter().copied().collect();
            let mut second: RowNumbers = rows[cut..].iter().map(|row| row - start).collect();
            first.append(&mut second, start);
            prop_assert!(second.is_empty());
            prop_assert_eq!(first, numbers);
        }
    }

    #[test]
    fn sorted_rows_may_stand_in_any_order() {
        let rows = [7, 3, 4, 0];
        let numbers: RowNumbers = rows.into_iter().collect();
        assert_eq!(numbers.iter().collect::<Vec<_>>(), rows);
        assert!(!numbers.is_rising());
        assert_eq!(RowNumbers::all(3).iter().collect::<Vec<_>>(), [0, 1, 2]);
    }
}
