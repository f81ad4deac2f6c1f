//! Equivalence of two means: the clinic data of the R package `equivalence`, whose function `tost`
//! gave the results stored in statsmodels 0.15.0 (`stats/tests/test_tost.py`, read there), limits
//! 0.6, risk 5 %; full digits by statsmodels' `ttost_ind` and `ttost_paired`.

use super::difference::intervals;
use super::tally::Tally;
use evenbreath::statistics::decision::{Verdict, decide};

const LIMIT: f64 = 0.6;
#[allow(clippy::approx_constant, reason = "a reading of 3.14 is a reading")]
const ONE: [[f64; 15]; 2] = [
    [2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84],
    [4.00, 3.26, 4.14, 3.42, 3.25, 4.34, 4.97, 4.31, 3.11, 3.41, 5.02, 4.21, 4.59, 5.30, 4.32],
];
const TWO: [[f64; 15]; 2] = [
    [2.60, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02],
    [3.76, 3.66, 3.65, 3.60, 3.48, 2.87, 3.24, 3.92, 3.99, 4.21, 4.21, 3.31, 3.61, 2.97, 2.73],
];
/// 90 % intervals: paired, Welch, pooled.
const ENDS: [[(f64, f64); 3]; 2] = [
    [
        (-0.0744336620516462, 0.4037669953849797),
        (-0.2666862980722534, 0.596019631405587),
        (-0.2659960620757337, 0.595329395409067),
    ],
    [
        (0.1261653305099018, 0.999168002823431),
        (0.194916250699966, 0.930417082633366),
        (0.1969453064978777, 0.928388026835454),
    ],
];

#[test]
fn clinic_data() {
    let mut tally = Tally::new("equivalence, clinic data (R equivalence, statsmodels)");
    // p at or below 5 % for all three of the first pair (0.0032, 0.0485, 0.0483), far above for
    // those of the second (0.44, 0.43, 0.43).
    for (k, expected) in [Verdict::InTolerance, Verdict::NotSettled].into_iter().enumerate() {
        for (j, (low, high)) in intervals(&ONE[k], &TWO[k], 0.9).into_iter().enumerate() {
            let what = format!("pair {k}, interval {j}");
            tally.near(&what, low, ENDS[k][j].0, 1e-11);
            tally.near(&what, high, ENDS[k][j].1, 1e-11);
            tally.same(&what, decide(low, high, LIMIT), expected);
        }
    }
}
