//! Where a sentence stands among the others: the sequence number and the counter of microseconds
//! unwrapped, what never came counted, what came twice or makes no sense left out.
//!
//! A checksum of eight bits lets one garbled sentence in 256 pass. One that passes with another
//! sequence number would invent thousands of lost ones. So a sentence is taken at once only when its
//! two counters agree on how far it is from the last one; else it waits for the next sentence to
//! side with it or with the last.

use super::event::{Event, Rejection, Sample};
use super::wire::Raw;

/// Sentences remembered, to know one that comes again.
const REMEMBERED: usize = 64;
/// Counts of the two counters may differ by this, and by this share of them, ...
const SLACK: f64 = 0.75;
const SLACK_SHARE: f64 = 0.05;
/// ... but never by more: a box that begins anew would fit by chance.
const MOST_SLACK: f64 = 50.0;
/// Sentences in a row that agree with one another and not with those before them are taken, ...
const WITNESSES: usize = 5;
/// ... and at the very beginning, where there are none before them.
const FIRST_WITNESSES: usize = 2;
/// Sentences that may be missing while the interval is not known yet.
const FIRST_GAP: u16 = 3;
/// Longest interval between two sentences, us.
const LONGEST_US: u64 = 5_000_000;
/// Weight of the newest interval in the mean one.
const LEARNING: f64 = 0.05;
/// Steps of up to this many sentences teach the interval.
const TEACHING: u64 = 10;
/// Longer steps are taken at once only where the host's clock agrees: a garbled counter of
/// microseconds fits some number of wraps by chance.
const AT_ONCE_S: f64 = 2.0;
/// A sentence that comes again does so within this, s; later it is that of a box that begins anew.
const AGAIN_S: f64 = 1.0;
/// A pause of the box agrees with the host's clock within this, s, and this share.
const HOST_SLACK_S: f64 = 1.0;
const HOST_SLACK_SHARE: f64 = 0.05;

const SEQ_WRAP: u64 = 1 << 16;
const MICROS_WRAP: u64 = 1 << 32;

#[derive(Debug, Clone, Copy)]
struct Seen {
    raw: Raw,
    host_s: f64,
}

/// The last sentence that was taken, and its place.
#[derive(Debug, Clone, Copy)]
struct Last {
    seen: Seen,
    seq: u64,
    time_us: u64,
}

/// From one sentence to a later one.
#[derive(Debug, Clone, Copy)]
struct Step {
    count: u64,
    us: u64,
}

/// Puts sentences in their places.
#[derive(Debug, Clone)]
pub struct Sequence {
    last: Option<Last>,
    /// Sentences that wait for others to side with them.
    held: Vec<Seen>,
    interval_us: Option<f64>,
    /// The link was lost since the last sentence.
    parted: bool,
    recent: [Option<(u16, u32)>; REMEMBERED],
    next_recent: usize,
}

impl Default for Sequence {
    fn default() -> Self {
        let recent = [None; REMEMBERED];
        Sequence {
            last: None,
            held: Vec::new(),
            interval_us: None,
            parted: false,
            recent,
            next_recent: 0,
        }
    }
}

impl Sequence {
    /// Takes a sentence that arrived at a time of the host's monotonic clock, s, and puts what
    /// follows from it behind the events.
    pub fn take(&mut self, raw: Raw, host_s: f64, events: &mut Vec<Event>) {
        let new = Seen { raw, host_s };
        if self.came_before(&new) {
            events.push(Event::Rejected(Rejection::Repeated));
            return;
        }
        if let Some(step) = self.last.and_then(|last| self.step_at_once(&last.seen, &new)) {
            self.settle_held(&new, events);
            let Some(step) = self.last.and_then(|last| self.rest_of(&last, &new, step)) else {
                return;
            };
            return self.place(new, step, events);
        }
        if self.held.last().is_some_and(|held| self.sides_with(held, &new)) {
            self.held.push(new);
        } else {
            self.drop_held(events);
            self.held = vec![new];
        }
        let enough = if self.last.is_some() { WITNESSES } else { FIRST_WITNESSES };
        if self.held.len() >= enough {
            self.take_held(events);
        }
    }

    /// A sentence that waits and the one behind it agree, at the interval that is known or, where
    /// those before them kept it too, at another.
    fn sides_with(&self, held: &Seen, new: &Seen) -> bool {
        if self.step(held, new).is_some() {
            return true;
        }
        let each = |step: Step| step.us as f64 / step.count as f64;
        let Some(interval_us) = afresh(held, new).map(each) else { return false };
        self.held.windows(2).all(|pair| {
            let before = afresh(&pair[0], &pair[1]).map(each);
            before.is_some_and(|before| (0.5..2.0).contains(&(before / interval_us)))
        })
    }

