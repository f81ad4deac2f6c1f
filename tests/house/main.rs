//! The house rules, read off the source: who may import whom, who may print, who may read a clock,
//! no `unwrap` on what a person supplies, short files and short functions.
#![allow(clippy::unwrap_used, reason = "a test that cannot read the source should stop")]

mod licences;
mod proofs;
mod rules;
mod source;

use source::Source;
use std::fs;
use std::path::{Path, PathBuf};

fn sources(folder: &str) -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
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
    let mut sources: Vec<Source> = files
        .iter()
        .map(|file| {
            let place = file.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
            Source::new(&place, &fs::read_to_string(file).unwrap())
        })
        .collect();
    let tests: Vec<String> = sources.iter().flat_map(Source::test_files).collect();
    for source in sources.iter_mut().filter(|source| tests.contains(&source.place)) {
        source.test.fill(true);
        source.all_test = true;
    }
    sources
}

#[test]
fn the_house_is_in_order() {
    let sources = sources("src");
    assert!(sources.len() > 20, "only {} files seen: the test looks elsewhere", sources.len());
    let faults: Vec<String> =
        sources.iter().flat_map(rules::faults).map(|fault| fault.to_string()).collect();
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

#[test]
fn every_room_has_its_line_in_the_table() {
    for source in sources("src") {
        let known = rules::MAY_IMPORT.iter().any(|(room, _)| *room == source.room);
        let plain = ["lib", "main", "sample"].contains(&source.room.as_str());
        assert!(known || plain, "{} is no room of the house", source.place);
    }
}

#[test]
fn the_main_file_is_a_table_of_contents() {
    let main = sources("src").into_iter().find(|source| source.place == "main.rs").unwrap();
    assert!(main.code.len() < 60, "{} lines", main.code.len());
}

#[test]
fn no_file_of_the_tests_is_long_either() {
    let faults: Vec<String> = sources("tests")
        .iter()
        .flat_map(|source| [rules::long_file(source), rules::long_functions(source)].concat())
        .map(|fault| fault.to_string())
        .collect();
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}
