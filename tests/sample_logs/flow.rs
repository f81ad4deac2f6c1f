//! A log of two airflow meters on the carburettor mouths, and of nothing else but the speed.

use crate::car::{Log, ambrel_with};
use evenbreath::engine::{Action, Engine};
use rand::{Rng, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;
use serde_json::json;

const RATE_HZ: f64 = 50.0;
/// The engine starts, the meters come off, are back on, and the log ends, s.
const STARTS_S: f64 = 6.0;
const OFF_S: f64 = 36.0;
const ON_S: f64 = 41.0;
const ENDS_S: f64 = 70.0;
/// Flow that a meter of the nominal constant shows as 100 Pa, g/s.
const NOMINAL_G_PER_S: f64 = 1.3;
/// Constants of the two meters, share of the nominal flow, their zeros, Pa, and their noise, Pa.
const CONSTANTS: [f64; 2] = [1.012, 0.991];
const ZEROS_PA: [f64; 2] = [3.1, -4.6];
const NOISE_PA: f64 = 1.2;

/// The log.
pub fn logs() -> Vec<Log> {
    let mut engine = Engine::new(ambrel_with([9.9, 11.0]), 151);
    let random = &mut Pcg64::seed_from_u64(151);
    let mut text =
        "# device: Gable Yard flow box\n# engine: Ambrel 1600\n# cylinders: 4\n# carb1: Front\n\
                    # carb2: Rear\n# idle_target_rpm: 850\ntime_s,rpm,flow1_pa,flow2_pa,mark\n"
            .to_string();
    let mut passed = engine.ledger().passed.throttle_kg;
    let (mut whole, mut speed, mut steady) = ([0.0; 2], 0.0, 0.0);
    for k in 0..(ENDS_S * RATE_HZ) as usize {
        let t = k as f64 / RATE_HZ;
        if t == STARTS_S {
            engine.act(Action::EngineOn);
        }
        engine.run(1.0 / RATE_HZ);
        let now = engine.ledger().passed.throttle_kg;
        let flows = [0, 1].map(|side: usize| 1000.0 * RATE_HZ * (now[side] - passed[side]));
        passed = now;
        let rpm = engine.look().rpm;
        if t > STARTS_S + 8.0 {
            whole = [whole[0] + flows[0], whole[1] + flows[1]];
            (speed, steady) = (speed + rpm, steady + 1.0);
        }
        let in_hand = (OFF_S..ON_S).contains(&t);
        let read = [0, 1].map(|meter: usize| {
            let side = if t < ON_S { meter } else { 1 - meter };
            let q = if in_hand { 0.0 } else { CONSTANTS[meter] * flows[side] / NOMINAL_G_PER_S };
            let noise: f64 = random.sample(StandardNormal);
            100.0 * q * q.abs() + ZEROS_PA[meter] + NOISE_PA * noise
        });
        let mark = match t {
            0.0 => "engine off",
            STARTS_S => "engine on",
            t if t == ON_S + 0.6 => "meters swapped",
            _ => "",
        };
        text += &format!("{t:.3},{rpm:.1},{:.1},{:.1},{mark}\n", read[0], read[1]);
    }
    let rounded = |value: f64| (value * 1000.0).round() / 1000.0;
    let truth = json!({
        "command": "balance",
        "flow1_over_flow2": rounded(whole[0] / whole[1]),
        "idle_rpm": rounded(speed / steady),
        "verdict": "out_of_tolerance",
    });
    vec![Log {
        name: "flow-meters.csv",
        about: "50 Hz: two airflow meters on the carburettor mouths in place of vacuum sensors, differential pressure in Pa; engine off, idle, the meters change places, idle; the front throttle is shut further",
        bytes: text.into_bytes(),
        truth,
    }]
}
