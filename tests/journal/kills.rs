//! A program that is killed while it records.

use crate::{COLUMNS, Folder, row, start};
use evenbreath::log::journal::Journal;
use evenbreath::log::{ReadOptions, read_path};
use rand::{Rng, SeedableRng};
use std::path::Path;
use std::process::{Command, Stdio};

/// Names the file to the program that is to be killed.
const FILE: &str = "EVENBREATH_WRITES_UNTIL_KILLED";
const KILLS: usize = 25;

/// Not a test by itself: the program that [`a_killed_program_leaves_every_row_that_it_wrote`] kills.
#[test]
#[ignore = "is started and killed by another test"]
fn writes_until_killed() {
    let Ok(path) = std::env::var(FILE) else { return };
    let mut journal = Journal::create(Path::new(&path), &start(COLUMNS)).unwrap();
    for k in 0.. {
        journal.row(&row(k, if k % 50 == 7 { "note \"5, or 6\"" } else { "" }));
        journal.tick(0.001 * k as f64).unwrap();
    }
}

#[test]
fn a_killed_program_leaves_every_row_that_it_wrote() {
    let folder = Folder::new("kills");
    let mut random = rand_pcg::Pcg64::seed_from_u64(9);
    let (mut rows, mut torn) = (0, 0);
    for kill in 0..KILLS {
        let path = folder.file(&format!("{kill}.csv"));
        let mut program = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--exact", "kills::writes_until_killed"])
            .env(FILE, &path)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let enough = random.random_range(5_000..500_000);
        while path.metadata().map_or(0, |data| data.len()) < enough {
            assert!(program.try_wait().unwrap().is_none(), "the program ended by itself");
            std::thread::yield_now();
        }
        program.kill().unwrap();
        program.wait().unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        let log = read_path(&path, &ReadOptions::default()).unwrap();
        let cut = usize::from(!text.ends_with('\n'));
        assert_eq!((log.bad_rows, log.remarks.len()), (cut, cut), "{:?}", log.remarks);
        // No row is missing, from the first to the last: as many as there are line ends.
        assert_eq!(log.rows, text.matches('\n').count() - 3);
        let mut times = log.track.time_s.iter().enumerate();
        assert!(times.all(|(k, time_s)| (time_s - 0.02 * k as f64).abs() < 1e-6));
        rows += log.rows;
        torn += cut;
    }
    println!("{KILLS} kills, {rows} rows read, {torn} last rows torn");
    assert!(rows > KILLS * 1000);
}
