//! The options that shape a page, as words that can be kept in it and read again.

use super::args::ReportArgs;
use crate::cli::args::{Cli, Command};
use crate::cli::values::Given;
use crate::report::handover::LogFile;
use clap::Parser;
use std::collections::BTreeMap;

/// Every option that shapes figures or words and was given, by name, as it could be typed again. A number is
/// written with all the digits that it takes to read the same number.
pub fn of(args: &ReportArgs) -> BTreeMap<String, String> {
    let (reading, car, job) = (&args.reading, &args.car, &args.job);
    let number = |value: Option<f64>| value.map(|value| value.to_string());
    let switch = |on: bool| on.then(String::new);
    let pressure = |given: Option<Given>| {
        given.map(|given| match given.unit {
            Some(unit) => format!("{} {}", given.value, unit.symbol()),
            None => given.value.to_string(),
        })
    };
    let all = [
        ("columns", reading.columns.clone()),
        ("log-units", reading.log_units.map(|unit| unit.symbol().into())),
        ("sensor", reading.sensor.map(|sensor| sensor.name.into())),
        ("supply", number(reading.supply)),
        ("lenient", switch(reading.lenient)),
        ("baro", pressure(reading.baro)),
        ("altitude", number(reading.altitude)),
        ("cylinders", reading.cylinders.map(|n| n.to_string())),
        ("tolerance", pressure(car.tolerance)),
        ("idle-target", number(car.idle_target)),
        ("carb1", car.carb1.clone()),
        ("carb2", car.carb2.clone()),
        ("balance-pipe", switch(car.balance_pipe)),
        ("threshold", number(args.threshold)),
        ("units", args.output.units.map(|unit| unit.symbol().into())),
        ("car", job.car_name.clone()),
        ("customer", job.customer.clone()),
        ("job", job.job.clone()),
        ("date", job.date.map(|date| date.to_string())),
        ("note", job.note.clone()),
        ("checked", Some(job.checked.join(",")).filter(|list| !list.is_empty())),
    ];
    all.into_iter().filter_map(|(name, value)| Some((name.to_string(), value?))).collect()
}

/// The names [`of`] may give.
const NAMES: [&str; 21] = [
    "columns",
    "log-units",
    "sensor",
    "supply",
    "lenient",
    "baro",
    "altitude",
    "cylinders",
    "tolerance",
    "idle-target",
    "carb1",
    "carb2",
    "balance-pipe",
    "threshold",
    "units",
    "car",
    "customer",
    "job",
    "date",
    "note",
    "checked",
];

/// Reads the options that a page kept, with its logs by the names they have there.
///
/// A page comes from somebody else: only [`NAMES`] and the options of the logs are taken, each as one word
/// with its value, so that no value can become another option.
///
/// # Errors
/// What is no option, or no value of one.
pub fn read(settings: &BTreeMap<String, String>, logs: &[LogFile]) -> Result<ReportArgs, String> {
    let mut words: Vec<String> = ["evenbreath", "report", "--json"].map(String::from).to_vec();
    for (name, value) in settings {
        if !NAMES.contains(&name.as_str()) {
            return Err(format!("{name:?}"));
        }
        let switch = ["lenient", "balance-pipe"].contains(&name.as_str());
        words.push(if switch { format!("--{name}") } else { format!("--{name}={value}") });
    }
    let options = super::args::Logs::default().each().map(|(name, _)| name);
    for log in logs {
        for given in &log.given_as {
            if !options.contains(&given.as_str()) {
                return Err(format!("{given:?}"));
            }
            words.push(format!("--{given}={}", log.name));
        }
    }
    let cli = Cli::try_parse_from(words).map_err(|error| {
        error
            .to_string()
            .lines()
            .next()
            .unwrap_or_default()
            .trim_start_matches("error: ")
            .to_string()
    })?;
    match cli.command {
        Some(Command::Report(args)) => Ok(*args),
        _ => Err("no report".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    fn parsed(words: &[&str]) -> ReportArgs {
        let cli =
            Cli::try_parse_from(["evenbreath", "report", "--json"].iter().chain(words)).unwrap();
        let Some(Command::Report(args)) = cli.command else { panic!("no report") };
        *args
    }

    #[test]
    fn what_is_kept_reads_back_as_it_was() {
        let args = parsed(&[
            "--columns=rpm=Engine speed,vac1=--x",
            "--log-units=mbar",
            "--sensor=MPX4115A",
            "--supply=5.05",
            "--lenient",
            "--baro=29.8 inHg",
            "--altitude=-12.5",
            "--cylinders=6",
            "--tolerance=10",
            "--idle-target=850",
            "--carb1=Front",
            "--carb2=Rear",
            "--balance-pipe",
            "--threshold=22.2",
            "--units=mmHg",
            "--car=--out=x",
            "--customer=<b>",
            "--job=7",
            "--date=2026-03-14",
            "--note=two\nlines",
            "--checked=choke off,new gasket",
        ]);
        let kept = of(&args);
        assert_eq!(kept.keys().map(String::as_str).collect::<Vec<_>>(), {
            let mut names = NAMES.to_vec();
            names.sort_unstable();
            names
        });
        let log = LogFile {
            given_as: vec!["before".into(), "hunt".into()],
            name: "-x=y.csv".into(),
            bytes: 1,
            sha256: String::new(),
        };
        let again = read(&kept, &[log]).unwrap();
        assert_eq!(of(&again), kept);
        assert_eq!(again.logs.before.as_deref(), Some("-x=y.csv".as_ref()));
        assert_eq!(again.job.car_name.as_deref(), Some("--out=x"));
        assert_eq!(again.out, None);
    }

    #[test]
    fn a_page_cannot_slip_in_another_option() {
        for name in ["out", "profile", "verify", "json", "help"] {
            let settings = BTreeMap::from([(name.to_string(), "x".to_string())]);
            assert!(read(&settings, &[]).is_err(), "{name}");
        }
        let given_as = vec!["out".into()];
        let log = LogFile { given_as, name: "x.html".into(), bytes: 0, sha256: String::new() };
        assert!(read(&BTreeMap::new(), &[log]).is_err());
    }

    /// An option that shapes the page and is not kept would make every check of it fail.
    #[test]
    fn every_option_is_kept_or_shapes_nothing() {
        let mut cli = Cli::command();
        cli.build();
        let report = cli.find_subcommand("report").unwrap();
        let logs = super::super::args::Logs::default().each().map(|(name, _)| name);
        let shapes_nothing = ["out", "json", "exit-code", "verify", "logs-in", "profile", "help"];
        for long in report.get_arguments().filter_map(|argument| argument.get_long()) {
            let known =
                NAMES.contains(&long) || logs.contains(&long) || shapes_nothing.contains(&long);
            assert!(known, "--{long}");
        }
    }
}
