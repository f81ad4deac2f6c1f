//! Ways along a column.

use super::column::{Column, Place};
use std::ops::Range;

/// A way along a column, at its best forward: it holds the piece that was looked at last.
#[derive(Debug, Clone)]
pub struct Cursor<'a> {
    column: &'a Column,
    from: usize,
    len: usize,
    /// The piece that was glanced at last.
    glanced: usize,
    /// The values of the piece, and room behind them.
    values: Vec<f64>,
    bytes: Vec<u8>,
}

impl<'a> Cursor<'a> {
    pub(super) fn new(column: &'a Column) -> Self {
        Cursor { column, from: 0, len: 0, glanced: 0, values: Vec::new(), bytes: Vec::new() }
    }

    /// The value of a sample.
    ///
    /// # Panics
    /// As a slice does, where there is no such sample; and where the temporary file of a long column cannot be
    /// read any more.
    #[inline]
    pub fn at(&mut self, at: usize) -> f64 {
        if at.wrapping_sub(self.from) >= self.len {
            self.load(at);
        }
        self.values[at - self.from]
    }

    /// As [`Cursor::at`], for those who look at few values of a piece: it is not unpacked where it lies in
    /// memory.
    ///
    /// # Panics
    /// As there.
    pub fn glance(&mut self, at: usize) -> f64 {
        if at.wrapping_sub(self.from) < self.len {
            return self.values[at - self.from];
        }
        if !self.column.piece(self.glanced).holds(at) {
            self.glanced = self.column.piece_of(at);
        }
        let piece = self.column.piece(self.glanced);
        match &piece.place {
            Place::Memory(bytes) => self.column.converted(piece.form.value(bytes, at - piece.from)),
            Place::File(_) => self.at(at),
        }
    }

    /// The values from a sample to the end of its piece; none beyond the end of the column.
    pub fn rest_of_piece(&mut self, at: usize) -> &[f64] {
        if at >= self.column.len() {
            return &[];
        }
        if at.wrapping_sub(self.from) >= self.len {
            self.load(at);
        }
        &self.values[at - self.from..self.len]
    }

    /// Writes the values of samples from the first on over `into`; those beyond the end of the column stay as they
    /// are.
    pub fn read(&mut self, first: usize, mut into: &mut [f64]) {
        let mut at = first;
        while !into.is_empty() {
            let rest = self.rest_of_piece(at);
            let own = rest.len().min(into.len());
            if own == 0 {
                return;
            }
            let (now, later) = into.split_at_mut(own);
            now.copy_from_slice(&rest[..own]);
            (at, into) = (at + own, later);
        }
    }

    /// Puts the values of some samples at the end of `into`; those beyond the end of the column are left out.
    pub fn copy(&mut self, samples: Range<usize>, into: &mut Vec<f64>) {
        let mut at = samples.start;
        while at < samples.end {
            let rest = self.rest_of_piece(at);
            let own = &rest[..rest.len().min(samples.end - at)];
            if own.is_empty() {
                return;
            }
            into.extend_from_slice(own);
            at += own.len();
        }
    }

    #[cold]
    fn load(&mut self, at: usize) {
        let number = self.column.piece_of(at);
        self.from = self.column.piece(number).from;
        let values = self.column.unpack(number, &mut self.bytes, &mut self.values);
        self.column.convert(values);
        self.len = values.len();
    }
}

/// Values of a column in their order.
#[derive(Debug, Clone)]
pub struct Values<'a> {
    cursor: Cursor<'a>,
    next: usize,
    end: usize,
}

impl<'a> Values<'a> {
    pub(super) fn new(column: &'a Column, samples: Range<usize>) -> Self {
        let end = samples.end.min(column.len());
        Values { cursor: column.cursor(), next: samples.start, end }
    }
}

impl Iterator for Values<'_> {
    type Item = f64;

    #[inline]
    fn next(&mut self) -> Option<f64> {
        (self.next < self.end).then(|| {
            self.next += 1;
            self.cursor.at(self.next - 1)
        })
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = self.end.saturating_sub(self.next);
        (left, Some(left))
    }
}

impl ExactSizeIterator for Values<'_> {}

impl<'a> IntoIterator for &'a Column {
    type Item = f64;
    type IntoIter = Values<'a>;

    fn into_iter(self) -> Values<'a> {
        self.iter()
    }
}