    /// The sentences that wait are right, and what they do not fit was another time.
    fn take_held(&mut self, events: &mut Vec<Event>) {
        let held = std::mem::take(&mut self.held);
        self.jump(held[0], events);
        for pair in held.windows(2) {
            let known = self.step(&pair[0], &pair[1]);
            if known.is_none() {
                self.interval_us = None;
            }
            if let Some(step) = known.or(afresh(&pair[0], &pair[1])) {
                self.place(pair[1], step, events);
            }
        }
    }

    /// The link was lost: what comes next may come from another box.
    pub fn link_lost(&mut self) {
        self.parted = true;
    }

    /// Nothing more comes: a sentence that still waits is taken where it is the only one.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        if self.last.is_none() && self.held.len() == 1 {
            self.take_held(events);
        }
        self.drop_held(events);
    }

    /// A sentence follows the last one: of those that wait, the ones whose counters both lie between the
    /// two were only early or late, as a busy box is; the others fit nothing.
    fn settle_held(&mut self, new: &Seen, events: &mut Vec<Event>) {
        for held in std::mem::take(&mut self.held) {
            let Some(last) = self.last else { return };
            let (us, count) = (ahead_us(&last.seen, &held), ahead(&last.seen, &held));
            let between = (1..ahead(&last.seen, new)).contains(&count)
                && (1..ahead_us(&last.seen, new)).contains(&us);
            if between {
                let (count, us) = (u64::from(count), u64::from(us));
                self.enter(held, last.seq + count, last.time_us + us, count - 1, events);
            } else {
                events.push(Event::Rejected(Rejection::Implausible));
            }
        }
    }

    /// What is left of a step when sentences within it were taken meanwhile.
    fn rest_of(&self, last: &Last, new: &Seen, step: Step) -> Option<Step> {
        if step.count >= SEQ_WRAP || step.us >= MICROS_WRAP {
            return Some(step);
        }
        let count = u64::from(ahead(&last.seen, new));
        Some(Step { count, us: u64::from(ahead_us(&last.seen, new)) }).filter(|step| step.count > 0)
    }

    fn drop_held(&mut self, events: &mut Vec<Event>) {
        events.extend(self.held.drain(..).map(|_| Event::Rejected(Rejection::Implausible)));
    }

    /// The sentence was among the last few: they come again, or one comes too late.
    fn came_before(&self, new: &Seen) -> bool {
        let counters = |seen: &Seen| (seen.raw.seq, seen.raw.micros);
        let Some(last) = &self.last else {
            return self.held.iter().any(|held| counters(held) == counters(new));
        };
        new.host_s - last.seen.host_s <= AGAIN_S
            && (self.recent.contains(&Some(counters(new)))
                || self.held.iter().any(|held| counters(held) == counters(new))
                || self.late(&last.seen.raw, &new.raw))
    }

    /// A little behind the last one in both counters, by the same number of sentences.
    fn late(&self, last: &Raw, raw: &Raw) -> bool {
        let Some(interval_us) = self.interval_us else { return false };
        let behind = last.seq.wrapping_sub(raw.seq);
        let us = f64::from(last.micros.wrapping_sub(raw.micros));
        (1..REMEMBERED as u16).contains(&behind)
            && (us / interval_us - f64::from(behind)).abs() <= SLACK
    }

    /// As [`Sequence::step`], where nothing speaks against it.
    fn step_at_once(&self, old: &Seen, new: &Seen) -> Option<Step> {
        let host_s = (new.host_s - old.host_s).max(0.0);
        self.step(old, new).filter(|step| {
            let device_s = step.us as f64 / 1e6;
            (device_s <= AT_ONCE_S && self.held.is_empty()) || agree(device_s, host_s)
        })
    }

    /// How far `new` is behind `old`, where both counters agree on it.
    fn step(&self, old: &Seen, new: &Seen) -> Option<Step> {
        let Some(interval_us) = self.interval_us else { return afresh(old, new) };
        let us = elapsed_us(old, new);
        let expected = us as f64 / interval_us;
        let count = nearest_count(old, new, expected);
        let slack = (SLACK + SLACK_SHARE * expected).min(MOST_SLACK);
        let agrees = count > 0 && (count as f64 - expected).abs() <= slack;
        agrees.then_some(Step { count, us })
    }

    /// Takes a sentence that follows the last one.
    fn place(&mut self, new: Seen, step: Step, events: &mut Vec<Event>) {
        let Some(last) = self.last else { return };
        if step.count <= TEACHING {
            let interval_us = step.us as f64 / step.count as f64;
            let mean = self.interval_us.get_or_insert(interval_us);
            *mean += LEARNING * (interval_us - *mean);
        }
        self.enter(new, last.seq + step.count, last.time_us + step.us, step.count - 1, events);
    }

    /// Takes a sentence that does not follow the last one: the first of all, the first after a pause
    /// of the box, or the first of a box that has begun anew.
    fn jump(&mut self, new: Seen, events: &mut Vec<Event>) {
        let Some(last) = self.last else {
            return self.enter(new, u64::from(new.raw.seq), 0, 0, events);
        };
        let us = elapsed_us(&last.seen, &new);
        let host_s = (new.host_s - last.seen.host_s).max(0.0);
        // A computer that slept meanwhile saw less time than the box. Behind a lost link it is more
        // likely another box: both count from nothing at one rate, so the counters agree all the same.
        if let Some(step) = self.step(&last.seen, &new)
            && (!self.parted || agree(step.us as f64 / 1e6, host_s))
        {
            return self.place(new, step, events);
        }
        if us > 0 && new.raw.seq != last.seen.raw.seq && agree(us as f64 / 1e6, host_s) {
            let expected = self.interval_us.map_or(0.0, |interval_us| us as f64 / interval_us);
            let count = nearest_count(&last.seen, &new, expected).max(1);
            return self.enter(new, last.seq + count, last.time_us + us, count - 1, events);
        }
        events.push(Event::Restarted);
        // Sentences since it began were lost; where it began before the link was, nobody knows.
        let began_since = f64::from(new.raw.micros) / 1e6 <= host_s + HOST_SLACK_S;
        let since_start = if began_since { u64::from(new.raw.seq) } else { 0 };
        let us = ((host_s * 1e6) as u64).max(self.interval_us.unwrap_or(1.0) as u64).max(1);
        self.recent = [None; REMEMBERED];
        self.enter(new, last.seq + 1 + since_start, last.time_us + us, since_start, events);
    }

    fn enter(&mut self, new: Seen, seq: u64, time_us: u64, lost: u64, events: &mut Vec<Event>) {
        if lost > 0 {
            events.push(Event::Lost(lost));
        }
        let Seen { raw, host_s } = new;
        let time_s = time_us as f64 / 1e6;
        let sample = Sample { time_s, host_s, seq: Some(seq), rpm: raw.rpm, readings: raw.codes };
        events.push(Event::Sample(sample));
        self.recent[self.next_recent] = Some((raw.seq, raw.micros));
        self.next_recent = (self.next_recent + 1) % REMEMBERED;
        self.last = Some(Last { seen: new, seq, time_us });
        self.parted = false;
    }
}

