//! Units of pressure.
//!
//! Source: NIST Special Publication 811 (2008), appendix B.8, 'Factors for units listed
//! alphabetically', seven figures, as transcribed in the CRAN package NISTunits 1.0.1
//! (`R/NISTfactors.R`); the exact values follow from the definitions (g 9.806 65 m/s2, conventional
//! mercury 13 595.1 kg/m3, conventional water 1000 kg/m3, inch 0.0254 m, pound 0.453 592 37 kg) and
//! agree with GNU units 2.22 and the Python package pint 0.25.3.

use crate::tally::Tally;
use PressureUnit::{Bar, CmHg, Hpa, InH2o, InHg, Kpa as Kilo, Mbar, MmHg, Pa, Psi};
use evenbreath::units::{Kpa, PressureUnit};

const G: f64 = 9.806_65;
const INCH: f64 = 0.0254;
const MERCURY: f64 = 13_595.1;
const WATER: f64 = 1000.0;
const POUND: f64 = 0.453_592_37;

/// Pascal in one unit as SP 811 prints it, and from the definitions.
const FACTORS: [(PressureUnit, f64, f64); 10] = [
    (Pa, 1.0, 1.0),
    (Hpa, 1.0e2, 100.0),
    (Kilo, 1.0e3, 1000.0),
    (Mbar, 1.0e2, 100.0),
    (Bar, 1.0e5, 100_000.0),
    (InHg, 3.386_389e3, MERCURY * G * INCH),
    (MmHg, 1.333_224e2, MERCURY * G * 1e-3),
    (CmHg, 1.333_224e3, MERCURY * G * 1e-2),
    (InH2o, 2.490_889e2, WATER * G * INCH),
    (Psi, 6.894_757e3, POUND * G / (INCH * INCH)),
];

#[test]
fn every_factor_is_that_of_sp_811() {
    let mut tally = Tally::new("NIST SP 811, factors, seven figures");
    let listed: Vec<PressureUnit> = FACTORS.iter().map(|(unit, ..)| *unit).collect();
    assert_eq!(listed, PressureUnit::ALL);
    for (unit, printed, exact) in FACTORS {
        let name = unit.symbol();
        tally.near(name, unit.pascal(), printed, 5e-7);
        tally.near(name, unit.pascal(), exact, 1e-12);
        tally.near(name, unit.to_kpa(1.0).0, exact / 1000.0, 1e-12);
        tally.near(name, unit.from_kpa(unit.to_kpa(17.3)), 17.3, 1e-14);
    }
}

#[test]
fn full_values_agree_with_other_programs() {
    let mut tally = Tally::new("units of pressure (pint, GNU units)");
    // Decimal arithmetic, pint 0.25.3 and GNU units 2.22.
    for (unit, pascal) in [
        (InHg, 3_386.388_640_341),
        (MmHg, 133.322_387_415),
        (CmHg, 1_333.223_874_15),
        (Psi, 6_894.757_293_168_361),
        (InH2o, 249.088_91),
    ] {
        tally.near(unit.symbol(), unit.pascal(), pascal, 1e-12);
    }
}

#[test]
fn the_atmosphere_and_the_vacuums_of_the_manuals() {
    let mut tally = Tally::new("atmosphere and vacuums of manuals");
    let atmosphere = Kpa(101.325);
    tally.near("atmosphere in inHg", InHg.from_kpa(atmosphere), 29.921_255_579_748_476, 1e-12);
    // Not 760: the torr is defined by the atmosphere, the conventional millimetre is not.
    tally.near("atmosphere in mmHg", MmHg.from_kpa(atmosphere), 759.999_891_725_611_3, 1e-12);
    tally.near("25.4 mmHg", MmHg.to_kpa(25.4).0, InHg.to_kpa(1.0).0, 1e-14);
    // US Army TM 10-3930-653-14&P, paragraph 4-1-1, prints 430 mmHg as 16.93 inHg.
    let printed = InHg.from_kpa(MmHg.to_kpa(430.0));
    tally.near("430 mmHg", printed, 16.929_133_858_267_72, 1e-12);
    assert_eq!(format!("{printed:.2}"), "16.93");
    // 17, 20 and 22 inHg of vacuum, and what they leave under the standard atmosphere.
    for (inches, vacuum, absolute) in [
        (17.0, 57.568_606_9, 43.756_393_1),
        (20.0, 67.727_772_8, 33.597_227_2),
        (22.0, 74.500_550_1, 26.824_449_9),
    ] {
        tally.near("vacuum", InHg.to_kpa(inches).0, vacuum, 1e-9);
        tally.near("absolute", atmosphere.0 - InHg.to_kpa(inches).0, absolute, 2e-9);
    }
}

#[test]
fn the_conventional_inch_is_not_the_inch_at_60_degrees() {
    let mut tally = Tally::new("NIST SP 811, inches at a temperature");
    // SP 811: inHg at 32 F 3.386 38 E+03, at 60 F 3.376 85 E+03; inH2O at 39.2 F 2.490 82 E+02, at
    // 60 F 2.4884 E+02.
    tally.near("32 F", InHg.pascal(), 3.386_38e3, 1e-5);
    assert!((InHg.pascal() / 3.376_85e3 - 1.0).abs() > 2.5e-3);
    tally.near("39.2 F", InH2o.pascal(), 2.490_82e2, 1e-4);
    assert!((InH2o.pascal() / 2.488_4e2 - 1.0).abs() > 9e-4);
}
