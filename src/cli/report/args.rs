//! The command line of `report`.

use crate::cli::args::{Car, Output, Reading};
use crate::cli::values;
use crate::report::handover;
use clap::Args;
use jiff::civil::Date;
use std::path::PathBuf;

/// `report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// Write the page into this file, .html by its ending; one that is there is written over.
    #[arg(long, value_name = "FILE", value_parser = page,
          required_unless_present_any = ["json", "verify"], help_heading = "The answer")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    /// The logs.
    pub logs: Logs,
    #[command(flatten)]
    /// The job.
    pub job: JobArgs,
    #[command(flatten)]
    /// How to read them.
    pub reading: Reading,
    #[command(flatten)]
    /// The car.
    pub car: Car,
    /// Smallest idle drop that counts, rev/min [default: the greater of 20 and 2.5 % of idle].
    #[arg(long, value_name = "RPM", value_parser = values::threshold,
          allow_negative_numbers = true, help_heading = "The car")]
    pub threshold: Option<f64>,
    #[command(flatten)]
    /// The answer.
    pub output: Output,
    #[command(flatten)]
    /// The check.
    pub check: Check,
}

/// Which log is what. Any may be missing: the page then says 'not measured'.
#[derive(Debug, Clone, Default, Args)]
pub struct Logs {
    /// Balance before the work, idle and off idle in one log or idle alone. Where it has the mark
    /// 'cap off' it serves for the breather too.
    #[arg(long, value_name = "LOG", help_heading = "The logs")]
    pub before: Option<PathBuf>,
    /// Balance after the work, likewise.
    #[arg(long, value_name = "LOG", help_heading = "The logs")]
    pub after: Option<PathBuf>,
    /// Balance off idle before the work, where it is a log of its own.
    #[arg(long, value_name = "LOG", help_heading = "The logs")]
    pub off_idle_before: Option<PathBuf>,
    /// Balance off idle after the work, where it is a log of its own.
    #[arg(long, value_name = "LOG", help_heading = "The logs")]
    pub off_idle_after: Option<PathBuf>,
    /// Breather before the work.
    #[arg(long, value_name = "LOG", help_heading = "The logs")]
    pub breather_before: Option<PathBuf>,
    /// Breather after the work.
    #[arg(long, value_name = "LOG", help_heading = "The logs")]
    pub breather_after: Option<PathBuf>,
    /// Leak hunt.
    #[arg(long, value_name = "LOG", help_heading = "The logs")]
    pub hunt: Option<PathBuf>,
}

impl Logs {
    /// Every option that names a log, by its name, in the order of the work.
    pub fn each(&self) -> [(&'static str, &Option<PathBuf>); 7] {
        [
            ("breather-before", &self.breather_before),
            ("before", &self.before),
            ("off-idle-before", &self.off_idle_before),
            ("hunt", &self.hunt),
            ("breather-after", &self.breather_after),
            ("after", &self.after),
            ("off-idle-after", &self.off_idle_after),
        ]
    }
}

/// Whose car, when, by whose order.
#[derive(Debug, Clone, Default, Args)]
pub struct JobArgs {
    /// What the car is called; without it the profile or the logs say.
    #[arg(long = "car", value_name = "NAME", help_heading = "The job")]
    pub car_name: Option<String>,
    /// Who had the work done.
    #[arg(long, value_name = "NAME", help_heading = "The job")]
    pub customer: Option<String>,
    /// Number or name of the job.
    #[arg(long, value_name = "TEXT", help_heading = "The job")]
    pub job: Option<String>,
    /// Day of the work, such as 2026-03-14; without it the newest day that a log names as its start.
    #[arg(long, value_name = "DAY", value_parser = day, help_heading = "The job")]
    pub date: Option<Date>,
    /// Words of your own under the head of the page.
    #[arg(long, value_name = "TEXT", help_heading = "The job")]
    pub note: Option<String>,
    /// What was seen to before measuring, with commas between: 'engine fully warm', 'valve
    /// clearances', 'ignition timing and dwell', 'plugs and leads', 'hoses and seals', 'choke off',
    /// 'electrical loads off', 'air filter noted', 'throttle linkage free', 'oil level'. Anything
    /// else is added to the list.
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = handover::precondition,
          help_heading = "The job")]
    pub checked: Vec<String>,
}

/// The check of a page.
#[derive(Debug, Clone, Default, Args)]
pub struct Check {
    /// Check this page against its logs, found beside it or named: exit 0 when logs and page are as
    /// they were, else 1.
    #[arg(long, value_name = "FILE", help_heading = "The check", conflicts_with_all = NOT_WITH_VERIFY)]
    pub verify: Option<PathBuf>,
    /// Logs of the page that is checked, where they are not beside it.
    #[arg(value_name = "LOG", requires = "verify", help_heading = "The check")]
    pub named: Vec<PathBuf>,
    /// Folder in which to look for the logs.
    #[arg(long, value_name = "FOLDER", requires = "verify", help_heading = "The check")]
    pub logs_in: Option<PathBuf>,
}

/// What is asked of a page that is written; one that is checked brings its own.
const NOT_WITH_VERIFY: [&str; 31] = [
    "out",
    "before",
    "after",
    "off_idle_before",
    "off_idle_after",
    "breather_before",
    "breather_after",
    "hunt",
    "car_name",
    "customer",
    "job",
    "date",
    "note",
    "checked",
    "columns",
    "log_units",
    "sensor",
    "supply",
    "lenient",
    "profile",
    "baro",
    "altitude",
    "cylinders",
    "tolerance",
    "idle_target",
    "carb1",
    "carb2",
    "balance_pipe",
    "threshold",
    "units",
    "exit_code",
];

/// A file that a page can be written into.
fn page(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("html" | "htm") => Ok(path),
        _ => Err("a page is an .html file; end the name in .html".into()),
    }
}

fn day(text: &str) -> Result<Date, String> {
    text.trim().parse().map_err(|_| format!("{text:?} is no day; write it like 2026-03-14"))
}
