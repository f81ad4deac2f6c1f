//! Rows of plain blocks read on two cores, a block on each in turn.

use super::blocks::lines;
use super::plan::Plan;
use super::rows::{Batch, RowReader};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::Scope;

/// Blocks given and not yet taken back, at most: one being read, one waiting.
const UNDER_WAY: usize = 2;

/// A block of whole lines, and its rows once they are read; both keep their room for the next.
#[derive(Default)]
struct Block {
    text: Vec<u8>,
    rows: Batch,
}

impl Block {
    fn read(&mut self, plan: &Plan, reader: &mut RowReader) {
        lines(&self.text, plan, reader, &mut self.rows);
    }
}

/// A second core at work, what it was given, and the block after that, which is for this core.
pub(super) struct Ahead<'plan> {
    give: SyncSender<Block>,
    take: Receiver<Block>,
    under_way: usize,
    own: Option<Block>,
    spare: Vec<Block>,
    plan: &'plan Plan,
    reader: RowReader<'plan>,
}

impl<'plan> Ahead<'plan> {
    /// Starts a thread that reads blocks by a plan until this is dropped.
    pub fn start<'scope>(scope: &'scope Scope<'scope, '_>, plan: &'plan Plan) -> Ahead<'plan>
    where
        'plan: 'scope,
    {
        let (give, given) = sync_channel::<Block>(UNDER_WAY);
        let (done, take) = sync_channel(UNDER_WAY);
        scope.spawn(move || {
            let mut reader = RowReader::new(plan);
            for mut block in given {
                block.read(plan, &mut reader);
                if done.send(block).is_err() {
                    return;
                }
            }
        });
        let (own, spare, reader) = (None, Vec::new(), RowReader::new(plan));
        Ahead { give, take, under_way: 0, own, spare, plan, reader }
    }

    /// Has the first `used` bytes of a text read, which are whole lines, and leaves the rest of it; rows
    /// that are done in the meantime go to the end of `total`.
    pub fn read(&mut self, text: &mut Vec<u8>, used: usize, total: &mut Batch) {
        let mut block = self.spare.pop().unwrap_or_default();
        block.text.clear();
        block.text.extend_from_slice(&text[used..]);
        text.truncate(used);
        std::mem::swap(text, &mut block.text);
        let Some(own) = self.own.take() else {
            if self.under_way > 0 {
                self.own = Some(block);
            } else {
                self.give(block);
            }
            return;
        };
        // The other core has its next block before this one sets to work on its own.
        self.give(block);
        self.read_own(own, 1, total);
    }

    fn give(&mut self, block: Block) {
        // It fails only where the other thread panicked, and then the scope does so as well.
        if self.give.send(block).is_ok() {
            self.under_way += 1;
        }
    }

    /// Reads a block after which `later` were given, and puts its rows behind those of the blocks before it.
    fn read_own(&mut self, mut own: Block, later: usize, total: &mut Batch) {
        own.read(self.plan, &mut self.reader);
        while self.under_way > later {
            self.take_back(total);
        }
        self.put(own, total);
    }

    /// Waits for everything that was given.
    pub fn finish(&mut self, total: &mut Batch) {
        if let Some(own) = self.own.take() {
            self.read_own(own, 0, total);
        }
        while self.under_way > 0 {
            self.take_back(total);
        }
    }

    fn take_back(&mut self, total: &mut Batch) {
        self.under_way -= 1;
        if let Ok(block) = self.take.recv() {
            self.put(block, total);
        }
    }

    fn put(&mut self, mut block: Block, total: &mut Batch) {
        total.append(&mut block.rows, self.plan.recorded);
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
                let (all, own) = (&whole.track, &log.track);
                for k in 0..log.rows {
                    let (there, here) = (all.row.of(kept + k), own.row.of(k));
                    assert_eq!(there - all.row.of(kept), here - own.row.of(0));
                }
                assert_eq!(all.time_s.window(kept..kept + log.rows), own.time_s.to_vec());
                for (all, own) in [
                    (&all.rpm, &own.rpm),
                    (&all.vac1_kpa, &own.vac1_kpa),
                    (&all.vac2_kpa, &own.vac2_kpa),
                ] {
                    let all = all.as_ref().unwrap().window(kept..kept + log.rows);
                    assert_eq!(all, own.as_ref().unwrap().to_vec());
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
