//! Each rule is shown a snippet that breaks it, and one that only looks so.

use crate::rules::faults;
use crate::source::{Source, blank};

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
    assert_eq!(broken("log/a.rs", "use super::super::cli::X;\n"), ["1: imports cli"]);
    assert_eq!(broken("engine/a.rs", "use super::sensors::Own;\n"), [""; 0]);
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
fn a_file_declared_as_a_test_is_one() {
    let source = Source::new("engine/mod.rs", "mod model;\n#[cfg(test)]\nmod tests;\nmod x;\n");
    assert_eq!(source.test_files(), ["engine/tests.rs", "engine/tests/mod.rs"]);
    let source = Source::new("log/rows.rs", "#[cfg(test)]\nmod tests;\n");
    assert_eq!(source.test_files()[0], "log/rows/tests.rs");
}

#[test]
fn an_unseeded_generator_is_seen() {
    assert_eq!(broken("engine/a.rs", "let r = Pcg::from_os_rng();").len(), 1);
    assert_eq!(broken("live/hub.rs", "getrandom::fill(&mut bytes);").len(), 1);
    assert_eq!(broken("live/codes.rs", "getrandom::fill(&mut bytes);"), [""; 0]);
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
