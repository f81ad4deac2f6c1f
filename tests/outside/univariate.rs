//! NIST Statistical Reference Datasets, univariate: mean, standard deviation and lag-1
//! autocorrelation. Certified values read in the data files (see README.md beside this file).

use super::fixture;
use super::tally::Tally;
use evenbreath::statistics::summary::{autocorrelation, mean, sd};

/// The numbers of a StRD file: every line that is one number and nothing else.
pub fn numbers(name: &str) -> Vec<f64> {
    fixture(&format!("nist/{name}.txt")).lines().filter_map(|l| l.trim().parse().ok()).collect()
}

/// Size and certified mean, standard deviation and lag-1 autocorrelation.
struct Certified(usize, f64, f64, f64);

#[track_caller]
fn check(what: &'static str, x: &[f64], c: &Certified, least: [f64; 3]) {
    assert_eq!(x.len(), c.0, "{what}");
    let mut tally = Tally::new(what);
    tally.digits("mean", mean(x).unwrap(), c.1, least[0]);
    tally.digits("sd", sd(x).unwrap(), c.2, least[1]);
    tally.digits("r1", autocorrelation(x, 1).unwrap(), c.3, least[2]);
}

const TWELVE_AND_ELEVEN: [f64; 3] = [12.0, 11.0, 11.0];

#[test]
fn observed_sets() {
    let sets = [
        ("NIST StRD Lew", Certified(200, -177.435000000000, 277.332168044316, -0.307304800605679)),
        (
            "NIST StRD Lottery",
            Certified(218, 518.958715596330, 291.699727470969, -0.120948622967393),
        ),
        (
            "NIST StRD Mavro",
            Certified(50, 2.00185600000000, 0.000429123454003053, 0.937989183438248),
        ),
        (
            "NIST StRD Michelso",
            Certified(100, 299.852400000000, 0.0790105478190518, 0.535199668621283),
        ),
        (
            "NIST StRD PiDigits",
            Certified(5000, 4.53480000000000, 2.86733906028871, -0.00355099287237972),
        ),
    ];
    for (what, certified) in sets {
        let name = what.split(' ').next_back().unwrap();
        check(what, &numbers(name), &certified, TWELVE_AND_ELEVEN);
    }
}

/// A first value and 500 pairs, the rule by which NumAcc2 to NumAcc4 are made.
fn generated(first: f64, low: f64, high: f64) -> Vec<f64> {
    std::iter::once(first).chain((0..1000).map(|i| if i % 2 == 0 { low } else { high })).collect()
}

#[test]
fn numerical_accuracy_sets() {
    let one = [10_000_001.0, 10_000_003.0, 10_000_002.0];
    check("NIST StRD NumAcc1", &one, &Certified(3, 10_000_002.0, 1.0, -0.5), TWELVE_AND_ELEVEN);
    let two = generated(1.2, 1.1, 1.3);
    check("NIST StRD NumAcc2", &two, &Certified(1001, 1.2, 0.1, -0.999), TWELVE_AND_ELEVEN);
    // In NumAcc3 and NumAcc4 the decimals themselves do not fit a f64: the inputs as stored have
    // sd 0.1000000000349246 and 0.10000000055879354, r1 -0.9989999999994185 and
    // -0.9989999999906961 (50-digit decimal arithmetic), and no program can come closer.
    let three = generated(1_000_000.2, 1_000_000.1, 1_000_000.3);
    check(
        "NIST StRD NumAcc3",
        &three,
        &Certified(1001, 1_000_000.2, 0.1, -0.999),
        [12.0, 9.0, 9.0],
    );
    let mut tally = Tally::new("NumAcc3 and 4, decimal arithmetic on the f64 inputs");
    tally.digits("NumAcc3 sd", sd(&three).unwrap(), 0.1000000000349246, 11.0);
    tally.digits("NumAcc3 r1", autocorrelation(&three, 1).unwrap(), -0.9989999999994185, 11.0);
    let four = generated(10_000_000.2, 10_000_000.1, 10_000_000.3);
    check(
        "NIST StRD NumAcc4",
        &four,
        &Certified(1001, 10_000_000.2, 0.1, -0.999),
        [12.0, 8.0, 8.0],
    );
    tally.digits("NumAcc4 sd", sd(&four).unwrap(), 0.10000000055879354, 11.0);
    tally.digits("NumAcc4 r1", autocorrelation(&four, 1).unwrap(), -0.9989999999906961, 11.0);
}
