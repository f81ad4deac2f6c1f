//! Air shares before and after the work, one column a speed.

use super::ChartError;
use super::ink::{self, Ink};
use super::lane::{Label, Lane};
use super::legend::{Key, Sample};
use super::panel::{self, Margins, Panel, Plan, Space};
use super::scale::{Range, number, signed};
use super::sheet::{Sheet, Sign};
use super::{Frame, scale};
use crate::findings::Sides;
use crate::findings::balance::{Balance, PlateauBalance};
use crate::findings::compare::{Change, Comparison};
use crate::units::Kpa;

/// Low, value and high of one ratio, in per cent above equal.
type Share = [f64; 3];

/// The panel of the air shares.
pub(super) struct Shares {
    columns: Vec<Pair>,
    range: Range,
    heading: String,
}

struct Pair {
    before: Option<Share>,
    after: Option<Share>,
    /// Long and short words under the column.
    words: Vec<Vec<String>>,
}

impl Shares {
    /// `None` when the two logs hold no speed in common.
    pub fn new(finding: &Comparison, sides: &Sides, frame: &Frame) -> Option<Shares> {
        let columns: Vec<Pair> = finding
            .change
            .iter()
            .map(|change| Pair {
                before: share(&finding.before, change.rpm, change.before_kpa),
                after: share(&finding.after, change.rpm, change.after_kpa),
                words: words(change, frame),
            })
            .filter(|pair| pair.before.is_some() || pair.after.is_some())
            .collect();
        let all = columns.iter().flat_map(|c| [c.before, c.after]).flatten().flatten();
        let range = Range::of(all.chain([0.0]))?.at_least(2.0).padded(0.12);
        let heading =
            format!("Throttle of {} open further than that of {} by (%)", sides.one, sides.two);
        (!columns.is_empty()).then_some(Shares { columns, range, heading })
    }

    /// Range of the upright axis.
    pub fn range(&self) -> &Range {
        &self.range
    }

    /// Draws in this space.
    pub fn draw(&self, sheet: &mut Sheet, space: Space, tick_room: f64) -> Result<(), ChartError> {
        let em = sheet.em;
        let (left, right) = (space.left + tick_room, space.right);
        let step = (right - left) / self.columns.len() as f64;
        let labels: Vec<Label> = (0..)
            .map(|k| left + f64::from(k) * step)
            .zip(&self.columns)
            .map(|(from, c)| Label { from, to: from + step, forms: c.words.clone() })
            .collect();
        let lane = Lane::new(sheet, &labels, left, right);
        let plan = Plan {
            heading: self.heading.clone(),
            keys: vec![
                Key::new(Sample::Line(BEFORE.0, 1.0, Some(BEFORE.1)), "before"),
                Key::new(Sample::Line(AFTER.0, 1.0, Some(AFTER.1)), "after, 95 % intervals"),
            ],
            lane: 0.0,
            weight: 1.0,
            range: self.range,
        };
        let whole = Range::of([0.0, self.columns.len() as f64]).unwrap_or(self.range);
        let margins = Margins { ticks: tick_room, foot: lane.height(sheet) + 0.4 * em };
        for panel in panel::stack(sheet, vec![plan], whole, space, margins)? {
            panel.levels(sheet);
            let hair = sheet.hair();
            for k in 1..self.columns.len() {
                let border = panel.x.px(k as f64);
                sheet.upright(border, panel.top(), panel.bottom(), hair, ink::GRID);
            }
            let equal = panel.y.px(0.0);
            sheet.level(panel.x.from, panel.x.to, equal, 1.5 * hair, ink::QUIET);
            for (k, column) in self.columns.iter().enumerate() {
                let middle = panel.x.px(k as f64 + 0.5);
                let aside = (0.12 * step).min(4.0 * em);
                bar(sheet, &panel, middle - aside, column.before, BEFORE);
                bar(sheet, &panel, middle + aside, column.after, AFTER);
            }
            panel.frame(sheet);
        }
        lane.draw(sheet, space.bottom);
        Ok(())
    }
}

const BEFORE: (Ink, Sign) = (ink::CYCLE, Sign::OpenSquare);
const AFTER: (Ink, Sign) = (ink::RESULT, Sign::Disc);

fn bar(sheet: &mut Sheet, panel: &Panel, x: f64, share: Option<Share>, (ink, sign): (Ink, Sign)) {
    let Some(share) = share else { return };
    let [low, value, high] = share.map(|percent| panel.y.px(percent));
    let (width, cap) = (1.5 * sheet.thin(), 0.6 * sheet.em);
    sheet.upright(x, high, low, width, ink);
    sheet.level(x - cap, x + cap, high, width, ink);
    sheet.level(x - cap, x + cap, low, width, ink);
    sheet.sign(sign, (x, value), ink);
}

/// The ratio of the plateau that has this speed and this difference.
fn share(balance: &Balance, rpm: Option<f64>, difference_kpa: f64) -> Option<Share> {
    let far = |p: &PlateauBalance| {
        let speed = p.rpm.zip(rpm).map_or(0.0, |(a, b)| (a - b).abs());
        (p.difference_kpa - difference_kpa).abs() + 1e-3 * speed
    };
    let plateau = balance.plateaus.iter().min_by(|a, b| far(a).total_cmp(&far(b)))?;
    let share = [plateau.air_low, plateau.air1_over_air2, plateau.air_high]
        .map(|ratio| 100.0 * (ratio - 1.0));
    share.into_iter().all(Range::drawable).then_some(share)
}

fn words(change: &Change, frame: &Frame) -> Vec<Vec<String>> {
    let (decimals, symbol) = (frame.unit.decimals(), frame.unit.symbol());
    let shown = |kpa: f64| frame.unit.from_kpa(Kpa(kpa));
    let value = |kpa: f64| scale::signed(shown(kpa), decimals);
    let speed = change.rpm.filter(|rpm| rpm.is_finite()).map(|rpm| format!("{rpm:.0} rev/min"));
    let from_to =
        format!("from {} to {} {symbol}", value(change.before_kpa), value(change.after_kpa));
    let size = |kpa: f64| number(shown(kpa), decimals);
    let verdict = if change.improved {
        format!("smaller by {} to {} {symbol}", size(-change.high_kpa), size(-change.low_kpa))
    } else if change.low_kpa > 0.0 {
        format!("larger by {} to {} {symbol}", size(change.low_kpa), size(change.high_kpa))
    } else {
        "change not proven".to_owned()
    };
    let short = [
        value(change.before_kpa),
        format!("to {} {symbol}", signed(shown(change.after_kpa), decimals)),
    ];
    let brief = if change.improved {
        "smaller"
    } else if change.low_kpa > 0.0 {
        "larger"
    } else {
        "not proven"
    };
    let with = |rest: Vec<String>| speed.iter().cloned().chain(rest).collect();
    let [was, is] = short;
    vec![with(vec![from_to, verdict]), with(vec![was, is, brief.to_owned()])]
}
