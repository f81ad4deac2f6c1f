//! What a new log is called.

use crate::log::headings::push_plain;
use jiff::civil::DateTime;
use std::path::{Path, PathBuf};

/// The most characters of the car in a name; file systems take 255 bytes in all.
const LONGEST_CAR: usize = 40;

/// The name of a log by the civil date and time at which it starts and the car, such as
/// `2026-11-25_1412_blue-saloon.csv`. The name of the car is reduced to letters, digits and hyphens
/// and cut where it is long; without one, or with none of these in it, the date and time stand
/// alone. A name that starts with a date is none of the device names of Windows.
pub fn default_name(at: DateTime, car: Option<&str>) -> String {
    let stamp = at.strftime("%Y-%m-%d_%H%M");
    match car.map(plain_name).filter(|car| !car.is_empty()) {
        Some(car) => format!("{stamp}_{car}.csv"),
        None => format!("{stamp}.csv"),
    }
}

/// Small letters without accents, digits, and one hyphen for whatever stands between them.
fn plain_name(car: &str) -> String {
    let mut name = String::new();
    let combining = |c: &char| ('\u{300}'..='\u{36f}').contains(c);
    for c in car.chars().flat_map(char::to_lowercase).filter(|c| !combining(c)) {
        if c.is_alphanumeric() {
            push_plain(&mut name, c);
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
        if name.chars().count() >= LONGEST_CAR {
            break;
        }
    }
    name.trim_end_matches('-').to_string()
}

/// The path itself where nothing has that name, else the first free one of `idle-2.csv`,
/// `idle-3.csv` and so on.
pub fn next_free(path: &Path) -> PathBuf {
    // A link that leads nowhere takes its name as well.
    let taken = |path: &Path| path.symlink_metadata().is_ok();
    let stem = path.file_stem().unwrap_or_default().to_os_string();
    let mut free = path.to_path_buf();
    let mut number: u32 = 2;
    while taken(&free) {
        let mut name = stem.clone();
        name.push(format!("-{number}"));
        if let Some(ending) = path.extension() {
            name.push(".");
            name.push(ending);
        }
        free.set_file_name(name);
        number += 1;
    }
    free
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;

    #[test]
    fn names_say_when_and_which_car() {
        let at = date(2026, 11, 25).at(14, 2, 59, 0);
        for (car, name) in [
            (Some("Blue Saloon"), "2026-11-25_1402_blue-saloon.csv"),
            (Some(" ../Gr\u{fc}ne:  Limousine\\1968?"), "2026-11-25_1402_grune-limousine-1968.csv"),
            (Some("cafe\u{301} racer"), "2026-11-25_1402_cafe-racer.csv"),
            (Some("CON"), "2026-11-25_1402_con.csv"),
            (Some("..."), "2026-11-25_1402.csv"),
            (None, "2026-11-25_1402.csv"),
        ] {
            assert_eq!(default_name(at, car), name);
        }
        assert_eq!(
            default_name(at, Some(&"ab ".repeat(500))).len(),
            "2026-11-25_1402_.csv".len() + LONGEST_CAR
        );
    }

    proptest! {
        #[test]
        fn any_car_gives_one_name_that_every_system_takes(car in "\\PC{0,300}") {
            let name = default_name(date(2026, 1, 2).at(3, 4, 5, 6), Some(&car));
            prop_assert!(name.len() <= 255 && name.starts_with("2026-01-02_0304"));
            let car = name.trim_start_matches("2026-01-02_0304").trim_end_matches(".csv");
            prop_assert!(car.chars().all(|c| c.is_alphanumeric() || c == '-' || c == '_'), "{name}");
        }
    }

    #[test]
    fn the_next_free_name_counts_up() {
        let folder = std::env::temp_dir().join(format!("evenbreath-name-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let wanted = folder.join("idle.csv");
        assert_eq!(next_free(&wanted), wanted);
        for next in ["idle.csv", "idle-2.csv", "idle-3.csv"] {
            assert_eq!(next_free(&wanted), folder.join(next));
            std::fs::write(folder.join(next), "").unwrap();
        }
        std::fs::write(folder.join("bare"), "").unwrap();
        assert_eq!(next_free(&folder.join("bare")), folder.join("bare-2"));
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
