//! A column while it grows.

use super::column::{Column, Piece, Place};
use super::digest::Digest;
use super::packed::{PIECE, as_decimal, as_values, pack, pack_decimals};

/// What packing keeps from piece to piece.
#[derive(Debug, Clone, Default)]
pub(super) struct Packing {
    decimals: u8,
    numbers: Vec<i64>,
}

impl Packing {
    /// Packs the values from a number on.
    pub fn piece(&mut self, from: usize, values: &[f64]) -> Piece {
        let (form, bytes) = pack(values, &mut self.decimals, &mut self.numbers);
        let digest = Digest { straight: form.is_line(), ..Digest::of(values) };
        Piece { from, len: values.len(), form, place: Place::Memory(bytes), digest }
    }

    /// The same of whole numbers of `10^-decimals`, at least one.
    fn piece_of_decimals(&mut self, from: usize, numbers: &[i32], decimals: u8) -> Piece {
        let (digest, extent) = Digest::of_decimals(numbers, |number| {
            as_values(&[number], decimals).next().unwrap_or(f64::NAN)
        });
        let (form, bytes) = pack_decimals(numbers, extent, decimals, &mut self.numbers);
        let digest = Digest { straight: form.is_line(), ..digest };
        self.decimals = decimals;
        Piece { from, len: numbers.len(), form, place: Place::Memory(bytes), digest }
    }
}

/// A column that grows.
#[derive(Debug, Clone, Default)]
pub struct Packer {
    done: Column,
    /// What comes behind it and is less than a piece: values, or nothing but decimals.
    open: Vec<f64>,
    decimals: Decimals,
    packing: Packing,
}

/// Whole numbers of `10^-decimals`.
#[derive(Debug, Clone, Default)]
struct Decimals {
    numbers: Vec<i32>,
    decimals: u8,
}

/// Up to so many values are looked at again when decimals follow, whether they are decimals as well.
const LOOKED_AT_AGAIN: usize = 64;

impl Packer {
    /// Puts a value at the end.
    #[inline]
    pub fn push(&mut self, value: f64) {
        if !self.decimals.numbers.is_empty() {
            if let Some(number) = as_decimal(value, self.decimals.decimals) {
                return self.extend_decimals(&[number], self.decimals.decimals);
            }
            self.open_values();
        }
        self.open.push(value);
        self.close_full();
    }

    /// Puts values at the end.
    pub fn extend(&mut self, mut values: &[f64]) {
        self.open_values();
        while !values.is_empty() {
            let (now, later) = values.split_at(values.len().min(PIECE - self.open.len()));
            self.open.extend_from_slice(now);
            values = later;
            self.close_full();
        }
    }

    /// Puts whole numbers of `10^-decimals` at the end, which cost less than the values that they stand for.
    ///
    /// # Panics
    /// With more than nine decimals.
    pub fn extend_decimals(&mut self, mut numbers: &[i32], decimals: u8) {
        if !self.open_decimals(decimals) {
            self.open_values();
            return as_values(numbers, decimals).for_each(|value| self.push(value));
        }
        while !numbers.is_empty() {
            let own = &mut self.decimals.numbers;
            let (now, later) = numbers.split_at(numbers.len().min(PIECE - own.len()));
            own.extend_from_slice(now);
            numbers = later;
            self.close_full();
        }
    }

    /// Makes what is open values.
    fn open_values(&mut self) {
        let Decimals { numbers, decimals } = &mut self.decimals;
        self.open.extend(as_values(numbers, *decimals));
        numbers.clear();
    }

    /// Makes what is open decimals; false where it is not.
    fn open_decimals(&mut self, decimals: u8) -> bool {
        let own = &mut self.decimals;
        if own.numbers.is_empty() && self.open.len() <= LOOKED_AT_AGAIN {
            own.decimals = decimals;
            own.numbers.extend(self.open.iter().map_while(|value| as_decimal(*value, decimals)));
            if own.numbers.len() == self.open.len() {
                self.open.clear();
                return true;
            }
            own.numbers.clear();
        }
        !own.numbers.is_empty() && own.decimals == decimals
    }

    fn close_full(&mut self) {
        if self.open.len().max(self.decimals.numbers.len()) >= PIECE {
            self.close();
        }
    }

