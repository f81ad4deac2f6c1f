//! Pictures of finished findings: plain scientific plots as PNG or SVG.
//!
//! A chart receives finished numbers and does no statistics (only its scale passes over stray values,
//! and says so). It is first laid out on a
//! [`sheet::Sheet`] (a list of shapes in picture pixels), then painted with plotters on either
//! backend, so that both kinds of file show the same drawing. All text stands outside the plotted
//! data. Every series differs from its neighbours by line style, width or marker as well as by
//! hue.

mod balance;
mod band;
mod breather;
mod clip;
mod compare;
mod correction;
mod difference;
mod file;
mod flow;
mod hoses;
mod hunt;
mod ink;
mod lane;
mod legend;
mod one_sensor;
mod paint;
mod pair;
mod pair_match;
mod panel;
mod polygon;
mod raster;
mod scale;
mod shares;
mod sheet;
mod text;
mod trace;
mod wording;

use crate::findings::Sides;
use crate::findings::balance::Balance;
use crate::findings::breather::Breather;
use crate::findings::compare::Comparison;
use crate::findings::flow::Flow;
use crate::findings::hunt::Hunt;
use crate::findings::pair_match::PairMatch;
use crate::signal::Signal;
use crate::units::PressureUnit;
use sheet::{Sheet, Type};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Size of a picture and the unit in which it shows pressures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// Width, pixels; fonts and lines scale with it.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
    /// Unit of the pressure axes.
    pub unit: PressureUnit,
}

impl Default for Frame {
    fn default() -> Self {
        Frame { width: 1800, height: 1200, unit: PressureUnit::Kpa }
    }
}

