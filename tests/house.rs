//! The house rules, read off the source: who may import whom, who may print, who may read a clock,
//! no `unwrap` on what a person supplies, short files and short functions.

use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

/// What a room may import of ours besides `units` and `sample`.
const MAY_IMPORT: [(&str, &[&str]); 13] = [
    ("statistics", &[]),
    ("gas", &[]),
    ("engine", &["gas"]),
    ("sources", &["engine"]),
    ("log", &[]),
    ("sensors", &["statistics"]),
    ("signal", &["statistics"]),
    ("findings", &["signal", "sensors", "statistics", "gas"]),
    ("charts", &["findings", "signal"]),
    ("report", &["findings", "charts"]),
    ("live", &["findings", "signal", "charts"]),
    (
        "cli",
        &["engine", "sources", "log", "sensors", "signal", "findings", "charts", "report", "live"],
    ),
    ("units", &[]),
];
const EVERYBODYS: [&str; 2] = ["units", "sample"];
/// These two know not even `units` and `sample`: they are fit to be crates of their own.
const ISLANDS: [&str; 2] = ["statistics", "gas"];
const MAY_PRINT: [&str; 4] = ["cli", "report", "live", "main"];
const MAY_READ_A_CLOCK: [&str; 3] = ["cli", "live", "sources"];
const LONGEST_FILE: usize = 500;
const LONGEST_FUNCTION: usize = 70;

/// A rule that is broken.
#[derive(Debug, PartialEq)]
struct Fault {
    place: String,
    line: usize,
    what: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}", self.place, self.line, self.what)
    }
}

/// A source file: its text with comments and literals blanked out (line breaks kept), and for each
/// line whether it belongs to a test.
struct Source {
    place: String,
    room: String,
    code: Vec<String>,
    test: Vec<bool>,
}

impl Source {
    fn new(place: &str, text: &str) -> Self {
        let room = place.split('/').next().unwrap_or(place).trim_end_matches(".rs").to_string();
        let code: Vec<String> = blank(text).lines().map(str::to_string).collect();
        let test = tests_among(&code);
        Source { place: place.into(), room, code, test }
    }

    fn fault(&self, line: usize, what: impl Into<String>) -> Fault {
        Fault { place: self.place.clone(), line: line + 1, what: what.into() }
    }

    fn live_lines(&self) -> impl Iterator<Item = (usize, &str)> {
        let kept = |(line, text): (usize, &'_ String)| !self.test[line] && !text.is_empty();
        self.code
            .iter()
            .enumerate()
            .filter(move |pair| kept(*pair))
            .map(|(line, text)| (line, text.as_str()))
    }

    fn find(&self, words: &[&str], what: &str) -> Vec<Fault> {
        self.live_lines()
            .filter_map(|(line, text)| {
                let word = words.iter().find(|word| has_word(text, word))?;
                Some(self.fault(line, format!("{what}: {word}")))
            })
            .collect()
    }
}

/// True when `word` stands in `text` and is not the tail of a longer name.
fn has_word(text: &str, word: &str) -> bool {
    text.match_indices(word).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        let starts_inside = word.starts_with(|c: char| c.is_alphanumeric())
            && before.is_some_and(|c| c.is_alphanumeric() || c == '_');
        !starts_inside
    })
}

/// Replaces comments, strings and character literals by blanks; line breaks stay.
fn blank(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut i = 0;
    while i < chars.len() {
        let end = literal_end(&chars, i);
        if end > i {
            out.extend(chars[i..end].iter().map(|&c| if c == '\n' { '\n' } else { ' ' }));
            i = end;
        } else {
            out.push(chars[i]);
            i += 1;
        }
    }
    out
}

/// End of the comment or literal that starts at `i`; `i` itself when none does.
fn literal_end(chars: &[char], i: usize) -> usize {
    let at = |k: usize| chars.get(k).copied().unwrap_or('\0');
    let named = i > 0 && (chars[i - 1].is_alphanumeric() || chars[i - 1] == '_');
    match (at(i), at(i + 1)) {
        ('/', '/') => (i..chars.len()).find(|&k| chars[k] == '\n').unwrap_or(chars.len()),
        ('/', '*') => block_comment_end(chars, i),
        ('r', '"' | '#') if !named => raw_string_end(chars, i),
        ('"', _) => quoted_end(chars, i),
        ('\'', '\\') => quoted_end(chars, i),
        ('\'', _) if at(i + 2) == '\'' => i + 3,
        _ => i,
    }
}

fn block_comment_end(chars: &[char], from: usize) -> usize {
    let (mut depth, mut k) = (0usize, from);
    while k + 1 < chars.len() {
        match (chars[k], chars[k + 1]) {
            ('/', '*') => (depth, k) = (depth + 1, k + 2),
            ('*', '/') => (depth, k) = (depth - 1, k + 2),
            _ => k += 1,
        }
        if depth == 0 {
            return k;
        }
    }
    chars.len()
}

