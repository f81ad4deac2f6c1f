//! From a sheet to a PNG file.
//!
//! The bitmap backends of plotters smooth no edges of thick shapes: the picture is drawn larger and
//! averaged. That is done in bands of rows, small enough for the cache of a core and shared between all.

use super::ChartError;
use super::band::{Band, DEPTH};
use super::paint::{self, Manner, Placed, failed};
use super::sheet::Sheet;
use plotters::prelude::*;
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;
use std::sync::Mutex;
use std::thread;

/// Bytes of a band as drawn: it has to fit in the second cache of a core, with room for the rest.
const BAND: usize = 1 << 20;

/// The drawing as a PNG file.
///
/// # Errors
/// [`ChartError::Write`] for the file, [`ChartError::Drawing`] when the backend fails.
pub(super) fn png(sheet: &Sheet, path: &Path) -> Result<(), ChartError> {
    let size = paint::size(sheet);
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let pixels = drawn(sheet, zoom(size), BAND, cores)?;
    let cannot = |source| ChartError::Write { path: path.to_path_buf(), source };
    let file = BufWriter::new(File::create(path).map_err(cannot)?);
    let mut encoder = png::Encoder::new(file, size.0, size.1);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let written = encoder.write_header().and_then(|mut writer| {
        writer.write_image_data(&pixels)?;
        writer.finish()
    });
    written.map_err(|why| match why {
        png::EncodingError::IoError(source) => cannot(source),
        other => failed(other),
    })
}

/// How many times larger a picture is drawn than it is written.
fn zoom((width, height): (u32, u32)) -> u32 {
    if width.max(height) <= 2400 { 3 } else { 2 }
}

