//! The reader against logs that are written here and read back, and against real ones.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use evenbreath::log::{BaroFrom, Log, ReadOptions, Role, read, read_path};
use evenbreath::sample::Meaning;
use proptest::prelude::*;
use std::fmt::Write;
use std::path::PathBuf;

/// A log as numbers, before it is written in any dialect.
#[derive(Debug, Clone)]
struct Rows {
    time_ms: Vec<u32>,
    rpm: Vec<Option<i64>>,
    vac: Vec<(i64, i64)>,
    mark: Vec<Option<String>>,
}

fn rows() -> impl Strategy<Value = Rows> {
    let row = (1u32..500, prop::option::of(0i64..80_000), 100i64..9000, 100i64..9000);
    let mark = prop_oneof![
        9 => Just(None),
        1 => "[a-zäé][a-zA-Z0-9äé ,;\"+.]{0,20}[a-z]".prop_map(Some),
    ];
    prop::collection::vec((row, mark), 3..80).prop_map(|rows| {
        let mut all = Rows { time_ms: vec![], rpm: vec![], vac: vec![], mark: vec![] };
        let mut time = 0;
        for ((step, rpm, one, two), mark) in rows {
            time += step;
            all.time_ms.push(time);
            all.rpm.push(rpm);
            all.vac.push((one, two));
            all.mark.push(mark);
        }
        // A channel without a single reading, and a speed of 0 beside vacuum, are judged by the
        // reader; here they would only hide what is tested.
        all.rpm[0] = Some(8500);
        all
    })
}

/// How a log is written.
#[derive(Debug, Clone, Copy)]
struct Dialect {
    delimiter: char,
    comma: bool,
    crlf: bool,
    last_end: bool,
    encoding: Encoding,
    separator_line: bool,
}

#[derive(Debug, Clone, Copy)]
enum Encoding {
    Utf8,
    Utf8Mark,
    Utf16Le,
    Utf16Be,
    Utf16LeBare,
    Windows1252,
}

fn dialects() -> impl Strategy<Value = Dialect> {
    let encoding = prop::sample::select(vec![
        Encoding::Utf8,
        Encoding::Utf8Mark,
        Encoding::Utf16Le,
        Encoding::Utf16Be,
        Encoding::Utf16LeBare,
        Encoding::Windows1252,
    ]);
    let flags = (any::<bool>(), any::<bool>(), any::<bool>(), any::<bool>());
    (prop::sample::select(vec![',', ';', '\t']), flags, encoding).prop_map(
        |(delimiter, (comma, crlf, last_end, separator_line), encoding)| Dialect {
            delimiter,
            comma,
            crlf,
            last_end,
            encoding,
            separator_line,
        },
    )
}

