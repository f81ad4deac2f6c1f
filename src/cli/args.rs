//! The command line.

pub use super::archive::args::Many;
use super::profile_args::ProfileCommand;
use super::record::args::RecordArgs;
use super::record::lesson::LessonArgs;
use super::report::args::ReportArgs;
use super::values::{self, Cylinders, Given};
use crate::sensors::transfer::{self, Transfer};
use crate::units::{PressureUnit, VoltsToKpa};
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand};
use clap_complete::Shell;
use std::path::PathBuf;

/// Measures how evenly two carburettors feed one engine, and whether the closed crankcase breather
/// is sealed, from a log of manifold vacuum and engine speed. Every verdict comes with its
/// interval; where the log cannot tell, it says so and what would.
#[derive(Debug, Parser)]
#[command(
    name = "evenbreath",
    version,
    override_usage = "evenbreath <COMMAND>",
    after_help = "\
Exit codes:
  0   the work is done
  1   a page that was checked is
      not as it was
  2   the input or the command line
      cannot be used
  3   the device was silent or lost
With --exit-code also:
  10  bad
  11  not settled

Example:
  evenbreath balance idle.csv --chart idle.png"
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Which side passes more air, which screw to turn, and how sure that is
    ///
    /// Looks at every stretch of steady speed in the log, takes out the difference between the two
    /// sensors, and says whether the vacuums agree within the tolerance.
    #[command(after_help = "\
Examples:
  evenbreath balance idle.csv --units mmHg
  evenbreath balance logs/ --rows club.parquet")]
    Balance(BalanceArgs),
    /// Whether the closed crankcase breather is sealed, from the idle drop with the cap off
    ///
    /// The log should hold a warm idle with the oil filler cap off and on again two or three
    /// times. The marks 'cap off' and 'cap on' help, but are not needed.
    #[command(after_help = "\
Example:
  evenbreath breather cap.csv --chart cap.svg")]
    Breather(BreatherArgs),
    /// Which of several suspects leaks, and how much
    ///
    /// At idle seal or pinch one suspect for 8 s and release it for 8 s, then the next, and go round
    /// all of them two or three times; the marks 'seal NAME' and 'release NAME' say when. A drilled
    /// jet on a spare tap ('known leak 1.5 mm', 'known leak closed') measures the hole. 'record
    /// --guide hunt' leads through it.
    #[command(after_help = "\
Example:
  evenbreath hunt hunt.csv --chart hunt.svg")]
    Hunt(HuntArgs),
    /// What the work has changed: two logs side by side
    #[command(
        override_usage = "evenbreath compare [OPTIONS] BEFORE AFTER",
        after_help = "\
Example:
  evenbreath compare before.csv after.csv"
    )]
    Compare(CompareArgs),
    /// The page that is handed over: before, after, how sure, in one HTML file
    ///
    /// Puts breather, balance and hunt of a whole job on two to four sheets with their charts, and
    /// says what was not measured. The page needs no network and no other file, and carries what it
    /// takes to check it against its logs: 'evenbreath report --verify FILE'.
    #[command(
        override_usage = "evenbreath report --out FILE [OPTIONS]\n       \
                          evenbreath report --verify FILE [LOG]...",
        after_help = "\
Examples:
  evenbreath report --out car.html \\
    --before before.csv --after after.csv
  evenbreath report --verify car.html"
    )]
    Report(Box<ReportArgs>),
    /// What is in a log: columns, steady stretches, steps, faults of the data
    ///
    /// Claims nothing of the engine. The first thing to try with a log from another program.
    #[command(after_help = "\
Example:
  evenbreath inspect other.csv \\
    --columns \"vac1=Front,vac2=Rear\"")]
    Inspect(InspectArgs),
    /// What the two sensors differ by, from a log with both hoses on one tap
    ///
    /// Put both hoses on one tap through a T-piece and log idle, two or three held speeds and ten
    /// seconds with the engine off; the marks 'tee on' and 'tee off' say which part counts, else
    /// all of it does. Store the line in the car's profile: 'balance' takes it out.
    #[command(after_help = "\
Example:
  evenbreath match tee.csv --store car.toml")]
    Match(MatchArgs),
    /// Records from a serial box into a log that knows what it has lost
    ///
    /// Finds the one port that speaks, writes every sample to the file within a quarter of a second
    /// and to the disk every second, counts what is lost, and goes on when the cable was out. Ctrl-C
    /// ends it. With --guide it leads through a piece of work and prints the verdict.
    #[command(after_help = "\
