//! A fault that nobody has chosen, for a class to find.

use super::knob::Knob;
use super::scenes::Shows;
use crate::engine::Side;
use crate::findings::balance::Open;
use crate::findings::breather::BreatherVerdict;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

/// A fault that was drawn by lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Hidden {
    /// What differs from an engine in tune; nothing where there is no fault.
    pub set: Vec<(Knob, f64)>,
    /// What a sound log shows.
    pub shows: Shows,
}

/// Draws a fault: one of seven kinds, or none, in a size that a careful class can find. The same seed
/// draws the same.
pub fn draw(seed: u64) -> Hidden {
    let mut random = Pcg64::seed_from_u64(seed);
    let side = if random.random::<bool>() { Side::One } else { Side::Two };
    let other = if side == Side::One { Side::Two } else { Side::One };
    let kind: u8 = random.random_range(0..8);
    let mut size = |range: std::ops::Range<f64>| random.random_range(range);
    let sound = Shows { closed: None, breather: BreatherVerdict::Sealed };
    let closed = |side: Side| Shows {
        closed: Some(if side == Side::One { Open::Carb1 } else { Open::Carb2 }),
        ..sound
    };
    let shut = Shows { breather: BreatherVerdict::NotSealedOrBlocked, ..sound };
    let (knob, value, shows) = match kind {
        0 => (Knob::SealLeak, size(6.5..10.0), shut),
        1 => (Knob::Breather, 1.0, shut),
        2 => (Knob::Stop(side), size(84.0..91.0), closed(side)),
        3 => (Knob::Stop(side), size(110.0..118.0), closed(other)),
        4 => (Knob::TractLeak(side), size(1.3..1.8), closed(other)),
        5 => (Knob::Offset(side), size(1.5..3.0), sound),
        6 => {
            let shows = Shows { breather: BreatherVerdict::RevsRise, ..sound };
            (Knob::Mixture, size(1.42..1.5), shows)
        }
        _ => return Hidden { set: Vec::new(), shows: sound },
    };
    let set = knob.taken(value).map(|value| (knob, value)).into_iter().collect();
    Hidden { set, shows }
}
