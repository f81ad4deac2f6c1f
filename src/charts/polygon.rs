//! A polygon filled line by line, as the rasterizer of plotters does (plotters-backend 0.3, MIT): the same
//! edges in the same order, so that every pixel is the same, but without asking for memory at each line.

use plotters_backend::{BackendColor, BackendCoord, DrawingBackend, DrawingErrorKind};
use std::iter::Peekable;
use std::vec::IntoIter;

/// An edge that lies across the lines of the sweep.
#[derive(Clone, Copy)]
struct Edge {
    /// Its first line and its last.
    first: i32,
    last: i32,
    /// Where it begins and ends along a line.
    begin: i32,
    end: i32,
    /// Where it is on the line that is swept.
    at: f64,
}

impl Edge {
    /// None for an edge along the lines.
    fn between(from: BackendCoord, to: BackendCoord, upright: bool) -> Option<Edge> {
        let along = |(x, y): BackendCoord| if upright { (x, y) } else { (y, x) };
        let (mut from, mut to) = (along(from), along(to));
        if from.0 > to.0 {
            std::mem::swap(&mut from, &mut to);
        }
        let edge = Edge { first: from.0, last: to.0, begin: from.1, end: to.1, at: 0.0 };
        (from.0 != to.0).then_some(edge)
    }

    fn go_to(&mut self, line: i32) {
        let way = i64::from(self.end - self.begin) * i64::from(line - self.first);
        self.at = f64::from(self.begin) + way as f64 / f64::from(self.last - self.first);
    }
}

/// The lines one after the other, with the edges that each crosses.
struct Sweep {
    /// Edges that begin on a later line.
    waiting: Peekable<IntoIter<Edge>>,
    /// In the order in which the line crosses them.
    crossed: Vec<Edge>,
}

impl Sweep {
    fn over(points: &[BackendCoord], upright: bool) -> Sweep {
        let next = points.iter().cycle().skip(1);
        let pairs = points.iter().zip(next);
        let edges = pairs.filter_map(|(from, to)| Edge::between(*from, *to, upright));
        let mut edges: Vec<Edge> = edges.collect();
        edges.sort_by_key(|edge| edge.first);
        Sweep { waiting: edges.into_iter().peekable(), crossed: Vec::new() }
    }

    /// On to the next line.
    fn go_to(&mut self, line: i32) {
        let (waiting, crossed) = (&mut self.waiting, &mut self.crossed);
        crossed.retain(|edge| edge.last >= line);
        crossed.extend(std::iter::from_fn(|| waiting.next_if(|edge| edge.first <= line)));
        crossed.iter_mut().for_each(|edge| edge.go_to(line));
        crossed.sort_by(|one, other| one.at.total_cmp(&other.at));
    }
}

/// Fills a polygon of which `shown` says what lines of the sweep can be seen: the columns of the picture where
/// it is wider than high (true), else the rows.
///
/// # Errors
/// Those of the backend.
pub(super) fn fill<DB: DrawingBackend>(
    backend: &mut DB,
    points: &[BackendCoord],
    color: BackendColor,
    shown: impl Fn(bool, i32) -> bool,
) -> Result<(), DrawingErrorKind<DB::ErrorType>> {
    let span = |of: fn(&BackendCoord) -> i32| {
        let ends = points.iter().map(|point| (of(point), of(point)));
        ends.reduce(|(low, high), (one, other)| (low.min(one), high.max(other)))
    };
    let (Some((left, right)), Some((top, bottom))) = (span(|p| p.0), span(|p| p.1)) else {
        return Ok(());
    };
    if left == right || top == bottom {
        return backend.draw_line((left, top), (right, bottom), &color);
    }
    // Lines are upright where it is wider than high.
    let upright = right - left > bottom - top;
    let mut sweep = Sweep::over(points, upright);
    for line in if upright { left..=right } else { top..=bottom } {
        sweep.go_to(line);
        if shown(upright, line) {
            fill_line(backend, &sweep.crossed, line, upright, color)?;
        }
    }
    Ok(())
}

/// Fills a line between every other two of the edges that it crosses.
fn fill_line<DB: DrawingBackend>(
    backend: &mut DB,
    crossed: &[Edge],
    line: i32,
    upright: bool,
    color: BackendColor,
) -> Result<(), DrawingErrorKind<DB::ErrorType>> {
    let point = |at: f64| if upright { (line, at as i32) } else { (at as i32, line) };
    let mut open: Option<Edge> = None;
    for edge in crossed {
        let Some(begin) = open else {
            open = Some(*edge);
            continue;
        };
        // Where an edge ends and another goes on, that which goes on counts.
        match (begin.last == line, edge.last == line) {
            (true, false) => open = Some(*edge),
            (false, true) => {}
            (true, true) if edge.at - begin.at > 1.0 => open = None,
            _ => {
                let (from, to) = (begin.at, edge.at);
                backend.draw_line(point(from.ceil()), point(to.floor()), &color)?;
                backend.draw_pixel(point(from.floor()), color.mix(from.ceil() - from))?;
                // The two sweeps smooth the far end by different shares.
                let far = if upright { to - to.floor() } else { to.floor() - to };
                backend.draw_pixel(point(to.ceil()), color.mix(far))?;
                open = None;
            }
        }
    }
    Ok(())
}
