//! Stretches on which the pair is compared: steady speed, hoses on, one state of the hoses.

use super::balance::LEVEL;
use super::tee_run;
use crate::cores::{MANY_SAMPLES, each};
use crate::sample::{Mark, Meaning, Remark};
use crate::signal::Signal;
use crate::signal::plateaus::{Kind, Plateau};
use crate::statistics::correlated::{MeanInterval, mean_interval};
use crate::statistics::{changes, robust, summary};

/// Time around a hose swap that belongs to neither state, s.
const HANDS_S: f64 = 1.0;
/// A hose is off when its sensor reads less than this share of its usual vacuum.
const HOSE_OFF_SHARE: f64 = 0.4;
/// A hose takes this long to come off or go on, s.
const HOSE_S: f64 = 0.3;
/// A stretch is worth an average from this length on, s.
const LEAST_S: f64 = 3.0;
/// ... and from this many blocks on.
const LEAST_BLOCKS: usize = 8;
/// ... with the engine off, where nothing moves.
const LEAST_BLOCKS_OFF: usize = 4;
/// A running engine draws more vacuum than this through a hose that is on, kPa.
const DEAD_KPA: f64 = 5.0;
/// A step of the difference from this size on parts a stretch, kPa.
const STEP_KPA: f64 = 0.6;
/// ... and of this many times the scatter of the blocks: a slow logger's average is never quiet.
const STEP_SCATTERS: f64 = 1.0;
/// A block this far from its neighbours holds a wild reading, kPa.
const SPIKE_KPA: f64 = 1.0;
/// ... and this many times the scatter of the blocks.
const SPIKE_SCATTERS: f64 = 5.0;
/// Neighbours on each side.
const SPIKE_NEIGHBOURS: usize = 4;
/// Share by which a sum over a whole log may be rounded away from its true value, generously.
const ROUNDING: f64 = 1e-6;
/// A part between steps lasts at least this long, s.
const LEAST_PART_S: f64 = 5.0;
/// Hoses that come off this near a swap came off for it, s.
const SWAP_TAKES_S: f64 = 8.0;
/// Stretches on both sides of a swap are one setting when their speeds agree within this share.
const SAME_SPEED: f64 = 0.06;

/// A stretch with one state of the engine and of the hoses.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Engine off, or running.
    pub kind: Kind,
    /// The hoses are exchanged.
    pub swapped: bool,
    /// The engine runs and both hoses are on one tap.
    pub tee: bool,
    /// Number of the setting: stretches of one setting share the true difference.
    pub setting: usize,
    /// Mean speed, rev/min.
    pub rpm: Option<f64>,
    /// Engine cycles that went into the mean.
    pub cycles: f64,
    /// Mean of sensor 1, kPa.
    pub vac1_kpa: f64,
    /// Mean of sensor 2, kPa.
    pub vac2_kpa: f64,
    /// Mean of sensor 1 less sensor 2, kPa.
    pub difference: MeanInterval,
    /// Samples: from, one past the last.
    pub samples: (usize, usize),
    /// Something was changed before it, other than the hoses.
    fresh: bool,
}

impl Stretch {
    /// The engine runs and each sensor is on a side of its own.
    pub fn shows_sides(&self) -> bool {
        self.kind == Kind::Running && !self.tee
    }
}

/// The stretches of a log, and what was seen on the way.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// In the order of time.
    pub stretches: Vec<Stretch>,
    /// What a person should know of them.
    pub remarks: Vec<Remark>,
}

/// A piece of a plateau in which nobody touched anything.
#[derive(Debug, Clone, Copy)]
struct Piece {
    from_s: f64,
    to_s: f64,
    swapped: bool,
    /// Both hoses are on one tap.
    tee: bool,
    /// A screw was turned before it.
    fresh: bool,
}

/// Cuts the plateaus of a signal where somebody touched the hoses or a screw, and where the
/// difference itself steps, and averages the difference over each piece.
pub fn find(signal: &Signal) -> Found {
    let mut found = Found::default();
    let mut steps = Vec::new();
    let mut off = Vec::new();
    let mut dead = Vec::new();
    let plateaus = signal.plateaus.iter();
    let of_plateau =
        |plateau| pieces(signal, plateau).into_iter().map(move |piece| (plateau, piece));
    let pieces: Vec<(&Plateau, Piece)> = plateaus.flat_map(of_plateau).collect();
    let much = signal.track.len() >= MANY_SAMPLES;
    for piece in each(much, &pieces, |(plateau, piece)| seen(signal, plateau, *piece)) {
        dead.extend(piece.dead);
        off.extend(piece.hose_off);
        steps.extend(piece.steps);
        found.stretches.extend(piece.stretches);
    }
    number_settings(&mut found.stretches);
    found.remarks = remarks(signal, &steps, &off, &dead);
    found
}

