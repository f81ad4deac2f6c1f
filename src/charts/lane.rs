//! Labels over stretches of time that never touch one another.

use super::sheet::{Anchor, Face, Sheet};
use super::text::LINE;

/// A stretch and what is to be written over it.
#[derive(Debug, Clone)]
pub(super) struct Label {
    /// Left edge of the stretch, pixels.
    pub from: f64,
    /// Right edge of the stretch, pixels.
    pub to: f64,
    /// The words in few long lines first, in shorter ones after; the last line is in bold. All labels
    /// of a lane have as many forms.
    pub forms: Vec<Vec<String>>,
}

/// Labels in their places.
pub(super) struct Lane {
    placed: Vec<(f64, Vec<String>)>,
    /// Labels for which there was no room.
    pub left_out: usize,
    /// Which of their forms the labels have.
    pub form: usize,
}

impl Lane {
    /// Finds places between `left` and `right` for labels in the order of time: all of them in the
    /// longest form that has room, moved aside where they must; else as many in the shortest as fit
    /// over their own stretch, the longest stretches first.
    pub fn new(sheet: &Sheet, labels: &[Label], left: f64, right: f64) -> Lane {
        let gap = 1.3 * sheet.em;
        let forms = labels.iter().map(|l| l.forms.len()).min().unwrap_or(0);
        for form in 0..forms {
            let widths: Vec<f64> = labels.iter().map(|l| widest(sheet, &l.forms[form])).collect();
            if let Some(middles) = spread(labels, &widths, (left, right), gap) {
                let lines = labels.iter().map(|l| l.forms[form].clone());
                return Lane {
                    placed: middles.into_iter().zip(lines).collect(),
                    left_out: 0,
                    form,
                };
            }
        }
        Self::some(sheet, labels, (left, right), forms.saturating_sub(1))
    }

    fn some(sheet: &Sheet, labels: &[Label], (left, right): (f64, f64), form: usize) -> Lane {
        let gap = 1.3 * sheet.em;
        let mut order: Vec<&Label> = labels.iter().collect();
        order.sort_by(|a, b| (b.to - b.from).total_cmp(&(a.to - a.from)));
        let mut taken: Vec<(f64, f64)> = Vec::new();
        let mut placed = Vec::new();
        for label in order {
            let Some(lines) = label.forms.get(form) else { continue };
            let width = widest(sheet, lines);
            let from = (0.5 * (label.from + label.to - width)).min(right - width).max(left);
            let to = from + width;
            if to <= right && taken.iter().all(|(a, b)| to + gap <= *a || *b + gap <= from) {
                taken.push((from, to));
                placed.push((0.5 * (from + to), lines.clone()));
            }
        }
        let left_out = labels.len() - placed.len();
        Lane { placed, left_out, form }
    }

    /// Height, pixels.
    pub fn height(&self, sheet: &Sheet) -> f64 {
        let lines = self.placed.iter().map(|(_, lines)| lines.len()).max().unwrap_or(0);
        if lines == 0 { 0.0 } else { (lines as f64 * LINE + 0.35) * sheet.em }
    }

    /// Draws the labels, their last lines just above `bottom`.
    pub fn draw(&self, sheet: &mut Sheet, bottom: f64) {
        for (middle, lines) in &self.placed {
            for (up, line) in lines.iter().rev().enumerate() {
                let baseline = bottom - (0.55 + up as f64 * LINE) * sheet.em;
                let face = face(sheet, up == 0);
                sheet.text((*middle, baseline), Anchor::Middle, face, line);
            }
        }
    }
}

fn face(sheet: &Sheet, last: bool) -> Face {
    if last { sheet.strong() } else { sheet.plain() }
}

fn widest(sheet: &Sheet, lines: &[String]) -> f64 {
    let count = lines.len();
    lines
        .iter()
        .enumerate()
        .map(|(k, line)| sheet.measure(line, face(sheet, k + 1 == count)))
        .fold(0.0, f64::max)
}

/// Middles of all labels without overlap, each still touching its stretch; `None` if that cannot be.
fn spread(
    labels: &[Label],
    widths: &[f64],
    (left, right): (f64, f64),
    gap: f64,
) -> Option<Vec<f64>> {
    let mut froms: Vec<f64> = Vec::with_capacity(labels.len());
    let mut free = left;
    for (label, width) in labels.iter().zip(widths) {
        let from = (0.5 * (label.from + label.to - width)).max(free);
        froms.push(from);
        free = from + width + gap;
    }
    let mut limit = right;
    for (from, width) in froms.iter_mut().zip(widths).rev() {
        *from = from.min(limit - width);
        limit = *from - gap;
    }
    let fits = froms.first().is_none_or(|from| *from >= left - 1e-9);
    let own = labels
        .iter()
        .zip(froms.iter().zip(widths))
        .all(|(label, (from, width))| *from < label.to && from + width > label.from);
    (fits && own)
        .then(|| froms.iter().zip(widths).map(|(from, width)| from + 0.5 * width).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn label(from: f64, to: f64) -> Label {
        Label { from, to, forms: vec![vec![], vec![]] }
    }

    #[test]
    fn labels_move_aside_and_back_from_the_edge() {
        let labels = [label(0.0, 20.0), label(30.0, 60.0), label(80.0, 100.0)];
        let middles = spread(&labels, &[30.0; 3], (0.0, 100.0), 2.0).unwrap();
        assert_eq!(middles, [15.0, 47.0, 85.0]);
        assert!(spread(&labels, &[40.0; 3], (0.0, 100.0), 2.0).is_none());
    }

    #[test]
    fn a_label_does_not_leave_its_stretch() {
        let labels = [label(0.0, 2.0), label(2.0, 4.0), label(4.0, 6.0)];
        assert!(spread(&labels, &[30.0; 3], (0.0, 200.0), 2.0).is_none());
    }
}
