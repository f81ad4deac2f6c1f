//! `profile`: asks what is to stand in a profile and writes it with comments; or says what one holds.

use super::failure::Failure;
use super::output::{answer, message, page};
use super::profile::{KEYS, Key, Profile};
use super::profile_args::{ProfileCommand, ProfileNewArgs};
use super::sides;
use crate::report::layout::{Align, Table};
use crate::report::page::Tone;
use crate::units::PressureUnit;
use std::fs::{self, File};
use std::io::{self, BufRead, ErrorKind, IsTerminal, Write};
use std::path::Path;

/// What an answer becomes in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// A text in quotes.
    Text,
    /// A number as it is.
    Number,
    /// `true` or `false`, answered with yes or no.
    YesNo,
    /// A list of whole numbers.
    List,
}

/// A question, and the key that its answer fills.
struct Question {
    key: &'static str,
    kind: Kind,
    /// What is asked.
    ask: &'static str,
    /// What holds without an answer; shown, and not written, for the header of a log may know better.
    usual: Option<&'static str>,
}

const fn question(
    key: &'static str,
    kind: Kind,
    ask: &'static str,
    usual: Option<&'static str>,
) -> Question {
    Question { key, kind, ask, usual }
}

/// One for each key, in the order of the file. What cannot be told without measuring or a data sheet
/// may be left out.
const QUESTIONS: [Question; 24] = [
    question("car", Kind::Text, "What the car is called in reports", None),
    question("carb1", Kind::Text, "What you call carburettor 1, such as Front", None),
    question("carb2", Kind::Text, "What you call carburettor 2, such as Rear", None),
    question("cylinders", Kind::Number, "Cylinders of the engine, both sides together", Some("4")),
    question(
        "firing_order",
        Kind::Text,
        "Order in which the cylinders fire, such as 1-3-4-2",
        None,
    ),
    question(
        "carb1_cylinders",
        Kind::List,
        "Cylinders that carburettor 1 feeds, such as 1, 2",
        None,
    ),
    question(
        "balance_pipe",
        Kind::YesNo,
        "A pipe joins the two tracts behind the throttles",
        Some("no"),
    ),
    question("idle_target_rpm", Kind::Number, "Idle speed wanted, rev/min, such as 850", None),
    question("tolerance", Kind::Text, "Largest difference that is still good", Some("1.3 kPa")),
    question(
        "threshold_rpm",
        Kind::Number,
        "Smallest idle drop that counts, rev/min; without it the greater of 20 and 2.5 % of idle",
        None,
    ),
    question("units", Kind::Text, "Unit of pressure in the answers", Some("kPa")),
    question(
        "baro",
        Kind::Text,
        "Barometric pressure, such as 1008 hPa; it goes before that of a log",
        None,
    ),
    question("altitude_m", Kind::Number, "Height of the workshop above sea level, m", None),
    question(
        "columns",
        Kind::Text,
        "Columns of the logger, where the guess is wrong, such as vac1=Front,vac2=Rear",
        None,
    ),
    question(
        "log_units",
        Kind::Text,
        "Unit of pressures in the logs whose heading names none",
        None,
    ),
    question("sensor", Kind::Text, "Sensor, by its part number, where the logs hold volts", None),
    question(
        "sensor_supply_v",
        Kind::Number,
        "Supply of that sensor, V, where it is not that of its data sheet",
        None,
    ),
    question(
        "sensor_offset_limit",
        Kind::Text,
        "Largest offset of one sensor by its data sheet, such as 1 kPa",
        None,
    ),
    question(
        "sensor_gain_limit_percent",
        Kind::Number,
        "Largest gain error of one sensor by its data sheet, %",
        None,
    ),
    question(
        "sensor_drift_limit",
        Kind::Text,
        "Drift of one sensor's offset after a tee run, such as 0.5 kPa",
        None,
    ),
    question("flow_tolerance_percent", Kind::Number, "Unlike flow that is still good, %", None),
    question("flow_meter_limit_percent", Kind::Number, "Error of one airflow meter, %", None),
    question("flow_zero_limit", Kind::Text, "Zero of one airflow meter, such as 5 Pa", None),
    question("flow_drift_limit", Kind::Text, "Drift of that during a log, such as 1 Pa", None),
];

impl Question {
    /// The line of the file for an answer.
    fn line(&self, answer: &str) -> String {
        format!("{} = {}", self.key, self.value(answer))
    }

