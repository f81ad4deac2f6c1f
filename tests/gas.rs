//! The atmosphere and the flow through a hole against numbers from outside.
//!
//! Sources, each named again beside its numbers: ISO 2533:1975 and ICAO Doc 7488 (3rd edition
//! 1993), NACA Report 1135 (1953), the libraries fluids 1.3.1, ambiance 1.3.1 and mpmath.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use evenbreath::gas::atmosphere;
use evenbreath::gas::orifice::{self, AIR_GAMMA, Ends};
use tally::Tally;

#[path = "outside/tally.rs"]
mod tally;

/// Geopotential altitude m, temperature K, pressure Pa, density kg/m3: the formula of ISO 2533
/// evaluated in Python 3.11; the pressures agree with a published table of 101 rows to its six
/// figures.
const ISO_2533: [(f64, f64, f64, f64); 11] = [
    (-500.0, 291.4, 107_477.511_2, 1.284_890_6),
    (0.0, 288.15, 101_325.0, 1.225),
    (500.0, 284.9, 95_460.835_3, 1.167_268_8),
    (1000.0, 281.65, 89_874.562_9, 1.111_642_5),
    (1500.0, 278.4, 84_555.994_1, 1.058_067_3),
    (2000.0, 275.15, 79_495.201_9, 1.006_490_1),
    (2500.0, 271.9, 74_682.517_6, 0.956_858_8),
    (3000.0, 268.65, 70_108.526_5, 0.909_121_9),
    (304.8, 286.1688, 97_716.567_1, 1.189_553_6),
    (1524.0, 278.244, 84_307.264_5, 1.055_546_3),
    (3048.0, 268.338, 69_681.641_6, 0.904_636_9),
];

#[test]
fn standard_atmosphere_agrees_with_iso_2533() {
    let mut tally = Tally::new("ISO 2533");
    for (height, kelvin, pascal, density) in ISO_2533 {
        let what = format!("{height} m");
        tally.near(&what, atmosphere::temperature(height).unwrap(), kelvin, 1e-9);
        tally.near(&what, atmosphere::pressure(height).unwrap(), pascal, 1e-9);
        tally.near(&what, atmosphere::density(height).unwrap(), density, 5e-8);
        let back = atmosphere::altitude(pascal).unwrap();
        // The pressures of the table have four decimals, 1e-4 m at 3000 m.
        tally.of_size(&format!("{height} m, back"), back, height, (1e4, 1e-8));
    }
}

#[test]
fn published_pressures_agree_to_their_last_figure() {
    let mut tally = Tally::new("pressures of a published table, six figures");
    // Published table of pressure against geopotential altitude, six figures, Pa.
    let table = [
        (500.0, 95_460.8),
        (1000.0, 89_874.6),
        (1500.0, 84_556.0),
        (2000.0, 79_495.2),
        (2500.0, 74_682.5),
        (3000.0, 70_108.5),
    ];
    for (height, pascal) in table {
        let found = atmosphere::pressure(height).unwrap();
        tally.of_size(&format!("{height} m"), found, pascal, (1e5, 5.1e-7));
    }
}

#[test]
fn heights_of_a_map_agree_with_the_icao_atmosphere() {
    let mut tally = Tally::new("ICAO Doc 7488, geometric heights");
    // Geometric metres: ambiance 1.3.1 (ICAO Doc 7488), Pa.
    let table = [
        (500.0, 95_461.285_5),
        (1000.0, 89_876.277_6),
        (1500.0, 84_559.665_9),
        (2000.0, 79_501.411_1),
        (3000.0, 70_121.144_1),
    ];
    for (height, pascal) in table {
        let got = atmosphere::pressure(atmosphere::geopotential(height)).unwrap();
        tally.near(&format!("{height} m"), got, pascal, 1e-9);
    }
    // ICAO Doc 7488 table 1 as printed: -2500 m, 1.35205e5 Pa, 304.406 K, 1.54731 kg/m3.
    let low = atmosphere::geopotential(-2500.0);
    tally.near("-2500 m", atmosphere::pressure(low).unwrap(), 1.352_05e5, 4e-6);
    tally.near("-2500 m", atmosphere::temperature(low).unwrap(), 304.406, 2e-6);
    tally.near("-2500 m", atmosphere::density(low).unwrap(), 1.547_31, 4e-6);
}

#[test]
fn atmosphere_ends_where_its_formula_ends() {
    assert_eq!(atmosphere::pressure(11_001.0), None);
    assert_eq!(atmosphere::pressure(f64::NAN), None);
    assert_eq!(atmosphere::altitude(0.0), None);
    assert_eq!(atmosphere::altitude(1000.0), None);
}

