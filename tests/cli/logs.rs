//! Small logs with known content, and a folder to keep them in.

use std::f64::consts::TAU;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

/// An empty folder of this test's own.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("cli").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// Writes a file into a folder; gives its path.
pub fn file(folder: &Path, name: &str, content: impl AsRef<[u8]>) -> String {
    let path = folder.join(name);
    fs::write(&path, content).unwrap();
    path.to_str().unwrap().to_string()
}

const RATE_HZ: f64 = 50.0;
const HEADING: &str = "time_s,rpm,vac1_kpa,vac2_kpa,mark\n";

/// Noise that needs no generator: the fraction of a multiple of the golden ratio, -0.5 to 0.5.
fn scatter(k: usize, of: f64) -> f64 {
    (k as f64 * 0.618_033_988_749_895 + of).fract() - 0.5
}

/// One row of an idling engine whose two sides draw half a cycle apart.
fn row(k: usize, rpm: f64, vac1: f64, vac2: f64, mark: &str) -> String {
    let t = k as f64 / RATE_HZ;
    let phase = TAU * rpm / 60.0 * t;
    let rpm = rpm + if rpm > 0.0 { 6.0 * scatter(k, 0.0) } else { 0.0 };
    let swing = if rpm > 0.0 { 2.0 } else { 0.0 };
    let vac1 = vac1 + swing * phase.sin() + 0.1 * scatter(k, 0.3);
    let vac2 = vac2 - swing * phase.sin() + 0.1 * scatter(k, 0.7);
    format!("{t:.3},{rpm:.1},{vac1:.2},{vac2:.2},{mark}\n")
}

fn head() -> String {
    format!("# baro_kpa: 100.8\n# cylinders: 4\n# carb1: Front\n# carb2: Rear\n{HEADING}")
}

/// 6 s with the engine off, then idle at 850 rev/min for `seconds`; side 1 has `difference` kPa
/// more vacuum than side 2.
pub fn idle(difference: f64, seconds: usize) -> String {
    let mut text = head();
    let start = 6 * RATE_HZ as usize;
    for k in 0..start {
        text += &row(k, 0.0, 0.0, 0.0, if k == 0 { "engine off" } else { "" });
    }
    for k in start..start + seconds * RATE_HZ as usize {
        let mark = if k == start { "engine on" } else { "" };
        text += &row(k, 850.0, 55.0 + 0.5 * difference, 55.0 - 0.5 * difference, mark);
    }
    text
}

/// Idle for 25 s, the hoses swapped, 25 s more: the difference changes its sign with the hoses.
pub fn swapped(difference: f64) -> String {
    let mut text = head();
    let half = 25 * RATE_HZ as usize;
    for k in 0..2 * half {
        let (sign, mark) = match k {
            k if k < half => (0.5, ""),
            k if k == half => (-0.5, "hoses swapped"),
            _ => (-0.5, ""),
        };
        text += &row(k, 850.0, 55.0 + sign * difference, 55.0 - sign * difference, mark);
    }
    text
}

/// One sensor at an idle that sags, moved from side to side every 10 s; each time it is in the air for
/// 2 s, until 1 s before the mark.
pub fn moved(difference: f64) -> String {
    let mut text = head().replace("vac1_kpa,vac2_kpa", "vac1_kpa");
    let each = 10 * RATE_HZ as usize;
    for k in 0..6 * each {
        let (side1, within) = ((k / each).is_multiple_of(2), k % each);
        let is_last = k >= 5 * each;
        let in_hand = (7 * each / 10..9 * each / 10).contains(&within) && !is_last;
        // On from 9 s on, marked at 10 s.
        let on_side1 = if within >= 9 * each / 10 && !is_last { !side1 } else { side1 };
        let side = if on_side1 { 0.5 } else { -0.5 };
        let mark = match (within, side1) {
            (0, true) => "on Front",
            (0, false) => "on Rear",
            _ => "",
        };
        let sagged = 55.0 - 0.02 * k as f64 / RATE_HZ;
        let vacuum = if in_hand { 0.0 } else { sagged + side * difference };
        let both = row(k, 850.0, vacuum, 0.0, mark);
        let fields: Vec<&str> = both.split(',').collect();
        text += &[fields[0], fields[1], fields[2], fields[4]].join(",");
    }
    text
}

/// Three openings of the filler, 15 s on and 10 s off; the idle falls by `drop` rev/min within
/// about a second, and the vacuum with it.
pub fn openings(drop: f64) -> String {
    let mut text = head();
    let (mut fallen, mut cap_off) = (0.0, false);
    for k in 0..90 * RATE_HZ as usize {
        let t = k as f64 / RATE_HZ;
        let off = t % 25.0 >= 15.0 && t < 75.0;
        let mark = match (cap_off, off) {
            (false, true) => "cap off",
            (true, false) => "cap on",
            _ => "",
        };
        cap_off = off;
        fallen += (if off { drop } else { 0.0 } - fallen) / RATE_HZ;
        let vacuum = 55.0 - 0.05 * fallen;
        text += &row(k, 850.0 - fallen, vacuum, vacuum, mark);
    }
    text
}

/// A log in which every tenth row cannot be read.
pub fn dirty() -> String {
    let mut text = String::new();
    for (number, line) in idle(6.0, 20).lines().enumerate() {
        if number > 5 && number.is_multiple_of(10) {
            text.push_str("?!,rubbish\n");
        } else {
            writeln!(text, "{line}").unwrap();
        }
    }
    text
}

/// Two airflow meters: 6 s with the engine off, idle for 25 s, the meters change places for 4 s, 25 s more.
/// Side 1 passes `ratio` of side 2's flow, meter 1 shows 2 % more than it should, and the zeros are 4 and
/// -3 Pa.
pub fn flows(ratio: f64) -> String {
    let mut text = head().replace("vac1_kpa,vac2_kpa", "Front flow (Pa),Rear flow (Pa)");
    for k in 0..60 * RATE_HZ as usize {
        let t = k as f64 / RATE_HZ;
        let swapped = t >= 35.0;
        let rpm = if t < 6.0 { 0.0 } else { 850.0 + 6.0 * scatter(k, 0.0) };
        let pulse = (TAU * 850.0 / 60.0 * t).sin();
        let side = |size: f64, sign: f64, of: f64| {
            let in_hand = (31.0..35.0).contains(&t);
            let still = t < 6.0 || in_hand;
            if still { 0.0 } else { size * (1.0 + 0.3 * sign * pulse + 0.02 * scatter(k, of)) }
        };
        let (one, two) = (side(ratio, 1.0, 0.3), side(1.0, -1.0, 0.7));
        let (on_meter1, on_meter2) = if swapped { (two, one) } else { (one, two) };
        let read1 = 150.0 * (1.02 * on_meter1).powi(2) + 4.0 + scatter(k, 0.1);
        let read2 = 150.0 * on_meter2.powi(2) - 3.0 + scatter(k, 0.9);
        let mark = match k {
            0 => "engine off",
            300 => "engine on",
            1780 => "meters swapped",
            _ => "",
        };
        writeln!(text, "{t:.3},{rpm:.1},{read1:.2},{read2:.2},{mark}").unwrap();
    }
    text
}
