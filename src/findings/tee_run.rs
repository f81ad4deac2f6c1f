//! The readings of a tee run: both hoses on one tap through a T-piece, the engine swept over its
//! vacuum range.

use crate::sample::{Mark, Meaning};
use crate::signal::Signal;
use crate::signal::cycles::STANDSTILL_RPM;
use crate::signal::plateaus::Kind;
use crate::statistics::summary;

/// Time around a mark that belongs to the hands on the hoses, s.
const HANDS_S: f64 = 1.0;
/// Whole-cycle averages are joined until they last this long, s: evenly spaced averages have errors
/// of one size.
const AVERAGE_S: f64 = 0.25;
/// ... or until the run has this many.
const MOST_AVERAGES: f64 = 2000.0;
/// A vacuum that moves faster than this passes before sensors and hoses have followed, kPa/s.
const FASTEST_KPA_S: f64 = 25.0;
/// Two sensors at one vacuum differ by no more than this, kPa: twice the error of 3.45 kPa of an
/// MPX4250A (1.5 % of its span of 230 kPa, data sheet rev. 7, the 3.45 from memory) ...
pub const WORST_OFFSET_KPA: f64 = 7.0;
/// ... and this share of the vacuum: four times the 2.5 % of an MPX5100 (data sheet rev. 14).
pub const WORST_GAIN: f64 = 0.1;
/// Ripple of less than this may be noise, kPa (standard deviation).
const LEAST_RIPPLE_KPA: f64 = 0.5;
/// Up to this speed a few milliseconds between the sensors do not turn the ripple, rev/min.
const SLOW_RPM: f64 = 1500.0;

/// Where both hoses were on one tap by the marks: from, to, s. Empty without such marks.
///
/// Whoever marks that the T-piece is gone has had it on before; one that is not taken off stays.
pub fn spans(marks: &[Mark]) -> Vec<(f64, f64)> {
    let mut spans = Vec::new();
    let mut on_since = None;
    let mut first = true;
    for mark in marks {
        match mark.meaning {
            Meaning::TeeOn => on_since = on_since.or(Some(mark.at.0 + HANDS_S)),
            Meaning::TeeOff => {
                let from = on_since.take().or(first.then_some(f64::NEG_INFINITY));
                spans.extend(from.map(|from| (from, mark.at.0 - HANDS_S)));
            }
            _ => continue,
        }
        first = false;
    }
    spans.extend(on_since.map(|from| (from, f64::INFINITY)));
    spans
}

/// Averages over whole cycles, all of about the same length, in the order of time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Averages {
    /// Middle, s.
    pub at_s: Vec<f64>,
    /// Mean of the two readings, kPa.
    pub vacuum_kpa: Vec<f64>,
    /// Sensor 1 less sensor 2, kPa.
    pub difference_kpa: Vec<f64>,
    /// How fast the vacuum rises, kPa/s.
    pub rate_kpa_s: Vec<f64>,
    /// Time averaged, s.
    pub seconds: f64,
    /// Engine cycles averaged.
    pub cycles: f64,
    /// Averages at which the sensors lie further apart than any pair does: where, s.
    pub strays_s: Vec<f64>,
    /// Standard deviation of sensor 1 and of sensor 2 over the run, strays included, kPa.
    pub moved_kpa: [f64; 2],
}

/// One block of whole cycles, or several joined.
#[derive(Debug, Clone, Copy)]
struct Piece {
    first: usize,
    end: usize,
}

/// Averages the tee run of a signal; `by_mark` says where marks put it, else the whole log counts.
/// With the engine off both sensors see one pressure wherever the hoses are.
pub fn averages(signal: &Signal, by_mark: &[(f64, f64)]) -> Averages {
    let mut out = Averages::default();
    let (Some(one), Some(two)) = (&signal.cycles.vac1_kpa, &signal.cycles.vac2_kpa) else {
        return out;
    };
    let pieces = pieces(signal, by_mark, one, two);
    let mean = |column: &[f64], piece: &Piece| {
        let part = |k: usize| column[k] * (signal.cycles.to_s[k] - signal.cycles.from_s[k]);
        (piece.first..piece.end).map(part).sum::<f64>() / length(signal, piece)
    };
    let levels: Vec<[f64; 2]> =
        pieces.iter().map(|piece| [mean(one, piece), mean(two, piece)]).collect();
    out.moved_kpa = [0, 1].map(|side| {
        let levels: Vec<f64> = levels.iter().map(|level| level[side]).collect();
        summary::sd(&levels).unwrap_or(0.0)
    });
    for (piece, [v1, v2]) in pieces.iter().zip(&levels) {
        let middle_s =
            0.5 * (signal.cycles.from_s[piece.first] + signal.cycles.to_s[piece.end - 1]);
        let (vacuum, difference) = (0.5 * (v1 + v2), v1 - v2);
        if difference.abs() > WORST_OFFSET_KPA + WORST_GAIN * vacuum.abs() {
            out.strays_s.push(middle_s);
            continue;
        }
        let rate = rate(signal, one, two, piece);
        if rate.abs() > FASTEST_KPA_S {
            continue;
        }
        out.at_s.push(middle_s);
        out.vacuum_kpa.push(vacuum);
        out.difference_kpa.push(difference);
        out.rate_kpa_s.push(rate);
        out.seconds += length(signal, piece);
        out.cycles += signal.cycles.cycles[piece.first..piece.end].iter().sum::<f64>();
    }
    out
}

fn length(signal: &Signal, piece: &Piece) -> f64 {
    let cycles = &signal.cycles;
    (piece.first..piece.end).map(|k| cycles.to_s[k] - cycles.from_s[k]).sum()
}

