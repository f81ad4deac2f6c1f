//! Checks against figures from outside the project; the source stands beside each.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "outside/univariate.rs"]
mod univariate;

/// Fixture under `tests/outside/`.
fn fixture(name: &str) -> String {
    let path = format!("{}/tests/outside/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Correct decimal digits: minus the logarithm of the relative error (StRD's LRE).
fn digits(found: f64, certified: f64) -> f64 {
    let error =
        if certified == 0.0 { found.abs() } else { ((found - certified) / certified).abs() };
    if error == 0.0 { 17.0 } else { -error.log10() }
}

/// Fails unless `found` has at least `least` correct digits.
#[track_caller]
fn same(what: &str, found: f64, certified: f64, least: f64) {
    let right = digits(found, certified);
    assert!(right >= least, "{what}: {found} against {certified}, {right:.1} digits of {least}");
}
