//! The drops averaged over all that is not known of the shape.
//!
//! For every answer of the engine the edges are fitted along with the drops (Gauss-Newton, with what
//! is known of people's fingers as a prior), and so is a bend of the drift. That is exact where the
//! drop is clear. Where there is hardly one, its edges are a choice of noise, and the best choice
//! makes the drop too large: shapes are drawn from the fits, evenly rather than at random, and weighed
//! by likelihood and prior over the density they were drawn with (importance sampling; Hammersley and
//! Handscomb, Monte Carlo Methods, 1964, section 5.4, from memory).

use super::answer::Answer;
use super::model::{Data, FIRST_DROP, Shape, Whitener, borrowed};
use super::search::{EACH_MARK_S, EARLIER_S, FOUND_S, LATER_S, PRESSED_LATE_S, Shifts, shifted};
use crate::findings::breather::TimesFrom;
use crate::findings::openings::Times;
use crate::statistics::normal_equations::{Products, Solution};
use crate::statistics::{cholesky, draws};

/// Rounds of Gauss and Newton.
const ROUNDS: usize = 3;
/// Bend of the drift that is nothing strange, rev/min (from memory of engines that warm up).
const BEND_RPM: f64 = 3.0;
/// A load is found to within a step or two of the search, s.
const PLACED_S: f64 = 1.0;
/// An answer this much less likely than the best, in the logarithm, does not catch up with it when
/// its own edges are found.
const OUT_OF_THE_QUESTION: f64 = 12.0;
/// Answers of less than this weight against the best are not looked at again.
const LEAST_WEIGHT: f64 = 1e-3;
/// Shapes drawn.
const DRAWS: usize = 160;
/// What the shapes differ by is no normal spread: the truth may be the one at its end, and the
/// variance is taken this many times so that the interval reaches it.
const SPREAD: f64 = 1.5;
/// The fits are drawn from somewhat more widely than they claim, so that no shape that matters is
/// out of reach.
const WIDER: f64 = 1.2;

/// What the average says.
pub struct Averaged {
    /// The likeliest shape.
    pub shape: Shape,
    /// Mean of every drop, rev/min.
    pub drops: Vec<f64>,
    /// Change of every drop from what the likeliest shape, taken for certain, would give.
    pub correction: Vec<f64>,
    /// What the noise leaves of every drop, as a multiple of the variance that the likeliest shape
    /// would have, taken for certain.
    pub widened: Vec<f64>,
    /// ... and of the mean of the drops.
    pub mean_widened: f64,
    /// Covariance of the drops from what the shapes differ by.
    pub covariance: Vec<Vec<f64>>,
}

/// An answer with its edges fitted.
struct Fitted {
    answer: Answer,
    shape: Shape,
    shifts: Shifts,
    /// Covariance of the shifts.
    covariance: Vec<Vec<f64>>,
    log_prior: f64,
    log_weight: f64,
}

/// A shape that was drawn.
struct Drawn {
    weight: f64,
    drops: Vec<f64>,
    /// Cofactors of the drops.
    cofactors: Vec<Vec<f64>>,
}

/// What is fitted.
pub struct Problem<'a> {
    pub data: &'a Data,
    pub given: &'a [Times],
    pub loads: &'a [f64],
    pub whitener: &'a Whitener,
}

