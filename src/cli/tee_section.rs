//! The section `[tee_run]` of a profile: the line of the pair, read and written.

use super::failure::Failure;
use super::profile::{Key, Profile, Wrong, key, real, take, text};
use crate::findings::pair_match::PairMatch;
use crate::sensors::matching::TeeRun;
use jiff::civil::Date;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use toml::{Table, Value};

/// Name of the section.
pub const NAME: &str = "tee_run";

/// Keys of the section, all of them needed.
pub const KEYS: [Key; 10] = [
    key("date", "a day in quotes", "date = \"2026-03-14\""),
    key("offset_kpa", "a number from -100 to 100", "offset_kpa = 0.9"),
    key("offset_u_kpa", "a number from 0 to 100", "offset_u_kpa = 0.02"),
    key("gain_percent", "a number from -50 to 50", "gain_percent = 1.7"),
    key("gain_u_percent", "a number from 0 to 50", "gain_u_percent = 0.04"),
    key("correlation", "a number from -1 to 1", "correlation = -0.8"),
    key("dof", "a number above 0", "dof = 24"),
    key("residual_kpa", "a number from 0 to 100", "residual_kpa = 0.05"),
    key("vacuum_from_kpa", "a number from -10 to 110", "vacuum_from_kpa = 0"),
    key("vacuum_to_kpa", "a number from -10 to 110", "vacuum_to_kpa = 70"),
];

/// What to do with a section that cannot be used.
const AGAIN: &str = "make the tee run again ('evenbreath match LOG --store FILE')";

/// Reads the section of a profile.
///
/// # Errors
/// A key that is missing, unknown or makes no sense.
pub fn read(profile: &Table) -> Result<Option<TeeRun>, Wrong> {
    let Some(section) = take(profile, NAME, |value| value.as_table().cloned())? else {
        return Ok(None);
    };
    let date = needed(&section, "date", text)?;
    if date.parse::<Date>().is_err() {
        return Err(("date", format!("{date:?} is no day; write year, month and day")));
    }
    let number = |name: &'static str, low: f64, high: f64| {
        let value = needed(&section, name, real)?;
        let fits = (low..=high).contains(&value);
        let wrong = || (name, format!("{value} is not from {low} to {high}; {AGAIN}, or write"));
        if fits { Ok(value) } else { Err(wrong()) }
    };
    let vacuum_kpa =
        (number("vacuum_from_kpa", -10.0, 110.0)?, number("vacuum_to_kpa", -10.0, 110.0)?);
    if vacuum_kpa.0 >= vacuum_kpa.1 {
        let what = format!("{} is below the start of the range, {}", vacuum_kpa.1, vacuum_kpa.0);
        return Err(("vacuum_to_kpa", format!("{what}; {AGAIN}, or write")));
    }
    Ok(Some(TeeRun {
        date,
        age_days: None,
        offset_kpa: number("offset_kpa", -100.0, 100.0)?,
        u_offset_kpa: number("offset_u_kpa", 0.0, 100.0)?,
        gain: number("gain_percent", -50.0, 50.0)? / 100.0,
        u_gain: number("gain_u_percent", 0.0, 50.0)? / 100.0,
        correlation: number("correlation", -1.0, 1.0)?,
        dof: number("dof", 0.1, 1e9)?,
        residual_kpa: number("residual_kpa", 0.0, 100.0)?,
        vacuum_kpa,
    }))
}

fn needed<T>(
    section: &Table,
    name: &'static str,
    read: impl Fn(&Value) -> Option<T>,
) -> Result<T, Wrong> {
    let missing = || (NAME, format!("the section has no {name}; {AGAIN}, or add"));
    take(section, name, read)?.ok_or_else(missing)
}

/// The lines of the section, in the order of [`KEYS`]; none where the log gave no line.
fn lines(found: &PairMatch, date: &str) -> Option<Vec<(&'static str, String)>> {
    let covariance = found.covariance?;
    let (u_offset, u_gain) = (covariance.offset_kpa2.max(0.0).sqrt(), covariance.gain.sqrt());
    let both = u_offset * u_gain;
    let correlation = if both > 0.0 { covariance.offset_gain_kpa / both } else { 0.0 };
    let number = |value: f64, decimals: usize| format!("{value:.decimals$}");
    let values = [
        format!("{date:?}"),
        number(found.offset_kpa?, 4),
        number(u_offset, 5),
        number(100.0 * found.gain?, 5),
        number(100.0 * u_gain, 6),
        number(correlation.clamp(-1.0, 1.0), 5),
        number(found.dof?.clamp(0.1, 1e6), 1),
        number(found.residual_kpa?, 4),
        number(found.vacuum_from_kpa?, 1),
        number(found.vacuum_to_kpa?, 1),
    ];
    Some(KEYS.iter().map(|key| key.name).zip(values).collect())
}

/// Writes the section into a profile; everything else in the file stays as it is, and a file that is
/// not there is made.
///
/// # Errors
/// A log without a line, a file that is no profile or whose section stands in a form that cannot be
/// written over, a folder that cannot be written to. The file is then as it was.
pub fn store(path: &Path, found: &PairMatch, date: &str) -> Result<(), Failure> {
    let nothing = || Failure::NothingToStore { path: path.into(), why: found.say.clone() };
    let lines = lines(found, date).ok_or_else(nothing)?;
    let before = match fs::symlink_metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        _ => {
            Profile::read(path)?;
            let cannot = |source| Failure::ProfileUnreadable { path: path.into(), source };
            Some(fs::read_to_string(path).map_err(cannot)?)
        }
    };
    let after = written_into(before.as_deref().unwrap_or(""), &lines);
    if !keeps_the_rest(before.as_deref().unwrap_or(""), &after, &lines) {
        return Err(Failure::SectionInTheWay { path: path.into(), name: NAME });
    }
    replace(path, &after).map_err(|source| Failure::Write { path: path.into(), source })
}