/// A field, in quotation marks where it needs them.
fn quoted(text: &str, delimiter: char) -> String {
    if text.contains([delimiter, '"', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_string()
    }
}

fn write_rows(rows: &Rows, headings: [&str; 5], dialect: Dialect) -> Vec<u8> {
    let delimiter = dialect.delimiter;
    let end = if dialect.crlf { "\r\n" } else { "\n" };
    let number = |value: i64, decimals: i64| {
        let scale = 10i64.pow(decimals as u32);
        let text =
            format!("{}.{:0width$}", value / scale, value % scale, width = decimals as usize);
        let text = if dialect.comma { text.replace('.', ",") } else { text };
        quoted(&text, delimiter)
    };
    let mut text = String::new();
    if dialect.separator_line {
        write!(text, "sep={delimiter}{end}").unwrap();
    }
    text.push_str(&headings.map(|h| quoted(h, delimiter)).join(&delimiter.to_string()));
    for i in 0..rows.time_ms.len() {
        text.push_str(end);
        let fields = [
            number(i64::from(rows.time_ms[i]), 3),
            rows.rpm[i].map_or(String::new(), |rpm| number(rpm, 1)),
            number(rows.vac[i].0, 2),
            number(rows.vac[i].1, 2),
            rows.mark[i].as_deref().map_or(String::new(), |mark| quoted(mark, delimiter)),
        ];
        text.push_str(&fields.join(&delimiter.to_string()));
    }
    if dialect.last_end {
        text.push_str(end);
    }
    encode(&text, dialect.encoding)
}

fn encode(text: &str, encoding: Encoding) -> Vec<u8> {
    let utf16 = |mark: bool, bytes: fn(u16) -> [u8; 2]| {
        mark.then_some(0xfeff).into_iter().chain(text.encode_utf16()).flat_map(bytes).collect()
    };
    match encoding {
        Encoding::Utf8 => text.as_bytes().to_vec(),
        Encoding::Utf8Mark => [b"\xef\xbb\xbf", text.as_bytes()].concat(),
        Encoding::Utf16Le => utf16(true, u16::to_le_bytes),
        Encoding::Utf16Be => utf16(true, u16::to_be_bytes),
        Encoding::Utf16LeBare => utf16(false, u16::to_le_bytes),
        Encoding::Windows1252 => encoding_rs::WINDOWS_1252.encode(text).0.into_owned(),
    }
}

const CANONICAL: [&str; 5] = ["time_s", "rpm", "vac1_kpa", "vac2_kpa", "mark"];
const PLAIN: Dialect = Dialect {
    delimiter: ',',
    comma: false,
    crlf: false,
    last_end: true,
    encoding: Encoding::Utf8,
    separator_line: false,
};

fn same(found: f64, expected: f64) -> bool {
    found == expected || (found.is_nan() && expected.is_nan())
}

/// Holds a log against the numbers it was written from, to the last bit.
fn check(log: &Log, rows: &Rows) -> Result<(), TestCaseError> {
    prop_assert_eq!((log.rows, log.bad_rows), (rows.time_ms.len(), 0), "{:?}", log.remarks);
    let track = &log.track;
    let rpm = track.rpm.as_ref().expect("a speed");
    let one = track.vac1_kpa.as_ref().expect("side 1");
    let two = track.vac2_kpa.as_ref().expect("side 2");
    for i in 0..rows.time_ms.len() {
        prop_assert_eq!(track.time_s.at(i), f64::from(rows.time_ms[i]) / 1000.0);
        let expected = rows.rpm[i].map_or(f64::NAN, |rpm| rpm as f64 / 10.0);
        prop_assert!(same(rpm.at(i), expected), "row {i}: {} not {expected}", rpm.at(i));
        prop_assert_eq!(one.at(i), rows.vac[i].0 as f64 / 100.0);
        prop_assert_eq!(two.at(i), rows.vac[i].1 as f64 / 100.0);
        prop_assert_eq!(track.row.of(i) as usize, i);
    }
    let mut marks = Vec::new();
    for (i, mark) in rows.mark.iter().enumerate() {
        let Some(mark) = mark else { continue };
        if i == 0 || rows.mark[i - 1].as_ref() != Some(mark) {
            let text = mark.split_whitespace().collect::<Vec<_>>().join(" ");
            marks.push((f64::from(rows.time_ms[i]) / 1000.0, text));
        }
    }
    let found: Vec<(f64, String)> = track.marks.iter().map(|m| (m.at.0, m.text.clone())).collect();
    prop_assert_eq!(found, marks);
    Ok(())
}

/// Rows whose values leave no doubt that the columns are vacuum.
fn is_plain_vacuum(rows: &Rows) -> bool {
    let mut one: Vec<i64> = rows.vac.iter().map(|v| v.0).collect();
    let mut two: Vec<i64> = rows.vac.iter().map(|v| v.1).collect();
    one.sort_unstable();
    two.sort_unstable();
    let middle = one.len() / 2;
    let still = rows.rpm.iter().flatten().any(|rpm| *rpm < 10);
    one[middle] < 8000 && two[middle] < 8000 && !still
}

#[test]
fn rows_that_are_laid_out_alike_give_what_others_give() {
    for (end, unit, decimals) in
        [("\n", "s", 3), ("\r\n", "ms", 0), ("\n", "s", 6), ("\n", "ms", 1)]
    {
        // Every other row has a decimal more, so that none is laid out like the one before it.
        let written = |every_other: usize| {
            let mut text = format!("no,t ({unit}),rpm,vac1_kpa,vac2_kpa,mark{end}");
            for k in 0..5000_usize {
                let more = k % 2 * every_other;
                let time = k as f64 * 3.37 + 0.2 * (k * k % 7) as f64;
                let rpm = if k % 1000 < 300 { String::new() } else { format!("{}", 800 + k % 400) };
                let one = 30.0 - (k % 901) as f64 / 20.0;
                let two = 55.0 + (k * 31 % 907) as f64 / 100.0;
                let mark = if k % 997 == 5 { "cap off" } else { "" };
                write!(
                    text,
                    "{k},{time:.*},{rpm},{one:.*},{two:.2},{mark}{end}",
                    decimals,
                    2 + more
                )
                .unwrap();
            }
            read(text.as_bytes(), &ReadOptions { lenient: true, ..ReadOptions::default() })
        };
        let (alike, unlike) = (written(0).unwrap(), written(1).unwrap());
        assert_eq!((alike.rows, alike.bad_rows), (unlike.rows, unlike.bad_rows), "{unit}");
        assert!(alike.rows > 4900, "{} rows", alike.rows);
        assert_eq!(alike.track.marks, unlike.track.marks, "{unit}");
        let columns = |log: &evenbreath::log::Log| -> Vec<Vec<u64>> {
            let track = &log.track;
            let others = [&track.rpm, &track.vac1_kpa, &track.vac2_kpa];
            let all = std::iter::once(&track.time_s).chain(others.into_iter().flatten());
            all.map(|column| column.iter().map(f64::to_bits).collect()).collect()
        };
        assert_eq!(columns(&alike), columns(&unlike), "{unit}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_canonical_log_is_read_back_exactly(rows in rows().prop_filter("vacuum", is_plain_vacuum)) {
        let bytes = write_rows(&rows, CANONICAL, PLAIN);
        let log = read(bytes.as_slice(), &ReadOptions::default());
        check(&log.map_err(|e| TestCaseError::fail(e.to_string()))?, &rows)?;
    }

    #[test]
    fn every_dialect_gives_the_same_numbers(
        rows in rows().prop_filter("vacuum", is_plain_vacuum),
        dialect in dialects(),
    ) {
        let headings = ["Zeit (s)", "Drehzahl (1/min)", "Unterdruck vorne (kPa)", "Unterdruck hinten (kPa)", "Bemerkung"];
        let bytes = write_rows(&rows, headings, dialect);
        let log = read(bytes.as_slice(), &ReadOptions::default());
        check(&log.map_err(|e| TestCaseError::fail(e.to_string()))?, &rows)?;
    }

    #[test]
    fn broken_bytes_never_panic_and_time_runs_forward(
        rows in rows(),
        dialect in dialects(),
        flips in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        cut in prop::option::of(any::<prop::sample::Index>()),
        lenient in any::<bool>(),
    ) {
        let mut bytes = write_rows(&rows, CANONICAL, dialect);
        for (place, byte) in flips {
            let at = place.index(bytes.len());
            bytes[at] ^= byte;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        let options = ReadOptions { lenient, ..ReadOptions::default() };
        if let Ok(log) = read(bytes.as_slice(), &options) {
            let track = &log.track;
            prop_assert!(track.time_s.to_vec().windows(2).all(|pair| pair[1] > pair[0]));
            prop_assert!(track.time_s.iter().all(|t| t.is_finite()));
            prop_assert_eq!(log.rows, track.len());
            let columns = [&track.rpm, &track.vac1_kpa, &track.vac2_kpa, &track.crank_kpa];
            for column in columns.into_iter().flatten() {
                prop_assert_eq!(column.len(), log.rows);
                prop_assert!(column.iter().all(|v| !v.is_infinite()));
            }
        }
    }

    #[test]
    fn any_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = read(bytes.as_slice(), &ReadOptions { lenient: true, ..ReadOptions::default() });
    }

    #[test]
    fn any_columns_text_never_panics(text in "[ -~é]{0,40}") {
        let options = ReadOptions { columns: Some(text), ..ReadOptions::default() };
        let _ = read("time_s,rpm\n0.0,850\n0.1,851\n".as_bytes(), &options);
    }
}

/// A reader that hands out a few bytes at a time, as a pipe does.
struct Trickle<'a>(&'a [u8]);

impl std::io::Read for Trickle<'_> {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let count = out.len().min(self.0.len()).min(7);
        out[..count].copy_from_slice(&self.0[..count]);
        self.0 = &self.0[count..];
        Ok(count)
    }
}

