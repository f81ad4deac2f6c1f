//! The balance of the two carburettors, in words.

use super::facts::{LogFacts, minds, significant};
use super::flow;
use super::layout::{Align, Table, shortened};
use super::page::{Page, Tone, fixed};
use super::screws;
use crate::findings::balance::{Balance, Open, PlateauBalance, ZeroMethod, ZeroUsed};
use crate::findings::{Conditions, Sides, Verdict};
use crate::findings::{in_step, one_sensor};
use crate::units::Kpa;

/// The report without its cautions: verdict, table, what it means, causes, the log.
pub fn body(page: &mut Page, log: &LogFacts, finding: &Balance, conditions: &Conditions) {
    let meters = finding.flow.as_ref();
    let mut remarks = log.remarks_with(&finding.remarks);
    remarks.extend(meters.iter().flat_map(|flow| flow.remarks.iter().cloned()));
    page.heading(&finding.say, tone(finding.verdict));
    minds(page, &remarks);
    table(page, finding, conditions);
    // Where there are only airflow meters, they speak for themselves.
    if meters.is_none() || !finding.plateaus.is_empty() {
        meaning(page, finding, conditions);
    }
    if let Some(found) = meters {
        flow::section(page, found, finding, conditions);
    }
    if let Some(found) = &finding.screws {
        screws::section(page, found, &conditions.sides);
    }
    causes(page, &finding.causes);
    log.write(page, &remarks);
}

/// Names of sides stand over the table up to this many columns wide: longer ones would push it off
/// a page of 80.
pub(super) const LONGEST_NAME: usize = 8;

/// What the uncertainty of each plateau consists of.
pub fn budget(page: &mut Page, finding: &Balance) {
    for plateau in &finding.plateaus {
        let title = format!("{}: what the uncertainty consists of", at(plateau));
        page.heading(&title, Tone::Plain);
        let unit = page.unit.symbol();
        let mut table = Table::default()
            .group("component", Align::Left, &[""])
            .group("standard uncertainty", Align::Right, &[unit])
            .group("degrees of freedom", Align::Right, &[""]);
        // One decimal more than a reading: a small component is not none.
        let number = |kpa| fixed(page.unit.from_kpa(Kpa(kpa)), page.unit.decimals() + 1);
        for row in &plateau.budget {
            let u = number(row.u_kpa);
            table.row(vec![Some(row.name.to_string()), Some(u), freedom(row.dof)]);
        }
        let together = number(plateau.u_kpa);
        table.row(vec![Some("together".into()), Some(together), freedom(plateau.dof)]);
        page.table(&table);
        page.gap();
        page.table(&air_budget(plateau));
    }
}

fn air_budget(plateau: &PlateauBalance) -> Table {
    let mut table = Table::default().group("share of air, component", Align::Left, &[""]).group(
        "standard uncertainty",
        Align::Right,
        &["%"],
    );
    let number = |ratio: f64| Some(fixed(100.0 * ratio, 2));
    for row in &plateau.air_budget {
        table.row(vec![Some(row.name.to_string()), number(row.u_ratio)]);
    }
    let together = plateau.air_budget.iter().fold(0.0, |sum: f64, row| sum.hypot(row.u_ratio));
    table.row(vec![Some("together".into()), number(together)]);
    table
}

/// Beyond a thousand, more degrees of freedom change no interval that is printed here.
pub(super) fn freedom(dof: Option<f64>) -> Option<String> {
    const MANY: f64 = 1000.0;
    Some(match dof {
        Some(dof) if dof < MANY => significant(dof, 3),
        Some(_) => "over 1000".into(),
        None => "unbounded".into(),
    })
}

/// How a verdict is coloured.
pub fn tone(verdict: Verdict) -> Tone {
    match verdict {
        Verdict::InTolerance => Tone::Good,
        Verdict::OutOfTolerance => Tone::Bad,
        Verdict::NotSettled => Tone::Open,
    }
}

/// A verdict in words.
pub fn words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::InTolerance => "in tolerance",
        Verdict::OutOfTolerance => "out of tolerance",
        Verdict::NotSettled => "not settled",
    }
}

/// The section of causes; nothing when there are none.
pub fn causes(page: &mut Page, causes: &[String]) {
    if causes.is_empty() {
        return;
    }
    page.heading("Worth checking, likeliest first", Tone::Plain);
    for cause in causes {
        page.item(cause);
    }
}

