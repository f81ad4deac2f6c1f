//! `record`: from a cable to a log that has lost nothing and knows it.

pub mod args;
mod display;
mod drive;
mod keys;
mod led;
pub mod lesson;
mod page;
mod screen;
mod screen_lines;
pub(super) mod signals;
mod source;
mod summary;
mod teacher;
mod typing;
mod verdict;
mod why;

use super::failure::Failure;
use super::output::{self, answer, message};
use super::wishes::Wishes;
use crate::log::journal;
use crate::recording;
use crate::recording::guide::{Guide, Plan, PlanError, Suspect};
use crate::recording::readings::Said;
use crate::recording::session::Wanted;
use crate::report::json;
use crate::units::STANDARD_ATMOSPHERE;
use args::RecordArgs;
use display::Display;
use drive::Outcome;
use jiff::Zoned;
use led::Led;
use page::{Asked, Feed, Page};
use source::Source;
use std::path::{Path, PathBuf};
use summary::Summary;

/// Records, and says what it has come to. With a page another recording may be begun there.
///
/// # Errors
/// The source cannot be opened, the log cannot be made, or nothing was heard.
pub fn run(args: &RecordArgs) -> Result<u8, Failure> {
    if let Some(what) = args.in_vain() {
        return Err(Failure::Plan(what));
    }
    let wishes = Wishes::new(&args.reading, &args.car, args.units)?;
    let asked = args.page.map(|port| Asked { port, share: args.share, open: args.open });
    let mut path = path(args.log.as_deref(), &wishes, &Zoned::now())?;
    let mut page = asked.map(Page::new).transpose()?;
    loop {
        let (code, again) = one(args, &wishes, path.clone(), page.as_mut())?;
        let Some(page) = page.as_mut().filter(|_| again) else { return Ok(code) };
        message("ended on the page, which can begin another; Ctrl-C ends the program");
        let Some(next) = page.next(|name| another(&path, name, &wishes)) else { return Ok(code) };
        path = next;
    }
}

/// Another log beside the last one.
fn another(last: &Path, name: &str, wishes: &Wishes) -> Result<PathBuf, String> {
    let named = (!name.is_empty()).then(|| last.with_file_name(name));
    path(named.as_deref(), wishes, &Zoned::now()).map_err(|why| why.to_string())
}

/// One recording; true where another may be begun on the page.
fn one(
    args: &RecordArgs,
    wishes: &Wishes,
    path: PathBuf,
    page: Option<&mut Page>,
) -> Result<(u8, bool), Failure> {
    let led = led(args, wishes)?;
    let source = source::chosen(args, wishes)?;
    let wanted = wanted(args, wishes, &source, path, &Zoned::now());
    let numbered = source.numbered;
    let hub = page.as_ref().map(|page| page.hub());
    let Outcome { finished, source, ended, led, failure, stopped_on_page, .. } = {
        let conditions = wishes.live_conditions(&wanted.head, args.threshold)?;
        let feed = page.as_ref().map(|page| Feed::new(page.hub(), conditions.clone(), 0.0));
        let display = Display::new(conditions, wishes.unit()).with_page(feed);
        drive::record(args, wanted, source, (led, None), display, page.map(Page::presses))?
    };
    let mut summary = Summary::new(&finished, source, ended, led.as_ref());
    summary.numbered = numbered;
    if let (Some(hub), Some(led), Some(file)) = (hub, &led, &summary.file)
        && led.guide().is_finished()
        && finished.trouble.is_none()
        && let Ok(sentence) = verdict::sentence(led.guide().work(), file, args)
    {
        hub.conclude(sentence);
    }
    let judged = match (&led, &summary.file) {
        (Some(led), Some(file)) if args.json && led.guide().is_finished() => {
            let (finding, code) = verdict::json(led.guide().work(), file, args)?;
            summary.finding = finding;
            code
        }
        _ => 0,
    };
    if args.json {
        answer(json::plain(&summary)?.as_bytes())?;
    } else if summary.file.is_some() {
        let mut page = output::page(wishes.unit());
        summary.write(&mut page);
        answer(page.finish().as_bytes())?;
    }
    if let Some(failure) = failure {
        return Err(failure);
    }
    if summary.tally.rows == 0 {
        let heard = why::nothing_came(&finished, &summary.source, args);
        return Err(Failure::NothingRecorded { heard });
    }
    let code = match (&led, &summary.file) {
        (Some(led), Some(file)) if led.guide().is_finished() && !args.json => {
            answer(b"\n")?;
            verdict::words(led.guide().work(), file, args)?
        }
        (Some(led), Some(file)) if !args.json => {
            message(&verdict::unfinished(led.guide(), file));
            0
        }
        _ => judged,
    };
    Ok((code, stopped_on_page && !args.json))
}

/// The log to write: the one that was named, or a free name of date, time and car.
fn path(given: Option<&Path>, wishes: &Wishes, now: &Zoned) -> Result<PathBuf, Failure> {
    let path = match given {
        Some(path) if path == Path::new("-") => {
            let what = "a recording is a file, and '-' is none; name one, or leave it out".into();
            return Err(Failure::Plan(what));
        }
        Some(path) => path.to_path_buf(),
        None => {
            let name = journal::default_name(now.datetime(), wishes.car().as_deref());
            journal::next_free(Path::new(&name))
        }
    };
    journal::check_name(&path).map_err(recording::Failure::from)?;
    Ok(path)
}

fn wanted(
    args: &RecordArgs,
    wishes: &Wishes,
    source: &Source,
    path: PathBuf,
    now: &Zoned,
) -> Wanted {
    let mut head = vec![("started".to_string(), now.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string())];
    head.extend(wishes.head());
    for (key, value) in &source.head {
        if head.iter().all(|(known, _)| known != key) {
            head.push((key.clone(), value.clone()));
        }
    }
    let said = Said {
        sensor: args.reading.sensor,
        crank: args.crank_sensor,
        supply_v: args.reading.supply,
        unit: args.reading.log_units,
    };
    let baro = wishes.baro().unwrap_or(STANDARD_ATMOSPHERE);
    Wanted { path, head, said, baro }
}

fn led(args: &RecordArgs, wishes: &Wishes) -> Result<Option<Led>, Failure> {
    let Some(guided) = args.guide else { return Ok(None) };
    let mut plan = Plan::new(guided.work());
    if let Some(times) = args.times {
        (plan.openings, plan.trials) = (times, times);
    }
    plan.suspects = args.suspect.iter().map(|name| Suspect::from(name.as_str())).collect();
    plan.hands_free = args.hands_free;
    let [one, two] = wishes.names();
    plan.carb_names =
        [one.unwrap_or(plan.carb_names[0].clone()), two.unwrap_or(plan.carb_names[1].clone())];
    let guide = Guide::new(&plan).map_err(|wrong| match wrong {
        PlanError::NoSuspect => Failure::Plan(format!("{wrong}; one --suspect NAME for each")),
        wrong => Failure::Plan(wrong.to_string()),
    })?;
    if args.source.model.is_some() {
        for suspect in guide.unplayed() {
            message(&format!(
                "the model engine has tracts and seals, and nothing called {suspect:?}: sealing it \
                 will show nothing"
            ));
        }
    }
    Ok(Some(Led::new(guide, args.source.seed)))
}
