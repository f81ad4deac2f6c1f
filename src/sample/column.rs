//! A column of readings in little memory, however long the log.

use super::conversion::Conversion;
use super::digest::Digest;
use super::packed::{Form, PIECE, pack};
use super::store::Store;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// Bytes of a column that stay in memory; what is more lies in a temporary file.
const KEPT: usize = 6 << 20;

/// One value a sample, packed without loss in pieces of some thousands; 'no reading' is NaN. A long column
/// lies in a temporary file, and only pieces of it are in memory at a time.
///
/// Single values are had from [`Column::at`], long stretches from a [`Cursor`] or [`Column::iter`], and what
/// a whole piece holds from [`Column::digests`] without a look at its values. The sign of a zero is not kept.
///
/// ```
/// use evenbreath::sample::Column;
/// let column: Column = (0..10_000).map(|k| 57.0 + f64::from(k % 100) / 100.0).collect();
/// assert_eq!((column.len(), column.at(101)), (10_000, 57.01));
/// assert_eq!(column.range(), Some((57.0, 57.99)));
/// assert_eq!(column.window(98..101), [57.98, 57.99, 57.0]);
/// ```
#[derive(Clone, Default)]
pub struct Column {
    pieces: Vec<Piece>,
    conversions: Vec<Conversion>,
    store: Option<Arc<Store>>,
    kept: usize,
}

/// Some thousand values.
#[derive(Debug, Clone)]
struct Piece {
    /// Number of the first, and how many.
    from: usize,
    len: usize,
    form: Form,
    place: Place,
    /// Of the values before they are converted.
    digest: Digest,
}

#[derive(Debug, Clone)]
enum Place {
    Memory(Box<[u8]>),
    File(u64),
}

impl Column {
    /// Number of values.
    pub fn len(&self) -> usize {
        self.pieces.last().map_or(0, |piece| piece.from + piece.len)
    }

    /// True without a value.
    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// The number of the piece that holds a value.
    fn piece_of(&self, at: usize) -> usize {
        self.pieces.partition_point(|piece| piece.from + piece.len <= at)
    }

    fn convert(&self, values: &mut [f64]) {
        self.conversions.iter().for_each(|conversion| conversion.of_all(values));
    }

    fn converted(&self, value: f64) -> f64 {
        self.conversions.iter().fold(value, |value, conversion| conversion.of(value))
    }

    /// The value of a sample.
    ///
    /// # Panics
    /// As a slice does, where there is no such sample; and as [`Cursor::at`].
    pub fn at(&self, at: usize) -> f64 {
        self.cursor().glance(at)
    }

    /// The first value.
    pub fn first(&self) -> Option<f64> {
        (!self.is_empty()).then(|| self.at(0))
    }

    /// The last value.
    pub fn last(&self) -> Option<f64> {
        self.len().checked_sub(1).map(|last| self.at(last))
    }

