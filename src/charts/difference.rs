//! How the balance and the before-and-after chart draw the two vacuums of a log and their
//! difference.

use super::ink;
use super::legend::{self, Key, Sample, TURN};
use super::pair::Pair;
use super::panel::Panel;
use super::scale::{Clock, Range};
use super::sheet::{Sheet, Sign};
use crate::findings::Sides;
use crate::signal::plateaus::Kind;

impl Pair<'_> {
    /// Draws both vacuums.
    pub fn draw_vacuums(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.shade(sheet, clock, self.signal);
        panel.grid(sheet);
        self.draw_turns(sheet, panel, clock);
        let square = Some((Sign::OpenSquare, 0.75));
        let mut beyond = panel.trace(sheet, clock, &self.two, (ink::TWO, TWO_WEIGHT), square);
        let disc = Some((Sign::Disc, 0.25));
        beyond.extend(panel.trace(sheet, clock, &self.one, (ink::ONE, 1.0), disc));
        panel.mark(sheet, beyond);
        panel.frame(sheet);
    }

    /// Draws the difference, its tolerance and the means of the plateaus.
    pub fn draw_difference(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        panel.shade(sheet, clock, self.signal);
        panel.grid(sheet);
        let tolerance = self.shown(self.finding.tolerance_kpa);
        let edges = (panel.y.px(tolerance), panel.y.px(-tolerance));
        legend::limits(sheet, (panel.x.from, panel.x.to), edges);
        let zero = panel.y.px(0.0);
        let hair = sheet.hair();
        sheet.level(panel.x.from, panel.x.to, zero, hair, ink::QUIET);
        self.draw_turns(sheet, panel, clock);
        let beyond = panel.trace(sheet, clock, &self.difference, (ink::CYCLE, 1.0), None);
        for plateau in self.drawable() {
            let stretch = panel.stretch(clock, plateau.from_s, plateau.to_s);
            let y = |kpa: f64| panel.y.px(self.shown(kpa));
            let levels = (y(plateau.high_kpa), y(plateau.difference_kpa), y(plateau.low_kpa));
            legend::interval(sheet, stretch, levels);
        }
        panel.mark(sheet, beyond);
        panel.frame(sheet);
    }

    /// Broken upright lines where the hoses were swapped and where they came back.
    fn draw_turns(&self, sheet: &mut Sheet, panel: &Panel, clock: &Clock) {
        for at_s in self.turns.iter().copied().filter(|at| Range::drawable(*at)) {
            legend::turn(sheet, panel.x.px(clock.at(at_s)), (panel.top(), panel.bottom()));
        }
    }

    /// Legend of the difference.
    pub fn difference_keys(&self) -> Vec<Key> {
        let mut keys = vec![Key::new(Sample::Line(ink::CYCLE, 1.0, None), "by cycle")];
        if self.drawable().next().is_some() {
            keys.push(Key::new(Sample::Interval, "mean, 95 % interval"));
        }
        keys.push(Key::new(Sample::Limits, self.tolerance_words()));
        keys
    }

    /// Legend of what stands behind the lines, and of where they leave panels of these ranges.
    pub fn common_keys(&self, vacuum: Range, difference: Range) -> Vec<Key> {
        let has = |kind| self.signal.plateaus.iter().any(|p| p.kind == kind);
        let mut keys = Vec::new();
        if has(Kind::Running) {
            keys.push(Key::new(Sample::Shade, "steady speed"));
        }
        if has(Kind::EngineOff) {
            keys.push(Key::new(Sample::Hatch, "engine off"));
        }
        match self.turns.len() {
            0 => {}
            1 => keys.push(Key::new(Sample::Dashed(ink::QUIET, TURN), "hoses swapped")),
            _ => keys.push(Key::new(Sample::Dashed(ink::QUIET, TURN), "hoses swapped, and back")),
        }
        if self.leaves(vacuum, difference) {
            keys.push(Key::new(Sample::Beyond, "beyond the scale"));
        }
        keys
    }
}

/// Side 2 is light and broad, so that side 1, dark and thin, shows on top of it.
pub(super) const TWO_WEIGHT: f64 = 1.7;

/// Legend of the two sides.
pub(super) fn side_keys(sides: &Sides) -> Vec<Key> {
    vec![
        Key::new(Sample::Line(ink::ONE, 1.0, Some(Sign::Disc)), sides.one.clone()),
        Key::new(Sample::Line(ink::TWO, TWO_WEIGHT, Some(Sign::OpenSquare)), sides.two.clone()),
    ]
}
