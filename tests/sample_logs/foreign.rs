//! Logs as other people's loggers write them: other delimiters, units, clocks and encodings.

use crate::car::{
    BARO_KPA, HANDLING_S, Log, STEADY_S, Scene, ambrel, ambrel_with, cap_test, from_rest,
    swap_hoses, workshop_box,
};
use crate::truth::{self, Settles, direct, swapped};
use evenbreath::engine::sensors::{Pickup, SensorBox};
use evenbreath::engine::{Action, Recording, Row, Script};
use evenbreath::units::{Kpa, PressureUnit, Seconds};

fn rpm(row: &Row, decimals: usize) -> String {
    row.rpm.map_or(String::new(), |rpm| format!("{:.decimals$}", rpm.0))
}

fn vacuum(row: &Row, side: usize, unit: PressureUnit, decimals: usize) -> String {
    format!("{:.decimals$}", unit.from_kpa(Kpa(row.vac_kpa[side])))
}

fn absolute(row: &Row, side: usize, unit: PressureUnit, decimals: usize) -> String {
    format!("{:.decimals$}", unit.from_kpa(Kpa(BARO_KPA - row.vac_kpa[side])))
}

/// Hours, minutes and seconds with `decimals`, of seconds since midnight.
fn clock(seconds: f64, decimals: u32) -> (u64, u64, String) {
    // In whole ticks, so that no second is ever rounded up to 60.
    let ticks_a_second = 10_u64.pow(decimals);
    let ticks = (seconds * ticks_a_second as f64).round() as u64;
    let (whole, part) = (ticks / ticks_a_second, ticks % ticks_a_second);
    let left = format!("{:02}.{part:0width$}", whole % 60, width = decimals as usize);
    (whole / 3600, whole / 60 % 60, left)
}

/// Steady idle after engine off, hoses never touched.
fn off_then_idle(idle_area_mm2: [f64; 2], sensors: SensorBox, seed: u64) -> Recording {
    let script = from_rest(40.0);
    Scene { settings: ambrel_with(idle_area_mm2), sensors, script, seed }.record()
}

/// Semicolons, decimal commas, a byte order mark, CRLF, millibar and German headings.
fn werkstatt() -> Log {
    let recording = off_then_idle([9.75, 11.25], workshop_box(20.0), 201);
    let mut text =
        String::from("\u{feff}Zeit [s];Drehzahl (1/min);Vorn (mbar);Hinten (mbar);Bemerkung\r\n");
    for row in &recording.rows {
        let front = vacuum(row, 0, PressureUnit::Mbar, 1);
        let rear = vacuum(row, 1, PressureUnit::Mbar, 1);
        let line = format!("{:.2};{};{front};{rear};", row.time_s, rpm(row, 0));
        text += &(line.replace('.', ",") + "\r\n");
    }
    let stretch = [direct(STEADY_S, 40.0)];
    let truth = truth::balance(&recording, Some((0.0, 6.0)), &stretch, "engine_off", Settles::Yes);
    Log {
        name: "werkstatt-mbar.csv",
        about: "semicolons, decimal commas, byte order mark, CRLF, German headings, mbar, 20 Hz: \
                engine off, idle; so far out of balance that the zero from engine off is enough",
        bytes: text.into_bytes(),
        truth,
    }
}

/// UTF-16 with a preamble, as a logger's own export writes it.
fn utf16() -> Log {
    let recording = off_then_idle([10.4, 10.52], workshop_box(20.0), 202);
    let mut text = String::from(
        "sep=,\r\nGABLE YARD DATA EXPORT\r\n\r\nExported:,4/12/2031 10:22:31 AM\r\n\
         Job:,Ambrel 1600,filter off\r\n,,MEAN:,57.1,56.0\r\n,,MIN:,-0.5,-0.6\r\n\r\n\
         Time (s),Engine speed (rpm),Vacuum front (kPa),Vacuum rear (kPa)\r\n",
    );
    for row in &recording.rows {
        let front = vacuum(row, 0, PressureUnit::Kpa, 2);
        let rear = vacuum(row, 1, PressureUnit::Kpa, 2);
        text += &format!("{:.2},{},{front},{rear}\r\n", row.time_s, rpm(row, 1));
    }
    let units = std::iter::once(0xfeff).chain(text.encode_utf16());
    let bytes = units.flat_map(u16::to_le_bytes).collect();
    let stretch = [direct(STEADY_S, 40.0)];
    let truth = truth::balance(&recording, Some((0.0, 6.0)), &stretch, "engine_off", Settles::No);
    Log {
        name: "export-utf16.csv",
        about: "UTF-16 with a preamble that holds numbers, 20 Hz: engine off, idle; in balance, but \
                without a hose swap the gains of the pair leave it open",
        bytes,
        truth,
    }
}

