//! The options of many logs.

use crate::cli::values;
use clap::Args;
use std::path::PathBuf;

/// How the answers on many logs are to be given.
#[derive(Debug, Clone, Default, Args)]
pub struct Many {
    /// Write the rows into this new file: .csv, .jsonl (JSON lines) or .parquet.
    #[arg(long, value_name = "FILE", value_parser = values::rows, help_heading = "Many logs")]
    pub rows: Option<PathBuf>,
    /// The rows as CSV on standard output, and nothing else there. With --json they are JSON, a
    /// line each.
    #[arg(long, conflicts_with = "json", help_heading = "Many logs")]
    pub csv: bool,
}