Examples:
  evenbreath record idle.csv
  evenbreath record --guide breather \\
    --profile car.toml
  evenbreath record --model --speed 10 \\
    --guide breather")]
    Record(Box<RecordArgs>),
    /// A model engine for a class, on a page with controls for the instructor
    ///
    /// Serves the page of a recording with a model engine behind it: its flows drawn, what is
    /// predicted beside what is measured, scenes with a question and its answer, a fault hidden at
    /// random. Each engine and each scene is a log of its own, which 'balance' and 'breather' judge.
    #[command(after_help = "\
Examples:
  evenbreath lesson --open
  evenbreath lesson class.csv --scene 4 --share")]
    Lesson(LessonArgs),
    /// What stays true of a car: asks for it and writes a profile, or says what one holds
    #[command(
        subcommand,
        after_help = "\
Examples:
  evenbreath profile new car.toml
  evenbreath profile check car.toml"
    )]
    Profile(ProfileCommand),
    /// Lists the serial ports and says what is heard on each
    #[command(after_help = "\
Example:
  evenbreath ports --seconds 5")]
    Ports(PortsArgs),
    /// The whole job on logs that come with the program, with charts
    #[command(after_help = "\
Example:
  evenbreath demo --into /tmp/evenbreath")]
    Demo(DemoArgs),
    /// Writes the completion script of a shell to standard output
    #[command(after_help = "\
Example:
  evenbreath completions bash \\
    > evenbreath.bash")]
    Completions {
        /// The shell.
        shell: Shell,
    },
    /// Writes the manual pages
    #[command(after_help = "\
Examples:
  evenbreath manual | man -l -
  evenbreath manual --into ~/.local/share/man/man1")]
    Manual {
        /// Folder for one page a command; without it the main page goes to standard output.
        #[arg(long, value_name = "FOLDER")]
        into: Option<PathBuf>,
    },
}

/// `balance`.
#[derive(Debug, Args)]
pub struct BalanceArgs {
    /// Log file, or - for standard input. Several files, or a folder and those below it, give a
    /// row a log.
    #[arg(value_name = "LOG", required = true)]
    pub logs: Vec<PathBuf>,
    #[command(flatten)]
    /// The log.
    pub reading: Reading,
    #[command(flatten)]
    /// The car.
    pub car: Car,
    #[command(flatten)]
    /// The answer.
    pub output: Output,
    #[command(flatten)]
    /// The picture.
    pub picture: Picture,
    #[command(flatten)]
    /// Many logs.
    pub many: Many,
    /// Show what the uncertainty consists of, one row a component (JSON always does).
    #[arg(long, help_heading = "The answer")]
    pub budget: bool,
    /// Most by which one side may pass more air by airflow meters on the carburettors, % [default: 3].
    #[arg(long, value_name = "PERCENT", value_parser = values::flow_tolerance,
          allow_negative_numbers = true, help_heading = "The car")]
    pub flow_tolerance: Option<f64>,
    /// A row each plateau, not each log; without it the row has the longest plateau at idle.
    #[arg(long, help_heading = "Many logs")]
    pub each_plateau: bool,
}

/// `breather`.
#[derive(Debug, Args)]
pub struct BreatherArgs {
    /// Log file, or - for standard input. Several files, or a folder and those below it, give a
    /// row a log.
    #[arg(value_name = "LOG", required = true)]
    pub logs: Vec<PathBuf>,
    #[command(flatten)]
    /// The log.
    pub reading: Reading,
    #[command(flatten)]
    /// The answer.
    pub output: Output,
    #[command(flatten)]
    /// The picture.
    pub picture: Picture,
    #[command(flatten)]
    /// Many logs.
    pub many: Many,
    /// Smallest idle drop that counts, rev/min [default: the greater of 20 and 2.5 % of idle].
    #[arg(long, value_name = "RPM", value_parser = values::threshold,
          allow_negative_numbers = true, help_heading = "The car")]
    pub threshold: Option<f64>,
    /// Show what the uncertainty consists of, one row a component (JSON always does).
    #[arg(long, help_heading = "The answer")]
    pub budget: bool,
}

/// `hunt`.
#[derive(Debug, Args)]
pub struct HuntArgs {
    /// Log file, or - for standard input.
    #[arg(value_name = "LOG")]
    pub log: PathBuf,
    #[command(flatten)]
    /// The log.
    pub reading: Reading,
    #[command(flatten)]
    /// The answer.
    pub output: Output,
    #[command(flatten)]
    /// The picture.
    pub picture: Picture,
    /// Smallest change of the idle that counts, rev/min [default: the greater of 20 and 2.5 % of idle].
    #[arg(long, value_name = "RPM", value_parser = values::threshold,
          allow_negative_numbers = true, help_heading = "The car")]
    pub threshold: Option<f64>,
    /// Show what the uncertainty consists of, one row a component (JSON always does).
    #[arg(long, help_heading = "The answer")]
    pub budget: bool,
}

