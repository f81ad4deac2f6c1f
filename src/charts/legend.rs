//! The heading of a panel with its legend: above the data, never on them.

use super::clip;
use super::ink::{self, Ink};
use super::sheet::{Anchor, Point, Sheet, Sign};
use super::text::LINE;

/// What stands for a series in a legend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sample {
    /// A line, `weight` times the thin one, with a sign on it or without.
    Line(Ink, f64, Option<Sign>),
    /// A broken line.
    Dashed(Ink, f64),
    /// A field between two broken lines.
    Limits,
    /// A mean in its interval.
    Interval,
    /// A reading by itself.
    Point(Ink),
    /// A line in its interval.
    Band,
    /// A shaded stretch.
    Shade,
    /// A hatched stretch.
    Hatch,
    /// A sign at the edge of a panel.
    Beyond,
}

/// One entry of a legend.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Key {
    /// The sample drawn.
    pub sample: Sample,
    /// What it stands for.
    pub text: String,
}

impl Key {
    /// An entry.
    pub fn new(sample: Sample, text: impl Into<String>) -> Key {
        Key { sample, text: text.into() }
    }
}

/// Length of a sample, its distance from the words, and the distance to the next entry, em.
const SAMPLE: f64 = 2.2;
const AFTER_SAMPLE: f64 = 0.5;
const BETWEEN: f64 = 1.6;

/// A heading and its legend, broken into rows.
pub(super) struct Head {
    heading: String,
    beside: bool,
    rows: Vec<Vec<Key>>,
}

impl Head {
    /// Lays out for a width in pixels: the legend beside the heading where it fits, else under it.
    pub fn new(sheet: &Sheet, heading: &str, keys: Vec<Key>, width: f64) -> Head {
        let em = sheet.em;
        let heading = sheet.fonts().shorten(heading, true, width / em);
        let room = width / em - SAMPLE - AFTER_SAMPLE;
        let keys = keys
            .into_iter()
            .map(|key| Key { text: sheet.fonts().shorten(&key.text, false, room), ..key });
        let mut rows: Vec<Vec<Key>> = Vec::new();
        let mut taken = 0.0;
        for key in keys {
            let wide = key_width(sheet, &key);
            match rows.last_mut() {
                Some(row) if taken + BETWEEN * em + wide <= width => {
                    taken += BETWEEN * em + wide;
                    row.push(key);
                }
                _ => {
                    taken = wide;
                    rows.push(vec![key]);
                }
            }
        }
        let heading_width = sheet.measure(&heading, sheet.strong());
        let beside = rows.len() == 1 && heading_width + 2.0 * BETWEEN * em + taken <= width;
        Head { heading, beside, rows }
    }

    /// Height, pixels.
    pub fn height(&self, sheet: &Sheet) -> f64 {
        let rows = if self.beside { 1 } else { 1 + self.rows.len() };
        (rows as f64 * LINE + 0.7) * sheet.em
    }

    /// Draws between `left` and `right`, from `top` down.
    pub fn draw(&self, sheet: &mut Sheet, left: f64, right: f64, top: f64) {
        let em = sheet.em;
        let mut baseline = top + em;
        let face = sheet.strong();
        sheet.text((left, baseline), Anchor::Start, face, &self.heading);
        for row in &self.rows {
            let widths: Vec<f64> = row.iter().map(|key| key_width(sheet, key)).collect();
            let whole = widths.iter().sum::<f64>() + BETWEEN * em * (row.len() - 1) as f64;
            let mut x = right - whole;
            if !self.beside {
                baseline += LINE * em;
                x = left;
            }
            for (key, width) in row.iter().zip(widths) {
                draw_key(sheet, key, x, baseline);
                x += width + BETWEEN * em;
            }
        }
    }
}

fn key_width(sheet: &Sheet, key: &Key) -> f64 {
    (SAMPLE + AFTER_SAMPLE) * sheet.em + sheet.measure(&key.text, sheet.plain())
}