/// What a piece of a plateau shows.
#[derive(Default)]
struct Seen {
    stretches: Vec<Stretch>,
    /// Where the difference steps, s.
    steps: Vec<f64>,
    /// Where a hose came off, s.
    hose_off: Option<f64>,
    /// Where it begins, s, and the side that has no vacuum.
    dead: Option<(f64, &'static str)>,
}

fn seen(signal: &Signal, plateau: &Plateau, piece: Piece) -> Seen {
    let mut seen = Seen::default();
    let Some(blocks) = blocks(signal, plateau, piece) else { return seen };
    if let Some(side) = blocks.dead {
        seen.dead = Some((piece.from_s, side));
        return seen;
    }
    seen.hose_off = blocks.hose_off;
    let (parts, headless) = even_parts(signal, &blocks.kept);
    for (number, part) in parts.into_iter().enumerate() {
        let stepped = headless || number > 0;
        if stepped {
            seen.steps.push(signal.cycles.from_s[part[0]]);
        }
        let piece = Piece { fresh: piece.fresh || stepped, ..piece };
        seen.stretches.extend(average(signal, plateau, &part, piece));
    }
    seen
}

fn remarks(
    signal: &Signal,
    steps: &[f64],
    off: &[f64],
    dead: &[(f64, &'static str)],
) -> Vec<Remark> {
    let mut remarks = Vec::new();
    if let Some((_, side)) = dead.first() {
        let at: Vec<f64> = dead.iter().map(|d| d.0).collect();
        let text = format!(
            "{side} shows hardly any vacuum with the engine running while the other does: its hose is off or its sensor is dead; nothing can be compared there"
        );
        remarks.push(Remark::new("hose_off", dead.len(), &at, text));
    }
    let is_tee = |mark: &&Mark| matches!(mark.meaning, Meaning::TeeOn | Meaning::TeeOff);
    let tees: Vec<f64> = signal.track.marks.iter().filter(is_tee).map(|mark| mark.at.0).collect();
    // Hoses come off for a swap or a T-piece; what comes off without one has fallen off.
    let fallen: Vec<f64> = off
        .iter()
        .copied()
        .filter(|at| signal.hoses.iter().all(|change| (change.at_s - at).abs() > SWAP_TAKES_S))
        .filter(|at| tees.iter().all(|tee_s| (tee_s - at).abs() > SWAP_TAKES_S))
        .collect();
    if !fallen.is_empty() {
        let text = "a hose was off with the engine running; those cycles are left out";
        remarks.push(Remark::new("hose_off", fallen.len(), &fallen, text));
    }
    if !steps.is_empty() {
        let text = "the difference steps although the speed is steady: something was changed there; the parts are judged apart. If the hoses were swapped, mark it 'hoses swapped'; a screw turned, 'screw 1 +0.25'";
        remarks.push(Remark::new("difference_steps", steps.len(), steps, text));
    }
    remarks
}

/// Pieces of a plateau between the touches.
fn pieces(signal: &Signal, plateau: &Plateau) -> Vec<Piece> {
    let touched = |meaning: &Meaning| {
        matches!(meaning, Meaning::Screw { .. } | Meaning::TeeOn | Meaning::TeeOff)
    };
    let others = signal.track.marks.iter();
    let others = others.filter_map(|mark| touched(&mark.meaning).then_some((mark.at.0, None)));
    let hoses = signal.hoses.iter().map(|change| (change.at_s, Some(change.swapped)));
    let mut touches: Vec<(f64, Option<bool>)> = others.chain(hoses).collect();
    touches.sort_by(|a, b| a.0.total_cmp(&b.0));
    let before = |t: &&(f64, Option<bool>)| t.0 <= plateau.from_s + HANDS_S;
    let state = touches.iter().filter(before).filter_map(|t| t.1).next_back();
    // Whoever marks that the hoses are back has swapped them before.
    let first = touches.iter().find_map(|t| t.1);
    let swapped = state.unwrap_or(first == Some(false));
    let ready = touches.iter().filter(before).map(|t| t.0 + HANDS_S).fold(plateau.from_s, f64::max);
    let mut pieces = Vec::new();
    let mut piece = Piece { from_s: ready, to_s: plateau.to_s, swapped, tee: false, fresh: true };
    let inside = |t: &&(f64, Option<bool>)| t.0 > plateau.from_s + HANDS_S && t.0 < plateau.to_s;
    for (at, hoses) in touches.iter().filter(inside) {
        pieces.push(Piece { to_s: at - HANDS_S, ..piece });
        let swapped = hoses.unwrap_or(piece.swapped);
        piece = Piece { from_s: at + HANDS_S, swapped, fresh: hoses.is_none(), ..piece };
    }
    pieces.push(piece);
    // A plateau of its own is a setting of its own, unless only the hoses have changed since.
    if let Some(first) = pieces.first_mut() {
        first.fresh = touches.iter().rfind(before).is_some_and(|t| t.1.is_none());
    }
    let together = tee_run::spans(&signal.track.marks);
    for piece in &mut pieces {
        let middle_s = 0.5 * (piece.from_s + piece.to_s);
        piece.tee = together.iter().any(|(from, to)| (*from..*to).contains(&middle_s));
    }
    pieces.retain(|p| p.to_s - p.from_s >= LEAST_S.min(plateau.to_s - plateau.from_s));
    pieces
}

/// Blocks of a piece on which both sensors see what they should.
struct Blocks {
    kept: Vec<usize>,
    /// Where a hose came off, s.
    hose_off: Option<f64>,
    /// A side without vacuum throughout.
    dead: Option<&'static str>,
}

fn blocks(signal: &Signal, plateau: &Plateau, piece: Piece) -> Option<Blocks> {
    let cycles = &signal.cycles;
    let (one, two) = (cycles.vac1_kpa.as_ref()?, cycles.vac2_kpa.as_ref()?);
    let inside = |k: &usize| {
        cycles.from_s[*k] >= piece.from_s - 1e-9 && cycles.to_s[*k] <= piece.to_s + 1e-9
    };
    let read: Vec<usize> = (plateau.first_block..plateau.end_block)
        .filter(inside)
        .filter(|k| one[*k].is_finite() && two[*k].is_finite())
        .collect();
    let usual = |column: &[f64]| {
        let mut held: Vec<f64> = read.iter().map(|k| column[*k]).collect();
        let middle = held.len() / 2;
        (!held.is_empty()).then(|| *held.select_nth_unstable_by(middle, f64::total_cmp).1)
    };
    let (usual1, usual2) = (usual(one)?, usual(two)?);
    if plateau.kind == Kind::EngineOff {
        return Some(Blocks { kept: read, hose_off: None, dead: None });
    }
    let dead = match (usual1 < DEAD_KPA, usual2 < DEAD_KPA) {
        (true, false) => Some("sensor 1"),
        (false, true) => Some("sensor 2"),
        _ => None,
    };
    let on = |k: &usize| one[*k] > HOSE_OFF_SHARE * usual1 && two[*k] > HOSE_OFF_SHARE * usual2;
    let off: Vec<usize> = read.iter().copied().filter(|k| !on(k)).collect();
    let first_off = off.first().map(|k| cycles.from_s[*k]);
    // A hose goes off and on within a block: the blocks beside one without a hose are neither.
    let beside = |k: &usize| {
        let next = off.partition_point(|o| o < k);
        let near = |o: &usize| {
            o.abs_diff(*k) <= 1
                || (cycles.from_s[*o] < cycles.to_s[*k] + HOSE_S
                    && cycles.from_s[*k] < cycles.to_s[*o] + HOSE_S)
        };
        off[next.saturating_sub(1)..(next + 1).min(off.len())].iter().any(near)
    };
    let on: Vec<usize> = read.into_iter().filter(|k| !beside(k)).collect();
    let kept = without_spikes(&on, &|k| one[k] - two[k]);
    Some(Blocks { kept, hose_off: first_off, dead })
}

/// Blocks whose difference is near that of their neighbours (Hampel's test): one wild reading moves the
/// mean of its block by kilopascals, and a few such blocks pass for a step.
fn without_spikes(blocks: &[usize], difference: &dyn Fn(usize) -> f64) -> Vec<usize> {
    let values: Vec<f64> = blocks.iter().map(|k| difference(*k)).collect();
    let wild = SPIKE_KPA.max(SPIKE_SCATTERS * summary::sd_of_neighbours(&values));
    let Some(usual) = robust::running_median(&values, SPIKE_NEIGHBOURS) else {
        return blocks.to_vec();
    };
    let calm = |at: &usize| (values[*at] - usual[*at]).abs() <= wild;
    (0..blocks.len()).filter(calm).map(|at| blocks[at]).collect()
}

/// Parts of a piece between lasting steps of the difference, and whether the first of them was left out: what
/// follows it is not what was before the piece either.
fn even_parts(signal: &Signal, kept: &[usize]) -> (Vec<Vec<usize>>, bool) {
    let (Some(one), Some(two)) = (&signal.cycles.vac1_kpa, &signal.cycles.vac2_kpa) else {
        return (Vec::new(), false);
    };
    if kept.is_empty() {
        return (Vec::new(), false);
    }
    let difference: Vec<f64> = kept.iter().map(|k| one[*k] - two[*k]).collect();
    let mean = |range: &[f64]| range.iter().sum::<f64>() / range.len() as f64;
    let matters = STEP_KPA.max(STEP_SCATTERS * summary::sd_of_neighbours(&difference));
    // Means of parts lie no further apart than the lowest and the highest value.
    let lowest = difference.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = difference.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if highest - lowest < (1.0 - ROUNDING) * matters {
        return (vec![kept.to_vec()], false);
    }
    let mut edges = vec![0];
    edges.extend(changes::changes(&difference));
    edges.push(kept.len());
    let mut parts: Vec<std::ops::Range<usize>> = Vec::new();
    let seconds = |from: usize, end: usize| {
        signal.cycles.to_s[kept[end - 1]] - signal.cycles.from_s[kept[from]]
    };
    for edge in edges.windows(2) {
        match parts.last_mut() {
            Some(last)
                if seconds(edge[0], edge[1]) < LEAST_PART_S
                    || (mean(&difference[last.clone()]) - mean(&difference[edge[0]..edge[1]]))
                        .abs()
                        < matters =>
            {
                last.end = edge[1];
            }
            _ => parts.push(edge[0]..edge[1]),
        }
    }
    // Too short to be judged, and too unlike the rest to be joined with it.
    let headless = parts.len() > 1 && seconds(parts[0].start, parts[0].end) < LEAST_PART_S;
    if headless {
        parts.remove(0);
    }
    (parts.into_iter().map(|range| kept[range].to_vec()).collect(), headless)
}

fn average(signal: &Signal, plateau: &Plateau, kept: &[usize], piece: Piece) -> Option<Stretch> {
    let cycles = &signal.cycles;
    let (one, two) = (cycles.vac1_kpa.as_ref()?, cycles.vac2_kpa.as_ref()?);
    let (first, last) = (*kept.first()?, *kept.last()?);
    let least = if plateau.kind == Kind::EngineOff { LEAST_BLOCKS_OFF } else { LEAST_BLOCKS };
    if kept.len() < least {
        return None;
    }
    let difference: Vec<f64> = kept.iter().map(|k| one[*k] - two[*k]).collect();
    let mean = |column: &[f64]| kept.iter().map(|k| column[*k]).sum::<f64>() / kept.len() as f64;
    let turned: f64 = kept.iter().map(|k| cycles.cycles[*k]).sum();
    let time: f64 = kept.iter().map(|k| cycles.to_s[*k] - cycles.from_s[*k]).sum();
    let end_sample =
        cycles.sample.get(last + 1).map_or(signal.track.len(), |sample| *sample as usize);
    Some(Stretch {
        from_s: cycles.from_s[first],
        to_s: cycles.to_s[last],
        kind: plateau.kind,
        swapped: piece.swapped,
        tee: piece.tee && plateau.kind == Kind::Running,
        fresh: piece.fresh,
        setting: 0,
        rpm: cycles.rpm.as_ref().map(|_| 120.0 * turned / time),
        cycles: turned,
        vac1_kpa: mean(one),
        vac2_kpa: mean(two),
        difference: mean_interval(&difference, LEVEL)?,
        samples: (cycles.sample[first] as usize, end_sample),
    })
}

/// Stretches that show a difference of the sides get the number of their setting: a new one, or that
/// of the stretch before when only the hoses have changed in between. With the hoses as they were two stretches ago
/// the sensors must read what they read then, or something else was changed too.
fn number_settings(stretches: &mut [Stretch]) {
    let mut next = 0;
    let mut before: Option<(usize, bool, Option<f64>)> = None;
    // Of the setting so far, the last mean of sensor 1 less sensor 2 with the hoses direct and swapped.
    let mut seen: [Option<f64>; 2] = [None; 2];
    for stretch in stretches.iter_mut() {
        if !stretch.shows_sides() {
            before = None;
            continue;
        }
        let earlier = seen[usize::from(stretch.swapped)];
        let again = earlier.is_none_or(|kpa| (kpa - stretch.difference.mean).abs() < STEP_KPA);
        let same = before.filter(|(_, swapped, rpm)| {
            !stretch.fresh
                && again
                && *swapped != stretch.swapped
                && match (rpm, stretch.rpm) {
                    (Some(a), Some(b)) => (a - b).abs() <= SAME_SPEED * a,
                    _ => true,
                }
        });
        stretch.setting = match same {
            Some((setting, _, _)) => setting,
            None => {
                seen = [None; 2];
                next += 1;
                next - 1
            }
        };
        seen[usize::from(stretch.swapped)] = Some(stretch.difference.mean);
        before = Some((stretch.setting, stretch.swapped, stretch.rpm));
    }
}