/// Inches of mercury, milliseconds, a row of units; the hoses are swapped and nobody marks it.
fn inches() -> Log {
    let change = STEADY_S + 20.0;
    let end = change + HANDLING_S + 20.0;
    let script = from_rest(end)
        .act(Seconds(change), Action::HosesOff)
        .act(Seconds(change + HANDLING_S), Action::HosesSwapped);
    let settings = ambrel_with([9.8, 11.15]);
    let recording = Scene { settings, sensors: workshop_box(20.0), script, seed: 203 }.record();
    let mut text = String::from("Time,Engine speed,vac_1,vac_2\n[ms],[1/min],[inHg],[inHg]\n");
    for row in &recording.rows {
        let one = vacuum(row, 0, PressureUnit::InHg, 3);
        let two = vacuum(row, 1, PressureUnit::InHg, 3);
        text += &format!("{:.0},{},{one},{two}\n", row.time_s * 1000.0, rpm(row, 0));
    }
    let stretches = [direct(STEADY_S, change), swapped(change + HANDLING_S + 1.0, end)];
    let truth = truth::balance(&recording, Some((0.0, 6.0)), &stretches, "swap", Settles::Yes);
    Log {
        name: "gauges-inhg.csv",
        about: "inHg, milliseconds, units in a row of their own, no marks, 20 Hz: engine off, idle, \
                hoses swapped without a mark",
        bytes: text.into_bytes(),
        truth,
    }
}

/// Absolute pressures, date-and-time stamps, tabs, and a column that nobody asked for.
fn absolute_pressures() -> Log {
    let recording = off_then_idle([11.2, 9.85], workshop_box(10.0), 204);
    let mut text = String::from(
        "Date and time\tEngine speed (rpm)\tMAP front (hPa)\tMAP rear (hPa)\tCoolant (°C)\n",
    );
    for row in &recording.rows {
        let (hour, minute, second) = clock(10.0 * 3600.0 + 59.0 * 60.0 + 41.0 + row.time_s, 3);
        let front = absolute(row, 0, PressureUnit::Hpa, 1);
        let rear = absolute(row, 1, PressureUnit::Hpa, 1);
        text += &format!(
            "2031-04-12 {hour:02}:{minute:02}:{second}\t{}\t{front}\t{rear}\t{:.1}\n",
            rpm(row, 0),
            83.0 + 0.01 * row.time_s,
        );
    }
    let stretch = [direct(STEADY_S, 40.0)];
    let truth = truth::balance(&recording, Some((0.0, 6.0)), &stretch, "engine_off", Settles::Yes);
    Log {
        name: "absolute-datetime.csv",
        about: "tabs, date-and-time stamps over a full hour, absolute pressure in hPa, a coolant \
                column, 10 Hz: engine off, idle; the rear throttle is shut further",
        bytes: text.into_bytes(),
        truth,
    }
}

/// Two rows a second, a twelve-hour clock that passes one o'clock, one vacuum only.
fn slow_breather() -> Log {
    let (script, openings) = cap_test(Script::idling(Seconds(110.0)), 20.0, 3, (15.0, 15.0), true);
    let truth = truth::breather(&ambrel(), &openings, false);
    let scene = Scene { settings: ambrel(), sensors: workshop_box(2.0), script, seed: 205 };
    let mut text = String::from("Clock\tRPM\tVacuum (cmHg)\tMark\n");
    for row in &scene.record().rows {
        let (hour, minute, second) = clock(12.0 * 3600.0 + 59.0 * 60.0 + 2.0 + row.time_s, 1);
        let hour = (hour + 11) % 12 + 1;
        let one = vacuum(row, 0, PressureUnit::CmHg, 1);
        text += &format!("{hour}:{minute:02}:{second} PM\t{}\t{one}\t{}\n", rpm(row, 0), row.mark);
    }
    Log {
        name: "breather-2hz.csv",
        about: "tabs, 2 Hz, a twelve-hour clock that passes one o'clock, one vacuum only, cmHg: cap \
                off 15 s and on 15 s three times, marked",
        bytes: text.into_bytes(),
        truth,
    }
}

