//! Which logs are meant: files as they are named, folders with all that is in them.

use crate::cli::failure::Failure;
use std::fs;
use std::path::{Path, PathBuf};

/// Endings of files in a folder that are taken for logs; a file that is named is read whatever its
/// ending.
pub const ENDINGS: [&str; 3] = ["csv", "tsv", "txt"];

/// A log to be read.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Source {
    /// Its path.
    pub path: PathBuf,
    /// Why it cannot be read, where that is known already.
    pub trouble: Option<String>,
}

impl Source {
    /// What messages and rows call it. A name that is no UTF-8 has a mark in place of each wrong byte.
    pub fn name(&self) -> String {
        self.path.display().to_string()
    }

    /// Size of the file, bytes.
    pub fn bytes(&self) -> Option<u64> {
        fs::metadata(&self.path).ok().filter(fs::Metadata::is_file).map(|data| data.len())
    }
}

/// The logs that these paths mean, each once, in the order of their names.
///
/// # Errors
/// Standard input among them, a folder that cannot be looked into, no log at all.
pub fn find(given: &[PathBuf]) -> Result<Vec<Source>, Failure> {
    if given.iter().any(|path| path == Path::new("-")) {
        return Err(Failure::StandardInputAmongMany);
    }
    let mut sources = Vec::new();
    for path in given {
        if path.is_dir() {
            let unreadable = |source| Failure::Folder { path: path.clone(), source };
            walk(path, &mut sources).map_err(unreadable)?;
        } else {
            sources.push(Source { path: path.clone(), trouble: None });
        }
    }
    sources.sort();
    sources.dedup_by(|a, b| a.path == b.path);
    if sources.is_empty() {
        return Err(Failure::NoLogs { path: given.first().cloned().unwrap_or_default() });
    }
    Ok(sources)
}

/// Adds the logs in a folder and in those below it. Hidden files and folders are passed by, and so
/// are links to folders, which may lead in a circle.
fn walk(folder: &Path, sources: &mut Vec<Source>) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let path = entry.path();
        if entry.file_name().as_encoded_bytes().starts_with(b".") {
            continue;
        }
        if entry.file_type()?.is_dir() {
            if let Err(error) = walk(&path, sources) {
                let trouble = format!(
                    "the folder {} cannot be looked into ({error}); check its permissions",
                    path.display()
                );
                sources.push(Source { path, trouble: Some(trouble) });
            }
        } else if is_log(&path) {
            sources.push(Source { path, trouble: None });
        }
    }
    Ok(())
}

/// A file, not a pipe or the like, that may be read as a log.
fn is_log(path: &Path) -> bool {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    let known = ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()));
    // A link that leads nowhere is a log that cannot be read, and is said to be one.
    known && fs::metadata(path).map_or(true, |data| data.is_file())
}