fn draw_key(sheet: &mut Sheet, key: &Key, x: f64, baseline: f64) {
    let em = sheet.em;
    let (to, y, half) = (x + SAMPLE * em, baseline - 0.36 * em, 0.42 * em);
    let thin = sheet.thin();
    match key.sample {
        Sample::Line(ink, weight, sign) => {
            sheet.level(x, to, y, weight * thin, ink);
            if let Some(sign) = sign {
                sheet.sign(sign, (0.5 * (x + to), y), ink);
            }
        }
        Sample::Dashed(ink, weight) => {
            sheet.dashed(&[(x, y), (to, y)], (0.55 * em, 0.27 * em), weight * thin, ink);
        }
        Sample::Limits => limits(sheet, (x, to), (y - half, y + half)),
        Sample::Interval => interval(sheet, (x, to), (y - half, y, y + half)),
        Sample::Point(ink) => sheet.dot((x + 0.5 * SAMPLE * em, y), ink),
        Sample::Band => {
            let at = |y| vec![(x, y), (to, y)];
            band(sheet, [at(y + half), at(y), at(y - half)]);
        }
        Sample::Shade => {
            sheet.field((x, y - half), (to, y + half), ink::SHADE);
            edge(sheet, (x, y - half), (to, y + half));
        }
        Sample::Beyond => clip::arrow(sheet, (x + 0.5 * SAMPLE * em, y + half), false),
        Sample::Hatch => {
            hatch(sheet, (x, y - half), (to, y + half));
            edge(sheet, (x, y - half), (to, y + half));
        }
    }
    let face = sheet.plain();
    sheet.text((to + AFTER_SAMPLE * em, baseline), Anchor::Start, face, &key.text);
}

fn edge(sheet: &mut Sheet, (x0, y0): (f64, f64), (x1, y1): (f64, f64)) {
    let hair = sheet.hair();
    sheet.line(vec![(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], hair, ink::HATCH);
}

/// The field inside the limits with its broken edges.
pub(super) fn limits(sheet: &mut Sheet, (left, right): (f64, f64), (top, bottom): (f64, f64)) {
    sheet.field((left, top), (right, bottom), ink::LIMIT_FIELD);
    let (em, thin) = (sheet.em, sheet.thin());
    for y in [top, bottom] {
        sheet.dashed(&[(left, y), (right, y)], (0.6 * em, 0.35 * em), 1.3 * thin, ink::LIMIT);
    }
}

/// Weight of the lines where hoses changed places.
pub(super) const TURN: f64 = 1.0;

/// A broken upright line where hoses changed places.
pub(super) fn turn(sheet: &mut Sheet, x: f64, (top, bottom): (f64, f64)) {
    let (em, thin) = (sheet.em, sheet.thin());
    let line = [(x, top), (x, bottom)];
    sheet.dashed(&line, (0.35 * em, 0.25 * em), TURN * thin, ink::QUIET);
}

/// A mean with its interval over a stretch: field, thin edges, heavy mean, closed ends. Where the
/// interval is narrower than the mean is drawn, and over a stretch of a pixel, the ends show.
pub(super) fn interval(
    sheet: &mut Sheet,
    (left, right): (f64, f64),
    (high, mean, low): (f64, f64, f64),
) {
    let thin = sheet.thin();
    sheet.field((left, high), (right, low.max(high + 1.0)), ink::INTERVAL_FIELD);
    let box_around = vec![(left, high), (right, high), (right, low), (left, low), (left, high)];
    sheet.line(box_around, thin, ink::RESULT);
    sheet.level(left, right, mean, 2.6 * thin, ink::RESULT);
    let end = 0.4 * sheet.em;
    for x in [left, right] {
        sheet.upright(x, mean - end, mean + end, 1.3 * thin, ink::RESULT);
    }
}

/// A line with its interval along it: field, thin edges, heavy line; lower edge first.
pub(super) fn band(sheet: &mut Sheet, [low, line, high]: [Vec<Point>; 3]) {
    let thin = sheet.thin();
    let around = high.iter().copied().chain(low.iter().rev().copied()).collect();
    sheet.polygon(around, ink::INTERVAL_FIELD);
    for edge in [low, high] {
        sheet.line(edge, thin, ink::RESULT);
    }
    sheet.line(line, 2.0 * thin, ink::RESULT);
}

/// Slanting strokes across a rectangle.
pub(super) fn hatch(sheet: &mut Sheet, (x0, y0): (f64, f64), (x1, y1): (f64, f64)) {
    let (step, hair) = (0.7 * sheet.em, sheet.hair());
    let mut foot = x0 - (y1 - y0);
    while foot < x1 {
        let (from, to) = (foot.max(x0), (foot + y1 - y0).min(x1));
        if to > from {
            let points = vec![(from, y1 - (from - foot)), (to, y1 - (to - foot))];
            sheet.line(points, hair, ink::HATCH);
        }
        foot += step;
    }
}