    /// The answer in TOML. What is not of the kind goes in as a text, for the check of the profile to
    /// say what was found and what is needed.
    fn value(&self, answer: &str) -> String {
        let answer = answer.trim();
        let point = answer.replace(',', ".");
        match self.kind {
            Kind::Number if point.parse::<f64>().is_ok_and(f64::is_finite) => number(&point),
            Kind::YesNo => match answer.to_lowercase().as_str() {
                "yes" | "y" | "true" => "true".into(),
                "no" | "n" | "false" => "false".into(),
                _ => quoted(answer),
            },
            Kind::List => {
                let inside = answer.trim_start_matches('[').trim_end_matches(']');
                let parts = inside.split([',', ' ', '-']).filter(|part| !part.is_empty());
                let numbers: Option<Vec<u32>> = parts.map(|part| part.parse().ok()).collect();
                numbers.map_or_else(|| quoted(answer), |numbers| format!("{numbers:?}"))
            }
            _ => quoted(answer),
        }
    }

    fn known(&self) -> Option<&'static Key> {
        KEYS.iter().find(|key| key.name == self.key)
    }
}

/// A number as TOML wants it: no bare point at either end, no plus.
fn number(text: &str) -> String {
    match text.parse::<i64>() {
        Ok(whole) => whole.to_string(),
        Err(_) => text.parse::<f64>().map_or_else(|_| quoted(text), |value| format!("{value:?}")),
    }
}

/// A basic string of TOML 1.0.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => out.push_str(&format!("\\U{:08X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// Answers in the order of the questions.
type Answers = Vec<Option<String>>;

/// The whole file.
fn text(answers: &Answers) -> String {
    let mut out = String::from(
        "# What stays true of a car and its box from one log to the next:\n\
         #   evenbreath balance LOG --profile THIS_FILE\n\
         # Take out the # before a line to use it; 'evenbreath profile check' says what is wrong.\n",
    );
    for (question, answer) in QUESTIONS.iter().zip(answers) {
        out += &format!("\n# {}.\n", question.ask);
        match answer {
            Some(answer) => out += &question.line(answer),
            None => {
                let example = question.known().map_or("", |key| key.example);
                out += &format!("# {example}");
            }
        }
        out.push('\n');
    }
    out
}

/// The profile of these answers, or what is wrong with one and what to write instead.
fn checked(path: &Path, answers: &Answers) -> Result<Profile, String> {
    let filled = QUESTIONS.iter().zip(answers);
    let lines = filled.filter_map(|(q, answer)| Some(q.line(answer.as_deref()?) + "\n"));
    let read = Profile::parse(path, &lines.collect::<String>());
    read.and_then(told_apart).map_err(|failure| match failure {
        Failure::Profile { what, advice, .. } => format!("{what}; {advice}"),
        other => other.to_string(),
    })
}

/// The profile, unless both sides bear one name.
fn told_apart(profile: Profile) -> Result<Profile, Failure> {
    match (&profile.carb1, &profile.carb2) {
        (Some(one), Some(two)) if sides::same(one, two) => {
            Err(Failure::SameNames { name: one.clone() })
        }
        _ => Ok(profile),
    }
}

/// Runs `profile new` or `profile check`.
///
/// # Errors
/// An answer that makes no sense, a file that is there already, a profile that cannot be used.
pub fn run(command: &ProfileCommand) -> Result<u8, Failure> {
    match command {
        ProfileCommand::New(args) => new(args)?,
        ProfileCommand::Check { file } => check(file)?,
    }
    Ok(0)
}

fn new(args: &ProfileNewArgs) -> Result<(), Failure> {
    let path = &args.file;
    if fs::symlink_metadata(path).is_ok() {
        return Err(there(path));
    }
    let mut answers = given(args)?;
    let fixed: Vec<bool> = answers.iter().map(Option::is_some).collect();
    checked(path, &answers).map_err(Failure::Answers)?;
    if !args.yes {
        ask_all(path, &mut answers, &fixed)?;
    }
    write(path, &text(&answers))?;
    message(&format!(
        "profile written to {}; use it with --profile, such as: evenbreath balance LOG --profile {}",
        path.display(),
        path.display()
    ));
    Ok(())
}

fn there(path: &Path) -> Failure {
    Failure::Answers(format!(
        "{} is there already, and is not written over; give another name, or change that file in an \
         editor and see 'evenbreath profile check'",
        path.display()
    ))
}