    /// Number of values.
    pub fn len(&self) -> usize {
        self.done.len() + self.open.len() + self.decimals.numbers.len()
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
        let Decimals { numbers, decimals } = &mut self.decimals;
        if !numbers.is_empty() {
            let piece = self.packing.piece_of_decimals(self.done.len(), numbers, *decimals);
            self.done.push(piece);
            numbers.clear();
        }
    }

    /// Puts all values of another behind these, and leaves it empty, with its room.
    pub fn append(&mut self, next: &mut Packer) {
        self.close();
        next.close();
        let before = self.done.len();
        for piece in next.done.drain() {
            self.done.push(Piece { from: before + piece.from, ..piece });
        }
    }

    /// The column.
    pub fn finish(mut self) -> Column {
        self.close();
        self.done
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// One way of putting values at the end.
    #[derive(Debug, Clone)]
    enum Put {
        Value(f64),
        Values(Vec<f64>),
        Decimals(Vec<i32>, u8),
        Close,
    }

    fn put() -> impl Strategy<Value = Put> {
        let decimal =
            || (-200_000_i32..200_000, 0_i32..4).prop_map(|(d, e)| f64::from(d) / 10_f64.powi(e));
        let value = || prop_oneof![4 => decimal(), 1 => Just(f64::NAN), 1 => Just(1.0 / 3.0), 1 => Just(-0.0)];
        prop_oneof![
            3 => value().prop_map(Put::Value),
            1 => prop::collection::vec(value(), 0..3000).prop_map(Put::Values),
            4 => (prop::collection::vec(-2_000_000_000_i32..2_000_000_000, 0..3000), 0_u8..10)
                .prop_map(|(numbers, decimals)| Put::Decimals(numbers, decimals)),
            2 => (prop::collection::vec(5000_i32..5200, 0..3000), 1_u8..3)
                .prop_map(|(numbers, decimals)| Put::Decimals(numbers, decimals)),
            1 => Just(Put::Close),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn values_come_back_however_they_were_put(puts in prop::collection::vec(put(), 1..24)) {
            let (mut packer, mut values) = (Packer::default(), Vec::new());
            for put in &puts {
                match put {
                    Put::Value(value) => {
                        packer.push(*value);
                        values.push(*value);
                    }
                    Put::Values(more) => {
                        packer.extend(more);
                        values.extend_from_slice(more);
                    }
                    Put::Decimals(numbers, decimals) => {
                        packer.extend_decimals(numbers, *decimals);
                        values.extend(numbers.iter().map(|n| f64::from(*n) / 10_f64.powi(i32::from(*decimals))));
                    }
                    Put::Close => packer.close(),
                }
                prop_assert_eq!(packer.len(), values.len());
            }
            let column = packer.finish();
            let same = |a: f64, b: f64| a == b || (a.is_nan() && b.is_nan());
            prop_assert_eq!(column.len(), values.len());
            prop_assert!(column.iter().zip(&values).all(|(a, b)| same(a, *b)));
            for (samples, digest) in column.digests() {
                let plain = Digest::of(&values[samples.clone()]);
                prop_assert!(same(digest.first, plain.first) && same(digest.last, plain.last));
                let plain = Digest { straight: digest.straight, first: 0.0, last: 0.0, ..plain };
                prop_assert_eq!(Digest { first: 0.0, last: 0.0, ..digest }, plain);
                if digest.straight {
                    let own = &values[samples.clone()];
                    let step = (own[own.len() - 1] - own[0]) / (own.len().max(2) - 1) as f64;
                    let off = own.windows(2).map(|p| (p[1] - p[0] - step).abs()).fold(0.0, f64::max);
                    prop_assert!(off <= 1e-9 * own[0].abs().max(own[own.len() - 1].abs()).max(1.0));
                }
            }
        }
    }

    #[test]
    fn columns_are_joined_at_any_length() {
        let values: Vec<f64> = (0..20_000).map(|k| f64::from(k * 7919 % 1013) / 100.0).collect();
        for cut in [1, 3000, PIECE, PIECE + 1, 9000] {
            let mut whole = Packer::default();
            let mut part = Packer::default();
            for part_of in values.chunks(cut) {
                part_of.iter().for_each(|value| part.push(*value));
                whole.append(&mut part);
                assert!(part.is_empty());
            }
            assert_eq!(whole.len(), values.len());
            assert_eq!(whole.finish(), values);
        }
    }
}
