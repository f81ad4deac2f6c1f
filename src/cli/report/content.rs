//! The logs of a job, read, and what is found in them.

use super::args::ReportArgs;
use super::{pictures, settings};
use crate::cli::days;
use crate::cli::failure::Failure;
use crate::cli::load::{Loaded, load_bytes};
use crate::cli::profile::Profile;
use crate::cli::wishes::Wishes;
use crate::findings::{balance, breather, hunt};
use crate::report::handover::{
    self, Balances, Charts, Drawing, Found, Handover, Job, LogFile, Measured, Pair, Turn, shown,
};
use crate::sample::Meaning;
use jiff::civil::Date;
use sha2::{Digest, Sha256};
use std::path::{Component, Path, PathBuf};

/// A log of the job.
struct LogRead {
    file: LogFile,
    loaded: Loaded,
}

/// The logs of a job with everything that was said about it.
pub struct Content {
    logs: Vec<LogRead>,
    job: Job,
    checked: Vec<String>,
    wishes: Wishes,
    settings: std::collections::BTreeMap<String, String>,
    profile: Option<String>,
}

/// The profile in words that say no more than its keys: comments are nobody's business on a page that is
/// handed over.
///
/// # Errors
/// As [`Profile::read`].
pub fn profile_words(path: &Path) -> Result<String, Failure> {
    let text = Profile::text(path)?;
    Profile::parse(path, &text)?;
    Ok(text.parse::<toml::Table>().map(|table| table.to_string()).unwrap_or(text))
}

/// Reads the logs that `args` names, each once; `fetch` gives the bytes of one.
///
/// # Errors
/// A log cannot be read, or no log is named.
pub fn gather(
    args: &ReportArgs,
    profile: Option<String>,
    mut fetch: impl FnMut(&Path) -> Result<Vec<u8>, Failure>,
) -> Result<Content, Failure> {
    let said = match &profile {
        Some(words) => {
            let path = args.reading.profile.clone().unwrap_or_else(|| "of the page".into());
            Profile::parse(&path, words)?
        }
        None => Profile::default(),
    };
    let wishes = Wishes::with_profile(&args.reading, &args.car, args.output.units, said)?;
    let mut logs: Vec<LogRead> = Vec::new();
    let mut paths: Vec<PathBuf> = Vec::new();
    for (option, path) in args.logs.each() {
        let Some(path) = path else { continue };
        if let Some(known) = paths.iter().position(|known| known == path) {
            logs[known].file.given_as.push(option.into());
            continue;
        }
        let bytes = fetch(path)?;
        let mut loaded = load_bytes(&path.display().to_string(), &bytes, &wishes, args.threshold)?;
        tame(&mut loaded);
        date_tee_run(&mut loaded, args.job.date);
        let sha256 = Sha256::digest(&bytes).iter().map(|byte| format!("{byte:02x}")).collect();
        let name = name_of(path, &logs);
        let bytes = bytes.len() as u64;
        logs.push(LogRead {
            file: LogFile { given_as: vec![option.into()], name, bytes, sha256 },
            loaded,
        });
        paths.push(path.clone());
    }
    if logs.is_empty() {
        return Err(Failure::NoLog);
    }
    let job = job(args, &wishes, &logs);
    let checked = args.job.checked.clone();
    Ok(Content { logs, job, checked, wishes, settings: settings::of(args), profile })
}

/// Names of sides stand in many places of the page: one that is a book would bury the rest.
const LONGEST_NAME: usize = 40;

fn tame(loaded: &mut Loaded) {
    let sides = &mut loaded.conditions.sides;
    for name in [&mut sides.one, &mut sides.two] {
        let plain = shown(name);
        *name = plain.chars().take(LONGEST_NAME).collect();
        if plain.chars().count() > LONGEST_NAME {
            name.push('…');
        }
    }
    if sides.one == sides.two {
        sides.one += " (1)";
        sides.two += " (2)";
    }
}

/// The age of a tee run counts to the day of the log, or of the job: a page must not depend on the day on
/// which it is made.
fn date_tee_run(loaded: &mut Loaded, date: Option<Date>) {
    if started(loaded).is_some() {
        return;
    }
    if let Some(run) = &mut loaded.conditions.tee_run {
        let made = run.date.parse().ok();
        run.age_days = made.zip(date).and_then(|(made, date)| days::between(made, date));
    }
}

fn started(loaded: &Loaded) -> Option<Date> {
    days::started(&loaded.head)
}

/// What the page calls a log: its path where that says nothing of the rest of the disk, else its last
/// name; another name for another log.
fn name_of(path: &Path, logs: &[LogRead]) -> String {
    if path == Path::new("-") {
        return "standard input".into();
    }
    let inside =
        path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    let short = if inside { Some(path.as_os_str()) } else { path.file_name() };
    let name = short.unwrap_or(path.as_os_str()).to_string_lossy().replace('\\', "/");
    let taken = |name: &str| logs.iter().any(|log| log.file.name == name);
    let mut own = name.clone();
    let mut number = 2;
    while taken(&own) {
        own = format!("{name} ({number})");
        number += 1;
    }
    own
}

