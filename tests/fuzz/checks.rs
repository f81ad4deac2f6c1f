//! What must hold of any input whatever: the fuzzer's targets and `cargo test` call the same checks.

use evenbreath::cli::profile::Profile;
use evenbreath::findings::{Conditions, balance, breather, hunt};
use evenbreath::log::{Log, ReadOptions, read};
use evenbreath::report::handover::record::Record;
use evenbreath::sample::Mark;
use evenbreath::signal::prepare;
use evenbreath::sources::decoder::Decoder;
use evenbreath::sources::event::Event;
use evenbreath::units::{PressureUnit, Seconds, SpeedUnit, TimeUnit};
use serde_json::Value;
use std::path::Path;

/// A check by itself.
pub type Check = fn(&[u8]);

/// The checks by the names of their targets.
pub const ALL: [(&str, Check); 6] = [
    ("log", log),
    ("stream", stream),
    ("mark", mark),
    ("profile", profile),
    ("units", units),
    ("record", record),
];

/// Any bytes as a log, through every finding and its document.
pub fn log(bytes: &[u8]) {
    let options = ReadOptions { lenient: bytes.len() % 2 == 1, ..ReadOptions::default() };
    let Ok(log) = read(bytes, &options) else { return };
    is_sound(&log);
    let signal = prepare(log.track, 4);
    let conditions = Conditions { baro_kpa: log.baro.kpa, ..Conditions::default() };
    is_a_document(&balance::find(&signal, &conditions));
    is_a_document(&breather::find(&signal, &conditions));
    is_a_document(&hunt::find(&signal, &conditions));
}

/// What every reader of a log may rely on.
fn is_sound(log: &Log) {
    let track = &log.track;
    assert_eq!(log.rows, track.len());
    assert_eq!(track.row.len(), track.len());
    assert!(track.time_s.iter().all(|time| time.is_finite()), "a time that is none");
    assert!(
        track.time_s.to_vec().windows(2).all(|pair| pair[0] < pair[1]),
        "time does not run forward"
    );
    let columns = [&track.rpm, &track.vac1_kpa, &track.vac2_kpa, &track.crank_kpa];
    for column in columns.into_iter().flatten() {
        assert_eq!(column.len(), track.len());
        assert!(column.iter().all(|value| !value.is_infinite()), "an infinite reading");
    }
    assert!(track.marks.windows(2).all(|pair| pair[0].at.0 <= pair[1].at.0), "marks out of order");
    assert!(log.baro.kpa.is_finite() && log.baro.kpa > 0.0, "no pressure of air: {:?}", log.baro);
}

/// A finding as a document and back again is the same.
fn is_a_document<T: serde::Serialize>(finding: &T) {
    let text = evenbreath::report::json::plain(finding).expect("a finding can be written");
    let value: Value = serde_json::from_str(&text).expect("what was written can be read");
    let again = serde_json::to_string(&value).expect("it can be written again");
    let back: Value = serde_json::from_str(&again).expect("and read again");
    assert_eq!(value, back);
}

/// Any bytes from a cable: it does not matter in what pieces they come. The first byte says how.
pub fn stream(bytes: &[u8]) {
    let Some((how, bytes)) = bytes.split_first() else { return };
    let (begins_whole, live, piece) = (how & 1 == 1, how & 2 == 2, usize::from(how >> 2) + 1);
    let whole = events(bytes, bytes.len().max(1), begins_whole, live);
    let pieces = events(bytes, piece, begins_whole, live);
    assert_eq!(whole, pieces, "in pieces of {piece}");
}

/// What the bytes say, handed over in pieces of a length; as text NaN is equal to itself.
fn events(bytes: &[u8], piece: usize, begins_whole: bool, live: bool) -> Vec<String> {
    let mut decoder = Decoder::new(begins_whole, live);
    let mut events: Vec<Event> = Vec::new();
    bytes.chunks(piece).for_each(|piece| decoder.take(piece, 1.0, &mut events));
    events.iter().map(|event| format!("{event:?}")).collect()
}

/// Any words as marks, one a line: reading what was read changes nothing, and setting aside loses none.
pub fn mark(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut marks: Vec<Mark> =
        text.lines().enumerate().map(|(k, words)| Mark::read(Seconds(k as f64), words)).collect();
    for mark in &marks {
        assert_eq!(&Mark::read(mark.at, &mark.text), mark);
        let _ = mark.is_missed();
    }
    let count = marks.len();
    let (aside, unmatched) = Mark::set_aside(&mut marks);
    assert_eq!(marks.len(), count);
    assert!(aside.len() + unmatched.len() <= count);
}

/// Any text as a profile: taken, or refused in words that name the file.
pub fn profile(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    match Profile::parse(Path::new("car.toml"), &text) {
        Ok(profile) => {
            assert!(profile.baro.is_none_or(|baro| baro.0.is_finite() && baro.0 > 0.0));
            assert!(profile.tolerance.is_none_or(|limit| limit.0.is_finite() && limit.0 > 0.0));
        }
        Err(refused) => assert!(refused.to_string().contains("car.toml"), "{refused}"),
    }
}

/// Any number through any unit and back: eight bytes of a number, then the text of a unit.
pub fn units(bytes: &[u8]) {
    let Some((number, text)) = bytes.split_first_chunk::<8>() else { return };
    let (number, text) = (f64::from_le_bytes(*number), String::from_utf8_lossy(text));
    if let Some(unit) = PressureUnit::parse(&text) {
        assert_eq!(PressureUnit::parse(unit.symbol()), Some(unit));
        let back = unit.from_kpa(unit.to_kpa(number));
        // Near the ends of what a number can be a factor overflows or loses digits.
        if number.abs() < 1e300 && number.abs() > 1e-300 {
            assert!((back / number - 1.0).abs() < 1e-14, "{number} {unit:?} {back}");
        }
    }
    if let Some(unit) = SpeedUnit::parse(&text) {
        assert!(unit.to_rpm(1.0).0 > 0.0);
    }
    if let Some(unit) = TimeUnit::parse(&text) {
        assert!(unit.to_seconds(1.0).0 > 0.0);
    }
}

/// Any page as one that was handed over: what it says of itself is read, or it is refused in words.
pub fn record(bytes: &[u8]) {
    let page = String::from_utf8_lossy(bytes);
    match Record::of(&page) {
        Ok(record) => assert_eq!(Record::of(&page).ok(), Some(record)),
        Err(refused) => assert!(!refused.to_string().is_empty()),
    }
}
