//! The pictures: written whole or not at all, readable, with no words in one another's way.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "charts/fixture.rs"]
mod fixture;
#[path = "charts/hoses.rs"]
mod hoses;
#[path = "charts/hunt.rs"]
mod hunt;
#[path = "charts/one_sensor.rs"]
mod one_sensor;
#[path = "charts/scale.rs"]
mod scale;
#[path = "charts/svg.rs"]
mod svg;

use evenbreath::charts::{self, ChartError, Frame};
use evenbreath::findings::Sides;
use evenbreath::findings::balance::Balance;
use evenbreath::findings::breather::Opening;
use evenbreath::signal::Signal;
use evenbreath::signal::plateaus::Plateau;
use evenbreath::units::PressureUnit;
use fixture::{Stretch, stretch};
use scale::Chart;
use std::path::{Path, PathBuf};

const WIDTHS: [u32; 3] = [600, 900, 1800];

fn sides() -> Sides {
    Sides { one: "Front".into(), two: "Rear".into() }
}

fn frame(width: u32) -> Frame {
    Frame { width, height: width * 2 / 3, ..Frame::default() }
}

/// A folder under the build's, fresh, so that the pictures can be looked at after the test.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("charts").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}

fn log(parts: &[Stretch]) -> (Signal, Balance) {
    let signal = fixture::signal(parts, 1);
    let finding = fixture::balance(parts, &signal, 0.18, fixture::SAY_BALANCE);
    (signal, finding)
}

/// Width and height as a PNG file states them (W3C PNG specification, sections 5.2 and 11.2.2), and
/// that the file runs to its end mark.
fn png_size(path: &Path) -> (u32, u32) {
    let bytes = std::fs::read(path).expect("a picture");
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    assert_eq!(&bytes[12..16], b"IHDR");
    assert_eq!(&bytes[bytes.len() - 8..bytes.len() - 4], b"IEND");
    let number = |at: usize| u32::from_be_bytes([0, 1, 2, 3].map(|k| bytes[at + k]));
    (number(16), number(20))
}

/// Holds a document to its promises: well-formed, words inside the picture, apart from one another and from
/// every line, large enough to read. Returns the words.
fn check(document: &str, width: u32) -> Vec<String> {
    assert_eq!(svg::elements(document)[0].number("width"), f64::from(width));
    apart(document, 0.011 * f64::from(width))
}

/// As [`check`], with type of at least `em` pixels.
fn apart(document: &str, em: f64) -> Vec<String> {
    let elements = svg::elements(document);
    let width = elements[0].number("width");
    let (wide, high) = (elements[0].number("width"), elements[0].number("height"));
    let words = svg::words(&elements);
    assert!(words.len() > 5, "{words:?}");
    for (k, word) in words.iter().enumerate() {
        assert!(word.left >= 0.0 && word.right <= wide, "{word:?} at width {width}");
        assert!(word.top >= 0.0 && word.bottom <= high, "{word:?} at width {width}");
        assert!(word.em >= em, "{word:?} is small at width {width}");
        for other in &words[k + 1..] {
            assert!(!word.overlaps(other), "{word:?}\n{other:?}\nat width {width}");
        }
    }
    for line in svg::lines(&elements) {
        for pair in line.windows(2) {
            for step in 0..=8 {
                let share = f64::from(step) / 8.0;
                let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
                let point = (x0 + share * (x1 - x0), y0 + share * (y1 - y0));
                let hit = words.iter().find(|word| word.holds(point));
                assert!(hit.is_none(), "a line runs through {hit:?} at width {width}");
            }
        }
    }
    words.into_iter().map(|word| word.text).collect()
}

fn check_balance(signal: &Signal, finding: &Balance, sides: &Sides) -> Vec<String> {
    let documents = WIDTHS.map(|width| {
        let document = charts::balance_svg(&frame(width), signal, finding, sides).expect("a chart");
        check(&document, width)
    });
    documents[2].clone()
}

fn has(words: &[String], text: &str) -> bool {
    words.join(" ").contains(text)
}