impl Problem<'_> {
    /// Averages over answers and edges, the edges fitted from `shifts` on.
    pub fn average(&self, shifts: &Shifts) -> Option<Averaged> {
        let mut shifts = shifts.clone();
        shifts.extend(self.loads.iter().map(|_| 0.0));
        let fitted: Vec<Fitted> = self
            .likely(&shifts)
            .into_iter()
            .filter_map(|(answer, log_prior)| self.fit(answer, log_prior, shifts.clone()))
            .collect();
        let best = fitted.iter().max_by(|a, b| a.log_weight.total_cmp(&b.log_weight))?;
        let drawn = self.draw(&fitted, best.log_weight);
        let total: f64 = drawn.iter().map(|d| d.weight).sum();
        let over = |of: &dyn Fn(&Drawn) -> f64| {
            drawn.iter().map(|d| d.weight / total * of(d)).sum::<f64>()
        };
        let count = self.given.len();
        let mean: Vec<f64> = (0..count).map(|k| over(&|d| d.drops[k])).collect();
        let apart = |d: &Drawn, k: usize| d.drops[k] - mean[k];
        let certain = self.whitener.fit(self.data, &best.shape)?;
        let sure = block(&certain, FIRST_DROP, count);
        let all = |m: &[Vec<f64>]| m.iter().flatten().sum::<f64>();
        Some(Averaged {
            correction: (0..count)
                .map(|k| mean[k] - certain.coefficients[FIRST_DROP + k])
                .collect(),
            widened: (0..count).map(|k| over(&|d| d.cofactors[k][k]) / sure[k][k]).collect(),
            mean_widened: over(&|d| all(&d.cofactors)) / all(&sure),
            covariance: (0..count)
                .map(|i| {
                    (0..count).map(|j| SPREAD * over(&|d| apart(d, i) * apart(d, j))).collect()
                })
                .collect(),
            shape: best.shape.clone(),
            drops: mean,
        })
    }

    /// Answers, with the logarithms of their priors, that are not out of the question with the edges
    /// where they are.
    fn likely(&self, shifts: &Shifts) -> Vec<(Answer, f64)> {
        let weighed: Vec<(Answer, f64, f64)> = Answer::all()
            .into_iter()
            .filter_map(|(answer, prior)| {
                let fit = self.linear(&self.shape(answer, shifts)?)?;
                let log = -0.5 * (fit.residual_squares + fit.log_determinant);
                Some((answer, prior.ln(), prior.ln() + log))
            })
            .collect();
        let most = weighed.iter().map(|w| w.2).fold(f64::NEG_INFINITY, f64::max);
        let near = weighed.into_iter().filter(|w| w.2 > most - OUT_OF_THE_QUESTION);
        near.map(|(answer, log_prior, _)| (answer, log_prior)).collect()
    }

    /// Draws shapes from the fits, each fit as often as it is likely.
    fn draw(&self, fitted: &[Fitted], best: f64) -> Vec<Drawn> {
        let weight = |f: &&Fitted| (f.log_weight - best).exp();
        let heavy: Vec<&Fitted> = fitted.iter().filter(|f| weight(f) > LEAST_WEIGHT).collect();
        let total: f64 = heavy.iter().map(weight).sum();
        let mut logs = Vec::with_capacity(DRAWS);
        let mut drawn = Vec::with_capacity(DRAWS);
        let (mut k, mut before) = (0, 0.0);
        for f in heavy {
            let share = weight(&f) / total;
            let Some(root) = cholesky::root(&f.covariance) else { continue };
            // As many as fall between the shares before this fit and with it.
            let upto = before + share * DRAWS as f64;
            while (k as f64) + 0.5 < upto {
                let normal = draws::normal(k, f.shifts.len());
                k += 1;
                let Some((log, one)) = self.one(f, &root, &normal) else { continue };
                logs.push(log - share.ln());
                drawn.push(one);
            }
            before = upto;
        }
        let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        drawn.iter_mut().zip(logs).for_each(|(d, log)| d.weight = (log - most).exp());
        drawn
    }

    /// One shape, and the logarithm of likelihood and prior over the density of the draw.
    fn one(&self, f: &Fitted, root: &[Vec<f64>], normal: &[f64]) -> Option<(f64, Drawn)> {
        let step = |i: usize| -> f64 { (0..=i).map(|j| root[i][j] * normal[j]).sum() };
        let shifts: Shifts = (0..normal.len()).map(|i| f.shifts[i] + WIDER * step(i)).collect();
        let fit = self.linear(&self.shape(f.answer, &shifts)?)?;
        let density = -0.5 * normal.iter().map(|z| z * z).sum::<f64>()
            - root.iter().enumerate().map(|(i, row)| row[i].ln()).sum::<f64>();
        let likelihood = -0.5 * (fit.residual_squares + fit.log_determinant);
        let count = self.given.len();
        let drops = fit.coefficients[FIRST_DROP..FIRST_DROP + count].to_vec();
        let one = Drawn { weight: 0.0, drops, cofactors: block(&fit, FIRST_DROP, count) };
        Some((likelihood + f.log_prior + self.log_prior(&shifts) - density, one))
    }

    /// Standard uncertainty of where a shift may end, s; none for a mark, which is late.
    fn known(&self, shift: usize) -> Option<f64> {
        match self.given.get(shift / 2).map(|opening| opening.from) {
            Some(TimesFrom::Mark) => None,
            Some(TimesFrom::Data) => Some(FOUND_S),
            None => Some(PLACED_S),
        }
    }

    /// Logarithm of the prior density of the shifts, the lateness that is common to the marks
    /// integrated out.
    fn log_prior(&self, shifts: &[f64]) -> f64 {
        let (mut sum, mut squares, mut marks, mut found) = (0.0, 0.0, 0.0, 0.0);
        for (k, shift) in shifts.iter().enumerate() {
            match self.known(k) {
                None => {
                    let late = (shift + PRESSED_LATE_S.0) / EACH_MARK_S;
                    (sum, squares, marks) = (sum + late, squares + late * late, marks + 1.0);
                }
                Some(u) => found += (shift / u).powi(2),
            }
        }
        // Sherman and Morrison.
        let common = (PRESSED_LATE_S.1 / EACH_MARK_S).powi(2);
        -0.5 * (squares - common * sum * sum / (1.0 + marks * common) + found)
    }

    /// The linear part with the bend, the shape taken for certain.
    fn linear(&self, shape: &Shape) -> Option<Solution> {
        let mut white = self.whitener.columns(self.data, shape);
        white.push(self.whitener.bend.clone());
        let mut products = Products::of(&self.whitener.y, &borrowed(&white));
        products.know(&[(white.len() - 1, 1.0 / BEND_RPM)], 0.0);
        products.solve()
    }

    /// Fits edges and drops of one answer.
    fn fit(&self, answer: Answer, log_prior: f64, mut shifts: Shifts) -> Option<Fitted> {
        let mut shape = self.shape(answer, &shifts)?;
        let heights = FIRST_DROP..FIRST_DROP + self.given.len() + self.loads.len();
        let mut height = self.linear(&shape)?.coefficients[heights.clone()].to_vec();
        // Behind the drops, the steps and the bend.
        let first = heights.end + 1;
        let mut last = None;
        for _ in 0..ROUNDS {
            let fit = self.step(&shape, &shifts, &height)?;
            height = fit.coefficients[heights.clone()].to_vec();
            let moved: Shifts = shifts
                .iter()
                .zip(&fit.coefficients[first..])
                .map(|(shift, change)| (shift + change).clamp(-EARLIER_S, LATER_S))
                .collect();
            last = Some(fit);
            let Some(next) = self.shape(answer, &moved) else { break };
            (shape, shifts) = (next, moved);
        }
        let fit = last?;
        Some(Fitted {
            answer,
            covariance: block(&fit, first, shifts.len()),
            log_prior,
            log_weight: log_prior - 0.5 * (fit.residual_squares + fit.log_determinant),
            shape,
            shifts,
        })
    }

    fn shape(&self, answer: Answer, shifts: &[f64]) -> Option<Shape> {
        let (edges, loads) = shifts.split_at(2 * self.given.len());
        let openings = shifted(self.given, edges)?;
        let loads = self.loads.iter().zip(loads).map(|(at, shift)| at + shift).collect();
        Some(Shape { answer, openings, loads })
    }

    /// One linearised fit about drops and steps of these heights: the linear part, the bend, a change
    /// of every edge and load, and the lateness that is common to the marks. What is known beforehand
    /// enters as further rows.
    fn step(&self, shape: &Shape, shifts: &[f64], heights: &[f64]) -> Option<Solution> {
        let whitener = self.whitener;
        let (columns, slopes) = shape.with_slopes(self.data, heights);
        let mut white = whitener.baseline.to_vec();
        white.extend(columns.iter().map(|c| whitener.column(c)));
        let bend = white.len();
        white.push(whitener.bend.clone());
        white.extend(slopes.iter().map(|c| whitener.column(c)));
        let lateness = white.len();
        // No block shows it.
        white.push(Vec::new());
        let mut products = Products::of(&whitener.y, &borrowed(&white));
        products.know(&[(bend, 1.0 / BEND_RPM)], 0.0);
        products.know(&[(lateness, 1.0 / PRESSED_LATE_S.1)], PRESSED_LATE_S.0 / PRESSED_LATE_S.1);
        for (k, shift) in shifts.iter().enumerate() {
            let edge = bend + 1 + k;
            match self.known(k) {
                None => {
                    let u = EACH_MARK_S;
                    products.know(&[(edge, 1.0 / u), (lateness, 1.0 / u)], -shift / u);
                }
                Some(u) => products.know(&[(edge, 1.0 / u)], -shift / u),
            }
        }
        products.solve()
    }
}

/// Cofactors of `count` coefficients from `first` on.
fn block(fit: &Solution, first: usize, count: usize) -> Vec<Vec<f64>> {
    let rows = &fit.cofactors[first..first + count];
    rows.iter().map(|row| row[first..first + count].to_vec()).collect()
}
