//! Rows of plain blocks read on a second core.

use super::blocks::lines;
use super::plan::Plan;
use super::rows::{Batch, RowReader};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::Scope;

/// Blocks given and not yet taken back: one being read, one waiting.
const UNDER_WAY: usize = 2;

/// A block of whole lines, and its rows once they are read; both keep their room for the next.
#[derive(Default)]
struct Block {
    text: Vec<u8>,
    rows: Batch,
}

/// A second core at work, and what it was given.
pub(super) struct Ahead {
    give: SyncSender<Block>,
    take: Receiver<Block>,
    under_way: usize,
    spare: Vec<Block>,
    recorded: bool,
}

impl Ahead {
    /// Starts a thread that reads blocks by a plan until this is dropped.
    pub fn start<'scope, 'plan: 'scope>(
        scope: &'scope Scope<'scope, '_>,
        plan: &'plan Plan,
    ) -> Ahead {
        let (give, given) = sync_channel::<Block>(UNDER_WAY);
        let (done, take) = sync_channel(UNDER_WAY);
        scope.spawn(move || {
            let mut reader = RowReader::new(plan);
            for mut block in given {
                lines(&block.text, plan, &mut reader, &mut block.rows);
                if done.send(block).is_err() {
                    return;
                }
            }
        });
        Ahead { give, take, under_way: 0, spare: Vec::new(), recorded: plan.recorded }
    }

    /// Has the first `used` bytes of a text read, which are whole lines, and leaves the rest of it; rows
    /// that are done in the meantime go to the end of `total`.
    pub fn read(&mut self, text: &mut Vec<u8>, used: usize, total: &mut Batch) {
        while self.under_way == UNDER_WAY {
            self.take_back(total);
        }
        let mut block = self.spare.pop().unwrap_or_default();
        block.text.clear();
        block.text.extend_from_slice(&text[used..]);
        text.truncate(used);
        std::mem::swap(text, &mut block.text);
        // It fails only where the other thread panicked, and then the scope does so as well.
        if self.give.send(block).is_ok() {
            self.under_way += 1;
        }
    }

    /// Waits for everything that was given.
    pub fn finish(&mut self, total: &mut Batch) {
        while self.under_way > 0 {
            self.take_back(total);
        }
    }

    fn take_back(&mut self, total: &mut Batch) {
        self.under_way -= 1;
        let Ok(mut block) = self.take.recv() else { return };
        total.append(&mut block.rows, self.recorded);
        self.spare.push(block);
    }
}

#[cfg(test)]
mod tests {
    use super::super::{ReadOptions, read};
    use std::fmt::Write;
    use std::io::Read;

    /// Six megabytes with everything that a row can be, so that much of it falls on either side of the ends of blocks.
    fn long_log(quoted: bool) -> String {
        let mut text = "time_s,rpm,vac1_kpa,vac2_kpa,mark\n".to_string();
        for k in 0..200_000 {
            let time = f64::from(k) * 0.001;
            let vacuum = 55.0 + f64::from(k * 7919 % 101) / 50.0;
            // Marks that are held over many rows, some across two blocks.
            let mark = match k / 3000 % 5 {
                1 if k % 3000 < 2500 => "cap off",
                3 if quoted && k % 3000 == 7 => "\"cap on, \"\"really\"\"\"",
                _ => "",
            };
            match k % 9973 {
                0 => writeln!(text, "# {k}"),
                1 => writeln!(text, "{time:.3},850.0,{vacuum:.2}"),
                2 => writeln!(text, "{time:.3},850.0,{vacuum:.2},no number,{mark}"),
                3 => writeln!(text, ",850.0,{vacuum:.2},55.0,{mark}"),
                _ => writeln!(
                    text,
                    "{time:.3},{},{vacuum:.2},{:.2},{mark}",
                    850 + k % 7,
                    110.0 - vacuum
                ),
            }
            .unwrap();
        }
        text
    }

    #[test]
    fn two_cores_read_what_one_reads() {
        for quoted in [false, true] {
            let text = long_log(quoted);
            // Whatever is shorter than the limit is read by one core: the log in pieces, each under a heading of its own.
            let whole = read(text.as_bytes(), &ReadOptions::default()).unwrap();
            let (heading, rows) = text.split_once('\n').unwrap();
            let lines: Vec<&str> = rows.lines().collect();
            let (mut kept, mut bad, mut marks) = (0, 0, 0);
            for piece in lines.chunks(60_000) {
                let piece = format!("{heading}\n{}\n", piece.join("\n"));
                let log = read(piece.as_bytes(), &ReadOptions::default()).unwrap();
                for (k, row) in log.track.row.iter().enumerate() {
                    let at = kept + k;
                    assert_eq!(whole.track.time_s[at], log.track.time_s[k]);
                    assert_eq!(whole.track.row[at] - whole.track.row[kept], row - log.track.row[0]);
                    for (all, own) in [
                        (&whole.track.rpm, &log.track.rpm),
                        (&whole.track.vac1_kpa, &log.track.vac1_kpa),
                        (&whole.track.vac2_kpa, &log.track.vac2_kpa),
                    ] {
                        assert_eq!(all.as_ref().unwrap()[at], own.as_ref().unwrap()[k]);
                    }
                }
                kept += log.rows;
                bad += log.bad_rows;
                marks += log.track.marks.len();
            }
            assert_eq!((whole.rows, whole.bad_rows), (kept, bad));
            // A piece that begins inside a held mark has it once more: 60,000 rows are whole rounds of 3000.
            assert_eq!(whole.track.marks.len(), marks);
            assert!(marks > 10 && bad > 50, "{marks} marks, {bad} bad rows");
        }
    }

    #[test]
    fn the_line_of_a_bad_row_is_that_of_the_file() {
        let text = long_log(false);
        let rest = "999999,1,1,1,\n".repeat(3) + &"x,x,x,x,x\n".repeat(30_000);
        let error = read((text.clone() + &rest).as_bytes(), &ReadOptions::default()).unwrap_err();
        let first =
            text.lines().position(|line| line.split(',').count() < 4 && !line.starts_with('#'));
        let said = format!("line {}", first.unwrap() + 1);
        assert!(error.to_string().contains(&said), "{said}: {error}");
    }

    #[test]
    fn an_input_that_gives_little_at_a_time_is_read_alike() {
        struct Little<'a>(&'a [u8]);
        impl Read for Little<'_> {
            fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
                let count = into.len().min(self.0.len()).min(777);
                into[..count].copy_from_slice(&self.0[..count]);
                self.0 = &self.0[count..];
                Ok(count)
            }
        }
        let text = long_log(true);
        let whole = read(text.as_bytes(), &ReadOptions::default()).unwrap();
        assert_eq!(read(Little(text.as_bytes()), &ReadOptions::default()).unwrap(), whole);
    }
}
