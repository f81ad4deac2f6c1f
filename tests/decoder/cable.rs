//! A box that counts what it sends, and a cable that loses, garbles and repeats.

use evenbreath::sources::decoder::Decoder;
use evenbreath::sources::event::{Event, Rejection, Sample};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

/// Sum of what the decoder made of a stream.
#[derive(Debug, Default, Clone, PartialEq)]
pub struct Sum {
    pub rows: u64,
    pub lost: u64,
    pub garbled: u64,
    pub implausible: u64,
    pub repeated: u64,
    pub unknown: u64,
    pub restarts: u64,
    pub samples: Vec<Sample>,
}

impl Sum {
    pub fn of(events: &[Event]) -> Sum {
        let mut sum = Sum::default();
        for event in events {
            match event {
                Event::Sample(sample) => {
                    sum.rows += 1;
                    sum.samples.push(*sample);
                }
                Event::Lost(count) => sum.lost += count,
                Event::Rejected(Rejection::Garbled) => sum.garbled += 1,
                Event::Rejected(Rejection::Implausible) => sum.implausible += 1,
                Event::Rejected(Rejection::Repeated) => sum.repeated += 1,
                Event::Rejected(Rejection::Unknown) => sum.unknown += 1,
                Event::Restarted => sum.restarts += 1,
                _ => {}
            }
        }
        sum
    }
}

/// The sentence of a sample; written out here, so that the decoder's own framing is not trusted.
pub fn sentence(seq: u64, micros: u64, rest: &str) -> Vec<u8> {
    let body = format!("EBP,{},{},{rest}", seq % 65_536, micros % (1 << 32));
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n").into_bytes()
}

/// What the cable does to a sentence.
pub struct Cable {
    pub loses: f64,
    pub flips: f64,
    pub cuts: f64,
    pub repeats: f64,
    pub babbles: f64,
    pub interleaves: f64,
}

pub const CLEAN: Cable =
    Cable { loses: 0.0, flips: 0.0, cuts: 0.0, repeats: 0.0, babbles: 0.0, interleaves: 0.0 };

/// Sends `count` sentences through the cable, from these counters on, every `interval_us`; the first
/// and the last two come whole, so that the sum is known.
pub fn send(
    cable: &Cable,
    first: (u64, u64),
    count: u64,
    interval_us: u64,
    seed: u64,
) -> Vec<Event> {
    let mut random = Pcg64::seed_from_u64(seed);
    let mut decoder = Decoder::new(true, true);
    let mut events = Vec::new();
    let mut held: Vec<u8> = Vec::new();
    for k in 0..count {
        let rest = format!("{},{},{}", 8_400 + k % 90, 1_800 + k % 200, 1_900 + k % 150);
        let mut line = sentence(first.0 + k, first.1 + k * interval_us + k % 3, &rest);
        let mut chance = |p: f64| random.random::<f64>() < p;
        let safe = k < 2 || k + 2 >= count;
        let (lost, flipped, cut) = (chance(cable.loses), chance(cable.flips), chance(cable.cuts));
        let (again, babble, mixed) =
            (chance(cable.repeats), chance(cable.babbles), chance(cable.interleaves));
        if lost && !safe {
            line.clear();
        } else if flipped && !safe {
            // Two flips of one bit: the checksum lets them pass now and then.
            let bit = 1 << random.random_range(0..7);
            for _ in 0..2 {
                let at = random.random_range(1..line.len() - 5);
                line[at] ^= bit;
            }
        } else if cut && !safe {
            line.truncate(random.random_range(1..line.len()));
        } else if mixed && !safe {
            // Half of this one, then the next one whole on the same line.
            line.truncate(line.len() / 2);
        } else if again {
            line.extend(line.clone());
        }
        if babble {
            line.extend((0..random.random_range(1..90)).map(|_| random.random_range(0..=255_u8)));
            line.push(b'\n');
        }
        held.extend(line);
        // Pieces of any length, as a port gives them.
        let piece = random.random_range(0..=held.len());
        let host_s = (k * interval_us) as f64 / 1e6 + random.random::<f64>() * 0.01;
        decoder.take(&held[..piece], host_s, &mut events);
        held.drain(..piece);
    }
    let host_s = (count * interval_us) as f64 / 1e6;
    decoder.take(&held, host_s, &mut events);
    decoder.finish(host_s, &mut events);
    events
}

#[test]
fn a_clean_cable_gives_every_sentence_as_it_was_sent() {
    let events = send(&CLEAN, (0, 0), 5_000, 5_000, 1);
    let sum = Sum::of(&events);
    assert_eq!((sum.rows, events.len()), (5_000, 5_000));
    for (k, sample) in sum.samples.iter().enumerate() {
        let micros = 5_000 * k + k % 3;
        assert!((sample.time_s - micros as f64 / 1e6).abs() < 1e-9);
        assert_eq!(sample.rpm, Some((8_400 + k % 90) as f64 / 10.0));
        assert_eq!(sample.readings[0], Some((1_800 + k % 200) as f64));
        assert_eq!(sample.seq, Some(k as u64));
    }
}

/// Through every kind of damage: rows and counted losses are the sentences sent, exactly.
#[test]
fn rows_and_losses_are_what_was_sent_whatever_the_cable_does() {
    let damage = [
        ("loses", Cable { loses: 0.2, ..CLEAN }),
        ("flips", Cable { flips: 0.3, ..CLEAN }),
        ("cuts", Cable { cuts: 0.2, ..CLEAN }),
        ("repeats", Cable { repeats: 0.2, ..CLEAN }),
        ("babbles", Cable { babbles: 0.3, ..CLEAN }),
        ("interleaves", Cable { interleaves: 0.2, ..CLEAN }),
        (
            "everything",
            Cable {
                loses: 0.05,
                flips: 0.1,
                cuts: 0.05,
                repeats: 0.05,
                babbles: 0.1,
                interleaves: 0.05,
            },
        ),
    ];
    for (name, cable) in damage {
        let mut all = Sum::default();
        for seed in 0..20 {
            // Through a wrap of both counters.
            let first = (65_536 - 700, (1 << 32) - 5_000_000);
            let sum = Sum::of(&send(&cable, first, 5_000, 5_000, seed));
            assert_eq!(sum.rows + sum.lost, 5_000, "{name}, seed {seed}: {} rows", sum.rows);
            assert_eq!(sum.restarts, 0, "{name}, seed {seed}");
            let order = sum.samples.windows(2).all(|pair| pair[0].time_s < pair[1].time_s);
            assert!(order, "{name}, seed {seed}");
            all.rows += sum.rows;
            all.lost += sum.lost;
            all.garbled += sum.garbled;
            all.implausible += sum.implausible;
            all.repeated += sum.repeated;
            all.unknown += sum.unknown;
        }
        println!(
            "{name}: sent 100000, rows {}, lost {}, garbled {}, implausible {}, repeated {}, unknown {}",
            all.rows, all.lost, all.garbled, all.implausible, all.repeated, all.unknown
        );
    }
}