    /// A way along the column.
    pub fn cursor(&self) -> Cursor<'_> {
        Cursor { column: self, from: 0, values: Vec::new(), bytes: Vec::new() }
    }

    /// All values in their order.
    pub fn iter(&self) -> Values<'_> {
        self.iter_over(0..self.len())
    }

    /// The values of some samples in their order; those beyond the end are left out.
    pub fn iter_over(&self, samples: Range<usize>) -> Values<'_> {
        Values { cursor: self.cursor(), next: samples.start, end: samples.end.min(self.len()) }
    }

    /// The values of some samples.
    pub fn window(&self, samples: Range<usize>) -> Vec<f64> {
        let mut values = Vec::with_capacity(samples.len());
        self.cursor().copy(samples, &mut values);
        values
    }

    /// All values; for a long log that is much memory.
    pub fn to_vec(&self) -> Vec<f64> {
        self.window(0..self.len())
    }

    /// What every piece holds, and which samples it is of.
    pub fn digests(&self) -> impl Iterator<Item = (Range<usize>, Digest)> + '_ {
        self.pieces.iter().map(|piece| {
            let digest = piece.digest.converted(|value| self.converted(value));
            (piece.from..piece.from + piece.len, digest)
        })
    }

    /// Number of samples without a reading.
    pub fn missing(&self) -> usize {
        self.pieces.iter().map(|piece| piece.digest.missing as usize).sum()
    }

    /// Least and greatest reading; none without any.
    pub fn range(&self) -> Option<(f64, f64)> {
        let digests = self.digests().map(|(_, digest)| digest).filter(|digest| !digest.is_empty());
        let ends = digests.map(|digest| (digest.low, digest.high));
        ends.reduce(|(low, high), (a, b)| (low.min(a), high.max(b)))
    }

    /// The first sample at which a condition does not hold that holds for all samples before it; of a column
    /// whose every value is a reading.
    pub fn partition_point(&self, holds: impl Fn(f64) -> bool) -> usize {
        let begins = |piece: &Piece| holds(self.converted(piece.digest.first));
        let after = self.pieces.partition_point(begins);
        let Some(piece) = after.checked_sub(1).map(|number| &self.pieces[number]) else { return 0 };
        let mut cursor = self.cursor();
        piece.from + cursor.rest_of_piece(piece.from).partition_point(|value| holds(*value))
    }

    /// Looks at every value from now on through one more conversion.
    pub fn converts(&mut self, conversion: Conversion) {
        self.conversions.push(conversion);
    }

    /// Takes readings out: those that `is_false` says, of the pieces that `touches` lets through by the samples
    /// they hold and their digest. It is asked for every value of such a piece, in order.
    pub fn take_out(
        &mut self,
        touches: impl Fn(&Range<usize>, &Digest) -> bool,
        mut is_false: impl FnMut(usize, f64) -> bool,
    ) {
        let numbers: Vec<usize> = self
            .digests()
            .enumerate()
            .filter(|(_, (samples, digest))| touches(samples, digest))
            .map(|(number, _)| number)
            .collect();
        let (mut bytes, mut plain, mut seen) = (Vec::new(), Vec::new(), Vec::new());
        let mut packing = Packing::default();
        for number in numbers {
            self.unpack(number, &mut bytes, &mut plain);
            seen.clone_from(&plain);
            self.convert(&mut seen);
            let from = self.pieces[number].from;
            let mut touched = false;
            for (at, (plain, seen)) in plain.iter_mut().zip(&seen).enumerate() {
                if is_false(from + at, *seen) {
                    *plain = f64::NAN;
                    touched = true;
                }
            }
            if touched {
                let piece = self.stored(packing.piece(from, &plain));
                self.kept -= self.pieces[number].kept();
                self.pieces[number] = piece;
            }
        }
    }

    /// The values of a piece before they are converted.
    fn unpack(&self, number: usize, bytes: &mut Vec<u8>, values: &mut Vec<f64>) {
        let piece = &self.pieces[number];
        let holes = piece.digest.missing > 0;
        values.resize(piece.len, 0.0);
        match (&piece.place, &self.store) {
            (Place::Memory(held), _) => piece.form.unpack(held, holes, values),
            (Place::File(at), Some(store)) => {
                bytes.resize(piece.form.bytes(piece.len), 0);
                if let Err(error) = store.take(*at, bytes) {
                    // As with memory that fails: nothing true can be said any more.
                    panic!("the program's own temporary file cannot be read back: {error}");
                }
                piece.form.unpack(bytes, holes, values);
            }
            (Place::File(_), None) => unreachable!("a piece in a file comes with its file"),
        }
    }

    /// A piece in its place: in memory, or in the file where that is full.
    fn stored(&mut self, mut piece: Piece) -> Piece {
        let Place::Memory(bytes) = &piece.place else { return piece };
        if self.kept + bytes.len() > KEPT && !bytes.is_empty() {
            let store = match &self.store {
                Some(store) => Ok(store.clone()),
                None => Store::new().map(Arc::new),
            };
            // Without a place on the disk it stays in memory.
            if let Ok(store) = store
                && let Ok(at) = store.put(bytes)
            {
                piece.place = Place::File(at);
                self.store = Some(store);
            }
        }
        self.kept += piece.kept();
        piece
    }

    fn push(&mut self, piece: Piece) {
        let piece = self.stored(piece);
        self.pieces.push(piece);
    }
}

