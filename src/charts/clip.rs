//! Lines that leave a panel: cut at its edge, with a sign there in their stead.

use super::ink;
use super::sheet::{Point, Sheet};

/// A part of a line above or below its panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Beyond {
    /// Where it leaves, pixels.
    pub from: f64,
    /// Where it comes back, pixels.
    pub to: f64,
    /// Above the upper edge, or below the lower one.
    pub above: bool,
}

/// A line cut at the edges of its panel.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Cut {
    /// What lies between the edges.
    pub pieces: Vec<Vec<Point>>,
    /// What does not.
    pub beyond: Vec<Beyond>,
}

/// Cuts a line at the level edges `top` and `bottom`, pixels.
pub(super) fn cut(points: &[Point], (top, bottom): (f64, f64)) -> Cut {
    let mut cut = Cut::default();
    let zone = |(_, y): Point| i8::from(y > bottom) - i8::from(y < top);
    let mut last: Option<Point> = None;
    for to in points.iter().copied() {
        let Some(from) = last.replace(to) else {
            cut.open(zone(to), to);
            continue;
        };
        let mut at = zone(from);
        while at != zone(to) {
            let next = at + (zone(to) - at).signum();
            let edge = if at.min(next) < 0 { top } else { bottom };
            let share = (edge - from.1) / (to.1 - from.1);
            let crossing = (from.0 + share * (to.0 - from.0), edge);
            cut.go_on(at, crossing);
            cut.open(next, crossing);
            at = next;
        }
        cut.go_on(at, to);
    }
    cut
}

impl Cut {
    fn open(&mut self, zone: i8, at: Point) {
        match zone {
            0 => self.pieces.push(vec![at]),
            _ => self.beyond.push(Beyond { from: at.0, to: at.0, above: zone < 0 }),
        }
    }

    fn go_on(&mut self, zone: i8, to: Point) {
        match (zone, self.pieces.last_mut(), self.beyond.last_mut()) {
            (0, Some(piece), _) => piece.push(to),
            (0, None, _) | (_, _, None) => self.open(zone, to),
            (_, _, Some(beyond)) => beyond.to = to.0,
        }
    }
}

/// Half the breadth of a sign, em.
const HALF: f64 = 0.42;

/// Draws a sign at the edge for every excursion; those too near to one another share one.
pub(super) fn mark(
    sheet: &mut Sheet,
    mut beyond: Vec<Beyond>,
    (left, right): (f64, f64),
    (top, bottom): (f64, f64),
) {
    let reach = HALF * sheet.em;
    for above in [true, false] {
        let near = 3.0 * reach;
        beyond.sort_by(|a, b| a.from.total_cmp(&b.from));
        let mut joined: Vec<Beyond> = Vec::new();
        for part in beyond.iter().filter(|part| part.above == above) {
            match joined.last_mut() {
                Some(last) if part.from - last.to < near => last.to = last.to.max(part.to),
                _ => joined.push(*part),
            }
        }
        for part in joined {
            let middle = (0.5 * (part.from + part.to)).max(left + reach).min(right - reach);
            arrow(sheet, (middle, if above { top } else { bottom }), above);
        }
    }
}

/// A full triangle that points up or down, its tip here.
pub(super) fn arrow(sheet: &mut Sheet, (x, y): Point, up: bool) {
    let half = HALF * sheet.em;
    let foot = if up { y + 1.5 * half } else { y - 1.5 * half };
    sheet.polygon(vec![(x, y), (x + half, foot), (x - half, foot)], ink::TEXT);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_cut_where_it_crosses_an_edge() {
        let line = [(0.0, 5.0), (10.0, 15.0), (20.0, 15.0), (30.0, -5.0), (40.0, 5.0)];
        let cut = cut(&line, (0.0, 10.0));
        assert_eq!(
            cut.pieces,
            [
                vec![(0.0, 5.0), (5.0, 10.0)],
                vec![(22.5, 10.0), (27.5, 0.0)],
                vec![(35.0, 0.0), (40.0, 5.0)]
            ]
        );
        let below = Beyond { from: 5.0, to: 22.5, above: false };
        let above = Beyond { from: 27.5, to: 35.0, above: true };
        assert_eq!(cut.beyond, [below, above]);
    }

    #[test]
    fn a_line_inside_stays_whole_and_one_outside_is_not_drawn() {
        let line = vec![(0.0, 0.0), (1.0, 10.0), (2.0, 4.0)];
        assert_eq!(cut(&line, (0.0, 10.0)), Cut { pieces: vec![line.clone()], beyond: vec![] });
        let gone = cut(&line, (20.0, 30.0));
        assert_eq!(gone.pieces, Vec::<Vec<Point>>::new());
        assert_eq!(gone.beyond, [Beyond { from: 0.0, to: 2.0, above: true }]);
        assert_eq!(cut(&[(3.0, 5.0)], (0.0, 10.0)).pieces, [vec![(3.0, 5.0)]]);
        assert_eq!(cut(&[], (0.0, 10.0)), Cut::default());
    }
}