/// The table of plateaus and the line that explains its numbers.
pub fn table(page: &mut Page, finding: &Balance, conditions: &Conditions) {
    if finding.plateaus.is_empty() {
        return;
    }
    let (sides, unit) = (&conditions.sides, page.unit.symbol());
    let [one, two] = shortened([&sides.one, &sides.two], LONGEST_NAME);
    let mut table = Table::default()
        .group("time, s", Align::Right, &["from", "to"])
        .group("speed", Align::Right, &["rev/min"])
        .group(&one, Align::Right, &[unit])
        .group(&two, Align::Right, &[unit])
        .group(&format!("difference, {unit}"), Align::Right, &["low", "value", "high"])
        .group("verdict", Align::Left, &[""]);
    for plateau in &finding.plateaus {
        table.row(vec![
            Some(format!("{:.1}", plateau.from_s)),
            Some(format!("{:.1}", plateau.to_s)),
            plateau.rpm.map(|rpm| format!("{rpm:.0}")),
            Some(page.number(plateau.vac1_kpa)),
            Some(page.number(plateau.vac2_kpa)),
            Some(page.number(plateau.low_kpa)),
            Some(page.number(plateau.difference_kpa)),
            Some(page.number(plateau.high_kpa)),
            Some(words(plateau.verdict).to_string()),
        ]);
    }
    page.table(&table);
    page.gap();
    let Sides { one, two } = sides;
    page.paragraph(&format!(
        "{one} and {two}: vacuum as read. Difference: {one} less {two}, the sensors' zero taken \
         out; it lies between low and high with 95 % confidence. Tolerance: {} either way.",
        page.pressure(finding.tolerance_kpa),
    ));
}

fn meaning(page: &mut Page, finding: &Balance, conditions: &Conditions) {
    page.heading("What it means", Tone::Plain);
    for plateau in &finding.plateaus {
        page.item(&air(plateau, conditions));
        if let Some(line) = chance(plateau) {
            page.item(&line);
        }
        // Of one plateau the verdict sentence speaks already.
        if !finding.say.contains(&speed(plateau))
            && let Some(line) = next(plateau, &finding.zero, conditions)
        {
            page.item(&line);
        }
        if let Some(line) = swing(page, plateau, conditions) {
            page.item(&line);
        }
    }
    if conditions.balance_pipe && !finding.plateaus.is_empty() {
        page.item(
            "The balance pipe between the tracts evens out part of the difference: the throttles \
             differ by at least this much.",
        );
    }
    page.item(&zero(page, &finding.zero));
}

fn speed(plateau: &PlateauBalance) -> String {
    plateau.rpm.map_or_else(|| "without a speed".into(), |rpm| format!("{rpm:.0} rev/min"))
}

fn at(plateau: &PlateauBalance) -> String {
    match plateau.rpm {
        Some(_) => format!("At {}", speed(plateau)),
        None => format!("From {:.1} s to {:.1} s", plateau.from_s, plateau.to_s),
    }
}

/// The side that passes more is the subject, so that the figure is that of the verdict sentence.
fn air(plateau: &PlateauBalance, conditions: &Conditions) -> String {
    let sides = &conditions.sides;
    let (more, less, value, low, high) = if plateau.air1_over_air2 < 1.0 {
        let (low, high) = (1.0 / plateau.air_high, 1.0 / plateau.air_low);
        (&sides.two, &sides.one, 1.0 / plateau.air1_over_air2, low, high)
    } else {
        let (low, high) = (plateau.air_low, plateau.air_high);
        (&sides.one, &sides.two, plateau.air1_over_air2, low, high)
    };
    let low = if low < 1.0 { percent(low) } else { format!("{:.1} %", 100.0 * (low - 1.0)) };
    format!(
        "{} {more} passes {} air than {less} (with 95 % confidence between {low} and {}).",
        at(plateau),
        percent(value),
        percent(high),
    )
}

/// How probable it is that the tolerance is kept.
fn chance(plateau: &PlateauBalance) -> Option<String> {
    let size = probability(plateau.probability_in_tolerance?);
    Some(format!(
        "{}: the probability that the difference is within the tolerance is {size}.",
        at(plateau)
    ))
}

/// A probability in per cent; its last tenths are those of the model, not of the engine.
pub(super) fn probability(probability: f64) -> String {
    match 100.0 * probability {
        p if p < 0.1 => "below 0.1 %".into(),
        p if p > 99.9 => "above 99.9 %".into(),
        p => format!("{p:.1} %"),
    }
}

/// `3.8 % more`, `0.4 % less`.
pub(super) fn percent(ratio: f64) -> String {
    let percent = 100.0 * (ratio - 1.0);
    let word = if percent < 0.0 { "less" } else { "more" };
    format!("{:.1} % {word}", percent.abs())
}