#[test]
fn balance_pictures_at_all_sizes() {
    let (signal, finding) = log(&fixture::three_speeds(2.4));
    let folder = folder("balance");
    for width in WIDTHS {
        let frame = frame(width);
        let path = folder.join(format!("balance-{width}.png"));
        charts::balance(&path, &frame, &signal, &finding, &sides()).unwrap();
        assert_eq!(png_size(&path), (width, width * 2 / 3));
        let path = path.with_extension("svg");
        charts::balance(&path, &frame, &signal, &finding, &sides()).unwrap();
        let document = std::fs::read_to_string(&path).unwrap();
        assert_eq!(document, charts::balance_svg(&frame, &signal, &finding, &sides()).unwrap());
        check(&document, width);
    }
    let words = check_balance(&signal, &finding, &sides());
    for text in ["Out of tolerance: at 850", "Vacuum (kPa)", "Front less Rear (kPa)", "Time (s)"] {
        assert!(has(&words, text), "{text} not in {words:?}");
    }
    for text in
        ["Engine speed (rev/min)", "2700 rev/min", "+2.40 kPa (+2.22 to +2.58)", "not settled"]
    {
        assert!(has(&words, text), "{text} not in {words:?}");
    }
    assert_eq!(words.iter().filter(|w| *w == "engine off").count(), 2, "label and legend");
}

#[test]
fn breather_pictures_at_all_sizes() {
    let folder = folder("breather");
    for (crank, name) in [(true, "crank"), (false, "plain")] {
        let (signal, finding) = fixture::breather(46.0, crank);
        for width in WIDTHS {
            let path = folder.join(format!("{name}-{width}.png"));
            charts::breather(&path, &frame(width), &signal, &finding, &sides()).unwrap();
            assert_eq!(png_size(&path), (width, width * 2 / 3));
            let document =
                charts::breather_svg(&frame(width), &signal, &finding, &sides()).unwrap();
            let words = check(&document, width);
            assert!(has(&words, "cap off 14.0 to 25.0 s"), "{words:?}");
            assert!(has(&words, "drop 48 rev/min (40 to 54)"), "{words:?}");
            assert_eq!(has(&words, "Crankcase below atmosphere (kPa)"), crank);
        }
    }
}

#[test]
fn compare_pictures_at_all_sizes() {
    let (before, after, finding) = fixture::comparison();
    let folder = folder("compare");
    for width in WIDTHS {
        let path = folder.join(format!("compare-{width}.png"));
        charts::compare(&path, &frame(width), &before, &after, &finding, &sides()).unwrap();
        assert_eq!(png_size(&path), (width, width * 2 / 3));
        let document =
            charts::compare_svg(&frame(width), &before, &after, &finding, &sides()).unwrap();
        let words = check(&document, width);
        for text in ["Before", "After", "from +2.40 to +0.30 kPa", "smaller by 1.85 to 2.35 kPa"] {
            assert!(has(&words, text), "{text} not in {words:?}");
        }
    }
}

#[test]
fn both_halves_of_a_comparison_share_one_scale() {
    let (before, after, finding) = fixture::comparison();
    let document = charts::compare_svg(&frame(1800), &before, &after, &finding, &sides()).unwrap();
    let words = svg::words(&svg::elements(&document));
    let heights = |range: std::ops::Range<f64>| -> Vec<(String, i64)> {
        let ticks = words.iter().filter(|w| range.contains(&w.right) && w.bottom < 850.0);
        let ticks = ticks.filter(|w| w.text.trim_start_matches('\u{2212}').parse::<f64>().is_ok());
        ticks.map(|w| (w.text.clone(), w.bottom.round() as i64)).collect()
    };
    let upright =
        |ticks: Vec<(String, i64)>, x: usize| ticks.into_iter().take(x).collect::<Vec<_>>();
    let (left, right) = (heights(0.0..90.0), heights(900.0..985.0));
    assert!(left.len() >= 5, "{left:?}");
    let count = left.len().min(right.len()) - 1;
    assert_eq!(upright(left, count), upright(right, count));
}

#[test]
fn twelve_plateaus_all_have_a_label() {
    let parts: Vec<Stretch> =
        (0..12).map(|k| stretch(8.0, 800.0 + 150.0 * f64::from(k), 0.2 * f64::from(k))).collect();
    let (signal, finding) = log(&parts);
    let words = check_balance(&signal, &finding, &sides());
    assert!(has(&words, "Over the stretches: rev/min, mean difference in kPa"), "{words:?}");
    for part in &parts {
        assert!(words.contains(&format!("{:.0}", part.rpm)), "{} not in {words:?}", part.rpm);
    }
    for verdict in ["in", "open", "out"] {
        assert!(words.iter().any(|w| w == verdict), "{verdict} not in {words:?}");
    }
    let path = folder("twelve").join("twelve-900.png");
    charts::balance(&path, &frame(900), &signal, &finding, &sides()).unwrap();
}

