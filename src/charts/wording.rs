//! What the balance and the before-and-after chart write beside the lines.

use super::lane::{Label, Lane};
use super::pair::Pair;
use super::scale::{Axis, Clock, Range, signed};
use crate::findings::balance::{PlateauBalance, ZeroMethod};
use crate::findings::tee_run;
use crate::findings::{Sides, Verdict};
use crate::signal::plateaus::Kind;
use crate::units::{Kpa, PressureUnit};

impl Pair<'_> {
    /// Labels over the plateaus: speed, difference with its interval, verdict; and over the
    /// stretches with the engine off or with both hoses on one tap.
    pub fn labels(&self, panel: (f64, f64), time: Range, clock: &Clock) -> Vec<Label> {
        let axis = Axis { range: time, from: panel.0, to: panel.1 };
        let px = |s: f64| axis.px(clock.at(s));
        let mut labels: Vec<Label> = self
            .drawable()
            .map(|p| Label {
                from: px(p.from_s),
                to: px(p.to_s),
                forms: plateau_words(p, self.unit()),
            })
            .collect();
        let off = self.signal.plateaus.iter().filter(|p| p.kind == Kind::EngineOff);
        labels.extend(off.map(|p| Label {
            from: px(p.from_s),
            to: px(p.to_s),
            forms: engine_off(),
        }));
        labels.extend(self.together(time, clock).map(|(from_s, to_s)| Label {
            from: axis.px(from_s),
            to: axis.px(to_s),
            forms: one_tap(),
        }));
        labels.sort_by(|a, b| a.from.total_cmp(&b.from));
        labels
    }

    /// The stretches with both hoses on one tap, by the marks, as far as they lie on the axis.
    fn together(&self, time: Range, clock: &Clock) -> impl Iterator<Item = (f64, f64)> + use<> {
        let clock = *clock;
        let spans = tee_run::spans(&self.signal.track.marks).into_iter();
        let shown = spans
            .map(move |(from, to)| (clock.at(from).max(time.low()), clock.at(to).min(time.high())));
        shown.filter(|(from, to)| from < to)
    }

    /// A pressure with its sign, in the decimals of the unit.
    fn value(&self, kpa: f64) -> String {
        value(kpa, self.unit())
    }

    /// How the error of the pair was taken out, in words.
    pub fn zero_words(&self) -> String {
        let how = match self.finding.zero.method {
            ZeroMethod::EngineOff => "from the engine-off stretch",
            ZeroMethod::Tee => "from the tee run",
            ZeroMethod::Swap => "from the swapped hoses",
            ZeroMethod::OneSensor => return "One sensor on both sides: its zero drops out.".into(),
            ZeroMethod::None => {
                return "Error of the pair unknown: the sensors' specification stands in.".into();
            }
        };
        let (least, most) = self.correction.errors_kpa();
        let (least, most) = (self.value(least), self.value(most));
        let symbol = self.unit().symbol();
        let size = if least == most { least } else { format!("{least} to {most}") };
        format!("Error of the pair taken out, half of it at each sensor: {size} {symbol} {how}.")
    }

    /// The tolerance, in words.
    pub fn tolerance_words(&self) -> String {
        tolerance_words(self.finding.tolerance_kpa, self.unit())
    }
}

/// The tolerance, in words.
pub(super) fn tolerance_words(tolerance_kpa: f64, unit: PressureUnit) -> String {
    let (low, high) = (value(-tolerance_kpa, unit), value(tolerance_kpa, unit));
    format!("tolerance {low} to {high} {}", unit.symbol())
}

/// Speed, difference with its interval, and verdict, in three forms.
pub(super) fn plateau_words(p: &PlateauBalance, unit: PressureUnit) -> Vec<Vec<String>> {
    let [mean, low, high] = [p.difference_kpa, p.low_kpa, p.high_kpa].map(|kpa| value(kpa, unit));
    let symbol = unit.symbol();
    let speed = p.rpm.filter(|rpm| rpm.is_finite()).map(|rpm| format!("{rpm:.0} rev/min"));
    let verdict = verdict(p.verdict).to_owned();
    let long = [format!("{mean} {symbol} ({low} to {high})"), verdict.clone()];
    let short = [format!("{mean} {symbol}"), format!("{low} to {high}"), verdict];
    let with = |rest: &[String]| speed.iter().chain(rest).cloned().collect();
    let bare = p.rpm.filter(|rpm| rpm.is_finite()).map(|rpm| format!("{rpm:.0}"));
    let brief = bare.into_iter().chain([mean, brief(p.verdict).to_owned()]).collect();
    vec![with(&long), with(&short), brief]
}

/// A pressure with its sign, in the decimals of the unit.
fn value(kpa: f64, unit: PressureUnit) -> String {
    signed(unit.from_kpa(Kpa(kpa)), unit.decimals())
}

/// How the sign of the difference is to be read.
pub(super) fn meaning(sides: &Sides) -> String {
    format!("Above zero {} pulls more vacuum: its throttle is shut further.", sides.one)
}

/// What is to be known of the labels over the panels: a key to the briefest, and how many are missing.
pub(super) fn lane_words(lanes: &[Lane], unit: PressureUnit) -> Vec<String> {
    let mut words = Vec::new();
    if lanes.iter().any(|lane| lane.form == 2) {
        let symbol = unit.symbol();
        words.push(format!(
            " Over the stretches: rev/min, mean difference in {symbol}, in or out of tolerance or \
             still open."
        ));
    }
    match lanes.iter().map(|lane| lane.left_out).sum() {
        0 => {}
        1 => words.push(" One stretch is too short for a label.".into()),
        left_out => words.push(format!(" {left_out} stretches are too short for a label.")),
    }
    words
}

fn engine_off() -> Vec<Vec<String>> {
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
    vec![words(&["engine off"]), words(&["engine", "off"]), words(&["engine", "off"])]
}

fn one_tap() -> Vec<Vec<String>> {
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
    vec![
        words(&["both hoses", "on one tap"]),
        words(&["both on", "one tap"]),
        words(&["one", "tap"]),
    ]
}

fn brief(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::InTolerance => "in",
        Verdict::OutOfTolerance => "out",
        Verdict::NotSettled => "open",
    }
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::InTolerance => "in tolerance",
        Verdict::OutOfTolerance => "out of tolerance",
        Verdict::NotSettled => "not settled",
    }
}
