//! `demo`: the whole job on logs that come with the program.

use super::args::{Car, DemoArgs, Reading};
use super::compare::compared;
use super::failure::Failure;
use super::load::{Loaded, load_bytes};
use super::output::{answer, page};
use super::picture::frame;
use super::wishes::Wishes;
use crate::charts::{self, Frame};
use crate::findings::breather;
use crate::report::page::Tone;
use crate::report::{self, Page, cautions};
use std::fs;
use std::path::{Path, PathBuf};

macro_rules! sample_log {
    ($name:literal) => {
        ($name, include_bytes!(concat!("../../sample-logs/", $name)) as &[u8])
    };
}

type Bundled = (&'static str, &'static [u8]);

const LEAKING: Bundled = sample_log!("breather-leaking.csv");
const SEALED: Bundled = sample_log!("breather-sealed.csv");
const BEFORE: Bundled = sample_log!("balance-before.csv");
const AFTER: Bundled = sample_log!("balance-after.csv");

/// The workshop: where pictures go, and the page that is being written.
struct Job<'a> {
    folder: &'a Path,
    frame: Frame,
    page: Page,
    wishes: Wishes,
    pictures: Vec<PathBuf>,
}

/// Finds everything there is to find in the bundled logs, draws the charts and says where.
///
/// # Errors
/// The folder cannot be made or a chart cannot be drawn.
pub fn run(args: &DemoArgs) -> Result<u8, Failure> {
    fs::create_dir_all(&args.into)
        .map_err(|source| Failure::Write { path: args.into.clone(), source })?;
    let mut job = Job {
        folder: &args.into,
        frame: frame(args.chart_width, args.units),
        page: page(args.units),
        wishes: Wishes::new(&Reading::default(), &Car::default(), None)?,
        pictures: Vec::new(),
    };
    job.breather("1. The closed breather, before anything is set", LEAKING, "breather-leaking")?;
    job.breather("2. The same with the leak found and sealed", SEALED, "breather-sealed")?;
    job.balance()?;
    job.end();
    answer(job.page.finish().as_bytes())?;
    Ok(0)
}

impl Job<'_> {
    fn breather(&mut self, title: &str, log: Bundled, picture: &str) -> Result<(), Failure> {
        let loaded = self.load(title, log, "breather")?;
        let finding = breather::find(&loaded.signal, &loaded.conditions);
        let path = self.picture(picture);
        charts::breather(&path, &self.frame, &loaded.signal, &finding)?;
        report::breather::body(&mut self.page, &loaded.facts, &finding);
        Ok(())
    }

    fn balance(&mut self) -> Result<(), Failure> {
        let before = self.load("3. Balance before the work", BEFORE, "balance")?;
        let after = load_bytes(AFTER.0, AFTER.1, &self.wishes)?;
        let finding = compared(&before, &after);
        let one = [
            (&before, &finding.before, "balance-before"),
            (&after, &finding.after, "balance-after"),
        ];
        for (log, balance, picture) in one {
            let path = self.picture(picture);
            charts::balance(&path, &self.frame, &log.signal, balance, &log.conditions.sides)?;
        }
        let path = self.picture("compare");
        let sides = &after.conditions.sides;
        charts::compare(&path, &self.frame, &before.signal, &after.signal, &finding, sides)?;
        report::balance::body(&mut self.page, &before.facts, &finding.before, &before.conditions);
        self.title("4. Balance after the work", "balance", &[AFTER.0]);
        report::balance::body(&mut self.page, &after.facts, &finding.after, &after.conditions);
        self.title("5. What the work has changed", "compare", &[BEFORE.0, AFTER.0]);
        report::compare::body(&mut self.page, &before.facts, &after.facts, &finding);
        Ok(())
    }

    fn load(&mut self, title: &str, log: Bundled, command: &str) -> Result<Loaded, Failure> {
        self.title(title, command, &[log.0]);
        load_bytes(log.0, log.1, &self.wishes)
    }

    fn title(&mut self, title: &str, command: &str, logs: &[&str]) {
        self.page.rule();
        self.page.heading(title, Tone::Plain);
        let logs: Vec<String> = logs.iter().map(|name| format!("sample-logs/{name}")).collect();
        self.page.paragraph(&format!("$ evenbreath {command} {}", logs.join(" ")));
    }

    fn picture(&mut self, name: &str) -> PathBuf {
        let path = self.folder.join(name).with_extension("png");
        self.pictures.push(path.clone());
        path
    }

    fn end(&mut self) {
        self.page.rule();
        cautions::write(&mut self.page, &cautions::all());
        self.page.heading("Charts", Tone::Plain);
        for path in &self.pictures {
            self.page.item(&path.display().to_string());
        }
    }
}