#[test]
fn the_shop_rule_is_near_the_atmosphere_low_down() {
    let mut tally = Tally::new("rule of 1 inHg per 1000 ft, in inHg");
    // '1 inHg per 1000 ft': US Army Ordnance subcourse OD1001, lesson 3, page 87; within 0.12 inHg
    // up to 5000 ft, 0.66 inHg out at 10 000 ft.
    for (feet, inches, margin) in [(1000.0, 1.0, 0.12), (5000.0, 5.0, 0.12), (1e4, 10.0, 0.66)] {
        let fall = atmosphere::SEA_LEVEL_PRESSURE - atmosphere::pressure(feet * 0.3048).unwrap();
        tally.of_size(&format!("{feet} ft"), fall / 3_386.388_640_341, inches, (1.0, margin));
    }
}

#[test]
fn critical_ratio_and_choked_constant() {
    let mut tally = Tally::new("critical ratio and choked constant (mpmath)");
    // mpmath, 30 digits. 0.5283 is printed in NACA Report 1135; API 520 as coded in fluids 1.3.1
    // gives 0.684 731 456 377 270 4 for gamma 1.4.
    let table = [
        (1.4, 0.528_281_787_717_174, 0.684_731_456_377_27),
        (1.3, 0.545_727_733_814_065, 0.667_262_351_240_862),
        (1.33, 0.540_364_017_635_949, 0.672_628_407_526_715),
        (1.35, 0.536_851_218_391_557, 0.676_144_875_141_143),
        (4.0 / 3.0, 0.539_775_093_710_954, 0.673_217_822_193_396),
    ];
    for (gamma, ratio, constant) in table {
        tally.near("critical ratio", orifice::critical_ratio(gamma), ratio, 1e-14);
        tally.near("choked constant", orifice::choked_constant(gamma), constant, 1e-13);
    }
    // The textbooks' 0.0404 kg sqrt(K)/(s N): full value for the gas constant of ISO 2533.
    let textbook = orifice::choked_constant(AIR_GAMMA) / atmosphere::GAS_CONSTANT.sqrt();
    tally.near("mass-flow constant", textbook, 0.040_414_697_548_0, 1e-11);
}

#[test]
fn flow_function() {
    let mut tally = Tally::new("isentropic flow function");
    // Isentropic function of air, computed in Python 3.11.
    let table = [
        (0.999, 0.044_697_395_258_4),
        (0.99, 0.140_661_702_604),
        (0.98, 0.197_845_550_571),
        (0.95, 0.307_641_100_392),
        (0.90, 0.422_580_863_819),
        (0.80, 0.560_661_019_192),
        (0.70, 0.638_317_233_286),
        (0.60, 0.676_915_252_863),
        (0.55, 0.684_021_205_958),
        (0.528_281_787_7, 0.684_731_456_377),
        (0.3, 0.684_731_456_377),
        (0.0, 0.684_731_456_377),
    ];
    for (ratio, want) in table {
        tally.near(&format!("psi({ratio})"), orifice::psi(ratio, AIR_GAMMA), want, 5e-12);
    }
    assert_eq!(orifice::psi(1.0, AIR_GAMMA), 0.0);
    assert_eq!(orifice::psi(1.2, AIR_GAMMA), 0.0);
}

#[test]
fn flow_function_agrees_with_the_area_ratios_of_naca_1135() {
    let mut tally = Tally::new("NACA Report 1135, table I, eight figures");
    // NACA Report 1135 (1953), table I, gamma 1.4: Mach number, p/pt, A/A*; full values, whose
    // four printed figures (0.8430 and 1.3398 at 0.5, and so on) were read in two stored tables.
    let table = [
        (0.05, 0.998_251_97, 11.5914),
        (0.10, 0.993_031_38, 5.821_828_7),
        (0.20, 0.972_496_70, 2.963_520_0),
        (0.30, 0.939_469_70, 2.035_065_3),
        (0.50, 0.843_019_18, 1.339_843_7),
        (0.60, 0.784_003_95, 1.188_199_5),
        (0.80, 0.656_021_62, 1.038_230_0),
        (0.90, 0.591_260_07, 1.008_862_9),
        (1.00, 0.528_281_79, 1.0),
    ];
    for (mach, ratio, area) in table {
        let share = orifice::psi(ratio, AIR_GAMMA) / orifice::choked_constant(AIR_GAMMA);
        // Near Mach 0 the eight figures of p/pt leave five of the flow.
        tally.near(&format!("Mach {mach}"), share, 1.0 / area, 5e-6);
    }
}

fn from_atmosphere(downstream_pa: f64) -> Ends {
    Ends { upstream_pa: 101_325.0, downstream_pa, upstream_k: 293.15 }
}

