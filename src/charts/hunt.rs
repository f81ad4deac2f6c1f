//! The chart of a hunt: what sealing each suspect does to the speed and to the area by which each
//! tract draws, in the order of the ranking.

use super::ink::{self, Ink};
use super::lane::{Label, Lane};
use super::legend::{self, Key, Sample};
use super::panel::{self, Margins, Panel, Plan};
use super::scale::{Range, number};
use super::sheet::{Sheet, Sign, Type};
use super::{ChartError, Frame};
use crate::findings::Sides;
use crate::findings::hunt::{Hunt, HuntVerdict, Suspect};

/// Low, value and high of an effect.
type Effect = [f64; 3];

/// Widest name of a suspect under its column, em.
const NAME: f64 = 14.0;

/// A kind of effect in the chart.
struct Kind {
    /// One a suspect.
    effects: Vec<Option<Effect>>,
    /// Ink and sign.
    drawn: (Ink, Sign),
    /// What it is called beside others in its panel.
    name: String,
}

/// Effects that share an axis, and what does not matter on it.
struct Shared {
    heading: String,
    kinds: Vec<Kind>,
    limit: Option<f64>,
    range: Range,
}

impl Shared {
    /// `None` without anything to draw.
    fn new(heading: String, kinds: Vec<Kind>, limit: Option<f64>, least: f64) -> Option<Shared> {
        let kinds: Vec<Kind> =
            kinds.into_iter().filter(|kind| kind.effects.iter().any(Option::is_some)).collect();
        let told = kinds.iter().flat_map(|kind| kind.effects.iter().flatten().flatten().copied());
        let limit = limit.filter(|limit| Range::drawable(*limit));
        let limits = limit.into_iter().flat_map(|limit| [-limit, limit]);
        let range = Range::of(told.chain(limits).chain([0.0]))?.at_least(least).padded(0.08);
        (!kinds.is_empty()).then_some(Shared { heading, kinds, limit, range })
    }

    fn plan(&self) -> Plan {
        let mut keys: Vec<Key> = self
            .kinds
            .iter()
            .map(|kind| Key::new(Sample::Line(kind.drawn.0, 1.0, Some(kind.drawn.1)), &*kind.name))
            .collect();
        keys.extend(self.limit.map(|_| Key::new(Sample::Limits, "does not matter")));
        Plan { heading: self.heading.clone(), keys, lane: 0.0, weight: 1.0, range: self.range }
    }

    fn draw(&self, sheet: &mut Sheet, panel: &Panel, columns: usize) {
        if let Some(limit) = self.limit {
            let ends = (panel.x.from, panel.x.to);
            legend::limits(sheet, ends, (panel.y.px(limit), panel.y.px(-limit)));
        }
        panel.levels(sheet);
        let hair = sheet.hair();
        for k in 1..columns {
            let border = panel.x.px(k as f64);
            sheet.upright(border, panel.top(), panel.bottom(), hair, ink::GRID);
        }
        sheet.level(panel.x.from, panel.x.to, panel.y.px(0.0), 1.5 * hair, ink::QUIET);
        let step = panel.x.px(1.0) - panel.x.px(0.0);
        let apart = (0.24 * step).min(4.0 * sheet.em);
        for (at, kind) in self.kinds.iter().enumerate() {
            let aside = (at as f64 - 0.5 * (self.kinds.len() - 1) as f64) * apart;
            for (k, effect) in kind.effects.iter().enumerate() {
                let Some(effect) = effect else { continue };
                bar(sheet, panel, panel.x.px(k as f64 + 0.5) + aside, *effect, kind.drawn);
            }
        }
        panel.frame(sheet);
    }
}

fn bar(sheet: &mut Sheet, panel: &Panel, x: f64, effect: Effect, (ink, sign): (Ink, Sign)) {
    let [low, value, high] = effect.map(|value| panel.y.px(value));
    let (width, cap) = (1.5 * sheet.thin(), 0.6 * sheet.em);
    sheet.upright(x, high, low, width, ink);
    sheet.level(x - cap, x + cap, high, width, ink);
    sheet.level(x - cap, x + cap, low, width, ink);
    sheet.sign(sign, (x, value), ink);
}