/// The pixels of the picture, drawn `zoom` times larger in bands of about so many bytes by so many cores,
/// and averaged.
fn drawn(sheet: &Sheet, zoom: u32, bytes: usize, cores: usize) -> Result<Vec<u8>, ChartError> {
    let (width, height) = paint::size(sheet);
    let marks = paint::placed(sheet, &Manner::bitmap(sheet.fonts(), zoom));
    let large = (width * zoom, height * zoom);
    let row = large.0 as usize * DEPTH;
    // Rows of the written picture in a band.
    let rows = (bytes / (row * zoom as usize)).clamp(1, height as usize);
    let mut pixels = vec![0; width as usize * height as usize * DEPTH];
    let bands = Mutex::new(pixels.chunks_mut(rows * width as usize * DEPTH).enumerate());
    let work = || {
        let mut buffer = vec![0; rows * zoom as usize * row];
        loop {
            let next = bands.lock().map_err(failed)?.next();
            let Some((number, small)) = next else { return Ok(()) };
            let taken = &mut buffer[..small.len() * (zoom * zoom) as usize];
            taken.fill(0);
            paint_band(&marks, Band::new(large, number * rows * zoom as usize, taken))?;
            average(taken, row, zoom as usize, small);
        }
    };
    thread::scope(|scope| {
        let others: Vec<_> = (1..cores).map(|_| scope.spawn(work)).collect();
        let mine = work();
        let theirs = others
            .into_iter()
            .map(|other| other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        theirs.fold(mine, |all, one| all.and(one))
    })?;
    Ok(pixels)
}

fn paint_band(marks: &[Placed], band: Band) -> Result<(), ChartError> {
    let rows = band.rows();
    let area = band.into_drawing_area();
    marks.iter().filter(|mark| mark.touches(&rows)).try_for_each(|mark| mark.draw(&area))
}

/// Averages squares of `zoom` by `zoom` pixels of rows of so many bytes.
fn average(large: &[u8], row: usize, zoom: usize, small: &mut [u8]) {
    match zoom {
        2 => average_by::<2>(large, row, small),
        3 => average_by::<3>(large, row, small),
        _ => unreachable!("pictures are drawn two or three times larger"),
    }
}

fn average_by<const ZOOM: usize>(large: &[u8], row: usize, small: &mut [u8]) {
    let cell = (ZOOM * ZOOM) as u16;
    // Summing whole rows first lets the compiler add many columns at once.
    let mut sums = vec![0_u16; row];
    for (rows, means) in large.chunks_exact(row * ZOOM).zip(small.chunks_exact_mut(row / ZOOM)) {
        sums.fill(0);
        for row in rows.chunks_exact(row) {
            for (sum, part) in sums.iter_mut().zip(row) {
                *sum += u16::from(*part);
            }
        }
        let (squares, pixels) = (sums.chunks_exact(DEPTH * ZOOM), means.as_chunks_mut::<DEPTH>().0);
        for (square, pixel) in squares.zip(pixels) {
            for (part, mean) in pixel.iter_mut().enumerate() {
                let sum: u16 = (0..ZOOM).map(|column| square[DEPTH * column + part]).sum();
                *mean = ((sum + cell / 2) / cell) as u8;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::sheet::{Anchor, Face, Shape, Type};
    use super::super::{Frame, ink};
    use super::*;
    use rand::{Rng, SeedableRng};

    /// A sheet full of shapes of every kind, size and place; only words leave it, as the bitmap backend draws
    /// other shapes that lie beyond the edge on the edge.
    fn crowded(seed: u64) -> Sheet {
        let mut random = rand_pcg::Pcg64::seed_from_u64(seed);
        let frame = Frame { width: 640, height: 427, ..Frame::default() };
        let mut sheet = Sheet::new(&frame, Type::Large).unwrap();
        let inks = [ink::ONE, ink::TWO, ink::GRID, ink::LIMIT_FIELD, ink::INTERVAL_FIELD];
        for k in 0..200 {
            let mut place = || (random.random_range(30.0..540.0), random.random_range(95.0..350.0));
            let points: Vec<_> = (0..4).map(|_| place()).collect();
            let at = points[0];
            let ink = inks[k % inks.len()];
            let width = random.random_range(0.3..9.0);
            sheet.shapes.push(match k % 8 {
                0 => Shape::Field { from: at, to: (at.0 + 40.0, at.1 + 70.0), ink },
                1 => Shape::Polygon { points, ink },
                2 | 3 => Shape::Line { points, width, ink },
                4 => Shape::Line { points: vec![at, (at.0 + 90.0, at.1)], width: 1.0, ink },
                5 => Shape::Line { points: vec![at, (at.0, at.1 - 90.0)], width: 0.3, ink },
                6 => Shape::Disc { at, radius: 3.0 * width, ink },
                _ => Shape::Text {
                    at,
                    anchor: [Anchor::Start, Anchor::Middle, Anchor::End][k % 3],
                    face: Face { em: 4.0 * width, bold: k % 16 == 7, ink },
                    text: "Ägj|Ő (57.2 kPa)".into(),
                },
            });
        }
        sheet
    }

    /// The picture by the bitmap backend of plotters, drawn whole.
    fn whole(sheet: &Sheet, zoom: u32) -> Vec<u8> {
        let (width, height) = paint::size(sheet);
        let mut large = vec![0; (width * height * zoom * zoom) as usize * DEPTH];
        {
            let backend = BitMapBackend::with_buffer(&mut large, (width * zoom, height * zoom));
            let area = backend.into_drawing_area();
            for mark in paint::placed(sheet, &Manner::bitmap(sheet.fonts(), zoom)) {
                mark.draw(&area).unwrap();
            }
            area.present().unwrap();
        }
        let (wide, zoom) = ((width * zoom) as usize, zoom as usize);
        let mut small = Vec::new();
        for y in 0..height as usize {
            for x in 0..width as usize {
                for part in 0..DEPTH {
                    let pixel = |k: usize| {
                        let (row, column) = (zoom * y + k / zoom, zoom * x + k % zoom);
                        f64::from(large[(row * wide + column) * DEPTH + part])
                    };
                    let cells = zoom * zoom;
                    let mean = (0..cells).map(pixel).sum::<f64>() / cells as f64;
                    small.push((mean + 0.5).floor() as u8);
                }
            }
        }
        small
    }

    #[test]
    fn the_file_holds_the_pixels_that_were_drawn() {
        let sheet = crowded(3);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("crowded.png");
        png(&sheet, &path).unwrap();
        let file = std::io::BufReader::new(File::open(&path).unwrap());
        let mut reader = png::Decoder::new(file).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let size = reader.next_frame(&mut pixels).unwrap();
        assert_eq!((size.width, size.height), paint::size(&sheet));
        assert_eq!(size.color_type, png::ColorType::Rgb);
        assert!(pixels == drawn(&sheet, 3, BAND, 1).unwrap());
    }

    #[test]
    fn a_picture_in_bands_is_the_picture_drawn_whole() {
        for (seed, zoom) in [(1, 3), (2, 2)] {
            let sheet = crowded(seed);
            let expected = whole(&sheet, zoom);
            for (bytes, cores) in [(BAND, 2), (1, 1), (60_000, 3), (usize::MAX / 64, 1)] {
                let found = drawn(&sheet, zoom, bytes, cores).unwrap();
                assert_eq!(found.len(), expected.len());
                let other = found.iter().zip(&expected).position(|(a, b)| a != b);
                let place = other.map(|at| (at / DEPTH % 640, at / DEPTH / 640));
                assert_eq!(place, None, "{bytes} bytes, {cores} cores, {zoom} times: x and y");
            }
        }
    }
}