#[test]
fn low_pictures_are_drawn() {
    let (signal, finding) = log(&fixture::three_speeds(2.4));
    let (breathing, breather) = fixture::breather(46.0, true);
    let (before, after, comparison) = fixture::comparison();
    let folder = folder("low");
    for width in [600, 900, 1800] {
        let frame = Frame { width, height: 400, ..Frame::default() };
        let path = |name: &str| folder.join(format!("{name}-{width}.svg"));
        let (one, two, three) = (path("balance"), path("breather"), path("compare"));
        charts::balance(&one, &frame, &signal, &finding, &sides()).unwrap();
        charts::breather(&two, &frame, &breathing, &breather, &sides()).unwrap();
        charts::compare(&three, &frame, &before, &after, &comparison, &sides()).unwrap();
        for path in [one, two, three] {
            apart(&std::fs::read_to_string(path).unwrap(), 7.3);
        }
    }
}

#[test]
fn many_plateaus_and_long_names_stay_apart() {
    let parts: Vec<Stretch> = (0..40)
        .map(|k| stretch(3.2 + f64::from(k % 7), 800.0 + 60.0 * f64::from(k), 0.5))
        .collect();
    let (signal, mut finding) = log(&parts);
    let words = check_balance(&signal, &finding, &sides());
    assert!(has(&words, "too short for a label"), "{words:?}");
    let path = folder("many").join("many-1800.png");
    charts::balance(&path, &frame(1800), &signal, &finding, &sides()).unwrap();
    let long = Sides {
        one: "the carburettor nearest to the radiator <&\"'> with the new needle".into(),
        two: "W".repeat(300),
    };
    finding.say = format!("{} {}", fixture::SAY_BALANCE.repeat(3), "x".repeat(400));
    check_balance(&signal, &finding, &long);
    let other = fixture::signal(&parts, 2);
    let comparison = fixture::comparison_of(finding.clone(), finding.clone());
    for width in WIDTHS {
        let document =
            charts::compare_svg(&frame(width), &signal, &other, &comparison, &long).unwrap();
        check(&document, width);
    }
}

#[test]
fn every_unit_keeps_its_numbers_apart() {
    let (signal, finding) = log(&fixture::three_speeds(2.4));
    let (breathing, breather) = fixture::breather(46.0, true);
    for unit in PressureUnit::ALL {
        for width in WIDTHS {
            let frame = Frame { unit, ..frame(width) };
            let document = charts::balance_svg(&frame, &signal, &finding, &sides()).unwrap();
            assert!(has(&check(&document, width), &format!("Vacuum ({})", unit.symbol())));
            check(&charts::breather_svg(&frame, &breathing, &breather, &sides()).unwrap(), width);
        }
    }
    let frame = Frame { unit: PressureUnit::Hpa, ..frame(1800) };
    let words = check(&charts::balance_svg(&frame, &signal, &finding, &sides()).unwrap(), 1800);
    assert!(has(&words, "+24.0 hPa (+22.2 to +25.8)"), "{words:?}");
}

#[test]
fn constant_data_and_one_block_are_drawn() {
    let (mut signal, mut finding) = log(&[stretch(8.0, 850.0, 0.0)]);
    let n = signal.cycles.len();
    for column in [&mut signal.cycles.rpm, &mut signal.cycles.vac1_kpa, &mut signal.cycles.vac2_kpa]
    {
        *column = Some(vec![50.0; n]);
    }
    finding.plateaus[0].low_kpa = finding.plateaus[0].difference_kpa;
    finding.plateaus[0].high_kpa = finding.plateaus[0].difference_kpa;
    check_balance(&signal, &finding, &sides());
    let cycles = &mut signal.cycles;
    cycles.from_s.truncate(1);
    cycles.to_s.truncate(1);
    signal.plateaus.clear();
    finding.plateaus.clear();
    check_balance(&signal, &finding, &sides());
}

