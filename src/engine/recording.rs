//! A script played on the engine: the rows that a box would log, and what was true meanwhile.

use super::Action;
use super::model::{Engine, Look, STEP_S};
use super::noise::normal;
use super::pickup::PickupState;
use super::script::{Player, Script};
use super::sensors::{Sensor, SensorBox, SensorState};
use super::settings::{Settings, Side};
use crate::units::{Kpa, Rpm, Seconds};
use rand_pcg::Pcg64;

/// Seconds that a running engine has run before the log begins.
pub(super) const WARM_UP_S: f64 = 25.0;

/// Seconds that the box has been on before the log begins.
pub(super) const BOX_ON_S: f64 = 1.0;

/// Steps of the model from one entry of the true trace to the next.
const TRACE_STEPS: u64 = 4;

/// A row of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Log time, s, from the first row.
    pub time_s: f64,
    /// Speed; absent without a pick-up or a spark.
    pub rpm: Option<Rpm>,
    /// Readings of sensor 1 and sensor 2, kPa below the atmosphere.
    pub vac_kpa: [f64; 2],
    /// Reading of the crankcase sensor, kPa below the atmosphere.
    pub crank_kpa: Option<f64>,
    /// Mark; usually empty.
    pub mark: String,
}

/// True averages over a stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Means {
    /// Speed, rev/min.
    pub rpm: f64,
    /// Vacuum of tract 1 and tract 2, kPa.
    pub vac_kpa: [f64; 2],
    /// Vacuum of tract 1 less that of tract 2, kPa.
    pub difference_kpa: f64,
    /// Crankcase below the atmosphere, kPa.
    pub crank_kpa: f64,
}

/// What was true while the log was made.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Truth {
    /// Working cycles since the first entry, and the state, every millisecond.
    trace: Vec<(f64, Look)>,
}

impl Truth {
    const TICK_S: f64 = STEP_S * TRACE_STEPS as f64;

    /// Averages from one log time to another, cut back to whole working cycles when the engine
    /// turns; `None` for an empty stretch or one outside the log.
    pub fn mean(&self, from: Seconds, to: Seconds) -> Option<Means> {
        let index = |at: Seconds| (at.0 / Self::TICK_S).round() as usize;
        let stretch = self.trace.get(index(from)..index(to))?;
        let (first, last) = (stretch.first()?.0, stretch.last()?.0);
        let whole = first + (last - first).floor();
        let turned = whole > first;
        let kept: Vec<&Look> = stretch
            .iter()
            .filter(|(cycles, _)| !turned || *cycles < whole)
            .map(|(_, look)| look)
            .collect();
        let mean = |value: &dyn Fn(&Look) -> f64| {
            kept.iter().map(|look| value(look)).sum::<f64>() / kept.len() as f64
        };
        let vac_kpa = [mean(&|l| l.vacuum[0].0), mean(&|l| l.vacuum[1].0)];
        Some(Means {
            rpm: mean(&|l| l.rpm),
            vac_kpa,
            difference_kpa: vac_kpa[0] - vac_kpa[1],
            crank_kpa: mean(&|l| l.crankcase.0),
        })
    }

    fn note(&mut self, look: Look) {
        let cycles = self.trace.last().map_or(0.0, |(cycles, _)| *cycles);
        self.trace.push((cycles + look.rpm / 120.0 * Self::TICK_S, look));
    }
}

/// The rows and the truth.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Recording {
    /// Rows in the order of time.
    pub rows: Vec<Row>,
    /// What was true.
    pub truth: Truth,
}

/// Means of the steady state that these settings and actions lead to, free of random variation:
/// the values about which the engine of a log wanders.
pub fn steady(settings: &Settings, actions: &[Action]) -> Option<Means> {
    let mut script = Script::idling(Seconds(40.0));
    for action in actions {
        script = script.act(Seconds(0.0), *action);
    }
    let still = SensorBox { rate_hz: 1.0, jitter_s: 0.0, ..SensorBox::default() };
    record(&settings.calm(), &still, &script, 0).truth.mean(Seconds(25.0), Seconds(40.0))
}