/// A log long enough for many blocks, with a bad row and a mark at known places.
fn long_log(quotes: bool) -> String {
    let mut text = String::from("time_s,rpm,vac1_kpa,vac2_kpa,mark\n");
    for i in 0..60_000 {
        let mark = match i {
            50_000 => "cap off",
            55_000 if quotes => "\"note a, b\"",
            _ => "",
        };
        let rpm = if i == 45_678 { "?".to_string() } else { format!("{}.5", 800 + i % 50) };
        writeln!(
            text,
            "{}.{:03},{rpm},56.{:02},55.{:02},{mark}",
            i / 1000,
            i % 1000,
            i % 100,
            i % 97
        )
        .unwrap();
    }
    text
}

#[test]
fn blocks_do_not_lose_rows_lines_or_marks() {
    for quotes in [false, true] {
        let text = long_log(quotes);
        let log = read(text.as_bytes(), &ReadOptions::default()).unwrap();
        assert_eq!((log.rows, log.bad_rows), (59_999, 1));
        assert!(log.remarks[0].text.contains("line 45680 (at 45.68 s)"), "{}", log.remarks[0].text);
        assert_eq!(
            (log.track.marks[0].at.0, &log.track.marks[0].meaning),
            (50.0, &Meaning::CapOff)
        );
        assert_eq!(log.track.row.of(59_998), 59_999);
        assert_eq!(log.track.rpm.as_ref().unwrap().at(59_998), 849.5);
        let piped = read(Trickle(text.as_bytes()), &ReadOptions::default()).unwrap();
        assert_eq!(piped.track.time_s, log.track.time_s);
        assert_eq!(piped.track.vac2_kpa, log.track.vac2_kpa);
    }
}

