//! A column of readings in little memory, however long the log.

use super::conversion::Conversion;
use super::cursor::{Cursor, Values};
use super::digest::Digest;
use super::packed::{Form, PIECE};
use super::packer::{Packer, Packing};
use super::store::Store;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// Bytes of a column that stay in memory; what is more lies in a temporary file.
const KEPT: usize = 4 << 20;

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
pub(super) struct Piece {
    /// Number of the first, and how many.
    pub from: usize,
    pub len: usize,
    pub form: Form,
    pub place: Place,
    /// Of the values before they are converted.
    pub digest: Digest,
}

#[derive(Debug, Clone)]
pub(super) enum Place {
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
    pub(super) fn piece_of(&self, at: usize) -> usize {
        self.pieces.partition_point(|piece| piece.from + piece.len <= at)
    }

    pub(super) fn piece(&self, number: usize) -> &Piece {
        &self.pieces[number]
    }

    /// Takes all pieces out.
    pub(super) fn drain(&mut self) -> std::vec::Drain<'_, Piece> {
        self.kept = 0;
        self.pieces.drain(..)
    }

    pub(super) fn convert(&self, values: &mut [f64]) {
        self.conversions.iter().for_each(|conversion| conversion.of_all(values));
    }

    pub(super) fn converted(&self, value: f64) -> f64 {
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
        Cursor::new(self)
    }

    /// All values in their order.
    pub fn iter(&self) -> Values<'_> {
        self.iter_over(0..self.len())
    }

    /// The values of some samples in their order; those beyond the end are left out.
    pub fn iter_over(&self, samples: Range<usize>) -> Values<'_> {
        Values::new(self, samples)
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
            let plain = self.unpack(number, &mut bytes, &mut plain);
            seen.clear();
            seen.extend_from_slice(plain);
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
                let piece = self.stored(packing.piece(from, plain));
                self.kept -= self.pieces[number].kept();
                self.pieces[number] = piece;
            }
        }
    }

    /// The values of a piece before they are converted; `room` only grows, so that none of it is filled in vain.
    pub(super) fn unpack<'a>(
        &self,
        number: usize,
        bytes: &mut Vec<u8>,
        room: &'a mut Vec<f64>,
    ) -> &'a mut [f64] {
        let piece = &self.pieces[number];
        let holes = piece.digest.missing > 0;
        if room.len() < piece.len {
            room.resize(piece.len, 0.0);
        }
        let values = &mut room[..piece.len];
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
        values
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

    pub(super) fn push(&mut self, piece: Piece) {
        let piece = self.stored(piece);
        self.pieces.push(piece);
    }
}

impl Piece {
    /// True where the value is one of these.
    pub fn holds(&self, at: usize) -> bool {
        at.wrapping_sub(self.from) < self.len
    }

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
