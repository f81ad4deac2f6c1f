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
use crate::units::PressureUnit;
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

/// The workshop: where logs and pictures go, and the page that is being written.
struct Job<'a> {
    folder: &'a Path,
    frame: Frame,
    page: Page,
    wishes: Wishes,
    logs: Vec<PathBuf>,
    pictures: Vec<PathBuf>,
}

/// Finds everything there is to find in the bundled logs, writes them down, draws the charts and says where.
///
/// # Errors
/// The folder cannot be made, or a log or a chart cannot be written into it.
pub fn run(args: &DemoArgs) -> Result<u8, Failure> {
    fs::create_dir_all(&args.into)
        .map_err(|source| Failure::Write { path: args.into.clone(), source })?;
    let mut job = Job {
        folder: &args.into,
        frame: frame(args.chart_width, args.units),
        page: page(args.units),
        wishes: Wishes::new(&Reading::default(), &Car::default(), None)?,
        logs: Vec::new(),
        pictures: Vec::new(),
    };
    job.breather("1. The closed breather, before anything is set", LEAKING, "breather-leaking")?;
    job.breather("2. The same with the leak found and sealed", SEALED, "breather-sealed")?;
    job.balance()?;
    let page = job.handover(args.units)?;
    job.end(&page);
    answer(job.page.finish().as_bytes())?;
    Ok(0)
}

impl Job<'_> {
    fn breather(&mut self, title: &str, log: Bundled, picture: &str) -> Result<(), Failure> {
        let loaded = self.load(title, log, "breather")?;
        let finding = breather::find(&loaded.signal, &loaded.conditions);
        let path = self.picture(picture);
        let sides = &loaded.conditions.sides;
        charts::breather(&path, &self.frame, &loaded.signal, &finding, sides)?;
        report::breather::body(&mut self.page, &loaded.facts, &finding);
        Ok(())
    }

    fn balance(&mut self) -> Result<(), Failure> {
        let before = self.load("3. Balance before the work", BEFORE, "balance")?;
        let after = self.unpack(AFTER)?;
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
        self.unpack(log)
    }

    /// Puts a log where the person can try the commands on it, and reads it.
    fn unpack(&mut self, (name, bytes): Bundled) -> Result<Loaded, Failure> {
        let path = self.folder.join(name);
        fs::write(&path, bytes).map_err(|source| Failure::Write { path: path.clone(), source })?;
        self.logs.push(path);
        load_bytes(name, bytes, &self.wishes, None)
    }

    fn title(&mut self, title: &str, command: &str, logs: &[&str]) {
        self.page.rule();
        self.page.heading(title, Tone::Plain);
        let logs = logs.iter().map(|name| quoted(&self.folder.join(name)));
        let words = ["evenbreath", command].map(str::to_string).into_iter().chain(logs);
        self.page.command(&words.collect::<Vec<_>>());
    }

    fn picture(&mut self, name: &str) -> PathBuf {
        let path = self.folder.join(name).with_extension("png");
        self.pictures.push(path.clone());
        path
    }

    /// The page that is handed over, of all four logs.
    fn handover(&mut self, unit: PressureUnit) -> Result<PathBuf, Failure> {
        let logs = [
            ("breather-before", LEAKING.0),
            ("before", BEFORE.0),
            ("breather-after", SEALED.0),
            ("after", AFTER.0),
        ];
        let path = self.folder.join("handover.html");
        super::report::page_of(self.folder, &path, unit, &logs)?;
        Ok(path)
    }

    fn end(&mut self, handover: &Path) {
        self.page.rule();
        cautions::write(&mut self.page, &cautions::all());
        for (title, paths) in [("Logs", &self.logs), ("Charts", &self.pictures)] {
            self.page.heading(title, Tone::Plain);
            for path in paths {
                self.page.item(&path.display().to_string());
            }
        }
        self.page.heading("The page that is handed over", Tone::Plain);
        self.page.item(&handover.display().to_string());
    }
}

/// A path as a shell takes it for one word.
fn quoted(path: &Path) -> String {
    let text = path.display().to_string();
    if text.chars().all(|c| c.is_alphanumeric() || "/\\._-+,:@%=".contains(c)) {
        return text;
    }
    format!("'{}'", text.replace('\'', "'\\''"))
}