#[test]
fn nothing_to_draw_is_said() {
    let (full, finding) = log(&[stretch(8.0, 850.0, 0.0)]);
    let mut dead = full.clone();
    dead.cycles.vac2_kpa.as_mut().unwrap().fill(f64::NAN);
    dead.cycles.rpm.as_mut().unwrap().fill(f64::NAN);
    let mut alone = full.clone();
    alone.cycles.vac2_kpa = None;
    let path = folder("nothing").join("chart.png");
    for signal in [fixture::empty(), dead, alone] {
        let said = charts::balance(&path, &frame(900), &signal, &finding, &sides());
        assert!(matches!(said, Err(ChartError::NothingToDraw(_))), "{said:?}");
    }
    let (_, mut breather) = fixture::breather(46.0, false);
    breather.curve.clear();
    let said = charts::breather(&path, &frame(900), &fixture::empty(), &breather, &sides());
    assert!(matches!(said, Err(ChartError::NothingToDraw(_))), "{said:?}");
    let both = fixture::comparison_of(finding.clone(), finding);
    let said = charts::compare(&path, &frame(900), &full, &fixture::empty(), &both, &sides());
    assert!(matches!(said, Err(ChartError::NothingToDraw(_))), "{said:?}");
    assert_eq!(std::fs::read_dir(path.parent().unwrap()).unwrap().count(), 0);
}

/// The lines that belong to the trace of the difference: those of its colour that are no samples.
fn difference_runs(document: &str) -> Vec<Vec<(f64, f64)>> {
    let elements = svg::elements(document);
    let grey = elements
        .into_iter()
        .filter(|e| e.attributes.get("stroke").is_some_and(|s| s == "#7D7D7D"))
        .collect::<Vec<_>>();
    svg::lines(&grey)
}

#[test]
fn lines_break_at_missing_readings_gaps_and_with_the_engine_off() {
    let parts = [stretch(20.0, 850.0, 1.0), stretch(5.0, 0.0, 0.0), stretch(20.0, 850.0, 1.0)];
    let (mut signal, finding) = log(&parts);
    let svg =
        |signal: &Signal| charts::balance_svg(&frame(1800), signal, &finding, &sides()).unwrap();
    assert_eq!(difference_runs(&svg(&signal)).len(), 2);
    signal.cycles.vac1_kpa.as_mut().unwrap()[60] = f64::NAN;
    assert_eq!(difference_runs(&svg(&signal)).len(), 3);
    let n = signal.cycles.len();
    for k in n - 40..n {
        signal.cycles.from_s[k] += 9.0;
        signal.cycles.to_s[k] += 9.0;
    }
    let document = svg(&signal);
    assert_eq!(difference_runs(&document).len(), 4);
    check(&document, 1800);
}

#[test]
fn every_spike_of_an_hour_stays_visible() {
    let (mut signal, finding) = log(&[stretch(3600.0, 850.0, 0.2)]);
    let n = signal.cycles.len();
    assert!(n > 25_000);
    let at = n / 3;
    signal.cycles.vac1_kpa.as_mut().unwrap()[at] += 40.0;
    let path = folder("hour").join("hour-1800.png");
    charts::balance(&path, &frame(1800), &signal, &finding, &sides()).unwrap();
    let document = charts::balance_svg(&frame(1800), &signal, &finding, &sides()).unwrap();
    let words = check(&document, 1800);
    assert!(has(&words, "Time (min)"));
    let runs = difference_runs(&document);
    let points: usize = runs.iter().map(Vec::len).sum();
    assert!(points < 4 * 1800, "{points} points");
    let mut heights: Vec<f64> = runs.iter().flatten().map(|p| p.1).collect();
    heights.sort_by(f64::total_cmp);
    assert!(heights[2] - heights[1] > 8.0, "the spike is gone: {:?}", &heights[..4]);
    assert!(has(&words, "beyond the scale"));
    let marks = Chart::read(&document).marks();
    assert!(marks.len() == 2 && marks.iter().all(|min| (min - 20.0).abs() < 0.3), "{marks:?}");
}

#[test]
fn times_of_the_epoch_and_odd_plateaus_do_no_harm() {
    let (mut signal, mut finding) = log(&fixture::three_speeds(1.0));
    let shift = 1.7e9;
    for t in signal.cycles.from_s.iter_mut().chain(&mut signal.cycles.to_s) {
        *t += shift;
    }
    for plateau in &mut signal.plateaus {
        plateau.from_s += shift;
        plateau.to_s += shift;
    }
    for plateau in &mut finding.plateaus {
        plateau.from_s += shift;
        plateau.to_s += shift;
        plateau.rpm = None;
    }
    finding.plateaus[0].low_kpa = f64::NEG_INFINITY;
    finding.plateaus[1].high_kpa = f64::NAN;
    signal.cycles.rpm = None;
    let words = check_balance(&signal, &finding, &sides());
    assert!(has(&words, "Time from the start of the log (s)"), "{words:?}");
    assert!(!words.iter().any(|w| w.contains("NaN") || w.contains("inf")), "{words:?}");
    let short = Plateau { to_s: shift, from_s: shift, ..signal.plateaus[0].clone() };
    signal.plateaus.push(short);
    check_balance(&signal, &finding, &sides());
}

