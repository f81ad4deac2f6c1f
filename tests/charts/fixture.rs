//! Synthetic signals and findings with known truth for the pictures: one invented engine, seeded.

use evenbreath::findings::balance::{
    Averaged, Balance, Open, PlateauBalance, ZeroMethod, ZeroUsed,
};
use evenbreath::findings::breather::{Breather, BreatherVerdict, Opening, TimesFrom};
use evenbreath::findings::compare::{Change, Comparison};
use evenbreath::sample::{Mark, Track};
use evenbreath::signal::Signal;
use evenbreath::signal::cycles::Cycles;
use evenbreath::signal::hoses::HoseChange;
use evenbreath::signal::plateaus::{Kind, Plateau};
use evenbreath::statistics::decision::Verdict;
use evenbreath::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// A stretch of the invented log.
pub struct Stretch {
    pub seconds: f64,
    /// Speed aimed at, rev/min; 0 with the engine off.
    pub rpm: f64,
    /// True vacuum 1 less vacuum 2, kPa.
    pub difference_kpa: f64,
    pub swapped: bool,
    /// Seconds at its start in which both hoses are off; the mark comes half a second after.
    pub hoses_off_s: f64,
    /// Sensor 1 reads this much more than sensor 2, kPa.
    pub error_kpa: f64,
}

pub const fn stretch(seconds: f64, rpm: f64, difference_kpa: f64) -> Stretch {
    Stretch {
        seconds,
        rpm,
        difference_kpa,
        swapped: false,
        hoses_off_s: 0.0,
        error_kpa: OFFSET_KPA,
    }
}

/// Usual error of the pair.
pub const OFFSET_KPA: f64 = 0.62;

/// A log of these stretches, one block an engine cycle: hunting and correlated noise on the
/// speed, the vacuum against it, half a second of settling at each step.
pub fn signal(stretches: &[Stretch], seed: u64) -> Signal {
    let mut random = Pcg64Mcg::seed_from_u64(seed);
    let mut noise = || (0..6).map(|_| random.random_range(-0.5..0.5)).sum::<f64>() * 1.41;
    let mut signal = Signal::default();
    let (mut rpm, mut v1, mut v2) = (Vec::new(), Vec::new(), Vec::new());
    let cycles = &mut signal.cycles;
    let (mut t, mut speed, mut wander) = (0.0f64, stretches[0].rpm, 0.0);
    let mut swapped = false;
    for part in stretches {
        if part.swapped != swapped {
            swapped = part.swapped;
            let words = if swapped { "hoses swapped" } else { "hoses direct" };
            let at_s = if part.hoses_off_s > 0.0 { t + part.hoses_off_s + 0.5 } else { t };
            signal.track.marks.push(Mark::read(Seconds(at_s), words));
            signal.hoses.push(HoseChange { at_s, swapped });
        }
        let (from_s, first_block) = (t, cycles.from_s.len());
        let end = t + part.seconds;
        while t < end - 1e-9 {
            let off = part.rpm == 0.0;
            let length = if off { 0.14 } else { 120.0 / speed.max(300.0) };
            speed =
                if off { part.rpm } else { speed + (part.rpm - speed) * (length / 0.4).min(1.0) };
            wander = 0.85 * wander + noise();
            let hunting = 0.008 * part.rpm * (std::f64::consts::TAU * t / 3.1).sin();
            let n = if off { 0.0 } else { speed + hunting + 0.004 * part.rpm * wander };
            let level =
                if off { 0.0 } else { 58.0 - 0.0018 * (part.rpm - 850.0) - 0.02 * (n - part.rpm) };
            let d = if off { 0.0 } else { 0.5 * part.difference_kpa }
                * if swapped { -1.0 } else { 1.0 };
            cycles.from_s.push(t);
            cycles.to_s.push(t + length);
            cycles.sample.push(0);
            cycles.cycles.push(if off { 0.0 } else { 1.0 });
            rpm.push(n);
            // Half-way between as the hoses come off: a cycle with readings of both kinds.
            let on = match t - from_s {
                since if since < 0.15 && part.hoses_off_s > 0.0 => 0.5,
                since if since < part.hoses_off_s => 0.0,
                _ => 1.0,
            };
            v1.push(on * (level + d) + part.error_kpa + 0.22 * noise());
            v2.push(on * (level - d) + 0.22 * noise());
            t += length;
        }
        let off = part.rpm == 0.0;
        let settling = if off { 0.0 } else { 1.5f64.max(part.hoses_off_s + 1.5) };
        if part.seconds > 3.0 {
            signal.plateaus.push(Plateau {
                kind: if off { Kind::EngineOff } else { Kind::Running },
                first_block,
                end_block: cycles.from_s.len(),
                from_s: from_s + settling,
                to_s: t - 0.3,
                from_row: 0,
                to_row: 1,
                rpm: Some(part.rpm),
                cycles: (cycles.from_s.len() - first_block) as u64,
            });
        }
    }
    cycles.rpm = Some(rpm);
    cycles.vac1_kpa = Some(v1);
    cycles.vac2_kpa = Some(v2);
    signal
}

