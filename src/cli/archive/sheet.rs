//! Where rows go: a file, or standard output.

use crate::cli::failure::Failure;
use crate::report::rows::{self, Heading, ParquetError, Row};
use std::fs::{self, File};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Rows as lines of text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lines {
    /// CSV with a heading line.
    Csv,
    /// One JSON object a line.
    Json,
}

/// A table that grows by rows, each of them whole or not there.
pub struct Sheet {
    headings: Vec<Heading>,
    path: Option<PathBuf>,
    end: End,
}

enum End {
    StandardOutput(Lines),
    Lines { file: File, lines: Lines, written: u64 },
    Parquet(Box<rows::Sheet<File>>),
}

impl Sheet {
    /// Rows on standard output.
    ///
    /// # Errors
    /// Standard output cannot be written to.
    pub fn on_standard_output(lines: Lines, headings: Vec<Heading>) -> Result<Self, Failure> {
        let mut sheet = Sheet { headings, path: None, end: End::StandardOutput(lines) };
        if lines == Lines::Csv {
            let heading = rows::csv_heading(&sheet.headings);
            sheet.line(&heading)?;
        }
        Ok(sheet)
    }

    /// Rows in a new file, in the format that its ending names.
    ///
    /// # Errors
    /// There is such a file already, or it cannot be written to.
    pub fn in_file(path: &Path, headings: Vec<Heading>) -> Result<Self, Failure> {
        let file = File::create_new(path).map_err(|source| match source.kind() {
            ErrorKind::AlreadyExists => Failure::Value {
                flag: "rows",
                what: format!(
                    "{} is there already, and is not written over; give another name, or take it \
                     away first",
                    path.display()
                ),
            },
            _ => Failure::Write { path: path.into(), source },
        })?;
        let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        let lines = |file, lines| End::Lines { file, lines, written: 0 };
        let end = match ending.as_deref() {
            Some("parquet") => {
                let begun = rows::Sheet::new(file, headings.clone());
                End::Parquet(Box::new(begun.map_err(|error| unwritten(path, error))?))
            }
            Some("jsonl") => lines(file, Lines::Json),
            _ => lines(file, Lines::Csv),
        };
        let mut sheet = Sheet { headings, path: Some(path.into()), end };
        if matches!(sheet.end, End::Lines { lines: Lines::Csv, .. }) {
            let heading = rows::csv_heading(&sheet.headings);
            sheet.line(&heading)?;
        }
        Ok(sheet)
    }

    /// Adds a row; false where its reader has gone (`| head`) and wants no more.
    ///
    /// # Errors
    /// The row cannot be written.
    pub fn push(&mut self, row: Row) -> Result<bool, Failure> {
        match &mut self.end {
            End::Parquet(sheet) => {
                let path = self.path.as_deref().unwrap_or(Path::new(""));
                sheet.push(row).map_err(|error| unwritten(path, error))?;
                Ok(true)
            }
            End::StandardOutput(lines) | End::Lines { lines, .. } => {
                let text = match lines {
                    Lines::Csv => rows::csv_line(&row),
                    Lines::Json => rows::json_line(&self.headings, &row),
                };
                self.line(&text)
            }
        }
    }

    /// Writes a line by one call of the system, so that a file holds whole rows whenever the program
    /// is ended, and takes back the part of a line for which the disk had no room.
    fn line(&mut self, text: &[u8]) -> Result<bool, Failure> {
        match &mut self.end {
            End::StandardOutput(_) => {
                let mut out = io::stdout().lock();
                match out.write_all(text).and_then(|()| out.flush()) {
                    Ok(()) => Ok(true),
                    Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(false),
                    Err(error) => Err(Failure::Answer(error)),
                }
            }
            End::Lines { file, written, .. } => {
                let path = || self.path.clone().unwrap_or_default();
                file.write_all(text).map_err(|source| {
                    // The error that brought us here is the one worth telling.
                    let _ = file.set_len(*written);
                    Failure::Write { path: path(), source }
                })?;
                *written += text.len() as u64;
                Ok(true)
            }
            End::Parquet(_) => Ok(true),
        }
    }

    /// Ends the table.
    ///
    /// # Errors
    /// The end of the file cannot be written.
    pub fn close(self) -> Result<(), Failure> {
        let path = self.path.unwrap_or_default();
        match self.end {
            End::Parquet(sheet) => sheet.close().map_err(|error| unwritten(&path, error)),
            End::Lines { file, .. } => {
                file.sync_all().map_err(|source| Failure::Write { path, source })
            }
            End::StandardOutput(_) => Ok(()),
        }
    }
}

/// A Parquet file that cannot be ended can be read by nobody, and is taken away.
fn unwritten(path: &Path, error: ParquetError) -> Failure {
    let _ = fs::remove_file(path);
    Failure::Write { path: path.into(), source: io::Error::other(error) }
}