/// Plays a script on an engine and logs it with a box.
pub fn record(settings: &Settings, sensors: &SensorBox, script: &Script, seed: u64) -> Recording {
    let mut engine = Engine::new(settings.clone(), seed);
    let mut logger = Logger::new(settings, sensors, seed);
    if script.running {
        engine.act(Action::EngineOn);
        engine.run(WARM_UP_S);
        // The box is switched on a while before the log begins.
        for _ in 0..(BOX_ON_S / STEP_S) as u64 {
            logger.advance(&mut engine);
        }
    }
    let mut player = Player::new(script, engine.now_s(), seed);
    logger.start(engine.now_s());
    let mut recording = Recording::default();
    for step in 0..(script.lasts_s / STEP_S).round() as u64 {
        player.play(&mut engine);
        let look = engine.look();
        if step % TRACE_STEPS == 0 {
            recording.truth.note(look);
        }
        if logger.due(engine.now_s()) {
            recording.rows.push(logger.row(engine.now_s(), player.mark(engine.now_s())));
        }
        logger.advance(&mut engine);
    }
    recording
}

/// The box at work.
pub(super) struct Logger {
    settings: SensorBox,
    vacuum: [SensorState; 2],
    crankcase: Option<SensorState>,
    pickup: Option<PickupState>,
    random: Pcg64,
    start_s: f64,
    taken: u64,
    due_s: f64,
}

impl Logger {
    pub(super) fn new(engine: &Settings, settings: &SensorBox, seed: u64) -> Self {
        let mut random = Pcg64::new(u128::from(seed), 2);
        let cylinders = engine.layout.cylinders();
        Logger {
            vacuum: settings.vacuum.map(SensorState::new),
            crankcase: settings.crankcase.map(SensorState::new),
            pickup: settings.pickup.map(|p| PickupState::new(p, cylinders, &mut random)),
            settings: settings.clone(),
            random,
            start_s: 0.0,
            taken: 0,
            due_s: 0.0,
        }
    }

    /// The log begins now.
    pub(super) fn start(&mut self, now_s: f64) {
        (self.start_s, self.due_s) = (now_s, now_s);
    }

    /// Moves engine and sensors on by a step.
    pub(super) fn advance(&mut self, engine: &mut Engine) {
        self.follow(&engine.look());
        if let (Some(spark), Some(pickup)) = (engine.step(), &mut self.pickup) {
            pickup.see(spark, &mut self.random);
        }
    }

    pub(super) fn sensor(&self, channel: Side) -> Sensor {
        self.vacuum[channel.index()].sensor
    }

    pub(super) fn change_sensor(&mut self, channel: Side, change: impl FnOnce(&mut Sensor)) {
        change(&mut self.vacuum[channel.index()].sensor);
    }

    fn follow(&mut self, look: &Look) {
        for (sensor, at_hose) in self.vacuum.iter_mut().zip(look.at_hoses) {
            sensor.follow(at_hose, STEP_S);
        }
        if let Some(sensor) = &mut self.crankcase {
            sensor.follow(look.crankcase, STEP_S);
        }
    }

    pub(super) fn due(&self, now_s: f64) -> bool {
        now_s >= self.due_s
    }

    pub(super) fn row(&mut self, now_s: f64, mark: String) -> Row {
        self.taken += 1;
        let period = 1.0 / self.settings.rate_hz;
        let jitter =
            (self.settings.jitter_s * normal(&mut self.random)).clamp(-0.4 * period, 0.4 * period);
        self.due_s = self.start_s + self.taken as f64 * period + jitter;
        let mut read = |sensor: &SensorState| -> Kpa { sensor.read(&mut self.random) };
        let vac_kpa = [read(&self.vacuum[0]).0, read(&self.vacuum[1]).0];
        let crank_kpa = self.crankcase.as_ref().map(|sensor| read(sensor).0);
        let rpm = self.pickup.as_ref().and_then(|pickup| pickup.read(now_s)).map(Rpm);
        Row { time_s: now_s - self.start_s, rpm, vac_kpa, crank_kpa, mark }
    }
}