/// What a finding of that log would say: true values with an interval of `half_kpa` either side.
pub fn balance(stretches: &[Stretch], signal: &Signal, half_kpa: f64, say: &str) -> Balance {
    let tolerance_kpa = 1.3;
    let mut plateaus = Vec::new();
    let running = stretches.iter().filter(|s| s.rpm > 0.0 && s.seconds > 3.0);
    let found = signal.plateaus.iter().filter(|p| p.kind == Kind::Running);
    for (part, plateau) in running.zip(found) {
        let d = part.difference_kpa;
        plateaus.push(PlateauBalance {
            from_s: plateau.from_s,
            to_s: plateau.to_s,
            rpm: Some(part.rpm),
            cycles: plateau.cycles,
            vac1_kpa: 58.0 + 0.5 * d,
            vac2_kpa: 58.0 - 0.5 * d,
            ripple1_kpa: None,
            ripple2_kpa: None,
            difference_kpa: d,
            low_kpa: d - half_kpa,
            high_kpa: d + half_kpa,
            u_kpa: 0.5 * half_kpa,
            dof: None,
            air1_over_air2: 1.0 - 0.023 * d,
            air_low: 1.0 - 0.023 * (d + half_kpa),
            air_high: 1.0 - 0.023 * (d - half_kpa),
            verdict: verdict(d, half_kpa, tolerance_kpa),
            open: Open::None,
            needs_s: None,
            probability_in_tolerance: None,
            air_budget: Vec::new(),
            budget: Vec::new(),
            stretches: vec![Averaged {
                from_s: plateau.from_s,
                to_s: plateau.to_s,
                sign: if part.swapped { -1.0 } else { 1.0 },
                error_kpa: part.error_kpa,
            }],
        });
    }
    Balance {
        zero: ZeroUsed { method: ZeroMethod::EngineOff, offset_kpa: OFFSET_KPA, u_kpa: 0.02 },
        tolerance_kpa,
        plateaus,
        verdict: Verdict::OutOfTolerance,
        say: say.into(),
        causes: Vec::new(),
        screws: None,
        superseded: 0,
        on_sides: Vec::new(),
        remarks: Vec::new(),
        flow: None,
    }
}

fn verdict(d: f64, half: f64, tolerance: f64) -> Verdict {
    if d.abs() + half <= tolerance {
        Verdict::InTolerance
    } else if d.abs() - half > tolerance {
        Verdict::OutOfTolerance
    } else {
        Verdict::NotSettled
    }
}

/// Engine off, idle and two speeds off idle.
pub fn three_speeds(idle_kpa: f64) -> Vec<Stretch> {
    vec![
        stretch(6.0, 0.0, 0.0),
        stretch(22.0, 850.0, idle_kpa),
        stretch(18.0, 1800.0, 0.55 * idle_kpa),
        stretch(16.0, 2700.0, 0.2 * idle_kpa),
    ]
}

pub const SAY_BALANCE: &str = "Out of tolerance: at 850 rev/min Front pulls 2.40 kPa more vacuum than Rear \
    (2.22 to 2.58), so Rear passes 5.5 % more air; open the throttle of Front.";