fn raw_string_end(chars: &[char], from: usize) -> usize {
    let hashes = chars[from + 1..].iter().take_while(|&&c| c == '#').count();
    if chars.get(from + 1 + hashes) != Some(&'"') {
        return from;
    }
    let mut k = from + 2 + hashes;
    while k < chars.len() {
        let closes = chars[k] == '"'
            && chars[k + 1..].iter().take(hashes).filter(|&&c| c == '#').count() == hashes;
        if closes {
            return k + 1 + hashes;
        }
        k += 1;
    }
    chars.len()
}

fn quoted_end(chars: &[char], from: usize) -> usize {
    let mut k = from + 1;
    while k < chars.len() && chars[k] != chars[from] {
        k += if chars[k] == '\\' { 2 } else { 1 };
    }
    (k + 1).min(chars.len())
}

/// Which lines stand under `#[cfg(test)]`.
fn tests_among(code: &[String]) -> Vec<bool> {
    let mut test = vec![false; code.len()];
    let mut line = 0;
    while line < code.len() {
        if code[line].contains("#[cfg(test)]") {
            let end = block_end(code, line);
            test[line..=end].fill(true);
            line = end;
        }
        line += 1;
    }
    test
}

/// Last line of the item that starts at `from`: where its braces close, or its semicolon.
fn block_end(code: &[String], from: usize) -> usize {
    let mut depth = 0i64;
    let mut opened = false;
    for (line, text) in code.iter().enumerate().skip(from) {
        for c in text.chars() {
            match c {
                '{' => (depth, opened) = (depth + 1, true),
                '}' => depth -= 1,
                ';' if !opened && depth == 0 => return line,
                // `[f64; 4]` in a signature holds a semicolon that ends nothing.
                '[' | '(' => depth += 1,
                ']' | ')' => depth -= 1,
                _ => {}
            }
            if opened && depth == 0 && c == '}' {
                return line;
            }
        }
    }
    code.len().saturating_sub(1)
}

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
    // `super::` reaches the other rooms as well as `crate::` does.
    for root in ["crate::", "evenbreath::", "super::"] {
        for (at, _) in text.match_indices(root) {
            let line = text[..at].matches('\n').count();
            let rooms = rooms(&text[at + root.len()..]).into_iter().filter(|room| !may(room));
            faults.extend(rooms.map(|room| source.fault(line, format!("imports {room}"))));
        }
    }
    faults
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

fn seeds(source: &Source) -> Vec<Fault> {
    source.find(
        &["thread_rng", "from_entropy", "from_os_rng", "rand::rng()", "OsRng"],
        "takes its random numbers from outside the seeded generator",
    )
}

fn long_file(source: &Source) -> Vec<Fault> {
    let lines = source.code.len();
    if lines <= LONGEST_FILE {
        return vec![];
    }
    vec![source.fault(lines - 1, format!("{lines} lines, {LONGEST_FILE} are allowed"))]
}

fn long_functions(source: &Source) -> Vec<Fault> {
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

fn faults(source: &Source) -> Vec<Fault> {
    [imports, prints, clocks, unwraps, seeds, long_file, long_functions, names]
        .into_iter()
        .flat_map(|rule| rule(source))
        .collect()
}

fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![root.clone()];
    let mut files: Vec<PathBuf> = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                files.push(path);
            }
        }
    }
    files.sort();
    files
        .iter()
        .map(|file| {
            let place = file.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
            Source::new(&place, &fs::read_to_string(file).unwrap())
        })
        .collect()
}