/// Sentences from one to another, by their numbers alone.
fn ahead(old: &Seen, new: &Seen) -> u16 {
    new.raw.seq.wrapping_sub(old.raw.seq)
}

/// Microseconds from one to another, by their counters alone.
fn ahead_us(old: &Seen, new: &Seen) -> u32 {
    new.raw.micros.wrapping_sub(old.raw.micros)
}

/// The device and the host agree on how much time has gone.
fn agree(device_s: f64, host_s: f64) -> bool {
    (device_s - host_s).abs() <= HOST_SLACK_S + HOST_SLACK_SHARE * host_s
}

/// Time of the device from one sentence to another, us; the host's clock tells how often the
/// counter has wrapped.
fn elapsed_us(old: &Seen, new: &Seen) -> u64 {
    let us = u64::from(new.raw.micros.wrapping_sub(old.raw.micros));
    let host_us = (new.host_s - old.host_s).max(0.0) * 1e6;
    let wraps = ((host_us - us as f64) / MICROS_WRAP as f64).round().max(0.0);
    us + wraps as u64 * MICROS_WRAP
}

/// Sentences from one to another: what the sequence number allows, nearest to what is expected.
fn nearest_count(old: &Seen, new: &Seen, expected: f64) -> u64 {
    let count = u64::from(new.raw.seq.wrapping_sub(old.raw.seq));
    let wraps = ((expected - count as f64) / SEQ_WRAP as f64).round().max(0.0);
    count + wraps as u64 * SEQ_WRAP
}

/// A step while the interval is not known, or no longer.
fn afresh(old: &Seen, new: &Seen) -> Option<Step> {
    let count = new.raw.seq.wrapping_sub(old.raw.seq);
    let us = u64::from(new.raw.micros.wrapping_sub(old.raw.micros));
    let plausible = (1..=FIRST_GAP).contains(&count) && (1..=LONGEST_US).contains(&us);
    plausible.then_some(Step { count: u64::from(count), us })
}