/// A canonical log after a rough day: see the README for what is wrong with it.
fn dirty() -> Log {
    let change = STEADY_S + 20.0;
    let end = change + HANDLING_S + 20.0;
    let pickup = Pickup { doubled: 0.012, halved: 0.012, ..Pickup::default() };
    let sensors = SensorBox { pickup: Some(pickup), ..workshop_box(50.0) };
    let script = swap_hoses(from_rest(end), change);
    let settings = ambrel_with([10.05, 10.95]);
    let recording = Scene { settings, sensors, script, seed: 206 }.record();
    let whole = crate::canonical::canonical(&recording, crate::canonical::Columns::default());
    let (head, rows) = whole.split_at(whole.find("0.000,").expect("the first row"));
    let mut text = head.to_string();
    for (row, line) in recording.rows.iter().zip(rows.lines()) {
        text += &damaged(row, line);
    }
    // The last line is cut in the middle of a number.
    text.truncate(text.len() - 9);
    let stretches = [direct(STEADY_S, change), swapped(change + HANDLING_S + 1.0, end)];
    let truth = truth::balance(&recording, Some((0.0, 6.0)), &stretches, "swap", Settles::Yes);
    Log {
        name: "balance-dirty.csv",
        about: "50 Hz: engine off, idle, hoses swapped, and all that goes wrong: doubled and halved \
                revs, a vacuum missing for 0.4 s at 16 s, a line of rubbish at 20 s, 3 s missing \
                at 24 s, a clock that steps back 0.2 s at 50 s, a last line cut short",
        bytes: text.into_bytes(),
        truth,
    }
}

fn damaged(row: &Row, line: &str) -> String {
    let t = row.time_s;
    let fields: Vec<&str> = line.split(',').collect();
    let rubbish = (20.0..20.02).contains(&t).then_some("20.0\u{fffd}9,8#4.1,5\n");
    match t {
        _ if rubbish.is_some() => rubbish.unwrap_or_default().to_string() + line + "\n",
        16.0..16.4 => format!("{},{},{},,{}\n", fields[0], fields[1], fields[2], fields[4]),
        24.0..27.0 => String::new(),
        50.0.. => format!("{:.3},{}\n", t - 0.2, fields[1..].join(",")),
        _ => format!("{line}\n"),
    }
}

/// Sensor 2 stops at one code and stays there.
fn stuck() -> Log {
    const STUCK_S: f64 = 28.0;
    let mut recording = off_then_idle([9.75, 11.2], workshop_box(25.0), 207);
    let held = recording.rows.iter().find(|row| row.time_s >= STUCK_S).map(|row| row.vac_kpa[1]);
    for row in recording.rows.iter_mut().filter(|row| row.time_s >= STUCK_S) {
        row.vac_kpa[1] = held.unwrap_or(row.vac_kpa[1]);
    }
    let bytes = crate::canonical::canonical(&recording, crate::canonical::Columns::default());
    let stretch = [direct(STEADY_S, STUCK_S)];
    let truth = truth::balance(&recording, Some((0.0, 6.0)), &stretch, "engine_off", Settles::Yes);
    Log {
        name: "balance-stuck.csv",
        about: "25 Hz: engine off, idle; from 28 s on sensor 2 gives one code only, which must be \
                found and kept out",
        bytes: bytes.into_bytes(),
        truth,
    }
}

/// All foreign and broken logs.
pub fn logs() -> Vec<Log> {
    vec![werkstatt(), utf16(), inches(), absolute_pressures(), slow_breather(), dirty(), stuck()]
}
