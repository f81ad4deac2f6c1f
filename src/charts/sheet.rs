//! A drawing as a list of shapes in picture pixels, before any backend sees it.

use super::ink::{self, Ink};
use super::text::{self, Fonts};
use super::{ChartError, Frame};
use crate::findings::Sides;

/// A place on the picture: right and down, pixels.
pub(super) type Point = (f64, f64);

/// Which end of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    /// The left end.
    Start,
    /// The middle.
    Middle,
    /// The right end.
    End,
}

/// How text is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Face {
    /// Size of the em, pixels.
    pub em: f64,
    /// Bold or regular.
    pub bold: bool,
    /// Colour.
    pub ink: Ink,
}

/// What can be drawn.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    /// A filled rectangle between two corners, edges on whole pixels.
    Field { from: Point, to: Point, ink: Ink },
    /// A filled polygon.
    Polygon { points: Vec<Point>, ink: Ink },
    /// A line through points.
    Line { points: Vec<Point>, width: f64, ink: Ink },
    /// A filled disc.
    Disc { at: Point, radius: f64, ink: Ink },
    /// One line of text; `at` is on its baseline.
    Text { at: Point, anchor: Anchor, face: Face, text: String },
}

/// Signs that stand on a line, apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    /// A full disc.
    Disc,
    /// A square with a white heart.
    OpenSquare,
}

/// How large type is in a picture lower than three to two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Type {
    /// As large as can be read at ease.
    Large,
    /// As large as in a picture of three to two of that height: what fits there fits here.
    Small,
    /// For a picture that is shown at half the width of a sheet of paper, beside another.
    Beside,
}

impl Type {
    /// Width of the picture whose type a picture of this size takes.
    fn scale(self, width: f64, height: f64) -> f64 {
        match self {
            Type::Large => width.min(2.0 * height),
            Type::Small => width.min(1.5 * height),
            // Two such pictures and the gap between them are as wide as one of the others.
            Type::Beside => 2.0 * width.min(1.5 * height),
        }
    }
}

/// The drawing under work.
pub(super) struct Sheet {
    /// Width, pixels.
    pub width: f64,
    /// Height, pixels.
    pub height: f64,
    /// Size of the em of ordinary text, pixels: the measure of all distances.
    pub em: f64,
    /// What the picture says, for readers that cannot see it.
    pub title: String,
    /// Shapes in the order of drawing.
    pub shapes: Vec<Shape>,
    /// Width that sets the size of type and lines, pixels.
    scale: f64,
    fonts: &'static Fonts,
}

/// The em of ordinary text as a share of the width.
const EM: f64 = 0.0122;

impl Sheet {
    /// Smallest width on which the words can be read.
    const LEAST_WIDTH: u32 = 480;
    /// Largest side, so that a slip of the keyboard does not ask for all memory.
    const MOST: u32 = 12_000;

    /// An empty white sheet.
    ///
    /// # Errors
    /// [`ChartError::Drawing`] for a frame too narrow or too large.
    pub fn new(frame: &Frame, type_size: Type) -> Result<Sheet, ChartError> {
        let Frame { width, height, .. } = *frame;
        let scale = type_size.scale(f64::from(width), f64::from(height));
        if scale < f64::from(Self::LEAST_WIDTH) || width.max(height) > Self::MOST {
            let (least, most) = (Self::LEAST_WIDTH, Self::MOST);
            let low = 2 * least / 3;
            return Err(ChartError::Drawing(format!(
                "a picture {width} pixels wide and {height} high was asked for; \
                 choose a width of {least} to {most} and a height of {low} to {most}"
            )));
        }
        let (width, height) = (f64::from(width), f64::from(height));
        let mut sheet = Sheet {
            width,
            height,
            em: EM * scale,
            title: String::new(),
            shapes: Vec::new(),
            scale,
            fonts: text::fonts()?,
        };
        sheet.field((0.0, 0.0), (width, height), ink::PAPER);
        Ok(sheet)
    }