fn next(plateau: &PlateauBalance, zero: &ZeroUsed, conditions: &Conditions) -> Option<String> {
    let sides = &conditions.sides;
    match (plateau.verdict, plateau.needs_s) {
        (Verdict::NotSettled, Some(seconds)) if zero.method == ZeroMethod::OneSensor => {
            Some(format!(
                "{}: about {} more changes of side, {} s each, would settle it.",
                at(plateau),
                one_sensor::changes(seconds),
                one_sensor::EACH_S
            ))
        }
        (Verdict::NotSettled, Some(seconds)) => {
            let seconds = significant(seconds.ceil(), 2);
            Some(format!("{}: about {seconds} s more of log would settle it.", at(plateau)))
        }
        (Verdict::NotSettled, None) => Some(format!(
            "{}: a longer log alone would not settle it; {}.",
            at(plateau),
            obstacle(plateau, zero)
        )),
        _ => match plateau.open {
            Open::Carb1 => Some(format!("{}: open {}.", at(plateau), sides.one)),
            Open::Carb2 => Some(format!("{}: open {}.", at(plateau), sides.two)),
            Open::None => None,
        },
    }
}

/// What stands in the way of a verdict, and what cures it.
fn obstacle(plateau: &PlateauBalance, zero: &ZeroUsed) -> &'static str {
    match (plateau.largest_systematic(), zero.method) {
        (Some(in_step::COMPONENT), _) => {
            "the logger keeps step with the engine there. Log again at a slightly different \
             engine speed or sampling rate"
        }
        (Some("resolution"), _) => "the sensors' steps are too coarse for this tolerance",
        (_, ZeroMethod::Swap | ZeroMethod::OneSensor) => {
            "the difference lies too near the tolerance"
        }
        _ => {
            "the sensors' own difference is too uncertain. Log 20 s, swap the two hoses, log 20 s \
             more"
        }
    }
}

fn swing(page: &Page, plateau: &PlateauBalance, conditions: &Conditions) -> Option<String> {
    let one = plateau.ripple1_kpa?;
    let two = plateau.ripple2_kpa?;
    Some(format!(
        "{} the vacuum swings within a cycle by {} on {} and {} on {}.",
        at(plateau),
        page.pressure(one),
        conditions.sides.one,
        page.pressure(two),
        conditions.sides.two,
    ))
}

pub(super) fn zero(page: &Page, zero: &ZeroUsed) -> String {
    let how = match zero.method {
        ZeroMethod::EngineOff => "from the stretch with the engine off",
        ZeroMethod::Tee => "from both hoses on one tap",
        ZeroMethod::Swap => "from swapping the hoses",
        ZeroMethod::OneSensor => {
            return "One sensor moved from side to side: its zero is the same on both sides and \
                    drops out, its gain only scales the difference. What drifts between the \
                    stretches is taken out by the alternation."
                .into();
        }
        ZeroMethod::None => {
            return format!(
                "Zero of the sensor pair: none in this log, so their specification stands in \
                 (standard uncertainty {}). Log five seconds with the engine off, or swap the \
                 hoses.",
                page.pressure(zero.u_kpa)
            );
        }
    };
    let which = if zero.offset_kpa < 0.0 { "less" } else { "more" };
    format!(
        "Zero of the sensor pair: {how}; at equal vacuum sensor 1 reads {} {which} than sensor 2 \
         (standard uncertainty {}). Taken out.",
        page.pressure(zero.offset_kpa.abs()),
        page.pressure(zero.u_kpa)
    )
}

#[cfg(test)]
mod tests {
    use super::super::cautions;
    use super::super::layout::columns;
    use super::*;
    use crate::findings::balance::BudgetRow;
    use crate::units::PressureUnit;

    fn plateau(rpm: Option<f64>, verdict: Verdict) -> PlateauBalance {
        PlateauBalance {
            from_s: 12.04,
            to_s: 45.2,
            rpm,
            cycles: 234,
            vac1_kpa: 53.1,
            vac2_kpa: 55.3,
            ripple1_kpa: None,
            ripple2_kpa: None,
            difference_kpa: -2.2,
            low_kpa: -2.35,
            high_kpa: -2.05,
            u_kpa: 0.07,
            dof: None,
            air1_over_air2: 1.048,
            air_low: 0.998,
            air_high: 1.051,
            verdict,
            probability_in_tolerance: Some(0.0004),
            open: Open::Carb2,
            needs_s: None,
            budget: vec![],
            air_budget: vec![],
            stretches: vec![],
        }
    }

    fn text(plateaus: &[PlateauBalance], width: usize, unit: PressureUnit) -> String {
        written(plateaus, width, unit, ["Front", "Rear"])
    }

    fn named(sides: [&str; 2]) -> String {
        let plateaus = [plateau(Some(851.2), Verdict::OutOfTolerance)];
        written(&plateaus, 80, PressureUnit::Kpa, sides)
    }