fn job(args: &ReportArgs, wishes: &Wishes, logs: &[LogRead]) -> Job {
    let said = &args.job;
    let newest = logs.iter().filter_map(|log| started(&log.loaded)).max();
    let engine = logs.iter().find_map(|log| log.loaded.head.engine.clone());
    let conditions = logs.last().map(|log| &log.loaded.conditions);
    Job {
        car: said.car_name.clone().or_else(|| wishes.car()),
        engine,
        customer: said.customer.clone(),
        job: said.job.clone(),
        date: said.date.or(newest).map(|date| date.to_string()),
        note: said.note.clone(),
        cylinders: conditions.map(|conditions| conditions.cylinders),
        idle_target_rpm: logs.iter().find_map(|log| log.loaded.conditions.idle_target_rpm),
    }
}

impl Content {
    /// The log that one of these options named, the first that did.
    fn given_as(&self, option: &str) -> Option<&LogRead> {
        self.logs.iter().find(|log| log.file.given_as.iter().any(|given| given == option))
    }

    /// The breather's own log, or the balance log that has a cap test in it.
    fn breather(&self, own: &str, other: &str) -> Option<&LogRead> {
        let has_cap_test = |log: &&LogRead| {
            log.loaded.signal.track.marks.iter().any(|mark| mark.meaning == Meaning::CapOff)
        };
        self.given_as(own).or_else(|| self.given_as(other).filter(has_cap_test))
    }

    /// The log of one of these options.
    fn loaded(&self, option: &str) -> Option<&Loaded> {
        self.given_as(option).map(|log| &log.loaded)
    }

    /// Finds what there is to find, and draws it.
    ///
    /// # Errors
    /// A log of the balance lacks a vacuum, or a chart cannot be drawn.
    pub fn handover(&self) -> Result<Handover<'_>, Failure> {
        let unit = self.wishes.unit();
        let logs =
            [self.breather("breather-before", "before"), self.breather("breather-after", "after")];
        let [before, after] = logs.map(|log| {
            let loaded = &log?.loaded;
            Some(found(loaded, breather::find(&loaded.signal, &loaded.conditions)))
        });
        let breather = Pair { before, after };
        let hunt =
            self.loaded("hunt").map(|log| found(log, hunt::find(&log.signal, &log.conditions)));
        let (balance, balance_charts) = self.balances("before", "after")?;
        let (off_idle, off_idle_charts) = self.balances("off-idle-before", "off-idle-after")?;
        let [first, second] = logs;
        let named = [
            ("Before the work", first, &breather.before),
            ("After the work", second, &breather.after),
        ];
        let named: Vec<_> = named
            .into_iter()
            .filter_map(|(name, log, found)| Some((name, &log?.loaded, &found.as_ref()?.finding)))
            .collect();
        let hunt_chart = match (self.loaded("hunt"), &hunt) {
            (Some(log), Some(hunt)) => pictures::hunt(unit, log, &hunt.finding)?,
            _ => None,
        };
        let charts = Charts {
            breather: pictures::breather(unit, &named)?,
            balance: [balance_charts, off_idle_charts],
            hunt: hunt_chart,
        };
        let turned = self.logs.iter().flat_map(|log| {
            let Loaded { signal, conditions, .. } = &log.loaded;
            Turn::of(&log.file.name, &signal.track.marks, &conditions.sides)
        });
        Ok(Handover {
            job: self.job.clone(),
            preconditions: handover::ticked(&self.checked),
            unit,
            breather,
            balance,
            off_idle,
            hunt,
            charts,
            turned: turned.collect(),
            logs: self.logs.iter().map(|log| log.file.clone()).collect(),
            settings: self.settings.clone(),
            profile: self.profile.clone(),
        })
    }

    /// The balance of two logs, with its chart.
    fn balances(&self, before: &str, after: &str) -> Result<(Balances<'_>, Vec<Drawing>), Failure> {
        let logs = [self.loaded(before), self.loaded(after)];
        for log in logs.into_iter().flatten() {
            log.needs_both_vacuums()?;
        }
        let [before, after] =
            logs.map(|log| log.map(|log| found(log, balance::find(&log.signal, &log.conditions))));
        let balances = Balances::new(Pair { before, after });
        let charts = pictures::balance(self.wishes.unit(), logs, &balances)?;
        Ok((balances, charts))
    }
}

fn found<F>(loaded: &Loaded, finding: F) -> Found<'_, F> {
    let log = Measured { facts: &loaded.facts, conditions: &loaded.conditions };
    Found { log, finding }
}