    /// The fonts, to measure with.
    pub fn fonts(&self) -> &'static Fonts {
        self.fonts
    }

    /// Width of an ordinary trace, pixels.
    pub fn thin(&self) -> f64 {
        self.scale / 900.0
    }

    /// Width of a grid line, whole pixels.
    pub fn hair(&self) -> f64 {
        (self.scale / 1800.0).round().max(1.0)
    }

    /// A height in a picture so high that its width alone sets the size of type, pixels.
    pub fn unbound(&self, height: f64) -> f64 {
        height * self.width / self.scale
    }

    /// Ordinary text.
    pub fn plain(&self) -> Face {
        Face { em: self.em, bold: false, ink: ink::TEXT }
    }

    /// Ordinary text of second rank.
    pub fn quiet(&self) -> Face {
        Face { ink: ink::QUIET, ..self.plain() }
    }

    /// Ordinary text in bold.
    pub fn strong(&self) -> Face {
        Face { bold: true, ..self.plain() }
    }

    /// The names of the sides, cut where they are too long for headings and legends.
    pub fn names(&self, sides: &Sides) -> Sides {
        let cut = |name: &str| self.fonts.shorten(name.trim(), true, 18.0);
        Sides { one: cut(&sides.one), two: cut(&sides.two) }
    }

    /// Width of a text, pixels.
    pub fn measure(&self, text: &str, face: Face) -> f64 {
        self.fonts.width(text, face.bold) * face.em
    }

    /// A filled rectangle.
    pub fn field(&mut self, from: Point, to: Point, ink: Ink) {
        self.shapes.push(Shape::Field { from, to, ink });
    }

    /// A level line of at least a pixel.
    pub fn level(&mut self, from_x: f64, to_x: f64, y: f64, width: f64, ink: Ink) {
        let top = (y - 0.5 * width).round();
        self.field((from_x.round(), top), (to_x.round(), top + width.round().max(1.0)), ink);
    }

    /// An upright line of at least a pixel.
    pub fn upright(&mut self, x: f64, from_y: f64, to_y: f64, width: f64, ink: Ink) {
        let left = (x - 0.5 * width).round();
        self.field((left, from_y.round()), (left + width.round().max(1.0), to_y.round()), ink);
    }

    /// A filled polygon.
    pub fn polygon(&mut self, points: Vec<Point>, ink: Ink) {
        self.shapes.push(Shape::Polygon { points, ink });
    }

    /// A line through points.
    pub fn line(&mut self, points: Vec<Point>, width: f64, ink: Ink) {
        match points.as_slice() {
            [] => {}
            [only] => self.shapes.push(Shape::Disc { at: *only, radius: width, ink }),
            _ => self.shapes.push(Shape::Line { points, width, ink }),
        }
    }

    /// A broken line through points: `dash` pixels drawn, `gap` pixels left out.
    pub fn dashed(&mut self, points: &[Point], (dash, gap): (f64, f64), width: f64, ink: Ink) {
        for piece in dashes(points, dash, gap) {
            self.line(piece, width, ink);
        }
    }

    /// Half the breadth of a sign on a line, pixels.
    pub fn reach(&self) -> f64 {
        0.27 * self.em
    }

    /// A reading by itself.
    pub fn dot(&mut self, at: Point, ink: Ink) {
        self.shapes.push(Shape::Disc { at, radius: 0.17 * self.em, ink });
    }

    /// A sign on a line.
    pub fn sign(&mut self, sign: Sign, (x, y): Point, ink: Ink) {
        let r = self.reach();
        match sign {
            Sign::Disc => self.shapes.push(Shape::Disc { at: (x, y), radius: r, ink }),
            Sign::OpenSquare => {
                let heart = r - 1.4 * self.thin();
                for (half, ink) in [(r, ink), (heart, ink::PAPER)] {
                    let points = vec![
                        (x - half, y - half),
                        (x + half, y - half),
                        (x + half, y + half),
                        (x - half, y + half),
                    ];
                    self.polygon(points, ink);
                }
            }
        }
    }

    /// One line of text. Control characters, which no picture format can carry, become blanks.
    pub fn text(&mut self, at: Point, anchor: Anchor, face: Face, text: &str) {
        let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        if !text.trim().is_empty() {
            self.shapes.push(Shape::Text { at, anchor, face, text });
        }
    }
}

fn dashes(points: &[Point], dash: f64, gap: f64) -> Vec<Vec<Point>> {
    let (mut pieces, mut piece) = (Vec::new(), Vec::new());
    let (mut drawing, mut left) = (true, dash);
    for pair in points.windows(2) {
        let ((mut x, mut y), (x1, y1)) = (pair[0], pair[1]);
        loop {
            if drawing && piece.is_empty() {
                piece.push((x, y));
            }
            let length = (x1 - x).hypot(y1 - y);
            if length < left {
                left -= length;
                if drawing {
                    piece.push((x1, y1));
                }
                break;
            }
            (x, y) = (x + (x1 - x) * left / length, y + (y1 - y) * left / length);
            if drawing {
                piece.push((x, y));
                pieces.push(std::mem::take(&mut piece));
            }
            drawing = !drawing;
            left = if drawing { dash } else { gap };
        }
    }
    if piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_follow_the_line_and_its_corners() {
        let pieces = dashes(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)], 4.0, 4.0);
        assert_eq!(pieces.len(), 3);
        assert_eq!(pieces[0], [(0.0, 0.0), (4.0, 0.0)]);
        assert_eq!(pieces[1], [(8.0, 0.0), (10.0, 0.0), (10.0, 2.0)]);
        assert_eq!(pieces[2], [(10.0, 6.0), (10.0, 10.0)]);
    }
}