impl Piece {
    /// Bytes in memory.
    fn kept(&self) -> usize {
        match &self.place {
            Place::Memory(bytes) => bytes.len(),
            Place::File(_) => 0,
        }
    }
}

impl fmt::Debug for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.iter()).finish()
    }
}

impl PartialEq for Column {
    fn eq(&self, other: &Column) -> bool {
        self.len() == other.len() && self.iter().eq(other.iter())
    }
}

impl PartialEq<Vec<f64>> for Column {
    fn eq(&self, other: &Vec<f64>) -> bool {
        self.len() == other.len() && self.iter().eq(other.iter().copied())
    }
}

impl From<Vec<f64>> for Column {
    fn from(values: Vec<f64>) -> Column {
        let mut column = Column::default();
        let mut packing = Packing::default();
        for (number, values) in values.chunks(PIECE).enumerate() {
            column.push(packing.piece(number * PIECE, values));
        }
        column
    }
}

impl FromIterator<f64> for Column {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Column {
        let mut packer = Packer::default();
        values.into_iter().for_each(|value| packer.push(value));
        packer.finish()
    }
}

/// What packing keeps from piece to piece.
#[derive(Debug, Clone, Default)]
struct Packing {
    decimals: u8,
    numbers: Vec<i64>,
}

impl Packing {
    fn piece(&mut self, from: usize, values: &[f64]) -> Piece {
        let (form, bytes) = pack(values, &mut self.decimals, &mut self.numbers);
        let digest = Digest::of(values);
        Piece { from, len: values.len(), form, place: Place::Memory(bytes), digest }
    }
}

/// A column that grows.
#[derive(Debug, Clone, Default)]
pub struct Packer {
    done: Column,
    open: Vec<f64>,
    packing: Packing,
}

impl Packer {
    /// Puts a value at the end.
    #[inline]
    pub fn push(&mut self, value: f64) {
        self.open.push(value);
        if self.open.len() >= PIECE {
            self.close();
        }
    }

    /// Number of values.
    pub fn len(&self) -> usize {
        self.done.len() + self.open.len()
    }

    /// True without a value.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Packs what is open.
    pub fn close(&mut self) {
        if !self.open.is_empty() {
            let piece = self.packing.piece(self.done.len(), &self.open);
            self.done.push(piece);
            self.open.clear();
        }
    }

    /// Puts all values of another behind these, and leaves it empty, with its room.
    pub fn append(&mut self, next: &mut Packer) {
        self.close();
        next.close();
        let before = self.done.len();
        for piece in next.done.pieces.drain(..) {
            self.done.push(Piece { from: before + piece.from, ..piece });
        }
        next.done.kept = 0;
    }

    /// The column.
    pub fn finish(mut self) -> Column {
        self.close();
        self.done
    }
}

/// A way along a column, at its best forward: it holds the piece that was looked at last.
#[derive(Debug, Clone)]
pub struct Cursor<'a> {
    column: &'a Column,
    from: usize,
    values: Vec<f64>,
    bytes: Vec<u8>,
}

impl Cursor<'_> {
    /// The value of a sample.
    ///
    /// # Panics
    /// As a slice does, where there is no such sample; and where the temporary file of a long column cannot be
    /// read any more.
    #[inline]
    pub fn at(&mut self, at: usize) -> f64 {
        if at.wrapping_sub(self.from) >= self.values.len() {
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
        if at.wrapping_sub(self.from) < self.values.len() {
            return self.values[at - self.from];
        }
        let piece = &self.column.pieces[self.column.piece_of(at)];
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
        if at.wrapping_sub(self.from) >= self.values.len() {
            self.load(at);
        }
        &self.values[at - self.from..]
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
        self.from = self.column.pieces[number].from;
        self.column.unpack(number, &mut self.bytes, &mut self.values);
        self.column.convert(&mut self.values);
    }
}

