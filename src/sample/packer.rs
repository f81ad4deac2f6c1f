//! A column while it grows.

use super::column::{Column, Piece, Place};
use super::digest::Digest;
use super::packed::{PIECE, pack};

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

    /// Puts values at the end.
    pub fn extend(&mut self, mut values: &[f64]) {
        while !values.is_empty() {
            let (now, later) = values.split_at(values.len().min(PIECE - self.open.len()));
            self.open.extend_from_slice(now);
            values = later;
            if self.open.len() >= PIECE {
                self.close();
            }
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
