//! Logs in the program's own format: balance and breather, done well and done badly.

use crate::car::{
    BARO_KPA, HANDLING_S, Log, STEADY_S, Scene, ambrel, ambrel_with, cap_test, from_rest,
    straighten_hoses, swap_hoses, workshop_box,
};
use crate::truth::{self, Settles, direct, swapped};
use evenbreath::engine::sensors::{Sensor, SensorBox};
use evenbreath::engine::{Action, Hunting, Recording, Script, Settings};
use evenbreath::units::{Rpm, Seconds};

/// Which columns a canonical log has besides time, vacuums and mark.
#[derive(Clone, Copy, Default)]
pub struct Columns {
    pub no_rpm: bool,
    pub crank: bool,
    /// One sensor on both sides in turn.
    pub one_sensor: bool,
}

/// Text of a canonical log.
pub fn canonical(recording: &Recording, columns: Columns) -> String {
    let mut text = format!(
        "# device: Gable Yard box 2\n# engine: Ambrel 1600\n# baro_kpa: {BARO_KPA}\n\
         # cylinders: 4\n# carb1: Front\n# carb2: Rear\n# idle_target_rpm: 850\ntime_s"
    );
    text += if columns.no_rpm { "" } else { ",rpm" };
    text += if columns.one_sensor { ",vac1_kpa" } else { ",vac1_kpa,vac2_kpa" };
    text += if columns.crank { ",crank_kpa,mark\n" } else { ",mark\n" };
    for row in &recording.rows {
        text += &format!("{:.3}", row.time_s);
        if !columns.no_rpm {
            let rpm = row.rpm.map_or(String::new(), |rpm| format!("{:.1}", rpm.0));
            text += &format!(",{rpm}");
        }
        text += &format!(",{:.2}", row.vac_kpa[0]);
        if !columns.one_sensor {
            text += &format!(",{:.2}", row.vac_kpa[1]);
        }
        if let Some(crank) = row.crank_kpa.filter(|_| columns.crank) {
            text += &format!(",{crank:.4}");
        }
        text += &format!(",{}\n", row.mark);
    }
    text
}

fn write_plain(recording: &Recording) -> Vec<u8> {
    canonical(recording, Columns::default()).into_bytes()
}

const JOB: &str = "before the work, 50 Hz: engine off 6 s, idle, hoses swapped, hoses direct, then 2000 and \
     2800 rev/min held; the front throttle is shut too far at idle";

const JOB_DONE: &str = "after the work, 50 Hz: as balance-before.csv";

/// Balance before and after the work: engine off, idle, hoses swapped, direct, two speeds.
fn whole_job(name: &'static str, about: &'static str, settings: Settings, seed: u64) -> Log {
    let script = straighten_hoses(swap_hoses(from_rest(123.0), 32.0), 54.5)
        .act(Seconds(76.0), Action::Hold(Rpm(2000.0)))
        .act(Seconds(99.0), Action::Hold(Rpm(2800.0)))
        .act(Seconds(119.0), Action::Release);
    let scene = Scene { settings, sensors: workshop_box(50.0), script, seed };
    let recording = scene.record();
    let stretches = [
        direct(STEADY_S, 32.0),
        swapped(32.0 + HANDLING_S + 1.0, 54.5),
        direct(54.5 + HANDLING_S + 1.0, 76.0),
        direct(84.0, 99.0),
        direct(105.0, 119.0),
    ];
    let truth = truth::balance(&recording, Some((0.0, 6.0)), &stretches, "swap", Settles::Yes);
    Log { name, about, bytes: write_plain(&recording), truth }
}

fn breather_log(
    name: &'static str,
    about: &'static str,
    settings: Settings,
    crank: bool,
    seed: u64,
) -> Log {
    let (script, openings) = cap_test(Script::idling(Seconds(75.0)), 15.0, 3, (10.0, 10.0), true);
    let crankcase = crank.then(|| Sensor::crankcase(0.02));
    let sensors = SensorBox { crankcase, ..workshop_box(25.0) };
    let truth = truth::breather(&settings, &openings, crank);
    let recording = Scene { settings, sensors, script, seed }.record();
    let text = canonical(&recording, Columns { crank, ..Columns::default() });
    Log { name, about, bytes: text.into_bytes(), truth }
}

