//! The commands, one short file each. They read logs, hand them from room to room, and print.
//!
//! ```text
//! args --> wishes (flag, profile, header, default) --> load --> findings --> charts
//!                                                                       \-> report --> output
//! ```

mod archive;
mod args;
mod balance;
mod breather;
mod compare;
mod days;
mod demo;
mod failure;
mod hunt;
mod inspect;
mod load;
mod output;
mod pair_match;
mod papers;
mod picture;
mod ports;
pub mod profile;
mod profile_args;
mod profile_engine;
mod profile_new;
mod record;
mod report;
mod sides;
mod tee_section;
mod values;
mod wishes;

pub use args::Cli;
pub use failure::Failure;
pub use output::message;

use args::Command;

const START: &str = "\
no command given

evenbreath measures from a log how evenly two
carburettors feed one engine, and where it leaks.

  evenbreath demo
      the whole job on logs that come with it
  evenbreath record LOG
      a log from a two-sensor box, see 'ports', 'lesson'
  evenbreath inspect LOG
      what is in a log
  evenbreath balance LOG
      which side passes more air, what to turn
  evenbreath breather LOG
      whether the closed breather is sealed
  evenbreath hunt LOG
      which suspect leaks, and how much
  evenbreath compare BEFORE AFTER
      what the work has changed; 'report' makes a page of it
  evenbreath match LOG
      what the two sensors differ by

  evenbreath help COMMAND
      options and an example";

/// Does what the command line asks for; gives the exit code.
///
/// # Errors
/// Whatever keeps the command from doing its work.
pub fn run(cli: &Cli) -> Result<u8, Failure> {
    match &cli.command {
        None => Err(Failure::NoCommand(START)),
        Some(Command::Balance(args)) => balance::run(args),
        Some(Command::Breather(args)) => breather::run(args),
        Some(Command::Hunt(args)) => hunt::run(args),
        Some(Command::Compare(args)) => compare::run(args),
        Some(Command::Report(args)) => report::run(args),
        Some(Command::Inspect(args)) => inspect::run(args),
        Some(Command::Match(args)) => pair_match::run(args),
        Some(Command::Record(args)) => record::run(args),
        Some(Command::Lesson(args)) => record::lesson::run(args),
        Some(Command::Profile(command)) => profile_new::run(command),
        Some(Command::Ports(args)) => ports::run(args),
        Some(Command::Demo(args)) => demo::run(args),
        Some(Command::Completions { shell }) => papers::completions(*shell),
        Some(Command::Manual { into }) => papers::manual(into.as_deref()),
    }
}