/// Lays out the chart.
pub(super) fn draw(
    frame: &Frame,
    type_size: Type,
    finding: &Hunt,
    sides: &Sides,
) -> Result<Sheet, ChartError> {
    let mut sheet = Sheet::new(frame, type_size)?;
    let panels = shared(finding, &sheet.names(sides));
    if panels.is_empty() {
        return Err(ChartError::NothingToDraw("the log holds no trial that could be judged"));
    }
    let room = panel::tick_room(&sheet, panels.iter().map(|p| &p.range));
    let (left, right) = panel::edges(&sheet);
    let columns = finding.suspects.len();
    let step = (right - left - room) / columns as f64;
    let labels: Vec<Label> = (0..)
        .map(|k| left + room + f64::from(k) * step)
        .zip(&finding.suspects)
        .map(|(from, s)| Label { from, to: from + step, forms: words(&sheet, s) })
        .collect();
    let lane = Lane::new(&sheet, &labels, left + room, right);
    let space = panel::title(&mut sheet, &finding.say, &notes(finding, lane.left_out));
    let margins = Margins { ticks: room, foot: lane.height(&sheet) + 0.4 * sheet.em };
    let whole = Range::of([0.0, columns as f64]).unwrap_or(panels[0].range);
    let plans = panels.iter().map(Shared::plan).collect();
    for (panel, shared) in
        panel::stack(&mut sheet, plans, whole, space, margins)?.iter().zip(&panels)
    {
        shared.draw(&mut sheet, panel, columns);
    }
    lane.draw(&mut sheet, space.bottom);
    Ok(sheet)
}

fn shared(finding: &Hunt, sides: &Sides) -> Vec<Shared> {
    let kind = |name: &str, drawn, of: fn(&Suspect) -> [Option<f64>; 3]| Kind {
        effects: finding.suspects.iter().map(|suspect| effect(of(suspect))).collect(),
        drawn,
        name: name.to_string(),
    };
    let speed =
        kind("95 % interval", (ink::RESULT, Sign::Disc), |s| [s.low_rpm, s.effect_rpm, s.high_rpm]);
    let one = kind(&sides.one, (ink::ONE, Sign::Disc), |s| {
        [s.low_air1_percent, s.effect_air1_percent, s.high_air1_percent]
    });
    let two = kind(&sides.two, (ink::TWO, Sign::OpenSquare), |s| {
        [s.low_air2_percent, s.effect_air2_percent, s.high_air2_percent]
    });
    let air = "Air that the tract draws, sealed less released (%)";
    let rpm = "Idle, sealed less released (rev/min)";
    let air = Shared::new(air.into(), vec![one, two], finding.limit_air_percent, 2.0);
    let rpm = Shared::new(rpm.into(), vec![speed], finding.limit_rpm, 10.0);
    air.into_iter().chain(rpm).collect()
}

fn effect(told: [Option<f64>; 3]) -> Option<Effect> {
    let [low, value, high] = told;
    let effect = [low?, value?, high?];
    effect.into_iter().all(Range::drawable).then_some(effect)
}

fn notes(finding: &Hunt, left_out: usize) -> String {
    let mut notes = String::from(
        "Intervals are 95 %. A leak into a tract takes air away when it is sealed; one before the \
         throttles lets the idle rise.",
    );
    if let Some(jet) = &finding.jet {
        notes.push_str(&format!(
            " The jet of {} mm lets in {} % more air ({} to {}).",
            jet.mm,
            number(jet.effect_air_percent, 1),
            number(jet.low_air_percent, 1),
            number(jet.high_air_percent, 1)
        ));
    }
    if left_out > 0 {
        notes.push_str(&format!(" {left_out} names have no room; the report has them."));
    }
    notes
}

/// Long and short words under a column.
fn words(sheet: &Sheet, suspect: &Suspect) -> Vec<Vec<String>> {
    let verdict = match suspect.verdict {
        HuntVerdict::Leaks => "leaks",
        HuntVerdict::Sound => "sound",
        HuntVerdict::NotSettled => "not settled",
    };
    let name = |room: f64| sheet.fonts().shorten(suspect.name.trim(), false, room);
    [NAME, 0.5 * NAME, 0.35 * NAME].map(|room| vec![name(room), verdict.to_string()]).to_vec()
}