    fn written(
        plateaus: &[PlateauBalance],
        width: usize,
        unit: PressureUnit,
        [one, two]: [&str; 2],
    ) -> String {
        let finding = Balance {
            zero: ZeroUsed { method: ZeroMethod::EngineOff, offset_kpa: -0.31, u_kpa: 0.02 },
            tolerance_kpa: 1.3,
            verdict: plateaus[0].verdict,
            plateaus: plateaus.to_vec(),
            say: "Rear passes less air than Front.".into(),
            causes: vec!["stop screws".into()],
            screws: None,
            superseded: 0,
            on_sides: Vec::new(),
            remarks: Vec::new(),
            flow: None,
        };
        let log = LogFacts {
            car: None,
            rows: 900,
            bad_rows: 1,
            duration_s: 45.0,
            sample_rate_hz: Some(50.0),
            remarks: vec![],
            guessed: vec![],
        };
        let mut conditions = Conditions::default();
        conditions.sides.one = one.into();
        conditions.sides.two = two.into();
        let mut page = Page::new(width, unit, false);
        body(&mut page, &log, &finding, &conditions);
        cautions::write(&mut page, &cautions::for_balance(finding.verdict));
        page.finish()
    }

    #[test]
    fn a_number_stands_between_its_limits_and_fits_the_page() {
        let page = |width| {
            text(
                &[851.2, 2000.0].map(|rpm| plateau(Some(rpm), Verdict::OutOfTolerance)),
                width,
                PressureUnit::Kpa,
            )
        };
        let wide = page(80);
        assert!(wide.contains("-2.35  -2.20  -2.05  out of tolerance"), "{wide}");
        assert!(wide.contains("between 0.2 % less and 5.1 % more"), "{wide}");
        assert!(wide.contains("At 851 rev/min: open Rear."), "{wide}");
        assert!(wide.replace("\n ", "").contains("tolerance is below 0.1 %"), "{wide}");
        assert!(page(50).contains("low -2.35, value -2.20, high"), "{}", page(50));
        for width in [80, 50] {
            assert!(page(width).lines().all(|l| columns(l) <= width), "{}", page(width));
            assert!(!page(width).contains(['±']) && !page(width).contains("NaN"));
        }
    }

    #[test]
    fn every_plateau_names_what_keeps_its_own_verdict_open() {
        let row = |name, u_kpa| BudgetRow { name, u_kpa, dof: None };
        let mut plateaus = [851.2, 2000.0].map(|rpm| plateau(Some(rpm), Verdict::NotSettled));
        let gains = "sensor gains, not measured";
        plateaus[0].budget = vec![row("repeatability", 9.0), row(gains, 0.4)];
        plateaus[1].budget = vec![row(gains, 0.4), row(in_step::COMPONENT, 7.0)];
        let page = text(&plateaus, 300, PressureUnit::Kpa);
        let line = |rpm: &str| {
            let start = format!("- At {rpm} rev/min: a longer");
            page.lines().find(|line| line.starts_with(&start)).unwrap()
        };
        assert!(line("851").contains("swap the two hoses"), "{page}");
        assert!(line("2000").contains("logger keeps step"), "{page}");
        assert!(!line("2000").contains("sensors"), "{page}");
    }

    #[test]
    fn the_unit_asked_for_is_the_only_one() {
        let page = text(&[plateau(Some(851.2), Verdict::OutOfTolerance)], 80, PressureUnit::MmHg);
        assert!(page.contains("-17.6  -16.5  -15.4"), "{page}");
        assert!(page.replace("\n", " ").contains("Tolerance: 9.8 mmHg"), "{page}");
        assert!(!page.contains("kPa"), "{page}");
    }

    #[test]
    fn long_names_are_shortened_over_the_table_and_whole_under_it() {
        let page = named(["Carburettor front", "Carburettor rear"]);
        let table: Vec<&str> = page.lines().skip(2).take(3).collect();
        assert!(table[0].contains(" Ca…front  Car…rear"), "{page}");
        assert!(table.iter().all(|line| columns(line) <= 80), "{page}");
        let flat = page.replace('\n', " ");
        assert!(flat.contains("Carburettor front less Carburettor rear"), "{page}");
        assert!(!page.contains("side 1"), "{page}");
    }

    #[test]
    fn what_was_not_measured_is_absent() {
        let page =
            text(&[None, None].map(|rpm| plateau(rpm, Verdict::NotSettled)), 80, PressureUnit::Kpa);
        assert!(!page.contains("rev/min"), "{page}");
        assert!(!page.contains("swings"), "{page}");
        assert!(page.contains("From 12.0 s to 45.2 s: a longer log alone"), "{page}");
    }
}
