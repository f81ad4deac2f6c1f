//! The fuzzer's checks on what it has found so far, on logs that people might have, and on such with a few bytes changed.
#![allow(clippy::unwrap_used, reason = "a case that cannot be read should stop the test")]

mod checks;

use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(name)
}

/// The files of a folder, in the order of their names.
fn files(folder: &Path) -> Vec<Vec<u8>> {
    let entries = fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.iter().filter(|path| path.is_file()).map(|path| fs::read(path).unwrap()).collect()
}

#[test]
fn every_case_that_was_found_holds() {
    for (name, check) in checks::ALL {
        let cases = files(&folder("fuzz/corpus").join(name));
        assert!(!cases.is_empty(), "no case for {name}");
        cases.iter().for_each(|case| check(case));
    }
    files(&folder("faults")).iter().for_each(|case| checks::log(case));
}

/// One change of some bytes.
fn changed(mut bytes: Vec<u8>, changes: &[(u8, usize, u8)]) -> Vec<u8> {
    const SIGNS: &[u8] = b",;.\t\"\n\r#-+eE0 9:/'=\0\xff\xe9";
    for (kind, at, value) in changes {
        if bytes.is_empty() {
            break;
        }
        let at = at % bytes.len();
        match kind % 5 {
            0 => bytes[at] = *value,
            1 => bytes[at] = SIGNS[usize::from(*value) % SIGNS.len()],
            2 => bytes.insert(at, SIGNS[usize::from(*value) % SIGNS.len()]),
            3 => bytes.truncate(at),
            _ => {
                let end = (at + usize::from(*value)).min(bytes.len());
                bytes.drain(at..end);
            }
        }
    }
    bytes
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_log_with_some_bytes_changed_holds(
        which in any::<prop::sample::Index>(),
        changes in prop::collection::vec((any::<u8>(), any::<usize>(), any::<u8>()), 1..6),
    ) {
        let logs = files(&folder("faults"));
        checks::log(&changed(which.get(&logs).clone(), &changes));
    }

    #[test]
    fn anything_else_with_some_bytes_changed_holds(
        target in 1..checks::ALL.len(),
        which in any::<prop::sample::Index>(),
        changes in prop::collection::vec((any::<u8>(), any::<usize>(), any::<u8>()), 1..6),
    ) {
        let (name, check) = checks::ALL[target];
        let cases = files(&folder("fuzz/corpus").join(name));
        check(&changed(which.get(&cases).clone(), &changes));
    }
}
