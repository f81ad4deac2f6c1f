//! Where the edges are, roughly: a walk over a grid, one edge at a time.

use super::answer::{Answer, TAUS};
use super::model::{Data, FIRST_DROP, Shape, Whitener, borrowed};
use crate::findings::breather::TimesFrom;
use crate::findings::openings::Times;
use crate::statistics::normal_equations::Products;

/// An edge may lie this much before its mark, s.
pub const EARLIER_S: f64 = 4.0;
/// ... or after it, s.
pub const LATER_S: f64 = 3.0;
/// Steps in which an edge is moved, s.
const EDGE_STEP_S: f64 = 0.5;
/// Rounds at the most.
const ROUNDS: usize = 3;
/// A further round must have gained this much, in variances of the innovations.
const WORTH_A_ROUND: f64 = 0.5;
/// People press late: by this much, s, with this standard uncertainty of what is common to a
/// person's marks, and this of each mark by itself (common practice, no published source).
pub const PRESSED_LATE_S: (f64, f64) = (0.6, 0.8);
pub const EACH_MARK_S: f64 = 0.5;
/// An edge found in the data is as good as a bin or two under noise, s.
pub const FOUND_S: f64 = 1.2;
/// Shortest time open, s.
const LEAST_OPEN_S: f64 = 1.0;

/// Moves of the edges from where they were given, s; two an opening, off and on.
pub type Shifts = Vec<f64>;

/// The openings with their edges moved. None when an opening would end before it begins.
pub fn shifted(openings: &[Times], shifts: &[f64]) -> Option<Vec<Times>> {
    let mut moved = openings.to_vec();
    for (opening, shift) in moved.iter_mut().zip(shifts.chunks_exact(2)) {
        opening.off_s += shift[0];
        opening.on_s = opening.on_s.map(|on| on + shift[1]);
        if opening.on_s.is_some_and(|on| on < opening.off_s + LEAST_OPEN_S) {
            return None;
        }
    }
    Some(moved)
}

/// Squared distance of a shift from what is expected of it alone, in standard uncertainties.
fn surprise(opening: &Times, shift: f64) -> f64 {
    match opening.from {
        TimesFrom::Mark => {
            ((shift + PRESSED_LATE_S.0) / PRESSED_LATE_S.1.hypot(EACH_MARK_S)).powi(2)
        }
        TimesFrom::Data => (shift / FOUND_S).powi(2),
    }
}

/// A grid of first-order answers and shifted edges, searched by turns.
pub struct Search<'a> {
    pub data: &'a Data,
    pub given: &'a [Times],
    pub loads: &'a [f64],
    pub whitener: &'a Whitener,
}

/// Whitened columns of a shape, and their products.
struct Tried {
    columns: Vec<Vec<f64>>,
    products: Products,
}

impl Search<'_> {
    fn shape(&self, tau: f64, shifts: &[f64]) -> Option<Shape> {
        let openings = shifted(self.given, shifts)?;
        Some(Shape { answer: Answer::First(tau), openings, loads: self.loads.to_vec() })
    }

    fn tried(&self, shape: &Shape) -> Tried {
        let columns = self.whitener.columns(self.data, shape);
        let products = Products::of(&self.whitener.y, &borrowed(&columns));
        Tried { columns, products }
    }

    /// Twice the negative log posterior.
    fn cost(&self, tried: &Tried, tau: f64, shifts: &[f64]) -> Option<f64> {
        let edges: f64 =
            shifts.iter().enumerate().map(|(k, s)| surprise(&self.given[k / 2], *s)).sum();
        Some(tried.products.solve()?.residual_squares + edges + Answer::surprise(tau))
    }

    /// Goes round edges and time constant until none moves.
    pub fn run(&self, mut tau: f64, mut shifts: Shifts) -> Option<(f64, Shifts)> {
        let mut tried = self.tried(&self.shape(tau, &shifts)?);
        let mut least = self.cost(&tried, tau, &shifts)?;
        for _ in 0..ROUNDS {
            let before = least;
            for part in 0..shifts.len() {
                least = self.move_edge(part, tau, &mut shifts, &mut tried, least)?;
            }
            for other in TAUS {
                let shaped = self.tried(&self.shape(other, &shifts)?);
                if let Some(cost) = self.cost(&shaped, other, &shifts).filter(|c| *c < least) {
                    (least, tau, tried) = (cost, other, shaped);
                }
            }
            if least > before - WORTH_A_ROUND {
                break;
            }
        }
        Some((tau, shifts))
    }

    /// Moves one edge to its best place: the column of one opening changes. Gives the least cost.
    fn move_edge(
        &self,
        part: usize,
        tau: f64,
        shifts: &mut Shifts,
        tried: &mut Tried,
        mut least: f64,
    ) -> Option<f64> {
        if part % 2 == 1 && self.given[part / 2].on_s.is_none() {
            return Some(least);
        }
        let column = FIRST_DROP + part / 2;
        let mut best = shifts[part];
        let place = |tried: &mut Tried, shifts: &Shifts| {
            let shape = self.shape(tau, shifts)?;
            let drop = shape.drop(self.data, &shape.openings[part / 2]);
            tried.columns[column] = self.whitener.column(&drop);
            tried.products.change(column, &self.whitener.y, &borrowed(&tried.columns));
            Some(())
        };
        let (early, late) = ((EARLIER_S / EDGE_STEP_S) as i32, (LATER_S / EDGE_STEP_S) as i32);
        for step in -early..=late {
            shifts[part] = f64::from(step) * EDGE_STEP_S;
            if place(tried, shifts).is_none() {
                continue;
            }
            if let Some(cost) = self.cost(tried, tau, shifts).filter(|cost| *cost < least) {
                (least, best) = (cost, shifts[part]);
            }
        }
        shifts[part] = best;
        place(tried, shifts)?;
        Some(least)
    }
}