/// Idle with direct and then swapped hoses, after six seconds of engine off or none.
struct SwapLog {
    name: &'static str,
    about: &'static str,
    settings: Settings,
    off: bool,
    idle_s: f64,
    rate_hz: f64,
    seed: u64,
    columns: Columns,
}

impl SwapLog {
    fn make(self) -> Log {
        let start = if self.off { STEADY_S } else { 0.0 };
        let change = start + self.idle_s;
        let end = change + HANDLING_S + self.idle_s;
        let begin = if self.off { from_rest(end) } else { Script::idling(Seconds(end)) };
        let script = swap_hoses(begin, change);
        let sensors = workshop_box(self.rate_hz);
        let scene = Scene { settings: self.settings, sensors, script, seed: self.seed };
        let recording = scene.record();
        let stretches = [direct(start, change), swapped(change + HANDLING_S + 1.0, end)];
        let off = self.off.then_some((0.0, 6.0));
        let truth = truth::balance(&recording, off, &stretches, "swap", Settles::Yes);
        let bytes = canonical(&recording, self.columns).into_bytes();
        Log { name: self.name, about: self.about, bytes, truth }
    }
}

fn without_zero() -> Log {
    let script = Script::idling(Seconds(25.0));
    let settings = ambrel_with([10.32, 10.58]);
    let recording = Scene { settings, sensors: workshop_box(25.0), script, seed: 103 }.record();
    let stretches = [direct(0.0, 25.0)];
    let truth = truth::balance(&recording, None, &stretches, "none", Settles::No);
    Log {
        name: "balance-no-zero.csv",
        about: "25 Hz: idle only, no engine off, no swap; nothing takes out the pair's error",
        bytes: write_plain(&recording),
        truth,
    }
}

fn too_short() -> Log {
    let script = Script::idling(Seconds(2.4));
    let settings = ambrel_with([10.0, 10.9]);
    let recording = Scene { settings, sensors: workshop_box(50.0), script, seed: 104 }.record();
    let stretches = [direct(0.0, 2.4)];
    let truth = truth::balance(&recording, None, &stretches, "none", Settles::No);
    Log {
        name: "balance-too-short.csv",
        about: "50 Hz: 2.4 s of idle",
        bytes: write_plain(&recording),
        truth,
    }
}

fn unmarked() -> Log {
    let settings = Settings { warming: 2e-4, ..ambrel() };
    let (script, openings) = cap_test(Script::idling(Seconds(56.0)), 15.0, 2, (10.0, 10.0), false);
    let truth = truth::breather(&settings, &openings, false);
    let scene = Scene { settings, sensors: workshop_box(25.0), script, seed: 107 };
    Log {
        name: "breather-unmarked.csv",
        about: "25 Hz: cap off 10 s and on 10 s twice, nobody marks it, the oil still warms a little",
        bytes: write_plain(&scene.record()),
        truth,
    }
}

fn fan_step() -> Log {
    let script = Script::idling(Seconds(50.0)).act(Seconds(22.0), Action::FanOn);
    let truth = truth::no_cap_test(&ambrel());
    let scene = Scene { settings: ambrel(), sensors: workshop_box(25.0), script, seed: 108 };
    Log {
        name: "breather-fan.csv",
        about: "25 Hz: the fan cuts in at 22 s and stays; no cap test",
        bytes: write_plain(&scene.record()),
        truth,
    }
}

/// A log with a hose swap at an idle set by the two throttle areas.
fn swap(name: &'static str, about: &'static str, settings: Settings, seed: u64) -> SwapLog {
    SwapLog {
        name,
        about,
        settings,
        seed,
        off: true,
        idle_s: 20.0,
        rate_hz: 25.0,
        columns: Columns::default(),
    }
}