/// What `--set KEY=VALUE` says.
fn given(args: &ProfileNewArgs) -> Result<Answers, Failure> {
    let mut answers: Answers = vec![None; QUESTIONS.len()];
    for pair in &args.set {
        let (key, value) = pair.split_once('=').ok_or_else(|| {
            let what = format!("{pair:?} has no equals sign; write it like 'carb1=Front'");
            Failure::Value { flag: "set", what }
        })?;
        let key = key.trim();
        match QUESTIONS.iter().position(|question| question.key == key) {
            Some(at) => {
                let before = answers[at].replace(value.to_string());
                if let Some(before) = before.filter(|before| before != value) {
                    let what = format!(
                        "{key:?} is given twice, as {before:?} and as {value:?}; give it once"
                    );
                    return Err(Failure::Value { flag: "set", what });
                }
            }
            None => {
                // The profile knows which key is the nearest.
                let found = Profile::parse(&args.file, &format!("{} = 0\n", quoted(key)));
                return Err(match found {
                    Err(Failure::Profile { what, advice, .. }) => {
                        Failure::Value { flag: "set", what: format!("{what}; {advice}") }
                    }
                    _ => Failure::Value { flag: "set", what: format!("{key:?} is not asked for") },
                });
            }
        }
    }
    Ok(answers)
}

/// Asks every question that no flag has answered. On a terminal a wrong answer is asked for again.
fn ask_all(path: &Path, answers: &mut Answers, fixed: &[bool]) -> Result<(), Failure> {
    let terminal = io::stdin().is_terminal();
    let mut lines = io::stdin().lock().lines();
    if terminal {
        message(
            "Enter leaves it out: what stands in brackets holds then. Ctrl-C ends it, and nothing is written.\n",
        );
    }
    for (at, question) in QUESTIONS.iter().enumerate().filter(|(at, _)| !fixed[*at]) {
        loop {
            prompt(question, terminal);
            let line = lines.next().and_then(Result::ok).ok_or_else(|| {
                Failure::Answers(format!(
                    "the answers ended at {:?}, and nothing was written; answer each question with a \
                     line, empty to leave it out, or give --yes to be asked nothing",
                    question.key
                ))
            })?;
            answers[at] = Some(line.trim().to_string()).filter(|line| !line.is_empty());
            match checked(path, answers) {
                Ok(_) => break,
                Err(wrong) if terminal => message(&format!("  {wrong}")),
                Err(wrong) => return Err(Failure::Answers(wrong)),
            }
        }
    }
    Ok(())
}

fn prompt(question: &Question, terminal: bool) {
    if terminal {
        let usual = question.usual.map_or(String::new(), |usual| format!(" [{usual}]"));
        // Nobody is left to ask when standard error itself is gone.
        let _ = write!(io::stderr(), "{}{usual}: ", question.ask);
    }
}

fn write(path: &Path, text: &str) -> Result<(), Failure> {
    let cannot = |source| Failure::Write { path: path.into(), source };
    let mut file = File::create_new(path).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => there(path),
        _ => cannot(error),
    })?;
    let written = file.write_all(text.as_bytes()).and_then(|()| file.sync_all());
    written.map_err(|error| {
        // Half a profile is none; the error that brought us here is the one worth telling.
        let _ = fs::remove_file(path);
        cannot(error)
    })
}

