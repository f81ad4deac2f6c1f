//! The reading loop.

use super::{Baro, BaroFrom, Head, Log, ReadError, ReadOptions, Role, Taken};
use crate::sample::{Mark, Remark, Track};
use crate::units::{STANDARD_ATMOSPHERE, Seconds};
use std::io::Read;
use std::path::Path;

/// Reads a log file.
pub fn read_path(path: &Path, options: &ReadOptions) -> Result<Log, ReadError> {
    let mut options = options.clone();
    if options.name.is_empty() {
        options.name = path.display().to_string();
    }
    let name = options.name.clone();
    let file = std::fs::File::open(path).map_err(|source| match source.kind() {
        std::io::ErrorKind::NotFound => ReadError::NotFound { name: name.clone() },
        _ => ReadError::Unreadable { name: name.clone(), source },
    })?;
    if file.metadata().is_ok_and(|data| data.is_dir()) {
        return Err(ReadError::Directory { name });
    }
    read(file, &options)
}

/// Reads a log from any source of bytes.
pub fn read(mut input: impl Read, options: &ReadOptions) -> Result<Log, ReadError> {
    let name = options.name.clone();
    let mut text = String::new();
    input
        .read_to_string(&mut text)
        .map_err(|source| ReadError::Unreadable { name: name.clone(), source })?;
    let mut head = Head::default();
    let mut body = text.as_str();
    while let Some(rest) = body.strip_prefix('#') {
        let (line, after) = rest.split_once('\n').unwrap_or((rest, ""));
        if let Some((key, value)) = line.split_once(':') {
            let value = value.trim().to_string();
            match key.trim() {
                "baro_kpa" => head.baro_kpa = value.parse().ok(),
                "cylinders" => head.cylinders = value.parse().ok(),
                "carb1" => head.carb1 = Some(value),
                "carb2" => head.carb2 = Some(value),
                "engine" => head.engine = Some(value),
                "sensor" => head.sensor = Some(value),
                "started" => head.started = Some(value),
                "device" => head.device = Some(value),
                "idle_target_rpm" => head.idle_target_rpm = value.parse().ok(),
                key => head.others.push((key.to_string(), value)),
            }
        }
        body = after;
    }
    if body.trim().is_empty() {
        return Err(ReadError::Empty { name });
    }
    let mut csv = csv::ReaderBuilder::new().flexible(true).from_reader(body.as_bytes());
    let headings: Vec<String> = csv
        .headers()
        .map(|row| row.iter().map(|f| f.trim().to_string()).collect())
        .unwrap_or_default();
    let place = |wanted: &str| headings.iter().position(|h| h == wanted);
    let (time, rpm, mark) = (place("time_s"), place("rpm"), place("mark"));
    let vacs = [place("vac1_kpa"), place("vac2_kpa"), place("crank_kpa")];
    let maps = [place("map1_kpa"), place("map2_kpa")];
    let baro = options.baro.map(|kpa| (kpa.0, BaroFrom::Given));
    let (kpa, from) = baro
        .or(head.baro_kpa.map(|kpa| (kpa, BaroFrom::Header)))
        .unwrap_or((STANDARD_ATMOSPHERE.0, BaroFrom::Standard));
    let Some(time) = time else {
        return Err(ReadError::MissingRole {
            name,
            needed: "time".into(),
            headings: headings.join(", "),
            example: "--columns \"time=...\"".into(),
        });
    };
    let mut track = Track::default();
    let mut columns: [Vec<f64>; 4] = Default::default();
    let sources = [rpm, vacs[0].or(maps[0]), vacs[1].or(maps[1]), vacs[2]];
    let absolute = [false, vacs[0].is_none(), vacs[1].is_none(), false];
    let (mut row, mut bad) = (0u32, Vec::new());
    for record in csv.records() {
        let usable = record.ok().filter(|r| r.len() == headings.len()).and_then(|r| {
            let t = r[time].trim().parse::<f64>().ok().filter(|t| t.is_finite())?;
            let mut values = [f64::NAN; 4];
            for (value, source) in values.iter_mut().zip(sources) {
                let field = source.map_or("", |at| r[at].trim());
                if !field.is_empty() {
                    *value = field.parse().ok().filter(|v: &f64| v.is_finite())?;
                }
            }
            if let Some(text) = mark.map(|at| r[at].trim()).filter(|m| !m.is_empty()) {
                track.marks.push(Mark::read(Seconds(t), text));
            }
            track.time_s.last().is_none_or(|last| *last < t).then_some((t, values))
        });
        match usable {
            Some((t, values)) => {
                track.time_s.push(t);
                track.row.push(row);
                for i in 0..4 {
                    columns[i].push(if absolute[i] { kpa - values[i] } else { values[i] });
                }
            }
            None => bad.push(track.time_s.last().copied().unwrap_or(f64::NAN)),
        }
        row += 1;
    }
    if track.is_empty() {
        return Err(ReadError::NoUsableRow { name, detail: "no row under the header".into() });
    }
    let [a, b, c, d] = columns;
    track.rpm = sources[0].map(|_| a);
    track.vac1_kpa = sources[1].map(|_| b);
    track.vac2_kpa = sources[2].map(|_| c);
    track.crank_kpa = sources[3].map(|_| d);
    let roles = [Role::Rpm, Role::Vac1, Role::Vac2, Role::Crank];
    let taken = roles.iter().zip(sources).filter_map(|(role, at)| {
        let heading = headings[at?].clone();
        let text = format!("taking {heading:?} as {}", role.plain());
        Some(Taken { role: *role, heading, unit: "kPa".into(), guessed: false, text })
    });
    let remarks = if bad.is_empty() {
        vec![]
    } else {
        vec![Remark::new("bad_row", bad.len(), &bad, format!("{} rows left out", bad.len()))]
    };
    let u_kpa = if from == BaroFrom::Standard { 1.5 } else { 0.1 };
    Ok(Log {
        head,
        rows: track.len(),
        bad_rows: bad.len(),
        taken: taken.collect(),
        remarks,
        track,
        baro: Baro { kpa, u_kpa, from },
    })
}
