//! `inspect`: what is in a log.

use super::args::{Car, InspectArgs};
use super::failure::Failure;
use super::load::{Loaded, load};
use super::output::{answer, page};
use super::wishes::Wishes;
use crate::log::BaroFrom;
use crate::report::inspection::{
    Barometer, ColumnTaken, Header, Inspection, MarkSeen, SpeedStep, Stretch,
};
use crate::report::json;
use crate::signal::plateaus::{Kind, Plateau};

/// Reads a log and says what is in it.
///
/// # Errors
/// The log cannot be read.
pub fn run(args: &InspectArgs) -> Result<u8, Failure> {
    let wishes = Wishes::new(&args.reading, &Car::default(), args.output.units)?;
    let inspection = inspect(load(&args.log, &wishes, None)?);
    if args.output.json {
        answer(json::inspection(&inspection)?.as_bytes())?;
    } else {
        let mut page = page(wishes.unit());
        inspection.write(&mut page);
        answer(page.finish().as_bytes())?;
    }
    Ok(0)
}

fn inspect(loaded: Loaded) -> Inspection {
    let Loaded { head, taken, baro, facts, signal, .. } = loaded;
    Inspection {
        log: facts,
        columns: taken
            .into_iter()
            .map(|taken| ColumnTaken {
                role: taken.role.word().into(),
                heading: taken.heading,
                unit: Some(taken.unit).filter(|unit| !unit.is_empty()),
                guessed: taken.guessed,
                text: taken.text,
            })
            .collect(),
        head: Header {
            baro_kpa: head.baro_kpa,
            cylinders: head.cylinders,
            carb1: head.carb1,
            carb2: head.carb2,
            engine: head.engine,
            sensor: head.sensor,
            started: head.started,
            device: head.device,
            idle_target_rpm: head.idle_target_rpm,
        },
        baro: Barometer { kpa: baro.kpa, u_kpa: baro.u_kpa, from: source(baro.from).into() },
        plateaus: signal.plateaus.iter().map(stretch).collect(),
        steps: signal
            .steps
            .iter()
            .map(|step| SpeedStep {
                at_s: step.at_s,
                at_row: step.at_row,
                before_rpm: step.before_rpm,
                after_rpm: step.after_rpm,
                sharp: step.sharp,
            })
            .collect(),
        marks: signal
            .track
            .marks
            .iter()
            .map(|mark| MarkSeen { at_s: mark.at.0, text: mark.text.clone() })
            .collect(),
        ripple_rpm: signal.ripple_rpm,
        aliasing_r: signal.aliasing_r,
    }
}

fn stretch(plateau: &Plateau) -> Stretch {
    Stretch {
        kind: match plateau.kind {
            Kind::Running => "running",
            Kind::EngineOff => "engine_off",
        },
        from_s: plateau.from_s,
        to_s: plateau.to_s,
        from_row: plateau.from_row,
        to_row: plateau.to_row,
        rpm: plateau.rpm,
        cycles: plateau.cycles,
    }
}

fn source(from: BaroFrom) -> &'static str {
    match from {
        BaroFrom::Given => "the command line or the profile",
        BaroFrom::Header => "the header of the log",
        BaroFrom::Column => "a column of the log",
        BaroFrom::EngineOff => "the sensors with the engine off",
        BaroFrom::Standard => "the standard atmosphere, for want of better",
    }
}
