//! The command line of `profile`.

use clap::{Args, Subcommand};
use std::path::PathBuf;

/// `profile`.
#[derive(Debug, Subcommand)]
pub enum ProfileCommand {
    /// Asks question by question and writes a profile with comments
    ///
    /// Each answer is checked; an empty one leaves the line out, and what stands in brackets holds.
    /// From a pipe it reads one answer a line. A file that is there is not written over.
    #[command(after_help = "\
Examples:
  evenbreath profile new car.toml
  evenbreath profile new car.toml --yes \\
    --set carb1=Front --set carb2=Rear")]
    New(ProfileNewArgs),
    /// Says what a profile holds, or what is wrong with it
    #[command(after_help = "\
Example:
  evenbreath profile check car.toml")]
    Check {
        /// The profile.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
}

/// `profile new`.
#[derive(Debug, Args)]
pub struct ProfileNewArgs {
    /// File to be written.
    #[arg(value_name = "FILE", default_value = "car.toml")]
    pub file: PathBuf,
    /// Answers a question beforehand, such as 'cylinders=6'; give it once for each key.
    #[arg(long, value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// Asks nothing: what no --set says is left out.
    #[arg(long)]
    pub yes: bool,
}
