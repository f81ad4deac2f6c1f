//! What is asked of each of many logs.

use super::{Answer, Shown};
use crate::cli::args::{BalanceArgs, BreatherArgs};
use crate::cli::failure::Failure;
use crate::cli::load::Loaded;
use crate::cli::{balance as one_balance, breather as one_breather};
use crate::findings::{balance, breather};
use crate::report::layout::{Align, Table};
use crate::report::page::fixed;
use crate::report::rows::{self, Heading, Of};
use crate::report::{self};
use crate::sample::Remark;
use crate::units::{Kpa, PressureUnit};

/// A question put to many logs.
pub trait Question: Sync {
    /// The columns of its rows.
    fn headings(&self) -> Vec<Heading>;

    /// The columns that are shown to a person, behind the log's name.
    fn shown(&self, table: Table) -> Table;

    /// Its verdicts in words, the worst first.
    fn verdicts(&self) -> &'static [&'static str];

    /// Smallest drop that counts, rev/min, where the command line says.
    fn threshold(&self) -> Option<f64> {
        None
    }

    /// The answer of one log.
    ///
    /// # Errors
    /// The log lacks what the question needs.
    fn ask(&self, loaded: &Loaded, log: &str, bytes: Option<u64>) -> Result<Answer, Failure>;
}

fn of<'a>(loaded: &'a Loaded, log: &'a str, bytes: Option<u64>, own: &'a [Remark]) -> Of<'a> {
    Of {
        log,
        bytes,
        started: loaded.head.started.as_deref(),
        engine: loaded.head.engine.as_deref(),
        facts: &loaded.facts,
        own,
    }
}

/// `balance` on many logs.
pub struct BalanceQuestion<'a> {
    /// What the command line says.
    pub args: &'a BalanceArgs,
    /// Unit of pressure for a person.
    pub unit: PressureUnit,
}

impl Question for BalanceQuestion<'_> {
    fn headings(&self) -> Vec<Heading> {
        rows::balance::headings()
    }

    fn shown(&self, table: Table) -> Table {
        let difference = format!("difference, {}", self.unit.symbol());
        table.group("idle", Align::Right, &["rev/min"]).group(
            &difference,
            Align::Right,
            &["low", "value", "high"],
        )
    }

    fn verdicts(&self) -> &'static [&'static str] {
        &["out of tolerance", "not settled", "in tolerance"]
    }

    fn ask(&self, loaded: &Loaded, log: &str, bytes: Option<u64>) -> Result<Answer, Failure> {
        loaded.needs_both_sides()?;
        let found = balance::find(&loaded.signal, &loaded.conditions);
        let (of, sides) = (of(loaded, log, bytes, &found.remarks), &loaded.conditions.sides);
        let rows = match self.args.each_plateau {
            true => rows::balance::each_plateau(&of, &found, sides),
            false => vec![rows::balance::row(&of, &found, sides)],
        };
        let idle = rows::balance::idle(&found).map(|(_, plateau)| plateau);
        let number = |kpa: f64| fixed(self.unit.from_kpa(Kpa(kpa)), self.unit.decimals());
        let cells = vec![
            idle.and_then(|p| p.rpm).map(|rpm| format!("{rpm:.0}")),
            idle.map(|p| number(p.low_kpa)),
            idle.map(|p| number(p.difference_kpa)),
            idle.map(|p| number(p.high_kpa)),
        ];
        let verdict = (report::balance::words(found.verdict), one_balance::outcome(found.verdict));
        Ok(Answer { rows, shown: Shown { log: log.into(), cells, verdict: Ok(verdict) } })
    }
}

/// `breather` on many logs.
pub struct BreatherQuestion<'a> {
    /// What the command line says.
    pub args: &'a BreatherArgs,
}

impl Question for BreatherQuestion<'_> {
    fn headings(&self) -> Vec<Heading> {
        rows::breather::headings()
    }

    fn shown(&self, table: Table) -> Table {
        table.group("idle", Align::Right, &["rev/min"]).group(
            "drop, rev/min",
            Align::Right,
            &["low", "value", "high"],
        )
    }

    fn verdicts(&self) -> &'static [&'static str] {
        &[
            "not sealed",
            "blocked",
            "not sealed, or blocked",
            "the revs rise",
            "not settled",
            "sealed",
        ]
    }

    fn threshold(&self) -> Option<f64> {
        self.args.threshold
    }

    fn ask(&self, loaded: &Loaded, log: &str, bytes: Option<u64>) -> Result<Answer, Failure> {
        let found = breather::find(&loaded.signal, &loaded.conditions);
        let rows = vec![rows::breather::row(&of(loaded, log, bytes, &found.remarks), &found)];
        let number = |rpm: Option<f64>| rpm.map(|rpm| fixed(rpm, 0));
        let cells = vec![
            number(found.idle_rpm),
            number(found.low_rpm),
            number(found.drop_rpm),
            number(found.high_rpm),
        ];
        let verdict =
            (report::breather::words(found.verdict), one_breather::outcome(found.verdict));
        Ok(Answer { rows, shown: Shown { log: log.into(), cells, verdict: Ok(verdict) } })
    }
}
