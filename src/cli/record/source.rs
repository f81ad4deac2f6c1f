//! The source that the command line asks for.

use super::args::{ModelEngine, RecordArgs};
use crate::cli::failure::Failure;
use crate::cli::wishes::Wishes;
use crate::engine::Settings;
use crate::engine::sensors::{Sensor, SensorBox};
use crate::log;
use crate::sensors::transfer::Transfer;
use crate::sources::event::BoxInfo;
use crate::sources::link::Opener;
use crate::sources::model_box::{Control, ModelBox};
use crate::sources::paced::Once;
use crate::sources::replay::Replay;
use crate::sources::serial::Serial;
use std::sync::mpsc::{Receiver, Sender, channel};

/// The sensor of the model box, and the supply that is also its converter's reference, V.
const MODEL_SENSOR: &str = "MPXV6115V";
const MODEL_SUPPLY_V: f64 = 5.0;
/// Errors of the model box's sensors: an offset, kPa, and a gain each.
const MODEL_ERRORS: [(f64, f64); 2] = [(0.35, 1.004), (-0.25, 0.997)];
/// Leak of a seal in the leaking model engine, mm2.
const LEAK_MM2: f64 = 100.0;
/// Idle opening of side 1 over that of side 2 in the uneven model engine.
const UNEVEN: f64 = 1.12;

/// A source, and who acts on it where that is a model engine.
pub struct Source {
    /// Opens it.
    pub opener: Box<dyn Opener>,
    /// Actions for the model engine.
    pub actions: Option<Sender<Control>>,
    /// `# key: value` lines that it brings along.
    pub head: Vec<(String, String)>,
    /// Something may get lost on its way.
    pub numbered: bool,
}

/// The source that was asked for.
///
/// # Errors
/// A log to be played again cannot be read.
pub fn chosen(args: &RecordArgs, wishes: &Wishes) -> Result<Source, Failure> {
    let source = &args.source;
    if let Some(engine) = source.model {
        if args.reading.sensor.is_some() {
            let what = "the box of the model engine has sensors of its own; leave it out".into();
            return Err(Failure::Value { flag: "sensor", what });
        }
        let (actions, acted) = channel();
        let stream = model(engine, source.seed, args.guide.is_none(), acted);
        let opener = Box::new(Once::paced("the model engine", stream, source.speed));
        let (actions, head) = (Some(actions), Vec::new());
        return Ok(Source { opener, actions, head, numbered: true });
    }
    let (mut head, mut numbered) = (Vec::new(), true);
    let opener: Box<dyn Opener> = if let Some(path) = &source.replay {
        let name = path.display().to_string();
        let log = log::read_path(path, &wishes.read_options(name.clone()))?;
        head = wishes.head_of(&log)?;
        numbered = false;
        Box::new(Once::paced(&name, Replay::new(log.track), source.speed))
    } else if source.stdin {
        Box::new(Once::standard_input())
    } else {
        Box::new(Serial::new(source.port.clone(), source.baud))
    };
    Ok(Source { opener, actions: None, head, numbered })
}

/// A guide begins with the engine off; else it idles.
fn model(engine: ModelEngine, seed: u64, idling: bool, actions: Receiver<Control>) -> ModelBox {
    let mut settings = Settings::default();
    match engine {
        ModelEngine::Sealed => {}
        ModelEngine::Leaking => settings.seal_leak_mm2 = LEAK_MM2,
        ModelEngine::Uneven => settings.idle_area_mm2[0] = UNEVEN * settings.idle_area_mm2[1],
    }
    let info = BoxInfo {
        name: "model-box".into(),
        version: "1".into(),
        adc_bits: 14,
        vref_mv: MODEL_SUPPLY_V * 1000.0,
        sensors: [MODEL_SENSOR.into(), MODEL_SENSOR.into()],
        sample_hz: 200.0,
    };
    let line = Transfer::named(MODEL_SENSOR).map(|sensor| sensor.line(MODEL_SUPPLY_V));
    let line = line.unwrap_or(crate::units::VoltsToKpa {
        kpa_per_volt: 1.0,
        kpa_at_zero: 0.0,
        absolute: false,
    });
    let vacuum = MODEL_ERRORS.map(|(offset_kpa, gain)| Sensor::default().with(offset_kpa, gain));
    let sensors = SensorBox { vacuum, ..SensorBox::default() };
    ModelBox::new(&settings, &sensors, (info, [line; 2]), (seed, idling), actions)
}
