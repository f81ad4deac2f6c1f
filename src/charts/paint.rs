//! From a sheet to a backend of plotters.

use super::ChartError;
use super::ink::Ink;
use super::sheet::{Anchor, Face, Point, Shape, Sheet};
use super::text::{FAMILY, Fonts};
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters_backend::BackendCoord;
use std::ops::{Range, RangeInclusive};

/// In what the two backends differ.
#[derive(Clone, Copy)]
pub(super) struct Manner {
    /// Backend pixels to a picture pixel.
    zoom: f64,
    /// The bitmap backend fills the outline of a thick line by the even-odd rule, which leaves
    /// holes where the line runs back over itself; it gets its lines piece by piece.
    piecewise: bool,
    /// Size of type in the units of plotters for 1 em of one pixel, regular and bold.
    size: [f64; 2],
    /// From the upper anchor down to the baseline, em, regular and bold.
    drop: [f64; 2],
}

impl Manner {
    /// The SVG backend divides the size by 1.24 and drops the baseline by 0.76 em.
    pub fn svg() -> Manner {
        Manner { zoom: 1.0, piecewise: false, size: [1.24; 2], drop: [0.76; 2] }
    }

    /// The bitmap backend takes the size for the height of the face and puts the baseline half
    /// of it down. It smooths no edges of thick shapes: they are drawn larger and averaged.
    pub fn bitmap(fonts: &Fonts, zoom: u32) -> Manner {
        let size = [fonts.height(false), fonts.height(true)];
        Manner { zoom: f64::from(zoom), piecewise: true, size, drop: size.map(|s| 0.5 * s) }
    }
}

/// The drawing as an SVG document.
///
/// # Errors
/// [`ChartError::Drawing`] when the backend fails.
pub(super) fn svg(sheet: &Sheet) -> Result<String, ChartError> {
    let mut drawing = String::new();
    {
        let area = SVGBackend::with_string(&mut drawing, size(sheet)).into_drawing_area();
        for mark in placed(sheet, &Manner::svg()) {
            mark.draw(&area)?;
        }
        area.present().map_err(failed)?;
    }
    // Round corners keep the mitres of a jagged trace from standing out as false spikes.
    let title = sheet.title.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let title: String = title.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let body = drawing.replacen("<svg ", "<svg stroke-linejoin=\"round\" role=\"img\" ", 1);
    Ok(body.replacen(">\n", &format!(">\n<title>{title}</title>\n"), 1))
}

pub(super) fn size(sheet: &Sheet) -> (u32, u32) {
    (sheet.width as u32, sheet.height as u32)
}

pub(super) fn failed(cause: impl std::fmt::Display) -> ChartError {
    ChartError::Drawing(cause.to_string())
}

/// What one call of a backend draws, in the backend's pixels.
enum Mark<'a> {
    Field([BackendCoord; 2], Ink),
    Polygon(Vec<BackendCoord>, Ink),
    Line(Vec<BackendCoord>, ShapeStyle),
    /// One piece of a line that is drawn piece by piece.
    Piece([BackendCoord; 2], ShapeStyle),
    Disc(BackendCoord, i32, Ink),
    Text(BackendCoord, Box<TextStyle<'a>>, &'a str),
}

/// A mark and the rows it may touch.
pub(super) struct Placed<'a> {
    mark: Mark<'a>,
    rows: RangeInclusive<i32>,
}

/// The marks of a sheet, in the order of drawing.
pub(super) fn placed<'a>(sheet: &'a Sheet, manner: &Manner) -> Vec<Placed<'a>> {
    let px = |(x, y): Point| ((x * manner.zoom).round() as i32, (y * manner.zoom).round() as i32);
    let mut marks = Vec::new();
    for shape in &sheet.shapes {
        match shape {
            Shape::Field { from, to, ink } => {
                marks.push(Placed::new(Mark::Field([px(*from), px(*to)], *ink)));
            }
            Shape::Polygon { points, ink } => {
                let points = points.iter().map(|p| px(*p)).collect();
                marks.push(Placed::new(Mark::Polygon(points, *ink)));
            }
            Shape::Line { points, width, ink } => {
                let breadth = (width * manner.zoom).round().max(1.0) as u32;
                let points = points.iter().map(|p| px(*p)).collect();
                line(&mut marks, points, ink.stroke_width(breadth), manner.piecewise);
            }
            Shape::Disc { at, radius, ink } => {
                let radius = (radius * manner.zoom).round().max(1.0) as i32;
                marks.push(Placed::new(Mark::Disc(px(*at), radius, *ink)));
            }
            Shape::Text { at, anchor, face, text } => {
                marks.push(words(*at, *anchor, face, text, manner, sheet.fonts()));
            }
        }
    }
    marks
}