fn swap_logs() -> Vec<Log> {
    let plain = swap(
        "balance-swap.csv",
        "25 Hz: idle, hoses swapped, no engine off; the swap alone settles it",
        ambrel_with([10.4, 10.5]),
        105,
    );
    let hunting = Some(Hunting { period_s: 2.8, depth: 0.045 });
    let hunted = swap(
        "balance-hunting.csv",
        "25 Hz: engine off, an idle that hunts with a period of about 3 s, hoses swapped",
        Settings { hunting, ..ambrel_with([10.1, 10.9]) },
        106,
    );
    let slow = swap(
        "balance-5hz.csv",
        "a slow logger, 5 Hz: engine off, idle, hoses swapped, 45 s each",
        ambrel_with([10.5, 10.42]),
        110,
    );
    let no_rpm = swap(
        "balance-no-rpm.csv",
        "200 Hz: no rpm column, the ripple tells the speed; engine off, idle, hoses swapped",
        ambrel_with([10.9, 10.2]),
        111,
    );
    let fast = swap(
        "balance-1khz.csv",
        "1000 Hz: idle 5 s, hoses swapped 5 s; short and fast",
        ambrel_with([10.95, 10.05]),
        112,
    );
    let columns = Columns { no_rpm: true, ..Columns::default() };
    vec![
        SwapLog { off: false, ..plain }.make(),
        SwapLog { idle_s: 25.0, ..hunted }.make(),
        SwapLog { idle_s: 45.0, rate_hz: 5.0, ..slow }.make(),
        SwapLog { idle_s: 14.0, rate_hz: 200.0, columns, ..no_rpm }.make(),
        SwapLog { off: false, idle_s: 5.0, rate_hz: 1000.0, ..fast }.make(),
    ]
}

fn balance_logs() -> Vec<Log> {
    // The linkage has been set, the stop screws have not.
    let before = Settings { linkage_area_mm2: [75.0, 70.0], ..ambrel_with([9.9, 11.0]) };
    let after = Settings { linkage_area_mm2: [71.0, 70.6], ..ambrel_with([10.42, 10.47]) };
    let mut logs = vec![
        whole_job("balance-before.csv", JOB, before, 101),
        whole_job("balance-after.csv", JOB_DONE, after, 102),
        without_zero(),
        too_short(),
    ];
    logs.extend(swap_logs());
    logs
}

fn breather_logs() -> Vec<Log> {
    let leaking = Settings { seal_leak_mm2: 40.0, ..ambrel() };
    let rich = Settings { mixture: [1.5; 2], idle_area_mm2: [11.3; 2], ..ambrel() };
    let blocked = Settings { breather_mm2: 0.02, seal_leak_mm2: 2.0, ..ambrel() };
    vec![
        breather_log(
            "breather-sealed.csv",
            "25 Hz: idle 15 s, cap off 10 s and on 10 s three times, marked; the breather is tight",
            ambrel(),
            false,
            121,
        ),
        breather_log(
            "breather-leaking.csv",
            "as breather-sealed.csv, with leaking seals",
            leaking.clone(),
            false,
            122,
        ),
        unmarked(),
        fan_step(),
        breather_log(
            "breather-revs-rise.csv",
            "as breather-sealed.csv, tight, but the mixture is far too rich",
            rich,
            false,
            123,
        ),
        breather_log(
            "crankcase-sealed.csv",
            "25 Hz: cap test with a crankcase sensor, tight",
            ambrel(),
            true,
            124,
        ),
        breather_log(
            "crankcase-leaking.csv",
            "25 Hz: cap test with a crankcase sensor, leaking seals",
            leaking,
            true,
            125,
        ),
        breather_log(
            "crankcase-blocked.csv",
            "25 Hz: cap test with a crankcase sensor, breather passage blocked",
            blocked,
            true,
            126,
        ),
    ]
}

/// All canonical logs.
pub fn logs() -> Vec<Log> {
    let mut logs = balance_logs();
    logs.extend(breather_logs());
    logs
}
