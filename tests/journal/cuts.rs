//! A recording that ends anywhere.

use crate::{COLUMNS, only_mark, row, text};
use evenbreath::log::journal::{Columns, JournalRow};
use evenbreath::log::{Log, ReadError, ReadOptions, Role, read};
use evenbreath::sample::Column;

/// Some samples and marks of every kind.
fn rows() -> Vec<JournalRow<'static>> {
    let mut rows: Vec<JournalRow> = (0..8).map(|k| row(k, "")).collect();
    rows[2].mark = "screw 1 +0.25";
    rows[3].mark = "note \"5, or 6\", he said";
    rows[4].kpa = [None, Some(55.0)];
    rows[5].rpm = None;
    rows.insert(6, only_mark(0.111, "link lost"));
    rows.insert(7, only_mark(0.112, "link back"));
    rows
}

fn of(bytes: &[u8]) -> Result<Log, ReadError> {
    read(bytes, &ReadOptions::default())
}

/// The samples and the marks of the whole rows under the heading row.
fn whole(text: &str) -> (Vec<f64>, Vec<String>) {
    let body = text.find("time_s").and_then(|at| Some(at + text[at..].find('\n')? + 1));
    let body = body.map_or("", |at| &text[at..]);
    let body = &body[..body.rfind('\n').map_or(0, |at| at + 1)];
    let mut records = csv::ReaderBuilder::new().has_headers(false).from_reader(body.as_bytes());
    let (mut times, mut marks) = (Vec::new(), Vec::new());
    for record in records.records().map(Result::unwrap) {
        if !record[1].is_empty() || !record[3].is_empty() {
            times.push(record[0].parse().unwrap());
        }
        marks.extend(record.iter().next_back().filter(|mark| !mark.is_empty()).map(str::to_string));
    }
    (times, marks)
}

/// Reads the text cut at every byte, with something behind the cut.
fn check_cuts(text: &str, behind: &[u8]) -> (usize, usize) {
    let full = of(text.as_bytes()).unwrap();
    let (mut readable, mut torn) = (0, 0);
    for cut in 0..=text.len() {
        let Some(start) = text.get(..cut) else { continue };
        let bytes = [start.as_bytes(), behind].concat();
        let (times, marks) = whole(start);
        let log = match of(&bytes) {
            Ok(log) => log,
            Err(error) => {
                assert!(times.is_empty(), "cut at {cut}: {error}");
                assert!(!error.to_string().is_empty());
                continue;
            }
        };
        readable += 1;
        assert_eq!(log.track.time_s, times, "cut at {cut}");
        let n = times.len();
        for (column, full) in [
            (&log.track.rpm, &full.track.rpm),
            (&log.track.vac1_kpa, &full.track.vac1_kpa),
            (&log.track.vac2_kpa, &full.track.vac2_kpa),
        ] {
            let bits = |column: &[f64]| column.iter().map(|v| v.to_bits()).collect::<Vec<u64>>();
            let full = full.as_ref().unwrap().window(0..n);
            let column = column.as_ref().map_or(vec![f64::NAN; n], Column::to_vec);
            assert_eq!(bits(&column), bits(&full), "cut at {cut}");
        }
        let read: Vec<&String> = log.track.marks.iter().map(|mark| &mark.text).collect();
        assert_eq!(read, marks.iter().collect::<Vec<_>>(), "cut at {cut}");
        // A row that was torn is said; a log that ends with a row has nothing to say.
        let is_torn = !start.ends_with('\n') || behind.iter().any(|b| *b > 32);
        let zeros = behind.contains(&0);
        let said = log.remarks.iter().filter(|remark| remark.code == "cut_line").count();
        assert_eq!(said, usize::from(is_torn || zeros), "cut at {cut}: {:?}", log.remarks);
        assert_eq!(log.bad_rows, said, "cut at {cut}");
        let others: Vec<_> = log.remarks.iter().filter(|r| r.code != "cut_line").collect();
        assert!(others.is_empty(), "cut at {cut}: {others:?}");
        torn += said;
    }
    (readable, torn)
}

