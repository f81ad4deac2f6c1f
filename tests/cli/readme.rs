//! The figures of the README: a block that begins with a command shows what the program prints, and what the
//! prose claims stands beside the words of the source that make it so. The table of the archive is the bench's
//! (`cargo bench --bench archive -- --club FOLDER`) and is not made anew here.

#[cfg(unix)]
use super::logs::folder;
use super::run::run;
use std::fs;
use std::path::Path;
#[cfg(unix)]
use std::process::Command;

fn readme() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap()
}

/// The text of every block of code.
#[cfg(unix)]
fn blocks(text: &str) -> Vec<&str> {
    text.split("```").skip(1).step_by(2).map(|block| block.split_once('\n').unwrap().1).collect()
}

/// A command and the lines it is shown to print; none for a block that shows nothing printed.
#[cfg(unix)]
fn shown(block: &str) -> Option<(&str, &str)> {
    let (command, printed) = block.strip_prefix("$ ")?.split_once('\n')?;
    (!printed.trim().is_empty()).then_some((command, printed))
}

/// Runs a command line of the README where the sample logs lie, as a shell does.
#[cfg(unix)]
fn in_shell(command: &str, place: &Path) -> String {
    let program = Path::new(env!("CARGO_BIN_EXE_evenbreath"));
    let path = std::env::var("PATH").unwrap_or_default();
    let path = format!("{}:{path}", program.parent().unwrap().display());
    let run = Command::new("sh")
        .args(["-c", command])
        .env("PATH", path)
        .env("COLUMNS", "80")
        .env("NO_COLOR", "1")
        .current_dir(place)
        .output()
        .unwrap();
    assert!(run.status.success(), "{command}: {}", String::from_utf8_lossy(&run.stderr));
    String::from_utf8(run.stdout).unwrap()
}

/// True where the output begins with the lines; `...` stands for any lines in between.
#[cfg(unix)]
fn holds(output: &str, lines: &str) -> bool {
    let mut rest = output;
    lines.split("...\n").enumerate().all(|(number, part)| {
        let at = rest.find(part).filter(|at| number > 0 || *at == 0);
        rest = at.map_or(rest, |at| &rest[at + part.len()..]);
        at.is_some()
    })
}

#[test]
#[cfg(unix)]
fn what_the_blocks_show_is_what_the_program_prints() {
    let place = folder("readme");
    fs::create_dir_all(place.join("sample-logs")).unwrap();
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    for entry in fs::read_dir(samples).unwrap().map(Result::unwrap) {
        let name = entry.file_name();
        if name.to_string_lossy().ends_with(".csv") {
            fs::copy(entry.path(), place.join(&name)).unwrap();
            fs::copy(entry.path(), place.join("sample-logs").join(&name)).unwrap();
        }
    }
    let text = readme();
    let mut seen = 0;
    for block in blocks(&text) {
        // The page that a later block checks.
        if block.contains("--out car.html") && block.contains("--customer") {
            in_shell(block, &place);
        }
        let Some((command, lines)) = shown(block) else { continue };
        let output = in_shell(command, &place);
        assert!(holds(&output, lines), "$ {command}\n{output}\nbut the README shows\n{lines}");
        seen += 1;
    }
    assert!(seen >= 4, "only {seen} blocks show what a command prints");
}

#[test]
fn every_option_of_the_tables_is_one_of_the_program() {
    let helped = |command| run(&[command, "--help"]).good().out;
    let help = ["balance", "record", "lesson", "report", "profile"].map(helped).concat();
    let name = |word: &str| -> String {
        word.chars().take_while(|c| *c == '-' || c.is_alphabetic()).collect()
    };
    let text = readme();
    for (at, _) in text.match_indices("| `--") {
        let flag = name(&text[at + 3..]);
        let known = help.split_whitespace().any(|word| name(word) == flag);
        assert!(known, "{flag} is in the README, not in the help");
    }
}