#[test]
fn the_barometer_comes_from_the_best_source() {
    let rows =
        "0.0,0,100.2,99.9\n0.1,0,100.2,99.9\n0.2,0,100.2,99.9\n0.3,850,40,99.9\n0.4,850,41,99.9\n";
    let body = format!("time_s,rpm,map1_kpa,baro_kpa\n{rows}");
    let with_head = format!("# baro_kpa: 100.8\n{body}");
    let given = ReadOptions { baro: Some(evenbreath::units::Kpa(101.0)), ..ReadOptions::default() };
    let from = |text: &str, options: &ReadOptions| {
        let log = read(text.as_bytes(), options).unwrap();
        assert!((log.track.vac1_kpa.as_ref().unwrap().at(3) - (log.baro.kpa - 40.0)).abs() < 1e-9);
        (log.baro.kpa, log.baro.from)
    };
    let plain = ReadOptions::default();
    assert_eq!(from(&with_head, &given), (101.0, BaroFrom::Given));
    assert_eq!(from(&with_head, &plain), (100.8, BaroFrom::Header));
    assert_eq!(from(&body, &plain), (99.9, BaroFrom::Column));
    let body = body.replace("baro_kpa", "other");
    assert_eq!(from(&body, &plain), (100.2, BaroFrom::EngineOff));
    let running = "time_s,rpm,map1_kpa\n0.0,850,40\n0.1,850,41\n0.2,851,42\n0.3,850,40\n";
    assert_eq!(from(running, &plain), (101.325, BaroFrom::Standard));
    let log = read(running.as_bytes(), &plain).unwrap();
    assert_eq!(log.baro.u_kpa, 1.5);
    assert!(log.remarks.iter().any(|r| r.code == "standard_atmosphere"));
}

#[test]
fn headings_of_many_shops_are_understood() {
    let rows = "0;850;500;490\n20;851;501;491\n40;852;502;489\n60;850;503;490\n";
    for (headings, vac1) in [
        ("Time [ms];Engine speed (1/min);Front (mbar);Rear (mbar)", 50.0),
        ("t_ms;rpm;vac_1 [hPa];vac_2 [hPa]", 50.0),
        ("Zeit (ms);Motordrehzahl [U/min];Unterdruck links [mbar];Unterdruck rechts [mbar]", 50.0),
        (
            "Temps (ms);Régime moteur (tr/min);Dépression avant (mbar);Dépression arrière (mbar)",
            50.0,
        ),
        ("Tiempo (ms);Revoluciones (rpm);Vacío izquierda (mbar);Vacío derecha (mbar)", 50.0),
        ("time ms;RPM;Vacuum A mmHg;Vacuum B mmHg", 500.0 * 0.133322387415),
    ] {
        let log = read(format!("{headings}\n{rows}").as_bytes(), &ReadOptions::default()).unwrap();
        let track = &log.track;
        assert_eq!(track.time_s, vec![0.0, 0.02, 0.04, 0.06], "{headings}");
        assert_eq!(track.rpm.as_ref().unwrap().at(1), 851.0, "{headings}");
        assert!((track.vac1_kpa.as_ref().unwrap().at(0) - vac1).abs() < 1e-9, "{headings}");
        assert!(track.vac2_kpa.is_some(), "{headings}");
        assert!(log.taken.iter().filter(|taken| taken.guessed).count() >= 3, "{headings}");
    }
}

