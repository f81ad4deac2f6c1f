//! The page in a real browser: runs the tests of this folder that are written for node.
//!
//! They need node, chromium and what `npm ci` puts into `node_modules`. Where one is missing this says so
//! loudly and passes, unless `EVENBREATH_BROWSER_REQUIRED` is set.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser")
}

fn runs(program: &str) -> bool {
    let quiet =
        Command::new(program).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    quiet.is_ok_and(|status| status.success())
}

/// What is missing, in words.
fn missing(chromium: &str) -> Vec<String> {
    let mut missing = Vec::new();
    if !runs("node") {
        missing.push("node".into());
    }
    if !runs(chromium) {
        missing.push(format!("chromium at {chromium}"));
    }
    for package in ["playwright-core", "axe-core", "html-validate"] {
        if !folder().join("node_modules").join(package).is_dir() {
            missing.push(format!("{package} (npm ci in tests/browser)"));
        }
    }
    missing
}

/// One after the other: each waits for what the other would hold up. What is timed is a bench,
/// `cargo bench --bench page`, and not here.
#[test]
fn the_page_in_a_browser() {
    let chromium = std::env::var("EVENBREATH_CHROMIUM").unwrap_or("/usr/bin/chromium".into());
    let missing = missing(&chromium);
    if !missing.is_empty() {
        let words = format!("SKIPPED: the page in a browser; missing: {}\n", missing.join(", "));
        assert!(std::env::var_os("EVENBREATH_BROWSER_REQUIRED").is_none(), "{words}");
        // Not the macro for it, whose words the test runner keeps to itself.
        std::io::stderr().write_all(words.as_bytes()).unwrap();
        return;
    }
    let output = Command::new("node")
        .args(["--test", "--test-concurrency=1", "--test-reporter=spec"])
        .args(["page.test.mjs", "lesson.test.mjs", "handover.test.mjs"])
        .env("EVENBREATH_PROGRAM", env!("CARGO_BIN_EXE_evenbreath"))
        .env("EVENBREATH_CHROMIUM", chromium)
        .current_dir(folder())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
}
