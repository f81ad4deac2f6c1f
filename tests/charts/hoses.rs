//! The lines against what was true, where hoses came off and changed places.

use super::fixture::{Stretch, stretch};
use super::scale::{Chart, mean};
use super::{check_balance, folder, frame, has, log, sides};
use evenbreath::charts;
use evenbreath::findings::balance::{self, Balance, ZeroMethod};
use evenbreath::findings::{Conditions, compare};
use evenbreath::log::{ReadOptions, read_path};
use evenbreath::signal::{Signal, prepare};
use std::path::Path;

/// Idle, hoses swapped, hoses back; the pair errs otherwise after each change.
fn swaps() -> Vec<Stretch> {
    let mut parts = vec![stretch(6.0, 0.0, 0.0), stretch(20.0, 850.0, 2.4)];
    parts.push(Stretch {
        swapped: true,
        hoses_off_s: 2.5,
        error_kpa: 2.1,
        ..stretch(20.0, 850.0, 2.4)
    });
    parts.push(Stretch { hoses_off_s: 2.5, error_kpa: -1.4, ..stretch(20.0, 850.0, 2.4) });
    parts
}

fn chart(signal: &Signal, finding: &Balance) -> Chart {
    let document = charts::balance_svg(&frame(1800), signal, finding, &sides()).unwrap();
    super::check(&document, 1800);
    Chart::read(&document)
}

fn sample(name: &str) -> (Signal, Balance) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs").join(name);
    let log = read_path(&path, &ReadOptions::default()).unwrap();
    let conditions = Conditions { sides: sides(), ..Conditions::default() };
    let signal = prepare(log.track, conditions.cylinders);
    let finding = balance::find(&signal, &conditions);
    (signal, finding)
}

#[test]
fn a_change_of_the_hoses_is_shown_where_the_signal_has_one() {
    let mut parts = vec![stretch(20.0, 850.0, 2.0), stretch(20.0, 850.0, 2.0)];
    parts[1].swapped = true;
    let (mut signal, mut finding) = log(&parts);
    assert!(has(&check_balance(&signal, &finding, &sides()), "hoses swapped"));
    signal.track.marks.clear();
    assert!(has(&check_balance(&signal, &finding, &sides()), "hoses swapped"));
    signal.hoses.clear();
    assert!(!has(&check_balance(&signal, &finding, &sides()), "hoses swapped"));
    finding.zero.method = ZeroMethod::None;
    assert!(has(&check_balance(&signal, &finding, &sides()), "Error of the pair unknown"));
}

#[test]
fn the_line_takes_out_the_error_and_the_sign_of_each_stretch() {
    let (signal, finding) = log(&swaps());
    let path = folder("swaps").join("swaps-900.png");
    charts::balance(&path, &frame(900), &signal, &finding, &sides()).unwrap();
    let lines = chart(&signal, &finding).difference();
    for (from_s, to_s) in [(10.0, 25.0), (31.0, 45.0), (51.0, 65.0)] {
        let mean = mean(&lines, from_s, to_s);
        assert!((mean - 2.4).abs() < 0.1, "{mean} from {from_s} to {to_s}");
    }
}

#[test]
fn the_difference_is_broken_while_a_hose_is_off() {
    let (mut signal, finding) = log(&swaps());
    let shown = |signal: &Signal| chart(signal, &finding).difference();
    let strays = |lines: &[Vec<(f64, f64)>]| {
        let points = lines.iter().flatten();
        points.filter(|(t, kpa)| *t > 7.0 && (kpa - 2.4).abs() > 1.5).count()
    };
    let lines = shown(&signal);
    assert_eq!(strays(&lines), 0, "{lines:?}");
    for (off_s, mark_s) in [(26.0, 29.0), (46.0, 49.0)] {
        let inside = lines.iter().flatten().filter(|(t, _)| off_s < *t && *t < mark_s + 0.9);
        assert_eq!(inside.count(), 0, "a line from {off_s} to {mark_s}");
    }
    // One hose alone, in the middle of a plateau: the other still reads.
    let at = (0..signal.cycles.len()).find(|k| signal.cycles.from_s[*k] > 15.0).unwrap();
    signal.cycles.vac1_kpa.as_mut().unwrap()[at..at + 9].fill(0.3);
    let lines = shown(&signal);
    assert_eq!(strays(&lines), 0, "{lines:?}");
}

