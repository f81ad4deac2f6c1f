//! Loads besides the cap: a fan, a lamp, a wheel that is turned. They come and stay, or come and go.

use super::model::{Data, Shape, Whitener, borrowed};
use crate::statistics::normal_equations::{Products, dot};

/// Most steps that are looked for.
const MOST: usize = 3;
/// A step within this of an edge of the cap cannot be told from it, s.
const APART_S: f64 = 2.0;
/// Speed needed on both sides of a step, s.
const END_S: f64 = 2.5;
/// Steps of the search, s.
const STEP_S: f64 = 0.75;
/// A load that stays is one when it takes this much off the sum of squares, in variances of the
/// innovations; one that goes again must take the other. Noise alone takes 7 off at the best place,
/// 15 in one log of twenty, more when it is as correlated as steps are (0.9 from cycle to cycle: 29).
const GAINS: [f64; 2] = [22.0, 36.0];

/// A step at some place: what of it the shape does not show already, whitened.
struct Place {
    at: f64,
    own: Vec<f64>,
    square: f64,
    product: f64,
}

/// The steps that explain most, one or two, s; none when chance explains as much.
pub fn next(data: &Data, shape: &Shape, whitener: &Whitener) -> Option<Vec<f64>> {
    let places = places(data, shape, whitener)?;
    let room = MOST.saturating_sub(shape.loads.len());
    let stays = one(&places).filter(|_| room >= 1);
    let goes = two(&places).filter(|_| room >= 2);
    let gain = |loads: &Option<Vec<f64>>| {
        loads.as_ref().and_then(|loads| gain(data, shape, loads)).unwrap_or(0.0)
    };
    let gains = [gain(&stays), gain(&goes)];
    if gains[1] > GAINS[1] && gains[1] > gains[0] + GAINS[0] {
        goes
    } else {
        stays.filter(|_| gains[0] > GAINS[0])
    }
}

fn one(places: &[Place]) -> Option<Vec<f64>> {
    let takes = |a: &Place| a.product.powi(2) / a.square;
    let best = places.iter().max_by(|a, b| takes(a).total_cmp(&takes(b)))?;
    Some(vec![best.at])
}

fn two(places: &[Place]) -> Option<Vec<f64>> {
    let (mut most, mut best) = (0.0, None);
    for (i, a) in places.iter().enumerate() {
        for b in places[i + 1..].iter().filter(|b| b.at - a.at >= APART_S) {
            let both = pair(a, b);
            if both > most {
                (most, best) = (both, Some(vec![a.at, b.at]));
            }
        }
    }
    best
}

/// What the steps take off the sum of squares once the noise is no longer made of them.
fn gain(data: &Data, shape: &Shape, loads: &[f64]) -> Option<f64> {
    let mut with = shape.clone();
    with.loads.extend(loads);
    let whitener = Whitener::new(data, &with)?;
    let [before, after] = [shape, &with].map(|s| whitener.fit(data, s));
    Some(before?.residual_squares - after?.residual_squares)
}

/// What two steps take off the sum of squares when they are opposite.
fn pair(a: &Place, b: &Place) -> f64 {
    let mixed = dot(&a.own, &b.own);
    let determinant = a.square * b.square - mixed * mixed;
    let first = a.product * b.square - b.product * mixed;
    let second = b.product * a.square - a.product * mixed;
    if determinant <= 1e-9 * a.square * b.square || first * second >= 0.0 {
        return 0.0;
    }
    (a.product * first + b.product * second) / determinant
}

fn places(data: &Data, shape: &Shape, whitener: &Whitener) -> Option<Vec<Place>> {
    let columns = whitener.columns(data, shape);
    let fit = Products::of(&whitener.y, &borrowed(&columns)).solve()?;
    let (from, to) = data.ends();
    let free = |at: &f64| {
        let apart = |edge: f64| (at - edge).abs() >= APART_S;
        shape.openings.iter().all(|o| apart(o.off_s) && o.on_s.is_none_or(apart))
            && shape.loads.iter().all(|load| apart(*load))
    };
    let place = |at: f64| {
        let mut own = whitener.column(&shape.load(data, at));
        let with: Vec<f64> = columns.iter().map(|c| dot(c, &own)).collect();
        for (column, row) in columns.iter().zip(&fit.cofactors) {
            let shown = dot(row, &with);
            own.iter_mut().zip(column).for_each(|(o, c)| *o -= shown * c);
        }
        Place { at, square: dot(&own, &own).max(1e-9), product: dot(&own, &whitener.y), own }
    };
    let all = (0..).map(|k| from + END_S + f64::from(k) * STEP_S);
    Some(all.take_while(|at| *at < to - END_S).filter(free).map(place).collect())
}