/// Values of a column in their order.
#[derive(Debug, Clone)]
pub struct Values<'a> {
    cursor: Cursor<'a>,
    next: usize,
    end: usize,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::PressureUnit;

    /// Decimals, thirds, holes and steps, long enough for many pieces, and where asked for a file.
    fn values(count: usize) -> Vec<f64> {
        let value = |k: usize| match k % 20_000 {
            0..50 => f64::NAN,
            50..9000 => 57.0 + (k * 7919 % 1013) as f64 / 100.0,
            9000..12_000 => k as f64 / 3.0,
            _ => 101.5,
        };
        (0..count).map(value).collect()
    }

    fn same(column: &Column, values: &[f64]) {
        assert_eq!(column.len(), values.len());
        let equal = |(a, b): (f64, &f64)| a == *b || (a.is_nan() && b.is_nan());
        assert!(column.iter().zip(values).all(equal));
        for at in (0..values.len()).step_by(977) {
            assert!(equal((column.at(at), &values[at])), "{at}");
        }
    }

    #[test]
    fn a_column_is_what_went_into_it_in_memory_and_in_a_file() {
        for count in [0, 1, PIECE - 1, PIECE, PIECE + 1, 30_000, 3_000_000] {
            let values = values(count);
            let column = Column::from(values.clone());
            same(&column, &values);
            assert_eq!(column.store.is_some(), count > 1_000_000, "{count}");
            assert!(column.kept <= KEPT);
            let (from, to) = (count / 3, count / 2);
            let window = column.window(from..to);
            assert!(window.iter().zip(&values[from..to]).all(|(a, b)| a == b || a.is_nan()));
        }
    }

    #[test]
    fn columns_are_joined_at_any_length() {
        let values = values(20_000);
        for cut in [1, 3000, PIECE, PIECE + 1, 9000] {
            let mut whole = Packer::default();
            let mut part = Packer::default();
            for part_of in values.chunks(cut) {
                part_of.iter().for_each(|value| part.push(*value));
                whole.append(&mut part);
                assert!(part.is_empty());
            }
            assert_eq!(whole.len(), values.len());
            same(&whole.finish(), &values);
        }
    }

    #[test]
    fn conversions_are_those_of_the_values() {
        let values = values(30_000);
        let mut column = Column::from(values.clone());
        let steps = [
            Conversion::Pressure(PressureUnit::InHg),
            Conversion::Below(101.325),
            Conversion::Turned,
            Conversion::Since(3.0),
        ];
        steps.into_iter().for_each(|step| column.converts(step));
        let by_hand = |value: &f64| -(101.325 - PressureUnit::InHg.to_kpa(*value).0) - 3.0;
        let converted: Vec<f64> = values.iter().map(by_hand).collect();
        same(&column, &converted);
        let read = || converted.iter().copied().filter(|v| v.is_finite());
        let ends = (read().fold(f64::MAX, f64::min), read().fold(f64::MIN, f64::max));
        assert_eq!(column.range(), Some(ends));
    }

    #[test]
    fn readings_are_taken_out_where_they_are_and_nowhere_else() {
        for count in [30_000, 3_000_000] {
            let mut values = values(count);
            let mut column = Column::from(values.clone());
            column.converts(Conversion::Turned);
            let found = |value: f64| value == -101.5;
            let missing = column.missing();
            column.take_out(|_, digest| digest.low <= -101.5, |_, value| found(value));
            values
                .iter_mut()
                .for_each(|value| *value = if found(-*value) { f64::NAN } else { -*value });
            same(&column, &values);
            assert_eq!(column.missing(), values.iter().filter(|v| v.is_nan()).count());
            assert!(column.missing() > missing && column.kept <= KEPT);
        }
    }

    #[test]
    fn the_place_of_a_time_is_found() {
        let times: Vec<f64> = (0..20_000).map(|k| f64::from(k) * 0.004 + 1.0).collect();
        let column = Column::from(times.clone());
        for wanted in [0.0, 1.0, 1.001, 17.384, 17.3841, 50.0, 80.996, 80.9961, 200.0] {
            assert_eq!(
                column.partition_point(|t| t < wanted),
                times.partition_point(|t| *t < wanted),
                "{wanted}"
            );
        }
        assert_eq!(Column::default().partition_point(|_| true), 0);
    }
}
