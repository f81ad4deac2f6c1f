//! The log of one hour at 1 kHz, on the disk.

use super::{JOB_S, job, write_head, write_rows};
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// Jobs of ten minutes in the log.
const JOBS: u64 = 6;
/// Rows in the log.
pub const ROWS: usize = 3_600_000;
const RATE_HZ: f64 = 1000.0;

/// Makes the log where it is not there yet; a part of one never stands under its name.
pub fn log_of_an_hour() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let path = folder.join("hour.csv");
    if path.exists() {
        return path;
    }
    println!("making        {}", path.display());
    let part = folder.join("hour.part");
    let mut out = BufWriter::new(File::create(&part).expect("target/tmp can be written to"));
    let mut rows = 0;
    write_head(&mut out).expect("the disk has room");
    for number in 0..JOBS {
        let job = job(RATE_HZ, number);
        rows += job.len();
        write_rows(&mut out, &job, number as f64 * JOB_S).expect("the disk has room");
    }
    out.flush().expect("the disk has room");
    assert_eq!(rows, ROWS, "a job has another length than it should");
    std::fs::rename(&part, &path).expect("target/tmp can be written to");
    path
}
