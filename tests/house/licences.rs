//! The licences of all that is built into the program, against those that `.deny.toml` allows, and the crates of which there
//! must not be two. `cargo deny` asks the same and more; this needs nothing that is not there where cargo is.

use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

/// What cargo knows of every package that is built on this machine.
fn packages() -> Vec<Value> {
    let version = Command::new("rustc").arg("-vV").output().unwrap();
    let version = String::from_utf8(version.stdout).unwrap();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let answer = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--locked",
            "--offline",
            "--filter-platform",
            host,
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(answer.status.success(), "{}", String::from_utf8_lossy(&answer.stderr));
    let document: Value = serde_json::from_slice(&answer.stdout).unwrap();
    document["packages"].as_array().unwrap().clone()
}

fn wishes() -> toml::Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(".deny.toml");
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

/// Whether the allowed licences satisfy an expression such as `(MIT OR Apache-2.0) AND Unicode-3.0`; a slash is an old OR.
fn satisfied(expression: &str, allowed: &dyn Fn(&str) -> bool) -> bool {
    let plain = expression.replace('/', " OR ");
    let words: Vec<&str> = plain.split_whitespace().collect();
    let joined = words.join(" ");
    split(&joined, " AND ").iter().all(|part| {
        let inner = part.strip_prefix('(').and_then(|part| part.strip_suffix(')'));
        match inner {
            Some(inner) => satisfied(inner, allowed),
            None => split(part, " OR ").iter().any(|one| allowed(one)),
        }
    })
}

/// Parts of an expression between words that stand outside brackets.
fn split<'a>(text: &'a str, word: &str) -> Vec<&'a str> {
    let (mut parts, mut from, mut depth) = (Vec::new(), 0, 0);
    for (at, sign) in text.char_indices() {
        depth += i32::from(sign == '(') - i32::from(sign == ')');
        if depth == 0 && at >= from && text[at..].starts_with(word) {
            parts.push(&text[from..at]);
            from = at + word.len();
        }
    }
    parts.push(&text[from..]);
    parts
}

#[test]
fn every_crate_has_a_licence_that_is_allowed() {
    let wishes = wishes();
    let allowed = wishes["licenses"]["allow"].as_array().unwrap();
    let allowed = |name: &str| allowed.iter().any(|one| one.as_str() == Some(name));
    let packages = packages();
    assert!(packages.len() > 100, "only {} packages seen", packages.len());
    let refused: Vec<String> = packages
        .iter()
        .filter(|package| !satisfied(package["license"].as_str().unwrap_or("none"), &allowed))
        .map(|package| format!("{} {}", package["name"], package["license"]))
        .collect();
    assert!(refused.is_empty(), "{refused:?}");
}

#[test]
fn there_are_no_two_versions_of_a_big_crate() {
    let mut versions: BTreeMap<String, usize> = BTreeMap::new();
    for package in packages() {
        *versions.entry(package["name"].as_str().unwrap().to_string()).or_default() += 1;
    }
    let wishes = wishes();
    for big in wishes["bans"]["deny"].as_array().unwrap() {
        let name = big["crate"].as_str().unwrap();
        assert_eq!(versions.get(name), Some(&1), "{name}");
    }
}

#[test]
fn expressions_are_read_as_they_are_meant() {
    let allowed =
        |name: &str| ["MIT", "Apache-2.0 WITH LLVM-exception", "Unicode-3.0"].contains(&name);
    for good in [
        "MIT",
        "GPL-3.0-only OR MIT",
        "MIT/Apache-2.0",
        "Apache-2.0 / MIT",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception OR GPL-2.0",
    ] {
        assert!(satisfied(good, &allowed), "{good}");
    }
    for bad in ["GPL-3.0-only", "MIT AND GPL-3.0-only", "none", "(GPL-2.0 OR Zlib) AND MIT"] {
        assert!(!satisfied(bad, &allowed), "{bad}");
    }
}

/// A crate that nothing names is built for nothing, and one that only tests name is built into the program for nothing.
#[test]
fn every_crate_is_used_where_it_is_asked_for() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml");
    let manifest: toml::Table = std::fs::read_to_string(path).unwrap().parse().unwrap();
    let names = |table: &str| -> Vec<String> {
        manifest[table].as_table().unwrap().keys().map(|name| name.replace('-', "_")).collect()
    };
    let lines = |folder: &str, test: Option<bool>| -> Vec<String> {
        let of = |source: &crate::Source| {
            let lines = source.code.iter().zip(&source.test);
            let kept = lines.filter(|(_, own)| test.is_none_or(|test| test == **own));
            kept.map(|(line, _)| line.clone()).collect::<Vec<String>>()
        };
        crate::sources(folder).iter().flat_map(of).collect()
    };
    let named = |name: &String, lines: &[String]| {
        lines.iter().any(|line| {
            let is_name = |at: usize| {
                let behind = line[at + name.len()..].trim_start();
                !line[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_')
                    && (behind.starts_with("::") || behind.starts_with('!'))
            };
            line.match_indices(name.as_str()).any(|(at, _)| is_name(at))
        })
    };
    let program = lines("src", Some(false));
    let idle: Vec<String> =
        names("dependencies").into_iter().filter(|name| !named(name, &program)).collect();
    assert!(idle.is_empty(), "nothing in src uses {idle:?}");
    let mut proving = lines("src", Some(true));
    proving.extend(lines("tests", None));
    proving.extend(lines("benches", None));
    let idle: Vec<String> =
        names("dev-dependencies").into_iter().filter(|name| !named(name, &proving)).collect();
    assert!(idle.is_empty(), "no test uses {idle:?}");
}
