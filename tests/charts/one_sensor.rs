//! The chart of one sensor that was moved from side to side.

use super::{WIDTHS, check, folder, frame, has, png_size, sides};
use evenbreath::charts::{self, ChartError};
use evenbreath::findings::Conditions;
use evenbreath::findings::balance::{self, Balance};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal::{Signal, prepare};
use evenbreath::units::Seconds;

const EACH_S: f64 = 10.0;
const STRETCHES: usize = 6;

/// An idle that sags by 0.02 kPa/s, side 1 with 3 kPa more vacuum; the hose is in the air from 2.5 s to
/// 0.5 s before each mark.
fn moved() -> Track {
    let rows = (25.0 * EACH_S * STRETCHES as f64) as usize;
    let time_s: Vec<f64> = (0..rows).map(|k| 0.04 * k as f64).collect();
    let vacuum = |t: &f64| {
        let to_mark_s = EACH_S - t % EACH_S;
        let on = ((t + 0.5) / EACH_S).floor() as usize;
        let sagged = 57.0 - 0.02 * t + 0.2 * (3.7 * t).sin() + 0.15 * (1.3 * t).cos();
        let last = *t > EACH_S * (STRETCHES - 1) as f64;
        match (0.5..2.5).contains(&to_mark_s) && !last {
            true => 0.3,
            false => sagged + if on.is_multiple_of(2) { 1.5 } else { -1.5 },
        }
    };
    let marks = (0..STRETCHES).map(|k| {
        Mark::read(Seconds(EACH_S * k as f64), if k % 2 == 0 { "on Front" } else { "on Rear" })
    });
    Track {
        rpm: Some(time_s.iter().map(|t| 850.0 + 4.0 * (2.9 * t).sin()).collect()),
        vac1_kpa: Some(time_s.iter().map(vacuum).collect()),
        marks: marks.collect(),
        row: (0..rows as u32).collect(),
        time_s: time_s.into(),
        ..Track::default()
    }
}

fn found(track: Track) -> (Signal, Balance) {
    let conditions = Conditions { sides: sides(), ..Conditions::default() };
    let signal = prepare(track, conditions.cylinders);
    let finding = balance::find(&signal, &conditions);
    (signal, finding)
}

#[test]
fn one_sensor_is_drawn_at_all_sizes_with_what_was_fitted() {
    let (signal, finding) = found(moved());
    let folder = folder("one-sensor");
    for width in WIDTHS {
        let path = folder.join(format!("one-sensor-{width}.png"));
        charts::balance(&path, &frame(width), &signal, &finding, &sides()).unwrap();
        assert_eq!(png_size(&path), (width, width * 2 / 3));
        let document = charts::balance_svg(&frame(width), &signal, &finding, &sides()).unwrap();
        let words = check(&document, width);
        for text in [
            "Out of tolerance",
            "Front less Rear (kPa)",
            "fitted, 95 % interval",
            "left out",
            "mark: sensor moved",
            "beyond the scale",
            "out of tolerance",
            "its zero drops out",
        ] {
            assert!(has(&words, text), "{text} not in {words:?}");
        }
    }
}

/// The fitted vacuum lies where the sides truly are: read off the finding that the chart draws.
#[test]
fn the_fitted_vacuum_of_each_stretch_is_that_of_its_side() {
    let (_, finding) = found(moved());
    assert_eq!(finding.on_sides.len(), STRETCHES);
    for (k, stretch) in finding.on_sides.iter().enumerate() {
        assert_eq!(stretch.side1, k % 2 == 0);
        assert!(stretch.levels.len() > 1);
        for level in &stretch.levels {
            let truth = 57.0 - 0.02 * level.at_s + if k % 2 == 0 { 1.5 } else { -1.5 };
            assert!((level.value_kpa - truth).abs() < 0.5, "{level:?} against {truth}");
            assert!(level.low_kpa < truth && truth < level.high_kpa, "{level:?} against {truth}");
        }
    }
}

#[test]
fn a_sensor_that_was_moved_once_is_drawn_without_a_fit() {
    let mut track = moved();
    track.marks.truncate(2);
    let (signal, finding) = found(track);
    assert!(finding.plateaus.is_empty());
    let document = charts::balance_svg(&frame(1800), &signal, &finding, &sides()).unwrap();
    let words = check(&document, 1800);
    assert!(has(&words, "only once") && !has(&words, "fitted"), "{words:?}");
    let mut track = moved();
    track.vac1_kpa = Some(vec![f64::NAN; track.len()].into());
    let (signal, finding) = found(track);
    let nothing = charts::balance_svg(&frame(1800), &signal, &finding, &sides());
    assert!(matches!(nothing, Err(ChartError::NothingToDraw(_))), "{nothing:?}");
}