/// `compare`.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// Log from before the work, or - for standard input.
    #[arg(value_name = "BEFORE")]
    pub before: PathBuf,
    /// Log from after the work, or - for standard input.
    #[arg(value_name = "AFTER")]
    pub after: PathBuf,
    #[command(flatten)]
    /// The logs.
    pub reading: Reading,
    #[command(flatten)]
    /// The car.
    pub car: Car,
    #[command(flatten)]
    /// The answer.
    pub output: Output,
    #[command(flatten)]
    /// The picture.
    pub picture: Picture,
}

/// `inspect`.
#[derive(Debug, Args)]
pub struct InspectArgs {
    /// Log file, or - for standard input.
    #[arg(value_name = "LOG")]
    pub log: PathBuf,
    #[command(flatten)]
    /// The log.
    pub reading: Reading,
    #[command(flatten)]
    /// The answer.
    pub output: Output,
}

/// `match`.
#[derive(Debug, Args)]
pub struct MatchArgs {
    /// Log file, or - for standard input.
    #[arg(value_name = "LOG")]
    pub log: PathBuf,
    #[command(flatten)]
    /// The log.
    pub reading: Reading,
    #[command(flatten)]
    /// The answer.
    pub output: Output,
    #[command(flatten)]
    /// The chart.
    pub picture: Picture,
    /// Write the line into this profile, as its section [tee_run]; everything else in the file
    /// stays, and a file that is not there is made.
    #[arg(long, value_name = "FILE", help_heading = "The answer")]
    pub store: Option<PathBuf>,
}

/// `ports`.
#[derive(Debug, Args)]
pub struct PortsArgs {
    /// How long to listen, in seconds, 1 to 60.
    #[arg(long, value_name = "SECONDS", default_value_t = 2,
          value_parser = |text: &str| values::whole(text, 1..=60).map(u64::from))]
    pub seconds: u64,
    /// Speed of the wire.
    #[arg(long, value_name = "BAUD", default_value_t = crate::sources::ports::BAUD,
          value_parser = |text: &str| values::whole(text, 300..=4_000_000))]
    pub baud: u32,
    /// One JSON document on standard output, nothing else there.
    #[arg(long)]
    pub json: bool,
}

/// `demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Folder for the logs and the charts; made when it is not there.
    #[arg(long, value_name = "FOLDER", default_value = "evenbreath-demo")]
    pub into: PathBuf,
    /// Unit of pressure in the answer and the charts.
    #[arg(long, value_name = "UNIT", ignore_case = true, value_parser = unit(),
          default_value = "kPa")]
    pub units: PressureUnit,
    /// Width of the charts in pixels.
    #[arg(long, value_name = "PIXELS", default_value_t = 1800, value_parser = width)]
    pub chart_width: u32,
}

/// How to read the log. Goes before the profile and the log's header.
#[derive(Debug, Clone, Default, Args)]
pub struct Reading {
    /// Which column is what, where the guess is wrong: "rpm=Speed,vac1=Front (mbar)". Roles: time,
    /// rpm (engine speed), vac1 and vac2 (vacuum), map1 and map2 (absolute pressure), crank
    /// (crankcase), mark, baro (barometer), flow1 and flow2 (airflow meters).
    #[arg(long, value_name = "ROLES", help_heading = "The log")]
    pub columns: Option<String>,
    /// Unit of pressures whose heading names none.
    #[arg(long, value_name = "UNIT", ignore_case = true, value_parser = unit(),
          help_heading = "The log")]
    pub log_units: Option<PressureUnit>,
    /// Sensor whose volts the log holds, by its part number.
    #[arg(long, value_name = "PART", ignore_case = true, value_parser = sensor(),
          help_heading = "The log")]
    pub sensor: Option<Transfer>,
    /// Supply of that sensor in volts, when it is not that of its data sheet.
    #[arg(long, value_name = "VOLTS", requires = "sensor", value_parser = supply,
          help_heading = "The log")]
    pub supply: Option<f64>,
    /// Read on where more than 5 % of the rows are bad.
    #[arg(long, help_heading = "The log")]
    pub lenient: bool,
    /// What is known of the car and the box: a TOML file.
    #[arg(long, value_name = "FILE", help_heading = "The car")]
    pub profile: Option<PathBuf>,
    /// Barometric pressure, such as '1008 hPa' or '29.8 inHg'. A number without a unit is in that
    /// of --units, or what it can be near sea level: 95 to 108 kPa, 950 to 1080 hPa, 28 to 32
    /// inHg.
    #[arg(long, value_name = "PRESSURE", value_parser = values::pressure,
          allow_hyphen_values = true, help_heading = "The car")]
    pub baro: Option<Given>,
    /// Height of the place above sea level in metres: without a barometric pressure the standard
    /// atmosphere of that height stands in.
    #[arg(long, value_name = "METRES", value_parser = values::altitude,
          allow_negative_numbers = true, help_heading = "The car")]
    pub altitude: Option<f64>,
    /// Cylinders of the engine, both sides together [default: 4].
    #[arg(long, value_name = "N", value_parser = values::cylinders,
          allow_negative_numbers = true, help_heading = "The car")]
    pub cylinders: Option<Cylinders>,
}