#[test]
fn a_crankcase_column_is_taken_with_its_sign() {
    let text = |heading: &str, value: &str| {
        let mut text = format!("time_s,rpm,vac1_kpa,{heading}\n");
        (0..9).for_each(|i| writeln!(text, "0.{i},850,55,{value}").unwrap());
        text
    };
    for (heading, value, expected) in [
        ("crank_kpa", "0.35", 0.35),
        ("Crankcase vacuum (mbar)", "3.5", 0.35),
        ("Crankcase pressure (Pa)", "-350", 0.35),
        ("Crankcase pressure abs (kPa)", "100.0", 1.325),
    ] {
        let log = read(text(heading, value).as_bytes(), &ReadOptions::default()).unwrap();
        let crank = log.track.crank_kpa.expect(heading).at(4);
        assert!((crank - expected).abs() < 1e-9, "{heading}: {crank}");
    }
}

fn real(name: &str, options: ReadOptions) -> Option<Log> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..");
    let places = [folder.join("shared/real-logs"), folder.join("../shared/real-logs")];
    let Some(path) = places.iter().map(|place| place.join(name)).find(|path| path.exists()) else {
        eprintln!("NOT TESTED: {name} is not in ../shared/real-logs");
        return None;
    };
    Some(read_path(&path, &options).unwrap_or_else(|e| panic!("{e}")))
}

#[test]
fn real_engine_logs() {
    // Plateaus and their speeds as the README of the logs names them.
    for (name, rows, plateau, speed) in [
        ("idle7.csv", 1930, 25..1930, 651.2),
        ("idle15.csv", 1207, 432..820, 653.0),
        ("idle27.csv", 2112, 1900..2112, 651.0),
        ("live6.csv", 2287, 0..0, f64::NAN),
    ] {
        let Some(log) = real(name, ReadOptions::default()) else { continue };
        assert_eq!((log.rows, log.bad_rows), (rows, 0), "{name}");
        assert_eq!(log.baro.from, BaroFrom::Column, "{name}");
        let (rpm, vac) = (log.track.rpm.unwrap(), log.track.vac1_kpa.unwrap());
        assert_eq!(rpm.at(0), 0.0);
        assert!(vac.at(0).abs() <= 1.0, "{name}: at rest the manifold is at atmosphere");
        assert!(log.track.vac2_kpa.is_none());
        if !plateau.is_empty() {
            let values = rpm.window(plateau);
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            assert!((mean - speed).abs() < 3.0, "{name}: {mean}");
        }
        let rate = log.rows as f64 / log.track.time_s.at(rows - 1);
        assert!((1.8..2.2).contains(&rate), "{name}: {rate} rows a second");
        assert!(log.remarks.iter().any(|r| r.code == "coarse_clock"), "{name}");
        assert!(log.remarks.iter().any(|r| r.code == "field_count"), "{name}");
    }
}

#[test]
fn real_pair_of_barometers() {
    let Some(log) = real("pair-barometers.csv", ReadOptions::default()) else { return };
    assert_eq!((log.rows, log.bad_rows), (10_045, 0));
    let (one, two) = (log.track.vac1_kpa.unwrap(), log.track.vac2_kpa.unwrap());
    let mean = one.iter().zip(&two).map(|(a, b)| b - a).sum::<f64>() / one.len() as f64;
    // Its README: p1 - p2 = 0.432 hPa.
    assert!((mean - 0.0432).abs() < 0.0005, "{mean}");
    let role = |role| log.taken.iter().find(|t| t.role == role).map(|t| t.heading.as_str());
    assert_eq!((role(Role::Map1), role(Role::Map2)), (Some("p1 (hPa)"), Some("p2 (hPa)")));
}

#[test]
fn real_logs_of_other_instruments() {
    if let Some(log) = real("utf16-preamble.csv", ReadOptions::default()) {
        assert_eq!((log.rows, log.bad_rows), (10, 0));
        assert_eq!(log.track.time_s.at(9), 9.0);
    }
    let columns = Some("time=DRME_OCR_UTC_DTE,map1=DRME_DRU".to_string());
    let options = ReadOptions { columns, ..ReadOptions::default() };
    if let Some(log) = real("decimal-comma-quoted.csv", options) {
        assert_eq!((log.rows, log.bad_rows), (213, 0));
        assert!(log.remarks.iter().any(|r| r.code == "sorted"));
        // The first row of the file, 993.017 hPa on 5 June at noon.
        let first = log.track.row.iter().position(|row| row == 0).unwrap();
        let kpa = log.baro.kpa - log.track.vac1_kpa.unwrap().at(first);
        assert!((kpa - 99.3017).abs() < 1e-9, "{kpa}");
    }
}