/// A breather log: idle 850 with two openings, the speed relaxing with 1.4 s.
pub fn breather(drop_rpm: f64, crank: bool) -> (Signal, Breather) {
    let mut signal = signal(&[stretch(60.0, 850.0, 0.4)], 11);
    let openings = [(14.0, Some(25.0)), (36.0, Some(47.0))];
    let tau = 1.4;
    let step = |t: f64| -> f64 {
        let rise = |from: f64| if t < from { 0.0 } else { 1.0 - (-(t - from) / tau).exp() };
        openings.iter().map(|(off, on)| rise(*off) - on.map_or(0.0, rise)).sum()
    };
    let n = signal.cycles.len();
    let at: Vec<f64> = (0..n).map(|k| signal.cycles.middle_s(k)).collect();
    let shift = |column: &mut Option<Vec<f64>>, size: f64| {
        for (value, t) in column.iter_mut().flatten().zip(&at) {
            *value += size * step(*t);
        }
    };
    shift(&mut signal.cycles.rpm, -drop_rpm);
    shift(&mut signal.cycles.vac1_kpa, -0.08 * drop_rpm);
    shift(&mut signal.cycles.vac2_kpa, -0.08 * drop_rpm);
    if crank {
        let pulse = |k: usize| 0.03 * (k as f64 * 0.7).sin();
        let column =
            at.iter().enumerate().map(|(k, t)| 0.62 * (1.0 - step(*t)) + pulse(k)).collect();
        signal.cycles.crank_kpa = Some(column);
    }
    let opening = |(off_s, on_s), shift: f64| Opening {
        off_s,
        on_s,
        drop_rpm: drop_rpm + shift,
        low_rpm: drop_rpm + shift - 7.0,
        high_rpm: drop_rpm + shift + 7.0,
        from: TimesFrom::Mark,
    };
    let finding = Breather {
        idle_rpm: Some(850.0),
        drop_rpm: Some(drop_rpm),
        low_rpm: Some(drop_rpm - 5.0),
        high_rpm: Some(drop_rpm + 5.0),
        u_rpm: Some(2.5),
        dof: Some(60.0),
        drop_percent: Some(drop_rpm / 8.5),
        tau_s: Some(tau),
        threshold_rpm: 21.25,
        vacuum_change_kpa: Some(-0.08 * drop_rpm),
        openings: vec![opening(openings[0], 1.5), opening(openings[1], -1.5)],
        other_loads_s: vec![],
        crank_closed_kpa: crank.then_some(0.62),
        crank_open_kpa: crank.then_some(0.0),
        verdict: BreatherVerdict::Sealed,
        probability_sealed: Some(1.0),
        needs_openings: None,
        budget: Vec::new(),
        say: format!(
            "Sealed: with the filler cap off the idle drops by {drop_rpm:.0} rev/min ({:.0} to {:.0}), \
             more than the 21 rev/min that count.",
            drop_rpm - 5.0,
            drop_rpm + 5.0
        ),
        causes: Vec::new(),
        remarks: Vec::new(),
        curve: at.iter().map(|t| (*t, 850.0 - drop_rpm * step(*t))).collect(),
    };
    (signal, finding)
}

/// Before and after the work: two signals and what was found.
pub fn comparison() -> (Signal, Signal, Comparison) {
    let (first, second) = (three_speeds(2.4), three_speeds(0.3));
    let (before, after) = (signal(&first, 3), signal(&second, 4));
    let finding = comparison_of(
        balance(&first, &before, 0.18, SAY_BALANCE),
        balance(&second, &after, 0.18, "In tolerance at every speed."),
    );
    (before, after, finding)
}

pub fn comparison_of(before: Balance, after: Balance) -> Comparison {
    let change = before
        .plateaus
        .iter()
        .zip(&after.plateaus)
        .map(|(b, a)| Change {
            rpm: b.rpm,
            before_kpa: b.difference_kpa,
            after_kpa: a.difference_kpa,
            low_kpa: a.difference_kpa.abs() - b.difference_kpa.abs() - 0.25,
            high_kpa: a.difference_kpa.abs() - b.difference_kpa.abs() + 0.25,
            improved: a.difference_kpa.abs() + 0.25 < b.difference_kpa.abs(),
        })
        .collect();
    let say = "Better: at 850 rev/min the difference has come down from 2.40 to 0.30 kPa, and every speed \
        is now in tolerance.";
    Comparison { before, after, change, say: say.into() }
}

/// A signal that holds nothing.
pub fn empty() -> Signal {
    Signal { track: Track::default(), cycles: Cycles::default(), ..Signal::default() }
}
