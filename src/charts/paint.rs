//! From a sheet to a backend of plotters.

use super::ChartError;
use super::sheet::{Anchor, Face, Shape, Sheet};
use super::text::{FAMILY, Fonts};
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::path::Path;

/// In what the two backends differ.
#[derive(Clone, Copy)]
struct Manner {
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
    fn svg() -> Manner {
        Manner { zoom: 1.0, piecewise: false, size: [1.24; 2], drop: [0.76; 2] }
    }

    /// The bitmap backend takes the size for the height of the face and puts the baseline half
    /// of it down. It smooths no edges of thick shapes: they are drawn larger and averaged.
    fn bitmap(fonts: &Fonts, zoom: u32) -> Manner {
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
        paint(sheet, &area, Manner::svg())?;
        area.present().map_err(failed)?;
    }
    // Round corners keep the mitres of a jagged trace from standing out as false spikes.
    let title = sheet.title.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let title: String = title.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let body = drawing.replacen("<svg ", "<svg stroke-linejoin=\"round\" role=\"img\" ", 1);
    Ok(body.replacen(">\n", &format!(">\n<title>{title}</title>\n"), 1))
}

/// The drawing as a PNG file.
///
/// # Errors
/// [`ChartError::Drawing`] when the backend fails.
pub(super) fn png(sheet: &Sheet, path: &Path) -> Result<(), ChartError> {
    let (width, height) = size(sheet);
    let zoom = if width.max(height) <= 2400 { 3 } else { 2 };
    let (wide, high) = (width * zoom, height * zoom);
    let mut large = vec![0u8; wide as usize * high as usize * 3];
    {
        let area = BitMapBackend::with_buffer(&mut large, (wide, high)).into_drawing_area();
        paint(sheet, &area, Manner::bitmap(sheet.fonts(), zoom))?;
        area.present().map_err(failed)?;
    }
    let small = averaged(&large, wide as usize, zoom as usize);
    let mut backend = BitMapBackend::new(path, (width, height));
    backend.blit_bitmap((0, 0), (width, height), &small).map_err(failed)?;
    backend.present().map_err(failed)
}

fn size(sheet: &Sheet) -> (u32, u32) {
    (sheet.width as u32, sheet.height as u32)
}

/// Averages squares of `zoom` by `zoom` RGB pixels.
fn averaged(large: &[u8], wide: usize, zoom: usize) -> Vec<u8> {
    let width = wide / zoom;
    let mut small = Vec::with_capacity(large.len() / (zoom * zoom));
    let mut sums = vec![0u16; width * 3];
    let cell = (zoom * zoom) as u16;
    for rows in large.chunks_exact(wide * 3 * zoom) {
        sums.fill(0);
        for row in rows.chunks_exact(wide * 3) {
            for (sum, pixels) in sums.chunks_exact_mut(3).zip(row.chunks_exact(3 * zoom)) {
                for pixel in pixels.chunks_exact(3) {
                    sum[0] += u16::from(pixel[0]);
                    sum[1] += u16::from(pixel[1]);
                    sum[2] += u16::from(pixel[2]);
                }
            }
        }
        small.extend(sums.iter().map(|sum| ((sum + cell / 2) / cell) as u8));
    }
    small
}

fn failed(cause: impl std::fmt::Display) -> ChartError {
    ChartError::Drawing(cause.to_string())
}

fn paint<DB: DrawingBackend>(
    sheet: &Sheet,
    area: &DrawingArea<DB, Shift>,
    manner: Manner,
) -> Result<(), ChartError> {
    let px =
        |(x, y): (f64, f64)| ((x * manner.zoom).round() as i32, (y * manner.zoom).round() as i32);
    let breadth = |w: f64| (w * manner.zoom).round().max(1.0) as u32;
    for shape in &sheet.shapes {
        match shape {
            Shape::Field { from, to, ink } => {
                area.draw(&Rectangle::new([px(*from), px(*to)], ink.filled())).map_err(failed)?;
            }
            Shape::Polygon { points, ink } => {
                let points: Vec<_> = points.iter().map(|p| px(*p)).collect();
                area.draw(&Polygon::new(points, ink.filled())).map_err(failed)?;
            }
            Shape::Line { points, width, ink } => {
                let points: Vec<_> = points.iter().map(|p| px(*p)).collect();
                line(area, points, ink.stroke_width(breadth(*width)), manner.piecewise)?;
            }
            Shape::Disc { at, radius, ink } => {
                let radius = (radius * manner.zoom).round().max(1.0) as i32;
                area.draw(&Circle::new(px(*at), radius, ink.filled())).map_err(failed)?;
            }
            Shape::Text { at, anchor, face, text } => {
                words(area, *at, *anchor, *face, text, manner)?;
            }
        }
    }
    Ok(())
}

fn line<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    points: Vec<(i32, i32)>,
    style: ShapeStyle,
    piecewise: bool,
) -> Result<(), ChartError> {
    if !piecewise {
        return area.draw(&PathElement::new(points, style)).map_err(failed);
    }
    let joint = (style.stroke_width as i32 - 1) / 2;
    for pair in points.windows(2) {
        area.draw(&PathElement::new(pair.to_vec(), style)).map_err(failed)?;
    }
    if joint > 0 {
        for inner in &points[1..points.len() - 1] {
            area.draw(&Circle::new(*inner, joint, style.color.filled())).map_err(failed)?;
        }
    }
    Ok(())
}

fn words<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    (x, baseline): (f64, f64),
    anchor: Anchor,
    face: Face,
    text: &str,
    manner: Manner,
) -> Result<(), ChartError> {
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
    area.draw_text(text, &style, at).map_err(failed)
}