#[test]
fn the_house_is_in_order() {
    let sources = sources();
    assert!(sources.len() > 20, "only {} files seen: the test looks elsewhere", sources.len());
    let faults: Vec<String> =
        sources.iter().flat_map(faults).map(|fault| fault.to_string()).collect();
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

#[test]
fn every_room_has_its_line_in_the_table() {
    for source in sources() {
        let known = MAY_IMPORT.iter().any(|(room, _)| *room == source.room);
        let plain = ["lib", "main", "sample"].contains(&source.room.as_str());
        assert!(known || plain, "{} is no room of the house", source.place);
    }
}

#[test]
fn the_main_file_is_a_table_of_contents() {
    let main = sources().into_iter().find(|source| source.place == "main.rs").unwrap();
    assert!(main.code.len() < 60, "{} lines", main.code.len());
}

/// The rules that a snippet breaks, as `line: what`.
fn broken(place: &str, text: &str) -> Vec<String> {
    faults(&Source::new(place, text)).iter().map(|f| format!("{}: {}", f.line, f.what)).collect()
}

#[test]
fn a_forbidden_import_is_seen() {
    assert_eq!(broken("gas/flow.rs", "use crate::signal::Signal;\n"), ["1: imports signal"]);
    assert_eq!(broken("gas/flow.rs", "use crate::units::Kpa;\n"), ["1: imports units"]);
    assert_eq!(
        broken("charts/a.rs", "use crate::{findings::{Sides, x}, log, units::Kpa};\n"),
        ["1: imports log"]
    );
    assert_eq!(broken("log/a.rs", "\nfn f() { crate::cli::run() }\n"), ["2: imports cli"]);
    assert_eq!(broken("log/mod.rs", "use super::{cli, x};\n"), ["1: imports cli"]);
    assert_eq!(broken("report/mod.rs", "use crate::statistics::x;\n"), ["1: imports statistics"]);
    assert_eq!(broken("findings/a.rs", "use crate::{gas, signal};\n"), [""; 0]);
    assert_eq!(broken("log/a.rs", "// crate::cli\nlet s = \"crate::cli\";\n"), [""; 0]);
    let in_test = "#[cfg(test)]\nmod tests {\n    use crate::engine::Engine;\n}\n";
    assert_eq!(broken("signal/a.rs", in_test), ["3: imports engine"]);
}

#[test]
fn a_print_is_seen() {
    assert_eq!(broken("signal/a.rs", "fn f() { println!(\"x\"); }\n"), ["1: prints: println!"]);
    assert_eq!(broken("log/a.rs", "let out = io::stdout();\n"), ["1: prints: stdout()"]);
    assert_eq!(broken("cli/a.rs", "fn f() { println!(\"x\"); }\n"), [""; 0]);
    assert_eq!(broken("log/a.rs", "/* println!() */ fn blueprint() {}\n"), [""; 0]);
}

#[test]
fn a_clock_in_the_wrong_room_is_seen() {
    let text = "let now = std::time::Instant::now();\n";
    assert_eq!(broken("signal/a.rs", text), ["1: reads a clock: Instant"]);
    assert_eq!(broken("log/a.rs", "jiff::Zoned::now()"), ["1: reads a clock: Zoned::now"]);
    assert_eq!(broken("report/a.rs", "SystemTime::now()"), ["1: reads a clock: SystemTime"]);
    assert_eq!(broken("cli/a.rs", text), [""; 0]);
}

#[test]
fn an_unwrap_outside_a_test_is_seen() {
    let text = "fn f() {\n    x.unwrap();\n    y.expect(\"z\");\n}\n";
    assert_eq!(broken("log/a.rs", text), ["2: may panic: .unwrap()", "3: may panic: .expect("]);
    let test = format!("fn g() {{}}\n#[cfg(test)]\nmod tests {{\n{text}}}\n");
    assert_eq!(broken("log/a.rs", &test), [""; 0]);
    assert_eq!(broken("log/a.rs", &format!("{test}{text}")).len(), 2);
    assert_eq!(broken("log/a.rs", "/// x.unwrap()\nfn f() { x.unwrap_or(1); }\n"), [""; 0]);
}

#[test]
fn an_unseeded_generator_is_seen() {
    assert_eq!(broken("engine/a.rs", "let r = Pcg::from_os_rng();").len(), 1);
}

#[test]
fn a_long_file_is_seen() {
    assert_eq!(broken("log/a.rs", &"\n".repeat(500)), [""; 0]);
    assert_eq!(broken("log/a.rs", &"\n".repeat(501)), ["501: 501 lines, 500 are allowed"]);
}

#[test]
fn a_long_function_is_seen() {
    let function = |lines: usize| {
        format!("struct S;\nfn f(x: [f64; 4]) {{\n{}}}\n", "    // {\n".repeat(lines - 2))
    };
    assert_eq!(broken("log/a.rs", &function(70)), [""; 0]);
    assert_eq!(broken("log/a.rs", &function(71)), ["2: a function of 71 lines, 70 are allowed"]);
}

#[test]
fn a_vague_name_is_seen() {
    assert_eq!(broken("log/utils.rs", ""), ["1: a module called utils"]);
    assert_eq!(broken("helpers/mod.rs", ""), ["1: a module called helpers"]);
}

#[test]
fn literals_of_every_kind_are_blanked() {
    let text =
        "let a = r#\"x.unwrap() \" y\"#; let b = '\"'; let c = \"\\\" .unwrap()\"; 'a: loop {}";
    let blanked = blank(text);
    assert!(!blanked.contains("unwrap"), "{blanked}");
    assert!(blanked.contains("'a: loop {}"), "{blanked}");
    assert_eq!(blanked.chars().count(), text.chars().count());
}