impl Reading {
    /// The line from volts to kilopascal of the sensor that was named.
    pub fn sensor_line(&self) -> Option<VoltsToKpa> {
        self.sensor.map(|sensor| sensor.line(self.supply.unwrap_or(sensor.supply_v)))
    }
}

/// What the user says of the car and the work. Goes before the profile and the log's header.
#[derive(Debug, Clone, Default, Args)]
pub struct Car {
    /// Largest difference that is still good, such as '10 mmHg'. A number without a unit is in
    /// that of --units, or in kPa [default: 1.3 kPa].
    #[arg(long, value_name = "PRESSURE", value_parser = values::tolerance,
          allow_hyphen_values = true, help_heading = "The car")]
    pub tolerance: Option<Given>,
    /// Idle speed wanted, rev/min.
    #[arg(long, value_name = "RPM", value_parser = values::idle_target,
          allow_negative_numbers = true, help_heading = "The car")]
    pub idle_target: Option<f64>,
    /// What you call side 1; without it the log's header or the headings say.
    #[arg(long, value_name = "NAME", value_parser = values::name, help_heading = "The car")]
    pub carb1: Option<String>,
    /// What you call side 2; without it the log's header or the headings say.
    #[arg(long, value_name = "NAME", value_parser = values::name, help_heading = "The car")]
    pub carb2: Option<String>,
    /// The two tracts are joined by a balance pipe.
    #[arg(long, help_heading = "The car")]
    pub balance_pipe: bool,
}

/// How the answer is to be given.
#[derive(Debug, Clone, Args)]
pub struct Output {
    /// One JSON document on standard output, and nothing else there.
    #[arg(long, help_heading = "The answer")]
    pub json: bool,
    /// Unit of pressure in the answer and the chart; JSON stays in kPa [default: kPa].
    #[arg(long, value_name = "UNIT", ignore_case = true, value_parser = unit(),
          help_heading = "The answer")]
    pub units: Option<PressureUnit>,
    /// Exit with 10 for a bad finding and 11 for one that is not settled.
    #[arg(long, help_heading = "The answer")]
    pub exit_code: bool,
}

/// The picture beside the answer.
#[derive(Debug, Clone, Args)]
pub struct Picture {
    /// Draw a chart into this file: .png or .svg.
    #[arg(long, value_name = "FILE", value_parser = values::chart, help_heading = "The answer")]
    pub chart: Option<PathBuf>,
    /// Width of the chart in pixels.
    #[arg(long, value_name = "PIXELS", default_value_t = 1800, value_parser = width,
          help_heading = "The answer")]
    pub chart_width: u32,
}

pub(super) fn unit() -> impl TypedValueParser<Value = PressureUnit> {
    PossibleValuesParser::new(PressureUnit::ALL.map(PressureUnit::symbol))
        .try_map(|text| PressureUnit::parse(&text).ok_or("not a unit of pressure"))
}

fn sensor() -> impl TypedValueParser<Value = Transfer> {
    PossibleValuesParser::new(transfer::KNOWN.map(|sensor| sensor.name))
        .try_map(|text| Transfer::named(&text).ok_or("not a sensor that is known"))
}

fn supply(text: &str) -> Result<f64, String> {
    let volts = text.trim().trim_end_matches(['V', 'v']).trim().parse::<f64>().ok();
    volts.filter(|v| (2.5..=6.0).contains(v)).ok_or_else(|| {
        "the supply of a sensor is a number of volts from 2.5 to 6, such as 5.05".to_string()
    })
}

fn width(text: &str) -> Result<u32, String> {
    values::whole(text, 600..=6000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }
}
