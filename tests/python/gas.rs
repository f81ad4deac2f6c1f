//! Flow through a hole: `fluids`. The standard atmosphere: `ambiance` (ICAO Doc 7488, the constants
//! of ISO 2533) and `fluids` (US Standard Atmosphere 1976).

use crate::NINE_DIGITS;
use crate::bridge::ask;
use crate::tally::Tally;
use evenbreath::gas::atmosphere::{density, geopotential, pressure, temperature};
use evenbreath::gas::orifice::{
    AIR_GAMMA, Ends, area_of_hole, choked_constant, critical_ratio, mass_flow, psi,
};
use serde_json::json;

const GAMMAS: [f64; 7] = [1.1, 1.2, 1.3, 4.0 / 3.0, 1.35, AIR_GAMMA, 1.667];

#[test]
fn critical_flow() {
    let Some(answer) = ask("gas.py", &json!({"what": "critical", "gamma": GAMMAS})) else { return };
    let (ratios, constants) = (answer.list("ratio"), answer.list("constant"));
    let mut tally = Tally::new("critical ratio and choked flow (fluids P_critical_flow, API520_C)");
    for (k, gamma) in GAMMAS.into_iter().enumerate() {
        tally.near(&format!("ratio, {gamma}"), critical_ratio(gamma), ratios[k], NINE_DIGITS);
        tally.near(
            &format!("constant, {gamma}"),
            choked_constant(gamma),
            constants[k],
            NINE_DIGITS,
        );
    }
}

/// The expansibility of a nozzle in a pipe of no end is the isentropic flow over that of Bernoulli.
/// Near ratio 1 the isentropic function is a difference of two powers near 1, in both programs.
#[test]
fn isentropic_flow() {
    let mut points = Vec::new();
    for gamma in GAMMAS {
        let from = critical_ratio(gamma);
        points.extend((0..60).map(|k| (gamma, from + (0.9999 - from) * f64::from(k) / 59.0)));
    }
    let (gamma, ratio): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let question = json!({"what": "flow", "gamma": gamma, "ratio": ratio});
    let Some(answer) = ask("gas.py", &question) else { return };
    let (psis, flows) = (answer.list("psi"), answer.list("flow"));
    let mut tally = Tally::new("isentropic flow (fluids nozzle_expansibility)");
    for (k, (gamma, ratio)) in points.into_iter().enumerate() {
        let what = format!("gamma {gamma}, ratio {ratio}");
        tally.near(&what, psi(ratio, gamma), psis[k], NINE_DIGITS);
        if gamma == AIR_GAMMA {
            let ends = Ends {
                upstream_pa: 101_325.0,
                downstream_pa: ratio * 101_325.0,
                upstream_k: 293.15,
            };
            let found = mass_flow(0.61, area_of_hole(1.5e-3), &ends);
            tally.near(&format!("kg/s, ratio {ratio}"), found, flows[k], NINE_DIGITS);
        }
    }
}

/// Heights are geometric metres in all three; ours go through the geopotential altitude.
#[test]
fn standard_atmosphere() {
    let heights: Vec<f64> = (-45..=110).map(|k| 100.0 * f64::from(k) + 3.7).take(152).collect();
    let question = json!({"what": "atmosphere", "height": heights});
    let Some(answer) = ask("gas.py", &question) else { return };
    let [geo, t, p, rho, american] =
        ["geopotential", "temperature", "pressure", "density", "us_pressure"]
            .map(|name| answer.list(name));
    let mut icao = Tally::new("ICAO atmosphere, geometric heights (ambiance)");
    let mut low = Tally::new("ICAO atmosphere below sea level, six figures (ambiance)");
    let mut us = Tally::new("US Standard Atmosphere 1976, other constants (fluids)");
    for (k, height) in heights.into_iter().enumerate() {
        let what = format!("{height} m");
        let at = geopotential(height);
        icao.near(&what, at, geo[k], NINE_DIGITS);
        icao.near(&what, temperature(at).unwrap(), t[k], NINE_DIGITS);
        // Below sea level ambiance starts from the table's pressure at -5000 m, printed in six
        // figures, 1.77687e5 Pa; above, from 101325 Pa as we do.
        let (air, limit) = if height < 0.0 { (&mut low, 2.9e-6) } else { (&mut icao, NINE_DIGITS) };
        air.near(&what, pressure(at).unwrap(), p[k], limit);
        air.near(&what, density(at).unwrap(), rho[k], limit);
        // Its gas constant is 287.05287 + 0.0002 J/(kg K): 7e-7 of the exponent, at 11 km times the
        // logarithm of the pressure ratio, 1.5.
        us.near(&what, pressure(at).unwrap(), american[k], 1.2e-6);
    }
}
