//! Colours and line weights.
//!
//! Hues are those of Okabe and Ito, "Color Universal Design" (2008; values from memory), which stay apart
//! for all common kinds of colour blindness. On a black-and-white printer they fall together by
//! pairs, so the series of one panel also differ in lightness, and in width, dash or marker.

use plotters::style::{RGBAColor, RGBColor};

/// A colour with its cover (1 hides what is under it).
pub(super) type Ink = RGBAColor;

const fn solid(RGBColor(r, g, b): RGBColor) -> Ink {
    RGBAColor(r, g, b, 1.0)
}

/// Text and frames.
pub(super) const TEXT: Ink = solid(RGBColor(0x1a, 0x1a, 0x1a));
/// Text of second rank, ticks.
pub(super) const QUIET: Ink = solid(RGBColor(0x4d, 0x4d, 0x4d));
/// Grid lines.
pub(super) const GRID: Ink = solid(RGBColor(0xd4, 0xd4, 0xd4));
/// The paper.
pub(super) const PAPER: Ink = solid(RGBColor(0xff, 0xff, 0xff));
/// Stretches of steady speed, and of an open filler.
pub(super) const SHADE: Ink = solid(RGBColor(0xee, 0xee, 0xee));
/// Strokes across stretches with the engine off.
pub(super) const HATCH: Ink = solid(RGBColor(0xc4, 0xc4, 0xc4));
/// Side 1: dark.
pub(super) const ONE: Ink = solid(RGBColor(0x00, 0x5a, 0x9c));
/// Side 2: light.
pub(super) const TWO: Ink = solid(RGBColor(0xe6, 0x9f, 0x00));
/// Any single series by cycle.
pub(super) const CYCLE: Ink = solid(RGBColor(0x7d, 0x7d, 0x7d));
/// A fitted curve, a result.
pub(super) const RESULT: Ink = solid(RGBColor(0xb8, 0x3f, 0x00));
/// Limits.
pub(super) const LIMIT: Ink = solid(RGBColor(0x00, 0x78, 0x58));
/// The field inside the limits.
pub(super) const LIMIT_FIELD: Ink = RGBAColor(0x00, 0x9e, 0x73, 0.14);
/// The field of an interval.
pub(super) const INTERVAL_FIELD: Ink = RGBAColor(0xf6, 0xb8, 0x8a, 0.62);
