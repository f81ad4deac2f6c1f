//! Annual flow of the Nile at Aswan: the change of 1898.
//!
//! Data: 10^8 m3 a year, 1871 to 1970, as in `statsmodels/datasets/nile/nile.csv` of the Python
//! package statsmodels 0.15.0, which names Cobb, Biometrika 65 (1978) 243, 'apparent changepoint
//! near 1898', public domain. Expected partitions: `ruptures` 1.1.10 on the same data (`Pelt` and
//! `Dynp` with cost `l2`, `min_size` 2, `jump` 1); means and sums of squares by hand from the data.

use crate::tally::Tally;
use evenbreath::statistics::changes::{changes, partition};
use evenbreath::statistics::summary::mean;

const FIRST_YEAR: usize = 1871;
const FLOW: [f64; 100] = [
    1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0,
    1110.0, 994.0, 1020.0, 960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0,
    1260.0, 1220.0, 1030.0, 1100.0, 774.0, 840.0, 874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0,
    1020.0, 1050.0, 969.0, 831.0, 726.0, 456.0, 824.0, 702.0, 1120.0, 1100.0, 832.0, 764.0, 821.0,
    768.0, 845.0, 864.0, 862.0, 698.0, 845.0, 744.0, 796.0, 1040.0, 759.0, 781.0, 865.0, 845.0,
    944.0, 984.0, 897.0, 822.0, 1010.0, 771.0, 676.0, 649.0, 846.0, 812.0, 742.0, 801.0, 1040.0,
    860.0, 874.0, 848.0, 890.0, 744.0, 749.0, 838.0, 1050.0, 918.0, 986.0, 797.0, 923.0, 975.0,
    815.0, 1020.0, 906.0, 901.0, 1170.0, 912.0, 746.0, 919.0, 718.0, 714.0, 740.0,
];
/// Years before the change: 1871 to 1898.
const BEFORE: usize = 28;

fn squares(x: &[f64]) -> f64 {
    let level = mean(x).unwrap();
    x.iter().map(|v| (v - level).powi(2)).sum()
}

#[test]
fn the_flow_falls_after_1898() {
    let mut tally = Tally::new("Nile, change of 1898 (ruptures)");
    assert_eq!(FIRST_YEAR + BEFORE - 1, 1898);
    // `Pelt` at each of these penalties: breakpoints [28, 100].
    for penalty in [1e5, 138_155.1, 2e5, 263_765.239_145_513, 3e5, 5e5, 1e6] {
        tally.same(&format!("penalty {penalty}"), partition(&FLOW, penalty), vec![BEFORE]);
    }
    // ... and at this one: [100], no change.
    tally.same("penalty 1.5e6", partition(&FLOW, 1.5e6), vec![]);
}

#[test]
fn the_gain_of_the_change_is_where_it_appears_and_goes() {
    let mut tally = Tally::new("Nile, means and squares");
    let (before, after) = FLOW.split_at(BEFORE);
    tally.near("mean to 1898", mean(before).unwrap(), 1097.75, 1e-12);
    tally.near("mean from 1899", mean(after).unwrap(), 849.972_222_222_222_2, 1e-12);
    tally.near("squares without a change", squares(&FLOW), 2_835_156.75, 1e-12);
    let gain = squares(&FLOW) - squares(before) - squares(after);
    tally.near("gain", gain, 1_237_699.555_555_555_5, 1e-12);
    assert_eq!(partition(&FLOW, gain * (1.0 - 1e-6)), [BEFORE]);
    assert!(partition(&FLOW, gain * (1.0 + 1e-6)).is_empty());
}

#[test]
fn no_partition_of_the_exact_search_is_cheaper() {
    // `Dynp` with 1, 2 and 3 changes: [28, 100], [19, 28, 100] and [28, 83, 95, 100]. At no penalty
    // are two or three the best number here: below 85 200, where one no longer is, four are.
    let listed: [&[usize]; 4] = [&[], &[28], &[19, 28], &[28, 83, 95]];
    let cost = |starts: &[usize]| {
        let mut edges = vec![0];
        edges.extend(starts);
        edges.push(FLOW.len());
        edges.windows(2).map(|w| squares(&FLOW[w[0]..w[1]])).sum::<f64>()
    };
    for penalty in (4..=64).map(|k| 25e3 * f64::from(k)).chain((5..100).map(|k| 1e3 * f64::from(k)))
    {
        let total = |starts: &[usize]| cost(starts) + penalty * starts.len() as f64;
        let found = partition(&FLOW, penalty);
        for starts in listed {
            assert!(total(&found) <= total(starts) + 1e-6, "{penalty}: {found:?}, {starts:?}");
        }
    }
}

#[test]
fn the_search_without_a_penalty_finds_it_too() {
    // The method for correlated noise, with a penalty of its own: the same single change.
    assert_eq!(changes(&FLOW), [BEFORE]);
}