/// Why there is no picture. After an error no partial file remains.
#[derive(Debug, Error)]
pub enum ChartError {
    /// The name of the file tells neither of the two formats.
    #[error("'{}' has no ending that names a kind of picture: end it in .png or .svg", .0.display())]
    UnknownEnding(PathBuf),
    /// The file could not be written.
    #[error("cannot write the picture '{}': {source}; check that the folder exists and may be written to", .path.display())]
    Write {
        /// The file asked for.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// The signal holds nothing of what the chart shows.
    #[error("nothing to draw: {0}")]
    NothingToDraw(&'static str),
    /// The drawing itself failed, or does not fit in the frame.
    #[error("drawing failed: {0}")]
    Drawing(String),
}

/// Writes the balance chart: both vacuums by engine cycle, their difference with tolerance and
/// intervals, and the speed, on one time axis.
///
/// # Errors
/// Unknown ending of `path`, a folder that cannot be written to, no vacuum of one of the sides, or
/// a frame too small for its text.
pub fn balance(
    path: &Path,
    frame: &Frame,
    signal: &Signal,
    finding: &Balance,
    sides: &Sides,
) -> Result<(), ChartError> {
    file::write(path, || {
        fitted(|type_size| balance::draw(frame, type_size, signal, finding, sides))
    })
}

/// The balance chart as an SVG document.
///
/// # Errors
/// As [`balance`], but for the file.
pub fn balance_svg(
    frame: &Frame,
    signal: &Signal,
    finding: &Balance,
    sides: &Sides,
) -> Result<String, ChartError> {
    paint::svg(&fitted(|type_size| balance::draw(frame, type_size, signal, finding, sides))?)
}

/// Writes the chart of the airflow meters: both flows by engine cycle, their ratio with tolerance and
/// intervals, and the speed, on one time axis.
///
/// # Errors
/// Unknown ending of `path`, a folder that cannot be written to, no steady flow of both meters, or a
/// frame too small for its text.
pub fn flow(
    path: &Path,
    frame: &Frame,
    signal: &Signal,
    finding: &Flow,
    sides: &Sides,
) -> Result<(), ChartError> {
    file::write(path, || fitted(|type_size| flow::draw(frame, type_size, signal, finding, sides)))
}

/// Writes the breather chart: the speed by engine cycle with the fitted curve, the openings and
/// their drops, and the vacuums under it.
///
/// # Errors
/// Unknown ending of `path`, a folder that cannot be written to, no speed, or a frame too small
/// for its text.
pub fn breather(
    path: &Path,
    frame: &Frame,
    signal: &Signal,
    finding: &Breather,
    sides: &Sides,
) -> Result<(), ChartError> {
    file::write(path, || {
        fitted(|type_size| breather::draw(frame, type_size, signal, finding, sides, None))
    })
}

/// The breather chart as an SVG document.
///
/// # Errors
/// As [`breather`], but for the file.
pub fn breather_svg(
    frame: &Frame,
    signal: &Signal,
    finding: &Breather,
    sides: &Sides,
) -> Result<String, ChartError> {
    paint::svg(&fitted(|type_size| breather::draw(frame, type_size, signal, finding, sides, None))?)
}

/// The breather charts of several logs as SVG documents, each under its name and all on one scale. Of two
/// or more the type is that of pictures shown beside each other, each at half the width of a sheet. A log
/// that has nothing to draw gives `None`.
///
/// # Errors
/// A frame too small for its text.
pub fn breather_svgs(
    frame: &Frame,
    logs: &[(&str, &Signal, &Breather)],
    sides: &Sides,
) -> Result<Vec<Option<String>>, ChartError> {
    let mut scale: Option<breather::Scale> = None;
    for (_, signal, finding) in logs {
        if let Some(own) = drawable(breather::Scale::of(frame, signal, finding))? {
            scale = Some(scale.as_ref().map_or(own.clone(), |scale| scale.join(&own)));
        }
    }
    let chart = |(name, signal, finding): &(&str, &Signal, &Breather)| {
        let beside = scale.as_ref().map(|scale| (*name, scale));
        let draw = |size| breather::draw(frame, size, signal, finding, sides, beside);
        let sheet = if logs.len() > 1 { draw(Type::Beside) } else { fitted(draw) };
        drawable(sheet.and_then(|sheet| paint::svg(&sheet)))
    };
    logs.iter().map(chart).collect()
}

/// Writes the before-and-after chart: differences and vacuums of both logs side by side on one
/// scale, and the throttle openings of every speed that both logs hold.
///
/// # Errors
/// Unknown ending of `path`, a folder that cannot be written to, a log without the vacuum of one
/// of the sides, or a frame too small for its text.
pub fn compare(
    path: &Path,
    frame: &Frame,
    before: &Signal,
    after: &Signal,
    finding: &Comparison,
    sides: &Sides,
) -> Result<(), ChartError> {
    file::write(path, || {
        fitted(|type_size| compare::draw(frame, type_size, before, after, finding, sides))
    })
}

/// The before-and-after chart as an SVG document.
///
/// # Errors
/// As [`compare`], but for the file.
pub fn compare_svg(
    frame: &Frame,
    before: &Signal,
    after: &Signal,
    finding: &Comparison,
    sides: &Sides,
) -> Result<String, ChartError> {
    paint::svg(&fitted(|type_size| compare::draw(frame, type_size, before, after, finding, sides))?)
}

/// Writes the chart of a hunt: what sealing each suspect does to the air of both tracts and to the
/// speed, with intervals and with what does not matter, in the order of the ranking.
///
/// # Errors
/// Unknown ending of `path`, a folder that cannot be written to, no trial that could be judged, or
/// a frame too small for its text.
pub fn hunt(path: &Path, frame: &Frame, finding: &Hunt, sides: &Sides) -> Result<(), ChartError> {
    file::write(path, || fitted(|type_size| hunt::draw(frame, type_size, finding, sides)))
}

/// The chart of a hunt as an SVG document.
///
/// # Errors
/// As [`hunt`], but for the file.
pub fn hunt_svg(frame: &Frame, finding: &Hunt, sides: &Sides) -> Result<String, ChartError> {
    paint::svg(&fitted(|type_size| hunt::draw(frame, type_size, finding, sides))?)
}

/// Writes the chart of a tee run: the difference of the two sensors over the vacuum with the line
/// and its interval, and what is left beside the line on a scale of its own.
///
/// # Errors
/// Unknown ending of `path`, a folder that cannot be written to, a run without an average of both
/// sensors, or a frame too small for its text.
pub fn pair_match(path: &Path, frame: &Frame, finding: &PairMatch) -> Result<(), ChartError> {
    file::write(path, || fitted(|type_size| pair_match::draw(frame, type_size, finding)))
}

/// The chart of a tee run as an SVG document.
///
/// # Errors
/// As [`pair_match`], but for the file.
pub fn pair_match_svg(frame: &Frame, finding: &PairMatch) -> Result<String, ChartError> {
    paint::svg(&fitted(|type_size| pair_match::draw(frame, type_size, finding))?)
}

/// `None` where there is nothing to draw.
fn drawable<T>(drawn: Result<T, ChartError>) -> Result<Option<T>, ChartError> {
    match drawn {
        Err(ChartError::NothingToDraw(_)) => Ok(None),
        other => other.map(Some),
    }
}

/// Lays out in large type, and in small where that does not fit.
fn fitted(draw: impl Fn(Type) -> Result<Sheet, ChartError>) -> Result<Sheet, ChartError> {
    draw(Type::Large).or_else(|error| match error {
        ChartError::Drawing(_) => draw(Type::Small),
        other => Err(other),
    })
}
