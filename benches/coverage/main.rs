//! How often the intervals of the findings hold the truth, and how often a verdict is wrong.
//!
//! ```text
//! cargo bench --bench coverage                       every table, 2,000 logs a cell
//! cargo bench --bench coverage -- balance            the balance alone
//! cargo bench --bench coverage -- breather --logs 200
//! cargo bench --bench coverage -- --short            a few telling cells in seconds
//! cargo bench --bench coverage -- --seed 7           the same cells, other logs
//! cargo bench --bench coverage -- breather --only 'fan comes'    the cells with these words in their names
//! ```
//!
//! The logs are simulated here from levels, noise, ripple and sensor errors; nothing of it comes from
//! the engine model or from the findings that are judged. A log is made from the seed, the number of
//! its cell and its own number alone, so that every row can be had again. The exit code is 1 when a row breaks
//! a limit that stands in its table's heading.

mod balance;
mod balance_log;
mod breather;
mod breather_log;
mod noise;
mod tally;

use std::process::ExitCode;

/// Logs a cell, and which cells.
#[derive(Debug, Clone, Copy)]
pub struct Extent {
    /// Logs a cell.
    pub logs: u64,
    /// The few cells of the short form.
    pub short: bool,
}

const LOGS: u64 = 2000;
const LOGS_SHORT: u64 = 100;

fn main() -> ExitCode {
    // Cargo adds `--bench`.
    let words: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let short = words.iter().any(|w| w == "--short");
    let number = |flag: &str| words.iter().skip_while(|w| *w != flag).nth(1)?.parse().ok();
    let logs = number("--logs").unwrap_or(if short { LOGS_SHORT } else { LOGS });
    tally::draw_from(number("--seed").unwrap_or(0));
    let extent = Extent { logs, short };
    let named: Vec<&String> = words.iter().filter(|w| TABLES.iter().any(|t| t.0 == *w)).collect();
    let mut sound = true;
    for (name, table) in TABLES {
        if named.is_empty() || named.iter().any(|n| *n == name) {
            sound &= table(extent);
        }
    }
    if sound { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// A table by its name; it prints itself and says whether every row kept its limits.
type Table = (&'static str, fn(Extent) -> bool);

const TABLES: [Table; 2] = [("balance", balance::run), ("breather", breather::table)];