fn line(marks: &mut Vec<Placed>, points: Vec<BackendCoord>, style: ShapeStyle, piecewise: bool) {
    if !piecewise {
        marks.push(Placed::new(Mark::Line(points, style)));
        return;
    }
    let joint = (style.stroke_width as i32 - 1) / 2;
    marks.extend(points.windows(2).map(|p| Placed::new(Mark::Piece([p[0], p[1]], style))));
    if joint > 0 {
        let inner = &points[1..points.len() - 1];
        marks.extend(inner.iter().map(|p| Placed::new(Mark::Disc(*p, joint, style.color))));
    }
}

fn words<'a>(
    (x, baseline): Point,
    anchor: Anchor,
    face: &'a Face,
    text: &'a str,
    manner: &Manner,
    fonts: &Fonts,
) -> Placed<'a> {
    let bold = usize::from(face.bold);
    let size = face.em * manner.zoom * manner.size[bold];
    let top = (baseline - face.em * manner.drop[bold]) * manner.zoom;
    let style = if face.bold { FontStyle::Bold } else { FontStyle::Normal };
    let side = match anchor {
        Anchor::Start => HPos::Left,
        Anchor::Middle => HPos::Center,
        Anchor::End => HPos::Right,
    };
    let style = TextStyle::from((FAMILY, size, style).into_font())
        .color(&face.ink)
        .pos(Pos::new(side, VPos::Top));
    let at = ((x * manner.zoom).round() as i32, top.round() as i32);
    let (above, below) = fonts.reach(text, face.bold);
    let row = |em: f64| ((baseline + face.em * em) * manner.zoom).round() as i32;
    Placed {
        mark: Mark::Text(at, Box::new(style), text),
        rows: row(-above) - ROUNDED..=row(below) + ROUNDED,
    }
}

/// What rounding may add to the reach of a mark, pixels: that of a place, of a corner, of a smoothed edge.
const ROUNDED: i32 = 3;

impl<'a> Placed<'a> {
    fn new(mark: Mark<'a>) -> Placed<'a> {
        let (points, reach) = match &mark {
            Mark::Field(corners, _) => (corners.as_slice(), 0),
            Mark::Polygon(points, _) => (points.as_slice(), 0),
            // A mitre of plotters reaches up to four times half the width.
            Mark::Line(points, style) => (points.as_slice(), 2 * style.stroke_width as i32),
            Mark::Piece(ends, style) => (ends.as_slice(), style.stroke_width as i32 / 2),
            Mark::Disc(at, radius, _) => (std::slice::from_ref(at), *radius),
            Mark::Text(at, ..) => (std::slice::from_ref(at), 0),
        };
        let (top, bottom) = points
            .iter()
            .fold((i32::MAX, i32::MIN), |(top, bottom), (_, y)| (top.min(*y), bottom.max(*y)));
        let more = reach + ROUNDED;
        let rows = top.saturating_sub(more)..=bottom.saturating_add(more);
        Placed { mark, rows }
    }

    /// Whether it may touch some of these rows.
    pub fn touches(&self, rows: &Range<i32>) -> bool {
        *self.rows.start() < rows.end && *self.rows.end() >= rows.start
    }

    /// Draws it.
    ///
    /// # Errors
    /// [`ChartError::Drawing`] when the backend fails.
    pub fn draw<DB: DrawingBackend>(
        &self,
        area: &DrawingArea<DB, Shift>,
    ) -> Result<(), ChartError> {
        match &self.mark {
            Mark::Field(corners, ink) => area.draw(&Rectangle::new(*corners, ink.filled())),
            Mark::Polygon(points, ink) => area.draw(&Polygon::new(points.clone(), ink.filled())),
            Mark::Line(points, style) => area.draw(&PathElement::new(points.clone(), *style)),
            Mark::Piece(ends, style) => area.draw(&PathElement::new(*ends, *style)),
            Mark::Disc(at, radius, ink) => area.draw(&Circle::new(*at, *radius, ink.filled())),
            Mark::Text(at, style, text) => area.draw_text(text, style, *at),
        }
        .map_err(failed)
    }
}