/// Words of the README with a figure, the file that makes it so, and the words there.
const CLAIMS: [(&str, &str, &str); 44] = [
    ("at least eight readings in two turns", "src/signal/aliasing.rs", "FAST: f64 = 8.0"),
    ("60 a second at idle", "src/signal/aliasing.rs", "FAST: f64 = 8.0"),
    ("intervals 95 %", "src/findings/balance.rs", "LEVEL: f64 = 0.95"),
    ("whole 95 % interval", "src/findings/balance.rs", "LEVEL: f64 = 0.95"),
    ("in sixths and", "src/findings/screws/proposal.rs", "A_TURN: f64 = 6.0"),
    ("half a turn at a time", "src/findings/screws/proposal.rs", "MOST: i32 = 3"),
    ("within a quarter of a second", "src/log/journal/mod.rs", "WRITE_S: f64 = 0.2"),
    ("to the disk every second", "src/log/journal/mod.rs", "SYNC_S: f64 = 1.0"),
    ("220 Hz and", "src/live/tones.rs", "LOWEST_HZ: f64 = 220.0"),
    ("6 Hz for each kPa", "src/live/tones.rs", "RISE_HZ_PER_KPA: f64 = 6.0"),
    ("newest seconds, 60 without it", "src/cli/record/args.rs", "default_value_t = 60.0"),
    ("the last minute", "src/cli/record/args.rs", "default_value_t = 60.0"),
    ("4, 6 or 8 cylinders. The", "src/recording/lesson/mod.rs", "it has 4, 6 or 8 cylinders"),
    (
        "begins with 4, 6 or 8 cylinders",
        "src/recording/lesson/mod.rs",
        "it has 4, 6 or 8 cylinders",
    ),
    ("*Scenes* has eight engines", "src/recording/lesson/scenes.rs", "SCENES: [Scene; 8]"),
    ("on two to four sheets", "tests/browser/handover.test.mjs", "count >= 2 && count <= 4"),
    ("airflow meters, 3 by default", "src/findings/mod.rs", "flow_tolerance: 0.03"),
    ("The tolerance is 3 %", "src/findings/mod.rs", "flow_tolerance: 0.03"),
    ("flow_tolerance_percent = 3 ", "src/findings/mod.rs", "flow_tolerance: 0.03"),
    ("each may be wrong by 2 %", "src/findings/mod.rs", "flow_meter_limit: 0.02"),
    ("flow_meter_limit_percent = 2 ", "src/findings/mod.rs", "flow_meter_limit: 0.02"),
    ("more than 2 % of the flow", "src/findings/flow/ratio.rs", "MOST_BEND: f64 = 0.02"),
    ("more than 5 % of the rows are bad", "src/log/reader.rs", "MOST_BAD: f64 = 0.05"),
    ("0 good, 10 bad, 11 not settled", "src/cli/output.rs", "Outcome::Bad => 10"),
    ("else 10, 11, 0", "src/cli/output.rs", "Outcome::NotSettled => 11"),
    (
        "It ends with 0 when all is as it was, else with 1",
        "src/cli/report/verify.rs",
        "Ok(u8::from(!checked.same))",
    ),
    ("Exit code 1 means", "src/cli/report/verify.rs", "Ok(u8::from(!checked.same))"),
    ("2 that the input or the command line", "src/cli/failure.rs", "_ => 2,"),
    ("used, 3\nthat the device", "src/cli/failure.rs", "=> 3,"),
    ("worst: 2 where one", "src/cli/failure.rs", "_ => 2,"),
    ("the code is 2 only", "src/cli/failure.rs", "_ => 2,"),
    ("An interrupt gives 130", "src/cli/archive/mod.rs", "INTERRUPTED: u8 = 130"),
    ("stretches of at least 3 s", "src/signal/plateaus.rs", "LEAST_S: f64 = 3.0"),
    ("air1_over_air2", "src/report/rows/balance.rs", "air1_over_air2"),
    ("40 cars", "benches/archive.rs", "CARS: usize = 40"),
    ("over five years", "benches/archive.rs", "VISITS: usize = 5"),
    ("32 s each at 20 Hz", "benches/archive.rs", "recording(32.0, 20.0"),
    ("200 recordings", "benches/archive.rs", "on_every_core(CARS * VISITS"),
    ("under fifty names", "benches/archive.rs", "NAMES: usize = 50"),
    ("archive of 10,000 logs", "benches/archive.rs", "for copy in 0..NAMES"),
    ("without it 0 whenever", "src/cli/output.rs", "_ if !asked => 0"),
    ("1.3 kPa for the difference", "src/findings/mod.rs", "tolerance_kpa: 1.3"),
    (
        "the greater of 20 rev/min",
        "src/findings/breather.rs",
        "THRESHOLD: (f64, f64) = (20.0, 0.025)",
    ),
    (
        "and 2.5 % for the idle drop",
        "src/findings/breather.rs",
        "THRESHOLD: (f64, f64) = (20.0, 0.025)",
    ),
];

/// Words with a figure that is no property of the program: what a hand does for how long, examples of what
/// may be written, names of standards and formats.
const NO_CLAIMS: [&str; 27] = [
    "**0. Build",
    "**1. See",
    "**2. Prove",
    "**3. Balance",
    "**4. Balance",
    "**5. Hand",
    "Idle for 15 s",
    "cap off for 10 s, on for 10 s",
    "Log 20 s",
    "log 20 s more",
    "`screw 1 +0.25`",
    "logging for 15 s",
    "log 10 s of idle, 10 s each",
    "then 10 s with the engine",
    "six stretches of 10 s",
    "hold 1,500 to 2,000 rev/min for 15 s",
    "2,500 to 3,000",
    "SHA-256",
    "of A4 or Letter",
    "`--speed 10`",
    "'1008 hPa'",
    "'29.8 inHg'",
    "'10 mmHg'",
    "1. Engine off",
    "2. Idle for 25 s",
    "3. Swap the two meters, mark `meters swapped`, 25 s",
    "Apache 2.0",
];

/// What stands outside the blocks of code.
fn prose(text: &str) -> String {
    text.split("```").step_by(2).collect()
}

#[test]
fn every_figure_of_the_prose_stands_beside_what_makes_it_so() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = readme();
    let mut left = prose(&text);
    for (words, file, there) in CLAIMS {
        assert!(text.contains(words), "the README no longer says {words:?}");
        let source = fs::read_to_string(root.join(file)).unwrap();
        assert!(source.contains(there), "{words:?} of the README, but {file} has no {there:?}");
        left = left.replace(words, "");
    }
    for words in NO_CLAIMS {
        assert!(left.contains(words), "the README no longer says {words:?}");
        left = left.replace(words, "");
    }
    // Names of columns and options, and what a standard is called.
    for name in [
        "60-evenbreath.rules",
        "UTF-8",
        "carb1",
        "carb2",
        "vac1",
        "map1_kpa",
        "map2_kpa",
        "flow1",
        "flow2",
        "v1",
        "v2",
        "(ISO 5167-1)",
        "(ISO 14253-1)",
        "USB*",
        "inH2O",
    ] {
        left = left.replace(name, "");
    }
    let figures: Vec<&str> =
        left.lines().filter(|line| line.contains(|c: char| c.is_ascii_digit())).collect();
    assert!(figures.is_empty(), "figures that nothing stands for: {figures:#?}");
}
