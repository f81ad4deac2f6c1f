//! The journal on a disk that fails when it is told to.

use super::*;
use crate::log::journal::disk::Syncer;
use proptest::prelude::*;
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex, MutexGuard};

const COLUMNS: Columns = Columns { absolute: false, crank: false, seq: true };

/// What the disk does.
#[derive(Default)]
struct Disk {
    bytes: Vec<u8>,
    /// Bytes that fit on it.
    room: usize,
    /// The most bytes of one write.
    at_most: usize,
    /// The file cannot be cut.
    uncuttable: bool,
    /// A write that is refused leaves these behind all the same.
    smear: &'static [u8],
    /// Outcomes of the next syncs; good when there is none.
    syncs: Vec<bool>,
    /// Each sync waits for a word from here.
    gate: Option<Receiver<()>>,
}

#[derive(Clone)]
struct Fake(Arc<Mutex<Disk>>);

impl Fake {
    fn new(room: usize) -> Fake {
        Fake(Arc::new(Mutex::new(Disk { room, at_most: usize::MAX, ..Disk::default() })))
    }

    fn disk(&self) -> MutexGuard<'_, Disk> {
        self.0.lock().unwrap()
    }

    fn text(&self) -> String {
        String::from_utf8(self.disk().bytes.clone()).unwrap()
    }

    fn journal(&self) -> Result<Journal, JournalError> {
        let head = vec![("device".to_string(), "box".to_string())];
        let start = Start { columns: COLUMNS, head };
        Journal::on(Box::new(self.clone()), Path::new("idle.csv"), &start)
    }
}

impl Store for Fake {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut disk = self.disk();
        let free = disk.room.saturating_sub(disk.bytes.len());
        let count = bytes.len().min(free).min(disk.at_most);
        if count == 0 {
            let smear = disk.smear;
            disk.bytes.extend_from_slice(smear);
            return Err(ErrorKind::StorageFull.into());
        }
        disk.bytes.extend_from_slice(&bytes[..count]);
        Ok(count)
    }

    fn set_len(&mut self, bytes: u64) -> io::Result<()> {
        let mut disk = self.disk();
        if disk.uncuttable {
            return Err(ErrorKind::PermissionDenied.into());
        }
        assert!(bytes as usize <= disk.bytes.len(), "cut to beyond the end");
        disk.bytes.truncate(bytes as usize);
        Ok(())
    }

    fn len(&self) -> io::Result<u64> {
        Ok(self.disk().bytes.len() as u64)
    }

    fn syncer(&self) -> io::Result<Syncer> {
        let fake = self.clone();
        let gate = self.disk().gate.take();
        Ok(Box::new(move || {
            if let Some(gate) = &gate {
                let _ = gate.recv();
            }
            let mut disk = fake.disk();
            let good = disk.syncs.is_empty() || disk.syncs.remove(0);
            if good { Ok(()) } else { Err(io::Error::other("input/output error")) }
        }))
    }
}

const MARKS: [&str; 5] = ["", "cap off", "screw 1 +0.25", "", "note \"5, or 6\", he said"];

fn sample(k: u64) -> JournalRow<'static> {
    JournalRow {
        time_s: 0.02 * k as f64,
        rpm: Some(848.1 + k as f64),
        kpa: [Some(57.21), (!k.is_multiple_of(3)).then_some(55.9)],
        crank_kpa: None,
        seq: Some(k),
        host_s: 0.0213 + 0.02 * k as f64,
        mark: MARKS[k as usize % MARKS.len()],
    }
}

/// What five rows leave on a disk that works.
fn undisturbed() -> String {
    let fake = Fake::new(usize::MAX);
    let mut journal = fake.journal().unwrap();
    (0..5).for_each(|k| journal.row(&sample(k)));
    assert_eq!(journal.close().unwrap(), Closed { rows: 5, not_written: 0, in_doubt: 0 });
    fake.text()
}

fn check_sum(journal: &Journal) -> Counts {
    let counts = journal.counts();
    assert_eq!(counts.taken, counts.in_file + counts.waiting + counts.given_up, "{counts:?}");
    counts
}

#[test]
fn a_disk_that_fills_at_any_byte_and_is_given_room_again_holds_every_row_once() {
    let whole = undisturbed();
    let head = whole.find("\n0,").unwrap() + 1;
    for room in 0..whole.len() {
        for at_most in [1, 7, usize::MAX] {
            for uncuttable in [false, true] {
                let fake = Fake::new(room);
                (fake.disk().at_most, fake.disk().uncuttable) = (at_most, uncuttable);
                let Ok(mut journal) = fake.journal() else {
                    assert!(room < head, "a heading row that fits is no error");
                    continue;
                };
                let case = format!("room {room}, {at_most} at most, uncuttable {uncuttable}");
                (0..5).for_each(|k| journal.row(&sample(k)));
                let error = journal.tick(0.0).unwrap_err();
                assert!(matches!(error, JournalError::Write { given_up: 0, .. }), "{case}");
                let counts = check_sum(&journal);
                let text = fake.text();
                assert!(whole.starts_with(&text), "{case}");
                assert!(uncuttable || text.ends_with('\n'), "{case}: {text}");
                let rows = text[head..].matches('\n').count() as u64;
                assert_eq!((rows, counts.in_file), (rows, rows), "{case}");
                // Not before the second is over.
                fake.disk().room = usize::MAX;
                journal.tick(0.9).unwrap();
                assert_eq!(fake.text(), text, "{case}");
                journal.tick(1.0).unwrap();
                assert_eq!(check_sum(&journal).in_file, 5, "{case}");
                assert_eq!(journal.close().unwrap().rows, 5, "{case}");
                // A line end where nothing was torn, as far as was said.
                assert_eq!(fake.text().replace("\n\n", "\n"), whole, "{case}");
                assert!(uncuttable || fake.text() == whole, "{case}");
            }
        }
    }
}