#[test]
fn openings_of_all_kinds_stay_apart() {
    let (signal, mut finding) = fixture::breather(-30.0, true);
    let opening = |off_s: f64, on_s| Opening { off_s, on_s, ..finding.openings[0].clone() };
    let close: Vec<Opening> = (0..12)
        .map(|k| opening(3.0 + 4.5 * f64::from(k), Some(5.0 + 4.5 * f64::from(k))))
        .collect();
    let folder = folder("openings");
    let cases = [vec![], vec![opening(50.0, None)], close];
    let said = [
        "Over all openings: rise 30 rev/min (25 to 35, 95 %)",
        "rise 28 rev/min (22 to 36)",
        "rise 28",
    ];
    for (openings, said) in cases.into_iter().zip(said) {
        finding.openings = openings;
        let path = folder.join(format!("{}-900.png", finding.openings.len()));
        charts::breather(&path, &frame(900), &signal, &finding, &sides()).unwrap();
        for width in WIDTHS {
            let document =
                charts::breather_svg(&frame(width), &signal, &finding, &sides()).unwrap();
            let words = check(&document, width);
            assert!(has(&words, said), "{said} not in {words:?}");
        }
    }
    finding.curve.clear();
    finding.idle_rpm = None;
    finding.drop_rpm = None;
    for loads in [vec![], vec![31.0]] {
        finding.other_loads_s = loads;
        let svg = charts::breather_svg(&frame(900), &signal, &finding, &sides()).unwrap();
        let said = has(&check(&svg, 900), "another load");
        assert_eq!(said, !finding.other_loads_s.is_empty());
    }
}

#[test]
fn the_ending_is_checked_first() {
    let (signal, finding) = log(&[stretch(8.0, 850.0, 0.0)]);
    for name in ["chart.jpg", "chart", "png", "chart.png.txt"] {
        let path = folder("ending").join(name);
        let error = charts::balance(&path, &frame(900), &signal, &finding, &sides()).unwrap_err();
        assert!(matches!(error, ChartError::UnknownEnding(_)), "{error}");
        let text = error.to_string();
        assert!(text.contains(name) && text.contains(".png or .svg"), "{text}");
        assert!(!path.exists());
    }
    let upper = folder("ending").join("CHART.PNG");
    charts::balance(&upper, &frame(900), &signal, &finding, &sides()).unwrap();
    assert_eq!(png_size(&upper), (900, 600));
}

#[test]
fn what_cannot_be_written_leaves_nothing() {
    let (signal, finding) = log(&[stretch(8.0, 850.0, 0.0)]);
    let folder = folder("unwritable");
    for ending in ["png", "svg"] {
        let missing = folder.join("no such folder").join("chart").with_extension(ending);
        // A folder that has the name of the picture lets the first step pass and the last one fail.
        let taken = folder.join("taken").with_extension(ending);
        std::fs::create_dir_all(taken.join("full")).unwrap();
        for path in [missing, taken] {
            let error =
                charts::balance(&path, &frame(900), &signal, &finding, &sides()).unwrap_err();
            assert!(matches!(error, ChartError::Write { .. }), "{error}");
            assert!(error.to_string().contains("cannot write the picture"), "{error}");
        }
    }
    let mut left: Vec<_> =
        std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name()).collect();
    left.sort();
    assert_eq!(left, ["taken.png", "taken.svg"]);
}

#[test]
fn a_frame_too_small_is_refused_with_its_measure() {
    let (signal, finding) = log(&[stretch(8.0, 850.0, 0.0)]);
    for (width, height) in [(0, 0), (100, 100), (900, 200), (40_000, 900)] {
        let frame = Frame { width, height, ..Frame::default() };
        let error = charts::balance_svg(&frame, &signal, &finding, &sides()).unwrap_err();
        assert!(matches!(error, ChartError::Drawing(_)), "{error}");
        assert!(error.to_string().contains(&format!("{width}")), "{error}");
    }
}

#[test]
fn the_same_numbers_give_the_same_bytes() {
    let (signal, finding) = log(&fixture::three_speeds(2.4));
    let folder = folder("same");
    let files = ["a.png", "b.png"].map(|name| {
        let path = folder.join(name);
        charts::balance(&path, &frame(900), &signal, &finding, &sides()).unwrap();
        std::fs::read(path).unwrap()
    });
    assert!(files[0] == files[1]);
}