/// Cuts that leave the first row whole.
fn behind_first_row(text: &str) -> usize {
    let first = text.find("\n0,").unwrap() + 1;
    let from = first + text[first..].find('\n').unwrap() + 1;
    text.len() - from + 1
}

#[test]
fn a_log_cut_at_any_byte_gives_its_whole_rows_and_says_that_one_was_torn() {
    let text = text("cuts", COLUMNS, &rows());
    let (readable, torn) = check_cuts(&text, b"");
    // From the end of the first row to the end of the file, and torn but at the ends of ten rows.
    assert_eq!(readable, behind_first_row(&text));
    assert_eq!(torn, readable - rows().len());
}

#[test]
fn zeros_that_a_power_cut_leaves_are_no_row() {
    let text = text("zeros", COLUMNS, &rows());
    for zeros in [1, 700] {
        let (readable, torn) = check_cuts(&text, &vec![0; zeros]);
        assert_eq!((readable, torn), (behind_first_row(&text), readable), "{zeros} zeros");
    }
}

#[test]
fn all_columns_are_taken_for_what_they_are_and_nothing_is_doubted() {
    for absolute in [false, true] {
        for crank in [false, true] {
            for seq in [false, true] {
                let rows: Vec<JournalRow> = (0..400)
                    .map(|k| JournalRow { kpa: [Some(42.5), Some(41.0)], ..row(k, "") })
                    .collect();
                let columns = Columns { absolute, crank, seq };
                let log = of(text("columns", columns, &rows).as_bytes()).unwrap();
                assert_eq!(log.remarks.iter().filter(|r| r.code.contains("taken")).count(), 0);
                let mut roles = vec![Role::Time, Role::Rpm];
                roles.extend(if absolute {
                    [Role::Map1, Role::Map2]
                } else {
                    [Role::Vac1, Role::Vac2]
                });
                roles.extend(crank.then_some(Role::Crank));
                let taken: Vec<Role> =
                    log.taken.iter().filter(|t| t.role != Role::Mark).map(|t| t.role).collect();
                assert_eq!(taken, roles);
                assert!(log.taken.iter().all(|taken| !taken.guessed));
                assert_eq!((log.rows, log.bad_rows), (400, 0));
                assert_eq!(log.head.device.as_deref(), Some("box"));
            }
        }
    }
}

#[test]
fn a_column_called_seq_in_another_log_is_named_as_not_taken() {
    let rows: String =
        (0..30).map(|k| format!("{},{k},57.{k},55.{k}\n", 0.02 * f64::from(k))).collect();
    let log = of(format!("time_s,seq,vac1_kpa,vac2_kpa\n{rows}").as_bytes()).unwrap();
    let remark = log.remarks.iter().find(|r| r.code == "columns_not_taken").unwrap();
    assert!(remark.text.contains("\"seq\""), "{}", remark.text);
}

#[test]
fn a_row_for_a_mark_alone_is_no_sample_and_no_bad_row() {
    let log = of(text("marks", COLUMNS, &rows()).as_bytes()).unwrap();
    assert_eq!((log.rows, log.bad_rows), (8, 0));
    let at = |text: &str| log.track.marks.iter().find(|m| m.text == text).map(|m| m.at.0);
    assert_eq!((at("link lost"), at("link back")), (Some(0.111), Some(0.112)));
    // Rows are counted as they stand in the file.
    assert_eq!(log.track.row.iter().collect::<Vec<_>>(), [0, 1, 2, 3, 4, 5, 8, 9]);
    let marks: Vec<JournalRow> = (0..3).map(|k| only_mark(f64::from(k), "screw 1 +0.25")).collect();
    let error = of(text("only-marks", COLUMNS, &marks).as_bytes()).unwrap_err().to_string();
    assert!(error.contains("marks and not one sample"), "{error}");
    // One key pressed three times are three marks.
    let all: Vec<JournalRow> =
        [row(0, "")].into_iter().chain(marks).chain([row(200, "")]).collect();
    let log = of(text("pressed", COLUMNS, &all).as_bytes()).unwrap();
    let times: Vec<f64> = log.track.marks.iter().map(|mark| mark.at.0).collect();
    assert_eq!(times, [0.0, 1.0, 2.0]);
}