#[test]
fn a_disk_that_gives_room_bit_by_bit_holds_every_row_once() {
    let whole = undisturbed();
    let head = whole.find("\n0,").unwrap() + 1;
    // Where the file cannot be cut, a byte at a time would go into line ends alone.
    for (uncuttable, bytes) in [(false, 1), (true, 3), (true, 10), (true, 41)] {
        let fake = Fake::new(head);
        fake.disk().uncuttable = uncuttable;
        let mut journal = fake.journal().unwrap();
        (0..5).for_each(|k| journal.row(&sample(k)));
        for second in 0..whole.len() - head {
            let _ = journal.tick(second as f64);
            check_sum(&journal);
            fake.disk().room += bytes;
        }
        fake.disk().room = usize::MAX;
        journal.close().unwrap();
        assert_eq!(fake.text().replace("\n\n", "\n"), whole, "uncuttable {uncuttable}, {bytes}");
    }
}

#[test]
fn what_a_refused_write_left_behind_all_the_same_is_a_line_of_its_own() {
    let whole = undisturbed();
    let head = whole.find("\n0,").unwrap() + 1;
    for uncuttable in [false, true] {
        let fake = Fake::new(head);
        let mut journal = fake.journal().unwrap();
        (fake.disk().smear, fake.disk().uncuttable) = (b"7.5,12", uncuttable);
        (0..5).for_each(|k| journal.row(&sample(k)));
        journal.tick(0.0).unwrap_err();
        (fake.disk().smear, fake.disk().room) = (b"", usize::MAX);
        journal.tick(1.0).unwrap();
        // The length of the file is known again: a later failure cuts at the end of a row.
        fake.disk().uncuttable = false;
        fake.disk().room = fake.text().len() + 3;
        journal.row(&sample(5));
        journal.tick(2.0).unwrap_err();
        let smear = if uncuttable { "7.5,12\n" } else { "" };
        let expected = format!("{}{smear}{}", &whole[..head], &whole[head..]);
        assert_eq!(fake.text(), expected, "uncuttable {uncuttable}");
        assert_eq!(check_sum(&journal).waiting, 1);
    }
}

#[test]
fn rows_given_up_are_counted_and_the_next_row_without_a_mark_says_so() {
    let fake = Fake::new(usize::MAX);
    let mut journal = fake.journal().unwrap();
    journal.backlog.room = 4000;
    journal.row(&sample(0));
    journal.tick(0.0).unwrap();
    fake.disk().room = 0;
    for k in 1..500 {
        journal.row(&sample(k));
    }
    let error = journal.tick(1.0).unwrap_err();
    let counts = check_sum(&journal);
    let JournalError::Write { waiting, given_up, .. } = error else { panic!("{error}") };
    assert_eq!((waiting, given_up), (counts.waiting, counts.given_up));
    assert!(given_up > 300 && waiting > 50, "{counts:?}");
    // More are given up after a first attempt to say so.
    (500..700).for_each(|k| journal.row(&sample(k)));
    let given_up = check_sum(&journal).given_up;
    fake.disk().room = usize::MAX;
    journal.tick(2.0).unwrap();
    let closed = journal.close().unwrap();
    assert_eq!((closed.rows, closed.not_written), (700 - given_up, given_up));
    let text = fake.text();
    let said: Vec<&str> = text.lines().filter(|line| line.contains("not written")).collect();
    assert_eq!(said.len(), 1);
    assert!(said[0].ends_with(&format!(",note {given_up} rows not written")), "{said:?}");
    let rows: Vec<&str> = text.lines().skip(2).collect();
    assert!(rows[1..4].contains(&said[0]), "{:?}", &rows[..4]);
    assert_eq!(
        text.matches("screw 1 +0.25").count(),
        (given_up + 1..700).filter(|k| k % 5 == 2).count()
    );
}