/// The text of a profile with these lines as its section.
fn written_into(before: &str, lines: &[(&'static str, String)]) -> String {
    let end = if before.contains("\r\n") { "\r\n" } else { "\n" };
    let all: Vec<&str> = before.lines().collect();
    let opens = |line: &&str| line.trim_start().starts_with('[');
    let is_ours = |line: &&str| {
        let inside = line.trim_start().strip_prefix('[').and_then(|rest| rest.split_once(']'));
        inside.is_some_and(|(name, _)| name.trim() == NAME)
    };
    let ours: Vec<String> = lines.iter().map(|(key, value)| format!("{key} = {value}")).collect();
    let mut out: Vec<String> = Vec::new();
    match all.iter().position(is_ours) {
        None => {
            out.extend(all.iter().map(ToString::to_string));
            if out.last().is_some_and(|line| !line.trim().is_empty()) {
                out.push(String::new());
            }
            out.push(format!("[{NAME}]"));
            out.extend(ours);
        }
        Some(at) => {
            let length = all[at + 1..].iter().position(opens);
            let next = length.map_or(all.len(), |length| at + 1 + length);
            out.extend(all[..=at].iter().map(ToString::to_string));
            out.extend(ours);
            let is_a_key =
                |line: &&&str| line.trim_start().starts_with(|c: char| c.is_alphanumeric());
            let kept = all[at + 1..next].iter().filter(|line| !is_a_key(line));
            out.extend(kept.map(ToString::to_string));
            out.extend(all[next..].iter().map(ToString::to_string));
        }
    }
    out.join(end) + end
}

/// The new text reads as the old one did but for the section, and that is what was to be written.
fn keeps_the_rest(before: &str, after: &str, lines: &[(&'static str, String)]) -> bool {
    let parsed = |text: &str| toml::from_str::<Table>(text).ok();
    let (Some(mut old), Some(mut new)) = (parsed(before), parsed(after)) else { return false };
    old.remove(NAME);
    let Some(Value::Table(section)) = new.remove(NAME) else { return false };
    let wanted = lines.iter().map(|(key, value)| format!("{key} = {value}\n")).collect::<String>();
    old == new && parsed(&wanted) == Some(section)
}

/// Puts a text in the place of a file, whole or not at all.
fn replace(path: &Path, text: &str) -> io::Result<()> {
    // A link stays a link: what it leads to is replaced.
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.into());
    let passing = passing(&target);
    let written = File::create_new(&passing).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        if let Ok(old) = fs::metadata(&target) {
            file.set_permissions(old.permissions())?;
        }
        file.sync_all()
    });
    let done = written.and_then(|()| fs::rename(&passing, &target));
    if done.is_err() {
        // The error that brought us here is the one worth telling.
        let _ = fs::remove_file(&passing);
    }
    done
}

/// A passing name in the same folder.
fn passing(target: &Path) -> PathBuf {
    target.with_file_name(format!(".unfinished-{}.toml", std::process::id()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINES: [(&str, &str); 2] = [("date", "\"2026-03-14\""), ("dof", "24.0")];

    fn written(before: &str) -> String {
        let lines = LINES.map(|(key, value)| (key, value.to_string()));
        let after = written_into(before, &lines);
        assert!(keeps_the_rest(before, &after, &lines), "{before}\nbecame\n{after}");
        after
    }

    const OURS: &str = "[tee_run]\ndate = \"2026-03-14\"\ndof = 24.0\n";

    #[test]
    fn the_section_goes_to_the_end_or_into_its_own_place() {
        assert_eq!(written(""), OURS);
        assert_eq!(written("car = 'x' # mine\n"), format!("car = 'x' # mine\n\n{OURS}"));
        assert_eq!(written("car = 'x'"), format!("car = 'x'\n\n{OURS}"));
        let before = "# top\ncar = 'x'\n\n[ tee_run ] # the pair\n# by hand\ndate = 'old'\nlag = 3\n\n# end\n";
        let after = "# top\ncar = 'x'\n\n[ tee_run ] # the pair\ndate = \"2026-03-14\"\ndof = 24.0\n# by hand\n\n# end\n";
        assert_eq!(written(before), after);
        assert_eq!(written(after), after, "a second time changes nothing");
        let dos = written("car = 'x'\r\n[tee_run]\r\ndof = 3\r\n");
        assert_eq!(dos, "car = 'x'\r\n[tee_run]\r\ndate = \"2026-03-14\"\r\ndof = 24.0\r\n");
    }

    #[test]
    fn what_cannot_be_written_over_by_lines_is_seen() {
        let lines = LINES.map(|(key, value)| (key, value.to_string()));
        for before in [
            "tee_run = { dof = 3 }\n",
            "tee_run.dof = 3\n",
            "columns = '''\n[tee_run]\ndof = 3\n'''\n",
        ] {
            let after = written_into(before, &lines);
            assert!(!keeps_the_rest(before, &after, &lines), "{before}\nbecame\n{after}");
        }
    }
}