/// What a profile holds, in a table.
fn check(path: &Path) -> Result<(), Failure> {
    Profile::read(path).and_then(told_apart)?;
    let text = fs::read_to_string(path)
        .map_err(|source| Failure::ProfileUnreadable { path: path.into(), source })?;
    let table: toml::Table = toml::from_str(&text).unwrap_or_default();
    let mut page = page(PressureUnit::Kpa);
    page.heading(&format!("{} can be used.", path.display()), Tone::Good);
    let mut held = Table::default()
        .group("key", Align::Left, &[""])
        .group("value", Align::Left, &[""])
        .group("what it is", Align::Left, &[""]);
    let mut rows = 0;
    for question in &QUESTIONS {
        let Some(value) = table.get(question.key) else { continue };
        let shown = match value {
            toml::Value::String(text) => text.escape_debug().to_string(),
            toml::Value::Array(list) => {
                let each = list.iter().filter_map(toml::Value::as_integer);
                each.map(|number| number.to_string()).collect::<Vec<_>>().join(", ")
            }
            toml::Value::Float(number) => number.to_string(),
            toml::Value::Integer(number) => number.to_string(),
            toml::Value::Boolean(true) => "yes".into(),
            _ => "no".into(),
        };
        let what = question.ask.split([',', ';']).next().unwrap_or("");
        held.row(vec![Some(question.key.into()), Some(shown), Some(what.into())]);
        rows += 1;
    }
    if rows > 0 {
        page.table(&held);
        page.gap();
    }
    let run = if table.contains_key("tee_run") { "It holds a tee run. " } else { "" };
    page.paragraph(&format!(
        "{run}{} of {} keys are set; the others are as without a profile.",
        rows,
        KEYS.len()
    ));
    answer(page.finish().as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn answered(pairs: &[(&str, &str)]) -> Answers {
        let answer = |q: &Question| {
            pairs.iter().find(|(key, _)| *key == q.key).map(|(_, answer)| answer.to_string())
        };
        QUESTIONS.iter().map(answer).collect()
    }

    #[test]
    fn every_key_has_its_question_and_every_example_answers_it() {
        let asked: Vec<&str> = QUESTIONS.iter().map(|q| q.key).collect();
        for key in &KEYS {
            assert!(asked.contains(&key.name), "nobody asks for {}", key.name);
        }
        assert_eq!(asked.len(), KEYS.len());
        let path = Path::new("car.toml");
        let examples: String =
            QUESTIONS.iter().map(|q| q.known().unwrap().example.to_string() + "\n").collect();
        let all: Answers = QUESTIONS
            .iter()
            .map(|q| {
                let value = q.known().unwrap().example.split_once(" = ").unwrap().1;
                Some(value.trim_matches('"').to_string())
            })
            .collect();
        let want = Profile::parse(path, &examples).unwrap();
        assert_eq!(Profile::parse(path, &text(&all)).unwrap(), want);
        assert_eq!(checked(path, &all).unwrap(), want);
    }

    #[test]
    fn a_file_without_answers_is_an_empty_profile_whose_examples_can_be_used() {
        let path = Path::new("car.toml");
        let none = vec![None; QUESTIONS.len()];
        assert_eq!(Profile::parse(path, &text(&none)).unwrap(), Profile::default());
        let used: String = text(&none)
            .lines()
            .map(|line| match line.strip_prefix("# ") {
                Some(rest) if rest.contains(" = ") => format!("{rest}\n"),
                _ => format!("{line}\n"),
            })
            .collect();
        assert_eq!(Profile::parse(path, &used).unwrap().cylinders, Some(4));
    }

    #[test]
    fn answers_as_people_write_them() {
        let path = Path::new("car.toml");
        let read = |pairs: &[(&str, &str)]| checked(path, &answered(pairs));
        let profile = read(&[
            ("carb1_cylinders", "1 2"),
            ("balance_pipe", "Yes"),
            ("altitude_m", "120,5"),
            ("idle_target_rpm", " 850 "),
            ("firing_order", "1 3 4 2"),
        ])
        .unwrap();
        assert_eq!(profile.carb1_cylinders, Some(vec![1, 2]));
        assert_eq!((profile.balance_pipe, profile.altitude_m), (Some(true), Some(120.5)));
        assert_eq!(profile.firing_order, Some(vec![1, 3, 4, 2]));
        let one_name = read(&[("carb1", "Front"), ("carb2", "front ")]).unwrap_err();
        assert!(one_name.contains("both sides are called"), "{one_name}");
        for (key, wrong, words) in [
            ("cylinders", "four", "found the text \"four\", needed is a whole number"),
            ("balance_pipe", "perhaps", "true or false"),
            ("carb1_cylinders", "the front ones", "a list of cylinders"),
            ("tolerance", "10 stone", "stone"),
            ("idle_target_rpm", "nan", "found the text"),
        ] {
            let message = read(&[(key, wrong)]).unwrap_err();
            assert!(message.contains(words), "{key} = {wrong}: {message}");
        }
    }

    proptest! {
        #[test]
        fn any_name_comes_back_as_it_was_given(car in "\\PC*|[\\x00-\\x7f]*", name in "[a-z\"'\\\\#=\\[\\]]{1,12}") {
            let given = [("car", car.as_str()), ("carb1", name.as_str()), ("columns", car.as_str())];
            let profile = Profile::parse(Path::new("car.toml"), &text(&answered(&given)));
            let profile = profile.map_err(|failure| TestCaseError::fail(failure.to_string()))?;
            prop_assert_eq!(profile.car.as_deref(), Some(car.trim()));
            prop_assert_eq!(profile.carb1.as_deref(), Some(name.trim()));
            prop_assert_eq!(profile.columns.as_deref(), Some(car.trim()));
        }
    }
}
