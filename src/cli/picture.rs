//! The chart beside an answer.

use super::args::Picture;
use super::failure::Failure;
use super::output::message;
use crate::charts::{ChartError, Frame};
use crate::units::PressureUnit;
use std::path::Path;

/// A frame of this width, three wide to two high.
pub fn frame(width: u32, unit: PressureUnit) -> Frame {
    Frame { width, height: width * 2 / 3, unit }
}

/// Draws the chart when one is asked for, before the answer is printed: either both are there, or
/// an error and neither.
///
/// # Errors
/// What `draw` says.
pub fn draw(
    picture: &Picture,
    unit: PressureUnit,
    draw: impl FnOnce(&Path, &Frame) -> Result<(), ChartError>,
) -> Result<(), Failure> {
    if let Some(path) = &picture.chart {
        draw(path, &frame(picture.chart_width, unit))?;
        message(&format!("chart written to {}", path.display()));
    }
    Ok(())
}