/// Neighbouring blocks of the run joined to even lengths.
fn pieces(signal: &Signal, by_mark: &[(f64, f64)], one: &[f64], two: &[f64]) -> Vec<Piece> {
    let cycles = &signal.cycles;
    let at_rest = signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff);
    let at_rest: Vec<_> = at_rest.map(|p| p.first_block..p.end_block).collect();
    let stands = |k: usize| at_rest.iter().any(|blocks| blocks.contains(&k));
    let inside = |k: usize| {
        by_mark.is_empty()
            || by_mark.iter().any(|(from, to)| cycles.from_s[k] >= *from && cycles.to_s[k] <= *to)
            || stands(k)
    };
    let kept: Vec<usize> = (0..cycles.len())
        .filter(|k| one[*k].is_finite() && two[*k].is_finite() && inside(*k))
        .collect();
    let total: f64 = kept.iter().map(|k| cycles.to_s[*k] - cycles.from_s[*k]).sum();
    let wanted = AVERAGE_S.max(total / MOST_AVERAGES);
    let mut pieces: Vec<Piece> = Vec::new();
    let mut open: Option<Piece> = None;
    for k in kept {
        let joins = |piece: &Piece| {
            piece.end == k && cycles.from_s[k] - cycles.to_s[k - 1] < 1e-6 * cycles.to_s[k].max(1.0)
        };
        let piece = match open.filter(joins) {
            Some(piece) => Piece { end: k + 1, ..piece },
            None => Piece { first: k, end: k + 1 },
        };
        // What breaks off before it is long enough is left out: its error would be larger.
        open = Some(piece).filter(|piece| length(signal, piece) < wanted);
        if open.is_none() {
            pieces.push(piece);
        }
    }
    pieces
}

/// Rise of the mean vacuum over a piece, kPa/s, from the levels at its two ends.
fn rate(signal: &Signal, one: &[f64], two: &[f64], piece: &Piece) -> f64 {
    let cycles = &signal.cycles;
    let middle = |k: usize| cycles.middle_s(k);
    let level = |k: usize| 0.5 * (one[k] + two[k]);
    let near = |a: usize, b: usize| {
        cycles.from_s[b] - cycles.to_s[a] < 1e-6 * cycles.to_s[a].max(1.0)
            && level(a).is_finite()
            && level(b).is_finite()
    };
    let mut before = piece.first;
    if before > 0 && near(before - 1, before) {
        before -= 1;
    }
    let mut after = piece.end - 1;
    if after + 1 < cycles.len() && near(after, after + 1) {
        after += 1;
    }
    if after == before {
        0.0
    } else {
        (level(after) - level(before)) / (middle(after) - middle(before))
    }
}

/// How alike the two sensors swing within the cycles of a slow engine: correlation of the readings
/// about the averages of their blocks. None where the ripple is too small to tell.
///
/// On one tap both see one ripple; two tracts draw at different times.
pub fn likeness_of_ripple(signal: &Signal, by_mark: &[(f64, f64)]) -> Option<f64> {
    let (one, two) = (signal.track.vac1_kpa.as_ref()?, signal.track.vac2_kpa.as_ref()?);
    let (cycles, rpm) = (&signal.cycles, signal.cycles.rpm.as_ref()?);
    let inside = |k: &usize| {
        let (from, to) = (cycles.from_s[*k], cycles.to_s[*k]);
        by_mark.is_empty() || by_mark.iter().any(|span| from >= span.0 && to <= span.1)
    };
    let (mut count, mut square1, mut square2, mut product) = (0.0, 0.0, 0.0, 0.0);
    let slow = |k: &usize| (STANDSTILL_RPM..SLOW_RPM).contains(&rpm[*k]);
    for k in (0..cycles.len().saturating_sub(1)).filter(slow).filter(inside) {
        let range = cycles.sample[k] as usize..cycles.sample[k + 1] as usize;
        let (a, b) = (one.window(range.clone()), two.window(range));
        if a.len() < 3 || a.iter().chain(&b).any(|v| !v.is_finite()) {
            continue;
        }
        let n = a.len() as f64;
        let (mean1, mean2) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
        for (x, y) in a.iter().zip(&b) {
            let (x, y) = (x - mean1, y - mean2);
            (square1, square2, product) = (square1 + x * x, square2 + y * y, product + x * y);
        }
        count += n;
    }
    let least = LEAST_RIPPLE_KPA.powi(2) * count;
    (count > 0.0 && square1 > least && square2 > least)
        .then(|| product / (square1 * square2).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    #[test]
    fn marks_say_where_the_hoses_were_together() {
        let spans = |marks: &[(f64, &str)]| {
            let marks: Vec<Mark> =
                marks.iter().map(|(at, text)| Mark::read(Seconds(*at), text)).collect();
            super::spans(&marks)
        };
        assert_eq!(spans(&[(3.0, "engine off")]), []);
        assert_eq!(spans(&[(10.0, "tee on"), (70.0, "tee off")]), [(11.0, 69.0)]);
        assert_eq!(spans(&[(10.0, "tee on"), (12.0, "tee on")]), [(11.0, f64::INFINITY)]);
        assert_eq!(spans(&[(70.0, "tee off")]), [(f64::NEG_INFINITY, 69.0)]);
        let twice = [(5.0, "tee off"), (9.0, "tee off"), (20.0, "tee on"), (30.0, "tee off")];
        assert_eq!(spans(&twice), [(f64::NEG_INFINITY, 4.0), (21.0, 29.0)]);
    }
}