#[test]
fn the_vacuum_panel_has_the_scale_of_the_plateaus_and_marks_what_leaves_it() {
    let (signal, finding) = log(&swaps());
    let chart = chart(&signal, &finding);
    assert!(chart.apart(2.0) > 30.0, "2 kPa are {} pixels", chart.apart(2.0));
    let [one, two] = chart.vacuums();
    for (from_s, to_s) in [(10.0, 25.0), (31.0, 45.0), (51.0, 65.0)] {
        let apart = mean(&one, from_s, to_s) - mean(&two, from_s, to_s);
        assert!((apart - 2.4).abs() < 0.15, "{apart} from {from_s} to {to_s}");
    }
    for line in one.iter().chain(&two).flatten() {
        assert!((48.0..68.0).contains(&line.1), "{line:?} is far from any plateau");
    }
    let marks = chart.marks();
    for off_s in [26.0, 46.0] {
        assert!(marks.iter().any(|t| off_s < *t && *t < off_s + 3.0), "{off_s} not in {marks:?}");
    }
    let (signal, finding) = log(&[stretch(20.0, 850.0, 2.4)]);
    let document = charts::balance_svg(&frame(1800), &signal, &finding, &sides()).unwrap();
    let calm = Chart::read(&document);
    assert_eq!(calm.marks(), [0.0; 0]);
}

#[test]
fn the_lines_of_a_sample_log_agree_with_its_plateaus() {
    for name in ["balance-before.csv", "balance-after.csv", "balance-dirty.csv", "gauges-inhg.csv"]
    {
        let (signal, finding) = sample(name);
        let chart = chart(&signal, &finding);
        let lines = chart.difference();
        let [one, two] = chart.vacuums();
        for plateau in &finding.plateaus {
            for part in &plateau.stretches {
                let (from_s, to_s) = (part.from_s + 0.5, part.to_s - 0.5);
                let drawn = mean(&lines, from_s, to_s);
                assert!((drawn - plateau.difference_kpa).abs() < 0.3, "{name} {part:?}: {drawn}");
                let drawn = mean(&one, from_s, to_s) - mean(&two, from_s, to_s);
                assert!((drawn - plateau.difference_kpa).abs() < 0.4, "{name} {part:?}: {drawn}");
            }
        }
        let told = finding.plateaus.iter().map(|p| p.difference_kpa);
        let (low, high) = told.fold((-1.3f64, 1.3f64), |(l, h), d| (l.min(d), h.max(d)));
        for (t, kpa) in lines.iter().flatten() {
            assert!((low - 2.0..=high + 2.0).contains(kpa), "{name}: {kpa} kPa at {t} s");
        }
        assert!(chart.apart(3.0) > 40.0, "{name}: 3 kPa are {} pixels", chart.apart(3.0));
    }
}

#[test]
fn a_customer_sees_the_lines_apart_before_and_together_after() {
    let ((before, was), (after, is)) = (sample("balance-before.csv"), sample("balance-after.csv"));
    let finding = compare::find(was, is);
    let document = charts::compare_svg(&frame(1800), &before, &after, &finding, &sides()).unwrap();
    super::check(&document, 1800);
    let elements = super::svg::elements(&document);
    // The idle is the first third of the upper two rows of each half; vacuums are the second row.
    let heights = |ink: &str, from_x: f64| {
        let own = |e: &&super::svg::Element| e.attributes.get("stroke").is_some_and(|s| s == ink);
        let own: Vec<_> = elements.iter().filter(own).cloned().collect();
        let lines = super::svg::lines(&own);
        let ys: Vec<f64> = lines
            .iter()
            .flatten()
            .filter(|(x, _)| from_x + 180.0 < *x && *x < from_x + 260.0)
            .map(|(_, y)| *y)
            .collect();
        assert!(ys.len() > 20, "{} points of {ink}", ys.len());
        ys.iter().sum::<f64>() / ys.len() as f64
    };
    let apart = |from_x: f64| heights("#E69F00", from_x) - heights("#005A9C", from_x);
    let (before, after) = (apart(0.0), apart(900.0));
    assert!(before > 20.0 && after.abs() < 0.2 * before, "{before} and {after} pixels");
}
