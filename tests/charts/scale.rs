//! Reading a balance chart backwards: from the lines of an SVG document to seconds and kilopascals.

use super::svg::{self, Element, Words};

/// A straight line from pixels to values.
#[derive(Debug, Clone, Copy)]
pub struct Ruler {
    per_pixel: f64,
    at_zero: f64,
}

impl Ruler {
    fn through((px0, value0): (f64, f64), (px1, value1): (f64, f64)) -> Ruler {
        let per_pixel = (value1 - value0) / (px1 - px0);
        Ruler { per_pixel, at_zero: value0 - per_pixel * px0 }
    }

    pub fn value(&self, px: f64) -> f64 {
        self.at_zero + self.per_pixel * px
    }

    /// Pixels that a value spans.
    pub fn pixels(&self, span: f64) -> f64 {
        (span / self.per_pixel).abs()
    }
}

/// What a balance chart shows.
pub struct Chart {
    elements: Vec<Element>,
    time: Ruler,
    vacuum: Ruler,
    difference: Ruler,
}

type Line = Vec<(f64, f64)>;

const ONE: &str = "#005A9C";
const TWO: &str = "#E69F00";
const CYCLE: &str = "#7D7D7D";

impl Chart {
    pub fn read(document: &str) -> Chart {
        let elements = svg::elements(document);
        let words = svg::words(&elements);
        let numbers: Vec<(&Words, f64)> =
            words.iter().filter_map(|w| Some((w, number(w)?))).collect();
        let lowest = numbers.iter().map(|(w, _)| w.bottom).fold(0.0, f64::max);
        let ticks: Vec<_> = numbers
            .iter()
            .filter(|(w, _)| w.bottom > lowest - 1.0)
            .map(|(w, s)| (0.5 * (w.left + w.right), *s))
            .collect();
        let time = Ruler::through(ticks[0], ticks[ticks.len() - 1]);
        let heading = words.iter().find(|w| w.text.contains(" less ")).expect("a second panel");
        let scale = |above: bool| {
            let own = |w: &Words| (w.bottom < heading.top) == above && w.bottom < lowest - 1.0;
            // The ticks of a panel stand in a column at its left edge, the lowest first.
            let column: Vec<_> = numbers
                .iter()
                .filter(|(w, _)| own(w) && w.right < 0.12 * elements[0].number("width"))
                .map(|(w, value)| (0.5 * (w.top + w.bottom), *value))
                .collect();
            let last = column.iter().take_while(|(y, _)| *y <= column[0].0).last();
            Ruler::through(column[0], *last.expect("two ticks"))
        };
        let (vacuum, difference) = (scale(true), scale(false));
        Chart { elements, time, vacuum, difference }
    }

    fn lines(&self, ink: &str, ruler: Ruler) -> Vec<Line> {
        let own = |e: &&Element| e.attributes.get("stroke").is_some_and(|s| s == ink);
        let own: Vec<Element> = self.elements.iter().filter(own).cloned().collect();
        let place = |(x, y): (f64, f64)| (self.time.value(x), ruler.value(y));
        svg::lines(&own).into_iter().map(|line| line.into_iter().map(place).collect()).collect()
    }

    /// The lines of the difference: (s, kPa).
    pub fn difference(&self) -> Vec<Line> {
        self.lines(CYCLE, self.difference)
    }

    /// The lines of both vacuums: (s, kPa).
    pub fn vacuums(&self) -> [Vec<Line>; 2] {
        [ONE, TWO].map(|ink| self.lines(ink, self.vacuum))
    }

    /// Pixels from one vacuum to the other where they differ by this much.
    pub fn apart(&self, kpa: f64) -> f64 {
        self.vacuum.pixels(kpa)
    }

    /// Times of the triangles that mark where a line leaves its panel, the legend's left out.
    pub fn marks(&self) -> Vec<f64> {
        let full = |e: &&Element| {
            e.name == "polygon" && e.attributes.get("fill").is_some_and(|f| f == "#1A1A1A")
        };
        let tips = self.elements.iter().filter(full).map(|e| {
            let tip = e.attributes["points"].split([',', ' ']).next().expect("a point");
            self.time.value(tip.parse().expect("x"))
        });
        // The legend is drawn before anything in the panels.
        tips.skip(1).collect()
    }
}

fn number(words: &Words) -> Option<f64> {
    words.text.replace('\u{2212}', "-").parse().ok()
}

/// Mean of the points of all lines between two times.
pub fn mean(lines: &[Line], from_s: f64, to_s: f64) -> f64 {
    let inside = lines.iter().flatten().filter(|(t, _)| from_s <= *t && *t <= to_s);
    let (mut sum, mut count) = (0.0, 0.0);
    for (_, value) in inside {
        sum += value;
        count += 1.0;
    }
    assert!(count > 5.0, "{count} points from {from_s} to {to_s}");
    sum / count
}
