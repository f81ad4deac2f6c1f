//! `completions` and `manual`: what a package puts beside the binary.

use super::args::Cli;
use super::failure::Failure;
use super::output::{answer, message};
use clap::{Command, CommandFactory};
use clap_complete::Shell;
use clap_mangen::Man;
use clap_mangen::roff::{Roff, roman};
use std::fs;
use std::io;
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
    let mut main = Cli::command().disable_help_subcommand(true);
    main.build();
    let Some(folder) = into else {
        answer(&page(main).map_err(Failure::Answer)?)?;
        return Ok(0);
    };
    let cannot = |source| Failure::Write { path: folder.into(), source };
    fs::create_dir_all(folder).map_err(cannot)?;
    for command in with_all_below(main) {
        let name = command.get_display_name().unwrap_or_else(|| command.get_name());
        let path = folder.join(name).with_extension("1");
        fs::write(&path, page(command).map_err(cannot)?).map_err(cannot)?;
    }
    message(&format!("manual pages written to {}", folder.display()));
    Ok(0)
}

/// A command, its commands, and theirs.
fn with_all_below(command: Command) -> Vec<Command> {
    let below: Vec<Command> = command.get_subcommands().cloned().collect();
    let below = below.into_iter().flat_map(with_all_below);
    [command].into_iter().chain(below).collect()
}

/// One manual page: what the help says, then its last part in sections of their own.
fn page(command: Command) -> io::Result<Vec<u8>> {
    let end = command.get_after_help().map(ToString::to_string).unwrap_or_default();
    let (main, versioned) = (command.has_subcommands(), command.get_version().is_some());
    let man = Man::new(command);
    let mut page = Vec::new();
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if main {
        man.render_subcommands_section(&mut page)?;
    }
    sections(&end).to_writer(&mut page)?;
    if versioned {
        man.render_version_section(&mut page)?;
    }
    Ok(page)
}

/// The end of a help page as sections: their titles by the custom of manual pages (man-pages(7)),
/// their lines as they stand.
fn sections(text: &str) -> Roff {
    let mut roff = Roff::new();
    for part in text.split("\n\n") {
        let (title, body) = part.split_once('\n').unwrap_or((part, ""));
        let title = match title.trim_end_matches(':') {
            "Exit codes" => "EXIT STATUS".to_string(),
            "Example" | "Examples" => "EXAMPLES".to_string(),
            other => other.to_uppercase(),
        };
        if title.is_empty() {
            continue;
        }
        roff.control("SH", [title.as_str()]);
        roff.control("nf", []);
        for line in body.lines() {
            roff.text([roman(line)]);
        }
        roff.control("fi", []);
    }
    roff
}