#[test]
fn rows_of_a_failed_sync_are_in_doubt_once_and_for_good() {
    let fake = Fake::new(usize::MAX);
    fake.disk().syncs = vec![true, false, true];
    let mut journal = fake.journal().unwrap();
    let mut doubts = Vec::new();
    for second in 0..3u64 {
        (0..10).for_each(|k| journal.row(&sample(10 * second + k)));
        let asked = journal.asked;
        let mut now_s = second as f64;
        // The answer is there when it is there: ticks go on until it was heard.
        while journal.asked == asked || journal.answered < journal.asked {
            if let Err(error) = journal.tick(now_s) {
                doubts.push(error.to_string());
            }
            now_s += 1e-7;
        }
    }
    let closed = journal.close().unwrap();
    assert_eq!(closed, Closed { rows: 30, not_written: 0, in_doubt: 10 });
    assert_eq!(doubts.len(), 1);
    assert!(doubts[0].starts_with("rows 11 to 20 of idle.csv may not"), "{doubts:?}");
}

#[test]
fn a_sync_that_takes_long_holds_nobody_up() {
    let fake = Fake::new(usize::MAX);
    let (open, gate) = channel();
    fake.disk().gate = Some(gate);
    let mut journal = fake.journal().unwrap();
    for k in 0..1000 {
        journal.row(&sample(k));
        journal.tick(0.2 * k as f64).unwrap();
        assert_eq!(journal.counts().in_file, k + 1);
    }
    assert_eq!(journal.answered, 0);
    drop(open);
    assert_eq!(journal.close().unwrap(), Closed { rows: 1000, not_written: 0, in_doubt: 0 });
}

#[test]
fn rows_reach_the_file_within_a_quarter_of_a_second() {
    let fake = Fake::new(usize::MAX);
    let mut journal = fake.journal().unwrap();
    let mut written_s = vec![];
    for k in 0..1000u64 {
        let now_s = 0.01 * k as f64;
        journal.row(&sample(k));
        journal.tick(now_s).unwrap();
        written_s.push((now_s, journal.counts().in_file));
    }
    for k in 0..900u64 {
        let taken_s = 0.01 * k as f64;
        let there = written_s.iter().find(|(_, rows)| *rows > k).unwrap().0;
        assert!(there - taken_s <= 0.2 + 1e-9, "row {k} after {} s", there - taken_s);
    }
    // A clock that steps back does not stop the writing.
    journal.row(&sample(1000));
    journal.tick(-5.0).unwrap();
    assert_eq!(journal.counts().waiting, 0);
}

#[test]
fn an_end_on_a_full_disk_says_what_is_missing() {
    let whole = undisturbed();
    let fake = Fake::new(whole.len() - 3);
    let mut journal = fake.journal().unwrap();
    (0..5).for_each(|k| journal.row(&sample(k)));
    let (closed, error) = journal.close().unwrap_err();
    assert_eq!(closed, Closed { rows: 4, not_written: 1, in_doubt: 0 });
    assert!(error.to_string().contains("4 rows written and 1 not"), "{error}");
    assert!(fake.text().ends_with('\n'));
}

#[test]
fn a_journal_that_is_dropped_writes_what_it_holds() {
    let fake = Fake::new(usize::MAX);
    let mut journal = fake.journal().unwrap();
    (0..5).for_each(|k| journal.row(&sample(k)));
    drop(journal);
    assert_eq!(fake.text(), undisturbed());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]
    /// Whatever the disk does and when, each row is in the file once, or waits, or is given up and
    /// said.
    #[test]
    fn no_row_is_lost_unsaid(steps in proptest::collection::vec((0..400usize, 1..60usize, any::<bool>(), 0..12u64), 1..40)) {
        let fake = Fake::new(200);
        let mut journal = fake.journal().unwrap();
        journal.backlog.room = 1000;
        let mut taken = 0;
        for (second, (room, at_most, uncuttable, rows)) in steps.into_iter().enumerate() {
            {
                let mut disk = fake.disk();
                (disk.at_most, disk.uncuttable) = (at_most, uncuttable);
                // Room comes and goes, and never reaches into what is there.
                disk.room = disk.bytes.len() + room.saturating_sub(200);
            }
            (taken..taken + rows).for_each(|k| journal.row(&sample(k)));
            taken += rows;
            let _ = journal.tick(second as f64);
            check_sum(&journal);
        }
        (fake.disk().room, fake.disk().at_most) = (usize::MAX, usize::MAX);
        journal.row(&JournalRow { mark: "", ..sample(taken) });
        let closed = journal.close().unwrap();
        prop_assert_eq!(closed.rows + closed.not_written, taken + 1);
        let text = fake.text();
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        let (mut seqs, mut said) = (Vec::new(), 0);
        for record in reader.records() {
            let record = record.unwrap();
            prop_assert_eq!(record.len(), 7);
            let seq: u64 = record[4].parse().unwrap();
            match record[6].strip_prefix("note ").and_then(|note| note.split_once(" row")) {
                Some((count, rest)) if rest.ends_with("not written") => {
                    said += count.parse::<u64>().unwrap()
                }
                _ => prop_assert!(&record[6] == MARKS[seq as usize % MARKS.len()] || seq == taken),
            }
            seqs.push(seq);
        }
        prop_assert!(seqs.windows(2).all(|pair| pair[0] < pair[1]));
        prop_assert_eq!(seqs.len() as u64, closed.rows);
        prop_assert_eq!(said, closed.not_written);
    }
}
