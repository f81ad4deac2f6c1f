//! `completions` and `manual`: what a package puts beside the binary.

use super::args::Cli;
use super::failure::Failure;
use super::output::{answer, message};
use clap::CommandFactory;
use clap_complete::Shell;
use std::fs;
use std::path::Path;

/// Writes the completion script of a shell to standard output.
///
/// # Errors
/// Standard output cannot be written.
pub fn completions(shell: Shell) -> Result<u8, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "evenbreath", &mut script);
    answer(&script)?;
    Ok(0)
}

/// Writes one manual page a command into a folder, or the main page to standard output.
///
/// # Errors
/// The folder or standard output cannot be written.
pub fn manual(into: Option<&Path>) -> Result<u8, Failure> {
    let Some(folder) = into else {
        let mut page = Vec::new();
        clap_mangen::Man::new(Cli::command()).render(&mut page).map_err(Failure::Answer)?;
        answer(&page)?;
        return Ok(0);
    };
    let cannot = |source| Failure::Write { path: folder.into(), source };
    fs::create_dir_all(folder).map_err(cannot)?;
    clap_mangen::generate_to(Cli::command(), folder).map_err(cannot)?;
    message(&format!("manual pages written to {}", folder.display()));
    Ok(0)
}
