//! A band of rows of a bitmap, as a backend of plotters.
//!
//! It is drawn on in the coordinates of the whole picture and keeps the rows of its own, so that a picture
//! can be drawn piece by piece, each piece small enough for the cache of a core. Every pixel is that of
//! plotters' own bitmap backend, blending included: `raster` holds the two against each other.

use super::polygon;
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, DrawingBackend, DrawingErrorKind, rasterizer,
};
use std::convert::Infallible;
use std::ops::Range;

/// Bytes of a pixel: red, green, blue.
pub(super) const DEPTH: usize = 3;

/// What drawing on a band says.
type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// Some rows of a picture.
pub(super) struct Band<'a> {
    size: (u32, u32),
    rows: Range<i32>,
    pixels: &'a mut [u8],
}

impl Band<'_> {
    /// The rows of a picture of that size from `first` on, as many as there are pixels for.
    pub fn new(size: (u32, u32), first: usize, pixels: &mut [u8]) -> Band<'_> {
        let rows = pixels.len() / (size.0 as usize * DEPTH);
        Band { size, rows: first as i32..(first + rows) as i32, pixels }
    }

    /// Its rows.
    pub fn rows(&self) -> Range<i32> {
        self.rows.clone()
    }

    /// The bytes of a row of the band from one column to another, if there is such a row.
    fn span(&mut self, y: i32, columns: Range<i32>) -> &mut [u8] {
        let start = (y - self.rows.start) as usize * self.size.0 as usize;
        let (from, to) = (start + columns.start as usize, start + columns.end as usize);
        &mut self.pixels[from * DEPTH..to * DEPTH]
    }

    /// What two corners leave of a rectangle here: columns and rows, neither empty.
    fn within(&self, a: BackendCoord, b: BackendCoord) -> Option<(Range<i32>, Range<i32>)> {
        let columns = a.0.min(b.0).max(0)..a.0.max(b.0).min(self.size.0 as i32);
        let rows = a.1.min(b.1).max(self.rows.start)..a.1.max(b.1).min(self.rows.end);
        (!columns.is_empty() && !rows.is_empty()).then_some((columns, rows))
    }

    /// Fills a rectangle; the corner to the right and below lies outside it.
    fn fill(&mut self, a: BackendCoord, b: BackendCoord, color: BackendColor) {
        let Some((columns, rows)) = self.within(a, b) else { return };
        let (red, green, blue) = color.rgb;
        for y in rows {
            let span = self.span(y, columns.clone());
            if red == green && green == blue {
                span.fill(red);
            } else {
                span.as_chunks_mut::<DEPTH>().0.fill([red, green, blue]);
            }
        }
    }

    /// Blends a colour over a rectangle. The bitmap backend takes eight pixels at once, as long as one
    /// more is left, and rounds down there; in the rest it rounds towards what was there before.
    fn blend(&mut self, a: BackendCoord, b: BackendCoord, color: BackendColor) {
        let Some((columns, rows)) = self.within(a, b) else { return };
        if color.alpha <= 0.0 {
            return;
        }
        let cover = (256.0 * color.alpha.min(1.0)).floor() as u16;
        let rgb = [color.rgb.0, color.rgb.1, color.rgb.2];
        let eights = (columns.len() - 1) / 8 * 8;
        for y in rows {
            let pixels = self.span(y, columns.clone()).as_chunks_mut::<DEPTH>().0;
            let (together, alone) = pixels.split_at_mut(eights);
            for pixel in together {
                for (old, new) in pixel.iter_mut().zip(rgb) {
                    *old = ((u16::from(*old) * (256 - cover) + u16::from(new) * cover) >> 8) as u8;
                }
            }
            alone.iter_mut().for_each(|pixel| mix(pixel, rgb, cover));
        }
    }
}

/// Blends a colour over a pixel, each part rounded towards what was there before.
fn mix(pixel: &mut [u8; DEPTH], rgb: [u8; DEPTH], cover: u16) {
    for (old, new) in pixel.iter_mut().zip(rgb) {
        let step = (u16::from(new.abs_diff(*old)) * cover / 256) as u8;
        *old = if new > *old { *old + step } else { *old - step };
    }
}

impl DrawingBackend for Band<'_> {
    type ErrorType = Infallible;

    /// The size of the whole picture: what is drawn goes by it.
    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, color: BackendColor) -> Drawn {
        if !(0..self.size.0 as i32).contains(&x) || !self.rows.contains(&y) || color.alpha <= 0.0 {
            return Ok(());
        }
        let rgb = [color.rgb.0, color.rgb.1, color.rgb.2];
        if let Some(pixel) = self.span(y, x..x + 1).first_chunk_mut() {
            if color.alpha >= 1.0 - 1.0 / 256.0 {
                *pixel = rgb;
            } else {
                mix(pixel, rgb, (color.alpha * 256.0).floor() as u16);
            }
        }
        Ok(())
    }

    /// A level or upright line of one pixel is a rectangle. Drawn level from right to left or blended
    /// upwards it lacks its ends and has one pixel more, as on the bitmap backend.
    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Drawn {
        let color = style.color();
        let upright = from.0 == to.0;
        if !(upright || from.1 == to.1) || style.stroke_width() != 1 {
            return rasterizer::draw_line(self, from, to, style);
        }
        if color.alpha < 1.0 {
            self.blend(from, (to.0 + 1, to.1 + 1), color);
        } else if upright && from.1 > to.1 {
            self.fill(to, (from.0 + 1, from.1 + 1), color);
        } else {
            self.fill(from, (to.0 + 1, to.1 + 1), color);
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        points: I,
        style: &S,
    ) -> Drawn {
        let points: Vec<BackendCoord> = points.into_iter().collect();
        let rows = self.rows();
        polygon::fill(self, &points, style.color(), |upright, line| upright || rows.contains(&line))
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let color = style.color();
        if !fill {
            return rasterizer::draw_rect(self, upper_left, bottom_right, style, fill);
        }
        if color.alpha < 1.0 {
            self.blend(upper_left, bottom_right, color);
        } else {
            self.fill(upper_left, bottom_right, color);
        }
        Ok(())
    }
}
