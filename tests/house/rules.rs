//! The rules: each takes a source file and gives its faults.

use crate::source::{Fault, Source, block_end, has_word};

/// What a room may import of ours besides `units`, `sample` and `cores`.
pub const MAY_IMPORT: [(&str, &[&str]); 15] = [
    ("statistics", &[]),
    ("gas", &[]),
    ("engine", &["gas"]),
    ("sources", &["engine"]),
    ("log", &[]),
    ("sensors", &["statistics"]),
    ("signal", &["statistics"]),
    ("findings", &["signal", "sensors", "statistics", "gas"]),
    ("recording", &["engine", "sources", "log", "sensors", "signal", "findings"]),
    ("charts", &["findings", "signal"]),
    ("report", &["findings", "charts"]),
    ("live", &["findings", "signal", "charts"]),
    (
        "cli",
        &[
            "engine",
            "sources",
            "log",
            "sensors",
            "signal",
            "findings",
            "recording",
            "charts",
            "report",
            "live",
        ],
    ),
    ("units", &[]),
    ("cores", &[]),
];
const EVERYBODYS: [&str; 3] = ["units", "sample", "cores"];
/// These two know none of them: they are fit to be crates of their own.
const ISLANDS: [&str; 2] = ["statistics", "gas"];
const MAY_PRINT: [&str; 4] = ["cli", "report", "live", "main"];
const MAY_READ_A_CLOCK: [&str; 3] = ["cli", "live", "sources"];
const LONGEST_FILE: usize = 500;
const LONGEST_FUNCTION: usize = 70;

fn imports(source: &Source) -> Vec<Fault> {
    let Some((_, allowed)) = MAY_IMPORT.iter().find(|(room, _)| *room == source.room) else {
        return vec![];
    };
    let island = ISLANDS.contains(&source.room.as_str());
    let may = |room: &str| {
        room == source.room
            || allowed.contains(&room)
            || (EVERYBODYS.contains(&room) && !island)
            || !is_room(room)
    };
    let text = source.code.join("\n");
    let mut faults = Vec::new();
    for root in ["crate::", "evenbreath::"] {
        for (at, _) in text.match_indices(root) {
            faults.extend(foreign(source, &text, at, at + root.len(), may));
        }
    }
    for (at, _) in text.match_indices("super::") {
        let chain = text[at..].split("super::").take_while(|between| between.is_empty()).count();
        // `super::` climbs one module; only as many as there are reach the other rooms.
        let line = text[..at].matches('\n').count();
        let depth = source.depth() + usize::from(source.test[line] && !source.all_test);
        if chain >= depth && !text[..at].ends_with("super::") {
            faults.extend(foreign(source, &text, at, at + chain * "super::".len(), may));
        }
    }
    faults
}

/// The rooms named at `from` that may not be imported.
fn foreign(
    source: &Source,
    text: &str,
    at: usize,
    from: usize,
    may: impl Fn(&str) -> bool,
) -> Vec<Fault> {
    let line = text[..at].matches('\n').count();
    rooms(&text[from..])
        .into_iter()
        .filter(|room| !may(room))
        .map(|room| source.fault(line, format!("imports {room}")))
        .collect()
}

fn is_room(name: &str) -> bool {
    EVERYBODYS.contains(&name) || MAY_IMPORT.iter().any(|(room, _)| *room == name)
}

/// The rooms that a path after `crate::` names: one, or those in braces.
fn rooms(path: &str) -> Vec<String> {
    let name = |text: &str| -> String {
        text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    let Some(inside) = path.strip_prefix('{') else { return vec![name(path)] };
    let mut depth = 0;
    let mut out = Vec::new();
    let mut start = 0;
    for (at, c) in inside.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => {
                out.push(name(&inside[start..at]));
                break;
            }
            '}' => depth -= 1,
            ',' if depth == 0 => {
                out.push(name(&inside[start..at]));
                start = at + 1;
            }
            _ => {}
        }
    }
    out.retain(|room| !room.is_empty());
    out
}

fn prints(source: &Source) -> Vec<Fault> {
    if MAY_PRINT.contains(&source.room.as_str()) {
        return vec![];
    }
    let words = ["print!", "println!", "eprint!", "eprintln!", "dbg!", "stdout()", "stderr()"];
    source.find(&words, "prints")
}

fn clocks(source: &Source) -> Vec<Fault> {
    if MAY_READ_A_CLOCK.contains(&source.room.as_str()) {
        return vec![];
    }
    source.find(
        &["SystemTime", "Instant", "Timestamp::now", "Zoned::now", "UNIX_EPOCH"],
        "reads a clock",
    )
}

fn unwraps(source: &Source) -> Vec<Fault> {
    source.find(&[".unwrap()", ".expect(", ".unwrap_err()", ".expect_err("], "may panic")
}

/// The codes of a shared page: another person must not be able to make them again, and nothing that is
/// measured depends on them.
const MUST_NOT_REPEAT: &str = "live/codes.rs";

fn seeds(source: &Source) -> Vec<Fault> {
    if source.place == MUST_NOT_REPEAT {
        return vec![];
    }
    source.find(
        &["thread_rng", "from_entropy", "from_os_rng", "rand::rng()", "OsRng", "getrandom"],
        "takes its random numbers from outside the seeded generator",
    )
}

/// More lines than a file may have.
pub fn long_file(source: &Source) -> Vec<Fault> {
    let lines = source.code.len();
    if lines <= LONGEST_FILE {
        return vec![];
    }
    vec![source.fault(lines - 1, format!("{lines} lines, {LONGEST_FILE} are allowed"))]
}

/// More lines than a function may have.
pub fn long_functions(source: &Source) -> Vec<Fault> {
    let is_function = |text: &str| has_word(text, "fn ") && text.contains('(');
    (0..source.code.len())
        .filter(|&line| is_function(&source.code[line]))
        .filter_map(|line| {
            let lines = block_end(&source.code, line) - line + 1;
            let what = format!("a function of {lines} lines, {LONGEST_FUNCTION} are allowed");
            (lines > LONGEST_FUNCTION).then(|| source.fault(line, what))
        })
        .collect()
}

fn names(source: &Source) -> Vec<Fault> {
    let vague = ["utils", "util", "helpers", "helper", "common", "manager", "misc"];
    let stem = |part: &str| part.trim_end_matches(".rs").to_string();
    source
        .place
        .split('/')
        .map(stem)
        .filter(|part| vague.contains(&part.as_str()))
        .map(|part| source.fault(0, format!("a module called {part}")))
        .collect()
}

/// Every fault of a file.
pub fn faults(source: &Source) -> Vec<Fault> {
    [imports, prints, clocks, unwraps, seeds, long_file, long_functions, names]
        .into_iter()
        .flat_map(|rule| rule(source))
        .collect()
}