#[test]
fn worked_leaks() {
    let mut tally = Tally::new("worked leaks (Python, fluids)");
    // Hole mm, downstream Pa, kg/s for Cd 1; the unchoked ones agree with fluids 1.3.1
    // (nozzle expansibility) to 3e-13.
    let table = [
        (1.0, 40_000.0, 1.878_455_354e-4),
        (1.0, 60_000.0, 1.861_478_041e-4),
        (1.0, 80_000.0, 1.566_532_830e-4),
        (1.0, 95_000.0, 9.363_469_072e-5),
        (1.0, 100_325.0, 3.833_795_231e-5),
        (2.0, 40_000.0, 7.513_821_417e-4),
        (3.0, 40_000.0, 1.690_609_819e-3),
    ];
    for (millimetres, downstream, want) in table {
        let area = orifice::area_of_hole(millimetres * 1e-3);
        let ends = from_atmosphere(downstream);
        let what = format!("{millimetres} mm to {downstream} Pa");
        tally.near(&what, orifice::mass_flow(1.0, area, &ends), want, 5e-10);
        tally.near(&what, orifice::mass_flow(0.61, area, &ends), 0.61 * want, 5e-10);
    }
    let cool = Ends { upstream_k: 288.15, ..from_atmosphere(40_000.0) };
    let flow = orifice::mass_flow(1.0, orifice::area_of_hole(1e-3), &cool);
    tally.near("288.15 K", flow, 1.894_682_810e-4, 5e-10);
}

#[test]
fn equivalent_holes() {
    let mut tally = Tally::new("equivalent holes (Python)");
    // kg/s, downstream Pa, Cd, hole mm; computed in Python 3.11. Inverting the choked 1 mm hole by
    // API 520 (fluids 1.3.1) gives 1.000 017 4 mm, the rounding of that standard's constant.
    let table = [
        (1.0e-4, 40_000.0, 1.00, 0.729_624_756_256_3),
        (1.0e-4, 40_000.0, 0.61, 0.934_188_773_128_6),
        (5.0e-4, 40_000.0, 0.61, 2.088_909_600_532_6),
        (1.0e-4, 95_000.0, 0.61, 1.323_173_188_967_8),
        (1.0e-3, 35_000.0, 0.80, 2.579_613_064_352_1),
    ];
    for (flow, downstream, discharge, want) in table {
        let got = orifice::equivalent_hole(flow, discharge, &from_atmosphere(downstream)).unwrap();
        tally.near(&format!("{flow} kg/s"), got * 1e3, want, 1e-12);
    }
    let both = orifice::area_of_hole(1e-3) + orifice::area_of_hole(2e-3);
    tally.near("areas add", orifice::hole_of_area(both) * 1e3, 2.236_067_977_499_79, 1e-14);
    assert_eq!(orifice::equivalent_hole(1e-4, 0.61, &from_atmosphere(101_325.0)), None);
    assert_eq!(orifice::equivalent_hole(-1e-4, 0.61, &from_atmosphere(4e4)), None);
}

#[test]
fn a_leak_at_idle_is_choked() {
    let mut tally = Tally::new("where a leak is choked (fluids)");
    // fluids 1.3.1: P_critical_flow(101325, 1.4) = 53528.152 140 442 675 Pa.
    let limit = orifice::critical_ratio(AIR_GAMMA) * 101_325.0;
    tally.near("critical pressure", limit, 53_528.152_140_442_675, 1e-12);
    assert!(from_atmosphere(limit - 0.1).choked());
    assert!(!from_atmosphere(limit + 0.1).choked());
    assert_eq!(from_atmosphere(30_000.0).flux(), from_atmosphere(50_000.0).flux());
    // Geopotential m, highest choked pressure Pa and choked flow relative to sea level at the same
    // temperature: ISO 2533 times the critical ratio, computed in Python 3.11.
    for (height, limit, share) in [
        (500.0, 50_430.220_7, 0.942_125_19),
        (1000.0, 47_479.094_8, 0.886_992_97),
        (1500.0, 44_669.391_7, 0.834_502_78),
        (2000.0, 41_995.867_4, 0.784_556_64),
        (3000.0, 37_037.057_7, 0.691_917_36),
    ] {
        let barometer = atmosphere::pressure(height).unwrap();
        let what = format!("{height} m");
        tally.near(&what, orifice::critical_ratio(AIR_GAMMA) * barometer, limit, 3e-9);
        let ends = Ends { upstream_pa: barometer, ..from_atmosphere(30_000.0) };
        tally.near(&what, ends.flux() / from_atmosphere(30_000.0).flux(), share, 1e-8);
    }
}

#[test]
fn small_pressure_differences_tend_to_bernoulli() {
    let mut tally = Tally::new("small pressure differences (Python, fluids)");
    // Isentropic over incompressible flow, 1 mm hole, Cd 1; 0.994 698 867 126 43 is the nozzle
    // expansibility of fluids 1.3.1 at 1 kPa.
    let density = 101_325.0 / (atmosphere::GAS_CONSTANT * 293.15);
    for (drop, want) in [
        (100.0, 0.999_471_151_273_632),
        (500.0, 0.997_352_952_985_758_3),
        (1000.0, 0.994_698_867_126_434_8),
        (2000.0, 0.989_369_373_954_445_1),
        (5000.0, 0.973_206_520_457_259_5),
    ] {
        let ratio = from_atmosphere(101_325.0 - drop).flux() / (2.0 * density * drop).sqrt();
        tally.near(&format!("{drop} Pa"), ratio, want, 1e-11);
    }
}
